//! What people were told, who answered, and whether it was delivered.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use claymark_core::notice::{Notice, Priority};
use claymark_store::batch::{Delivery, DeliveryState};

use super::Rows;
use crate::week::Week;

/// One notice with what became of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Warning {
    /// The facts.
    pub notice: Notice,
    /// Its first line.
    pub subject: String,
    /// The first answer.
    pub answered: Option<Answered>,
    /// How its messages fared.
    pub delivery: Fared,
}

/// The first answer to a notice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answered {
    /// By whom, where a name was given.
    pub by: Option<String>,
    /// How long after the notice was decided.
    pub after: SignedDuration,
}

/// How the messages of one notice fared; all zero when nobody was to be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Fared {
    /// Accepted by the next server.
    pub sent: usize,
    /// Still being tried.
    pub pending: usize,
    /// Refused for good, or tried for too long.
    pub given_up: usize,
    /// When the first was accepted.
    pub first_sent: Option<Timestamp>,
}

impl Warning {
    /// Whether someone had to act before the next visit.
    #[must_use]
    pub fn urgent(&self) -> bool {
        matches!(self.notice.priority, Priority::Now | Priority::Soon)
    }
}

/// The notices of the week, in the order of time.
#[must_use]
pub fn of(week: &Week, rows: &Rows) -> Vec<Warning> {
    let mut fared: BTreeMap<u64, Fared> = BTreeMap::new();
    for delivery in &rows.deliveries {
        fared.entry(delivery.notice).or_default().add(delivery);
    }
    let issued = rows.notices.iter().filter(|issued| week.contains(issued.notice.at));
    let mut warnings: Vec<Warning> = issued
        .map(|issued| Warning {
            notice: issued.notice.clone(),
            subject: issued.subject.clone(),
            answered: answered(&issued.notice, rows),
            delivery: fared.get(&issued.notice.number).copied().unwrap_or_default(),
        })
        .collect();
    warnings.sort_by_key(|warning| (warning.notice.at, warning.notice.number));
    warnings
}

fn answered(notice: &Notice, rows: &Rows) -> Option<Answered> {
    let first =
        rows.answers.iter().filter(|answer| answer.notice == notice.number).min_by_key(|answer| answer.at)?;
    Some(Answered { by: first.by.clone(), after: first.at.duration_since(notice.at) })
}

impl Fared {
    fn add(&mut self, delivery: &Delivery) {
        match &delivery.state {
            DeliveryState::Sent { at } => {
                self.sent += 1;
                self.first_sent = Some(self.first_sent.map_or(*at, |first| first.min(*at)));
            }
            DeliveryState::Pending { .. } => self.pending += 1,
            DeliveryState::GivenUp { .. } => self.given_up += 1,
        }
    }
}
