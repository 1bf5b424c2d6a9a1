//! What waits for the disk: one batch, with the receipts of the messages in it.

use claymark_store::batch::CommitBatch;

use tokio::sync::oneshot;

use crate::intake::Receipt;
use crate::page::asks::WriteOutcome;
use crate::replies::ReplyOutcome;

/// A batch in the making, or one whose commit failed.
#[derive(Default)]
pub struct Backlog {
    /// What is to be kept.
    pub batch: CommitBatch,
    /// In the order of delivery.
    pub receipts: Vec<Receipt>,
    /// Who waits to hear what a reply came to, and that.
    pub replies: Vec<(oneshot::Sender<ReplyOutcome>, ReplyOutcome)>,
    /// Who waits to hear that what they wrote down is kept.
    pub writers: Vec<oneshot::Sender<WriteOutcome>>,
    /// How many messages are in it; our own echoes don't count.
    pub messages: usize,
}

impl Backlog {
    /// Whether there is nothing to keep and nothing to acknowledge.
    pub fn is_empty(&self) -> bool {
        self.receipts.is_empty()
            && self.replies.is_empty()
            && self.writers.is_empty()
            && self.batch == CommitBatch::default()
    }

    /// Whether something in it can't wait for company: people wrote it down, promised it, or were told it.
    pub fn presses(&self) -> bool {
        let CommitBatch { log, answers, notices, deliveries, .. } = &self.batch;
        !(self.replies.is_empty()
            && self.writers.is_empty()
            && log.is_empty()
            && answers.is_empty()
            && notices.is_empty()
            && deliveries.is_empty())
    }

    /// How many messages the broker has open for it.
    pub fn open(&self) -> usize {
        self.receipts.iter().filter(|receipt| receipt.is_awaited()).count()
    }

    /// Adds what came later.
    pub fn append(&mut self, later: Backlog) {
        let Backlog { batch, receipts, replies, writers, messages } = later;
        self.add(batch);
        self.receipts.extend(receipts);
        self.replies.extend(replies);
        self.writers.extend(writers);
        self.messages += messages;
    }

    /// Adds a batch that came later.
    pub fn add(&mut self, later: CommitBatch) {
        // Taken apart, so that a new field can't be forgotten here.
        let CommitBatch {
            readings,
            quarantined,
            log,
            answers,
            forecasts,
            happenings,
            marks,
            yields,
            notices,
            deliveries,
            session_seen,
        } = later;
        self.batch.readings.extend(readings);
        self.batch.quarantined.extend(quarantined);
        self.batch.log.extend(log);
        self.batch.answers.extend(answers);
        self.batch.forecasts.extend(forecasts);
        self.batch.happenings.extend(happenings);
        self.batch.marks.extend(marks);
        self.batch.yields.extend(yields);
        self.batch.notices.extend(notices);
        self.batch.deliveries.extend(deliveries);
        self.batch.session_seen = session_seen.or(self.batch.session_seen);
    }

    /// Lets the oldest forecasts go: while the disk is full for days they are all that grows without a
    /// message, and the newest say more.
    pub fn trim(&mut self) {
        let surplus = self.batch.forecasts.len().saturating_sub(MOST_FORECASTS);
        self.batch.forecasts.drain(..surplus);
    }
}

/// More than two weeks of four drums.
const MOST_FORECASTS: usize = 10_000;

#[cfg(test)]
mod tests {
    use jiff::Timestamp;

    use claymark_model::doubt::WhyUnknown;
    use claymark_model::fieldlog::{Deed, LogEntry};
    use claymark_model::forecast::{Forecast, Outlook, Subject};
    use claymark_model::id::Id;
    use claymark_notice::Answer;
    use claymark_store::batch::{Channel, Delivery, DeliveryState};

    use super::*;

    fn forecast(second: i64) -> Forecast {
        Forecast {
            at: Timestamp::from_second(second).unwrap(),
            of: Subject::Drum(Id::new("a").unwrap()),
            in_use: true,
            outlook: Outlook::Unknown { why: WhyUnknown::FewReadings.into() },
        }
    }

    #[test]
    fn what_failed_comes_before_what_arrived_meanwhile() {
        let mut failed = Backlog::default();
        failed.add(CommitBatch {
            forecasts: vec![forecast(1)],
            session_seen: Timestamp::from_second(5).ok(),
            ..CommitBatch::default()
        });
        let mut later = Backlog::default();
        later.add(CommitBatch { forecasts: vec![forecast(2)], ..CommitBatch::default() });
        failed.append(later);
        assert_eq!(failed.batch.forecasts, [forecast(1), forecast(2)]);
        assert_eq!(failed.batch.session_seen, Timestamp::from_second(5).ok());
    }

    #[test]
    fn forecasts_wait_and_what_people_wrote_or_are_told_does_not() {
        let now = Timestamp::from_second(5).unwrap();
        let presses = |batch| {
            let mut backlog = Backlog::default();
            backlog.add(batch);
            backlog.presses()
        };
        assert!(!presses(CommitBatch { forecasts: vec![forecast(1)], ..CommitBatch::default() }));
        let deed = Deed::Note { text: None };
        let (key, by, replaces) = ("k".to_owned(), None, None);
        let entry = LogEntry { key, at: now, received_at: now, by, replaces, deed };
        assert!(presses(CommitBatch { log: vec![entry], ..CommitBatch::default() }));
        let answer = Answer { notice: 7, by: None, at: now, there_by: None };
        assert!(presses(CommitBatch { answers: vec![answer], ..CommitBatch::default() }));
        let (contact, channel) = (Id::new("duty").unwrap(), Channel::Email);
        let delivery =
            Delivery { notice: 7, contact, channel, state: DeliveryState::Sent { at: now, attempts: 1 } };
        assert!(presses(CommitBatch { deliveries: vec![delivery], ..CommitBatch::default() }));
    }

    #[test]
    fn a_disk_that_is_full_for_weeks_does_not_fill_the_memory() {
        let mut backlog = Backlog::default();
        for second in 0..20_000 {
            backlog.add(CommitBatch { forecasts: vec![forecast(second)], ..CommitBatch::default() });
        }
        backlog.trim();
        assert_eq!(backlog.batch.forecasts.len(), MOST_FORECASTS);
        assert_eq!(backlog.batch.forecasts.last(), Some(&forecast(19_999)));
    }
}
