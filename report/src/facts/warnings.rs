//! What people were told, who answered, and whether it was delivered.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use claymark_notice::{Notice, NoticeKind};
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
    /// The notice by which the cause of this call was answered, where it isn't this one.
    pub answered_by_number: Option<u64>,
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

/// How the causes for which people were called in a week ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Calls {
    /// The calls, those included that were told again.
    pub calls: usize,
    /// Causes that somebody answered.
    pub answered: usize,
    /// Nobody answered, but it was over and withdrawn.
    pub settled: usize,
    /// Neither.
    pub open: usize,
}

impl Calls {
    /// Of the notices of a week, in the order of time.
    #[must_use]
    pub fn of(warnings: &[Warning]) -> Self {
        let mut sum = Self::default();
        for alarm in alarms(warnings) {
            sum.calls += alarm.calls.len();
            let ended = if alarm.answered_by.is_some() {
                &mut sum.answered
            } else if alarm.over {
                &mut sum.settled
            } else {
                &mut sum.open
            };
            *ended += 1;
        }
        sum
    }

    /// Causes for which people were called.
    #[must_use]
    pub fn causes(&self) -> usize {
        self.answered + self.settled + self.open
    }
}

/// The calls for one cause, until it was over.
#[derive(Debug, Default)]
struct CalledCause {
    /// Where its calls stand among the notices.
    calls: Vec<usize>,
    answered_by: Option<u64>,
    over: bool,
}

/// From the first call for a cause to the word that it is over; a cause that comes back is told apart.
fn alarms(warnings: &[Warning]) -> Vec<CalledCause> {
    let mut all: Vec<CalledCause> = Vec::new();
    let mut open: BTreeMap<&str, usize> = BTreeMap::new();
    for (index, warning) in warnings.iter().enumerate() {
        let cause = warning.notice.cause.as_str();
        if warning.notice.kind == NoticeKind::Withdrawn {
            let over = open.remove(cause).and_then(|alarm| all.get_mut(alarm));
            over.into_iter().for_each(|alarm| alarm.over = true);
        } else if warning.notice.calling.is_some() {
            let alarm = *open.entry(cause).or_insert_with(|| {
                all.push(CalledCause::default());
                all.len() - 1
            });
            let Some(alarm) = all.get_mut(alarm) else { continue };
            alarm.calls.push(index);
            let answered = warning.answered.as_ref().map(|_| warning.notice.number);
            alarm.answered_by = alarm.answered_by.or(answered);
        }
    }
    all
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
            answered_by_number: None,
            delivery: fared.get(&issued.notice.number).copied().unwrap_or_default(),
        })
        .collect();
    warnings.sort_by_key(|warning| (warning.notice.at, warning.notice.number));
    for alarm in alarms(&warnings) {
        for call in alarm.calls {
            let call = warnings.get_mut(call).filter(|call| call.answered.is_none());
            call.into_iter().for_each(|call| call.answered_by_number = alarm.answered_by);
        }
    }
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
