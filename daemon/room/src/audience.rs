//! Who is told: everyone while people are there, one person after the other at night.

use jiff::Timestamp;

use claymark_model::calendar::Shift;
use claymark_model::id::Id;
use claymark_model::site::Contact;
use claymark_notice::{Audience, Priority};

/// What people were told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Told {
    /// By which notice.
    pub(crate) number: u64,
    /// When.
    pub(crate) at: Timestamp,
    /// Who.
    pub(crate) to: Audience,
    /// By a message that was led by something more pressing: its number.
    pub(crate) led_by: Option<u64>,
}

impl Told {
    /// Whether an answer to that notice answers it.
    pub(crate) fn is_by(&self, notice: u64) -> bool {
        self.number == notice || self.led_by == Some(notice)
    }
}

/// Who is told first.
pub(crate) fn first(contacts: &[Contact], shift: Shift) -> Audience {
    first_of(contacts, shift, 1)
}

/// The first two, where one may sleep and fish have no time.
pub(crate) fn first_two(contacts: &[Contact], shift: Shift) -> Audience {
    first_of(contacts, shift, 2)
}

fn first_of(contacts: &[Contact], shift: Shift, people: usize) -> Audience {
    match shift {
        Shift::Away { .. } if !contacts.is_empty() => {
            Audience::Only(contacts.iter().take(people).map(|contact| contact.id.clone()).collect())
        }
        Shift::Away { .. } | Shift::Present => Audience::Everyone,
    }
}

/// Who is told when `last` didn't answer: the next in order, round again after the last one.
pub(crate) fn next(contacts: &[Contact], last: &Audience) -> Audience {
    let place = match last {
        Audience::Only(told) => contacts.iter().rposition(|contact| told.contains(&contact.id)),
        Audience::Everyone => None,
    };
    let next = place.map_or(0, |place| place + 1);
    let next = contacts.get(next).or_else(|| contacts.first());
    next.map_or(Audience::Everyone, |contact| Audience::one(contact.id.clone()))
}

/// Who is told that it got worse: whoever was told last, or is first.
pub(crate) fn same_or_first(contacts: &[Contact], shift: Shift, last: Option<&Audience>) -> Audience {
    match last {
        Some(Audience::Only(told)) if matches!(shift, Shift::Away { .. }) => Audience::Only(told.clone()),
        Some(_) | None => first(contacts, shift),
    }
}

/// Who hears that a promise wasn't kept: whoever gave it, and the next person.
pub(crate) fn after_promise(
    contacts: &[Contact],
    shift: Shift,
    last: &Audience,
    by: Option<&Id>,
) -> Audience {
    if shift == Shift::Present || contacts.is_empty() {
        return Audience::Everyone;
    }
    let promised = by.cloned().into_iter();
    let after = by.map_or_else(|| last.clone(), |by| Audience::one(by.clone()));
    let next = match next(contacts, &after) {
        Audience::Only(next) => next,
        Audience::Everyone => Vec::new(),
    };
    let mut all: Vec<Id> = promised.chain(next).collect();
    all.dedup();
    Audience::Only(all)
}

/// Who hears that a warning no longer holds: the one who was told, or everyone when several were.
pub(crate) fn all_of(told: &[Told]) -> Audience {
    match told.split_first() {
        Some((first, rest)) if rest.iter().all(|other| other.to == first.to) => first.to.clone(),
        Some(_) | None => Audience::Everyone,
    }
}

/// How soon someone must act: at night `at_night`, while people are there within the hour.
pub(crate) fn priority(shift: Shift, at_night: Priority) -> Priority {
    match shift {
        Shift::Away { .. } => at_night,
        Shift::Present => Priority::Soon,
    }
}
