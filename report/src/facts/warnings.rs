//! What people were told, who answered, and whether it was delivered.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use claymark_notice::{Notice, NoticeKind, Priority};
use claymark_store::batch::{Delivery, DeliveryState};

use super::HeldRows;
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

/// How the calls to act of a week ended; a call that was repeated is one call.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Calls {
    /// Somebody answered.
    pub answered: usize,
    /// Nobody answered, but it was over and withdrawn.
    pub settled: usize,
    /// Neither.
    pub open: usize,
}

impl Calls {
    /// Of the notices of a week. The evening check, sent while people are there, is no call.
    #[must_use]
    pub fn of(warnings: &[Warning]) -> Self {
        let replaces: BTreeMap<u64, u64> = warnings
            .iter()
            .filter_map(|warning| Some((warning.notice.number, warning.notice.replaces?)))
            .collect();
        let mut chains: BTreeMap<u64, Vec<&Warning>> = BTreeMap::new();
        for warning in warnings {
            chains.entry(first_of(warning.notice.number, &replaces)).or_default().push(warning);
        }
        let mut calls = Self::default();
        for chain in chains.values().filter(|chain| chain.iter().any(|warning| warning.is_call())) {
            if chain.iter().any(|warning| warning.answered.is_some()) {
                calls.answered += 1;
            } else if chain.iter().any(|warning| warning.notice.kind == NoticeKind::Withdrawn) {
                calls.settled += 1;
            } else {
                calls.open += 1;
            }
        }
        calls
    }
}

impl Warning {
    fn is_call(&self) -> bool {
        matches!(self.notice.priority, Priority::Now | Priority::Soon)
            // What only passes a call on is no second one.
            && !matches!(self.notice.kind, NoticeKind::EveningCheck | NoticeKind::Undelivered)
    }
}

/// The notice with which a chain of replacements began.
fn first_of(number: u64, replaces: &BTreeMap<u64, u64>) -> u64 {
    let mut first = number;
    // Numbers only count up, so a chain that points forward is no chain.
    while let Some(earlier) = replaces.get(&first).filter(|earlier| **earlier < first) {
        first = *earlier;
    }
    first
}

/// The notices of the week, in the order of time.
#[must_use]
pub fn of(week: &Week, rows: &HeldRows) -> Vec<Warning> {
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

fn answered(notice: &Notice, rows: &HeldRows) -> Option<Answered> {
    let first =
        rows.answers.iter().filter(|answer| answer.notice == notice.number).min_by_key(|answer| answer.at)?;
    Some(Answered { by: first.by.clone(), after: first.at.duration_since(notice.at) })
}

impl Fared {
    fn add(&mut self, delivery: &Delivery) {
        match &delivery.state {
            DeliveryState::Sent { at, .. } => {
                self.sent += 1;
                self.first_sent = Some(self.first_sent.map_or(*at, |first| first.min(*at)));
            }
            DeliveryState::Pending { .. } | DeliveryState::Unanswered { .. } => self.pending += 1,
            DeliveryState::GivenUp { .. } => self.given_up += 1,
        }
    }
}
