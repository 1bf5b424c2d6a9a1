//! Who is told: everyone while people are there, one person after the other at night.

use jiff::Timestamp;

use crate::calendar::Shift;
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
}

/// Who is told first.
pub(crate) fn first(contacts: &[Contact], shift: Shift) -> Audience {
    match (shift, contacts.first()) {
        (Shift::Away { .. }, Some(contact)) => Audience::Only(contact.id.clone()),
        (Shift::Away { .. }, None) | (Shift::Present, _) => Audience::Everyone,
    }
}

/// Who is told when `last` didn't answer: the next in order, round again after the last one.
pub(crate) fn next(contacts: &[Contact], last: Option<&Id>) -> Option<Audience> {
    let place = last.and_then(|id| contacts.iter().position(|contact| contact.id == *id));
    let next = place.map_or(0, |place| place + 1);
    contacts.get(next).or_else(|| contacts.first()).map(|contact| Audience::Only(contact.id.clone()))
}

/// Who is told that it got worse: the one who was told last, or whoever is first.
pub(crate) fn same_or_first(contacts: &[Contact], shift: Shift, last: Option<&Id>) -> Audience {
    last.map_or_else(|| first(contacts, shift), |id| Audience::Only(id.clone()))
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
