//! Who may be called now: whoever has tonight first, then by hours and roles; outside all hours everybody.

use claymark_model::calendar::Shift;
use claymark_model::id::Id;
use claymark_model::site::{Contact, Site};
use claymark_notice::{Audience, Urgency};
use jiff::Timestamp;

use crate::audience::Told;

/// Who has which night.
#[derive(Debug, Clone)]
pub(crate) struct GivenNight {
    pub(crate) evening: Timestamp,
    pub(crate) person: Id,
    /// When they said so themselves.
    pub(crate) confirmed: Option<Timestamp>,
}

/// The people of this hour.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct OnCall {
    /// Whoever is called for danger, first person first.
    for_danger: Vec<Contact>,
    /// Those of them who are called for other things, too.
    usual: Vec<Contact>,
    /// All contacts, whether they may be called now or not.
    contacts: Vec<Contact>,
}

impl OnCall {
    /// At `now`; `tonight` goes before everybody else while nobody is there.
    pub(crate) fn at(site: &Site, now: Timestamp, tonight: Option<&Id>) -> Self {
        let mut people: Vec<Contact> = site.on_call(now).into_iter().cloned().collect();
        if people.is_empty() {
            people.clone_from(&site.contacts);
        }
        let away = site.shift(now) != Shift::Present;
        if let Some(first) = site.contacts.iter().find(|contact| away && Some(&contact.id) == tonight) {
            people.retain(|contact| contact.id != first.id);
            people.insert(0, first.clone());
        }
        Self::of(people, site.contacts.clone())
    }

    /// These, in this order, of all contacts.
    pub(crate) fn of(for_danger: Vec<Contact>, contacts: Vec<Contact>) -> Self {
        let usual: Vec<Contact> = for_danger.iter().filter(|contact| !contact.only_danger).cloned().collect();
        let usual = if usual.is_empty() { for_danger.clone() } else { usual };
        Self { for_danger, usual, contacts }
    }

    /// Whoever is called for what presses so.
    pub(crate) fn for_what(&self, urgency: Urgency) -> &[Contact] {
        match urgency {
            Urgency::Danger { .. } => &self.for_danger,
            Urgency::By { .. } | Urgency::Look => &self.usual,
        }
    }

    /// Whoever is called for more than danger.
    pub(crate) fn usual(&self) -> &[Contact] {
        &self.usual
    }

    /// Whoever is called for danger.
    pub(crate) fn for_danger(&self) -> &[Contact] {
        &self.for_danger
    }

    /// The contact whose id or name somebody gave.
    pub(crate) fn named(&self, name: &str) -> Option<&Id> {
        named(&self.contacts, name)
    }

    /// Everybody, as far as they may be called now; whoever was told before is told the end, too.
    pub(crate) fn reached(&self, to: Audience, danger: bool, told: &[Told]) -> Audience {
        if to != Audience::Everyone {
            return to;
        }
        let people = if danger { &self.for_danger } else { &self.usual };
        if people.len() == self.contacts.len() {
            return to;
        }
        let before = told.iter().flat_map(|told| match &told.to {
            Audience::Only(told) => told.as_slice(),
            Audience::Everyone => &[],
        });
        let mut all: Vec<Id> = people.iter().map(|contact| contact.id.clone()).collect();
        for id in before {
            if !all.contains(id) {
                all.push(id.clone());
            }
        }
        Audience::Only(all)
    }
}

/// The contact whose id or name somebody gave.
pub(crate) fn named<'a>(contacts: &'a [Contact], name: &str) -> Option<&'a Id> {
    let same = |known: &str| known.eq_ignore_ascii_case(name);
    contacts
        .iter()
        .find(|contact| same(contact.id.as_str()) || same(&contact.name))
        .map(|contact| &contact.id)
}
