//! What goes to the store, and what comes back: a commit, the news of it, and the trouble with it.

use std::time::Duration;

use jiff::SignedDuration;

use claymark_model::quarantine::{Quarantined, Reason};
use claymark_notice::query::{About, Query, shown};
use claymark_room::Event;
use claymark_store::{Committed, StoreError};

use super::backlog::Backlog;
use super::{CommitOnTheWay, CommitOutcome, Engine};
use crate::keeper::News;
use crate::page::asks::WriteOutcome;
use crate::snapshot::Connection;

impl Engine {
    /// Starts a commit, if there is something to keep and no other is on the way.
    pub(super) fn commit(&mut self) {
        if self.on_the_way.is_some() || self.retry.is_some() || self.backlog.is_empty() {
            return;
        }
        if !self.gather.ready(self.clock.now(), self.backlog.presses(), self.backlog.open()) {
            self.show();
            return;
        }
        self.note_session(SESSION_NOTED_EVERY);
        let mut backlog = std::mem::take(&mut self.backlog);
        let batch = Box::new(std::mem::take(&mut backlog.batch));
        // A clock that is stepped while a commit is on its way says nothing about the disk.
        let late = self.clock.goes_by_itself().then(|| self.clock.alarm(DISK_PATIENCE));
        self.on_the_way = Some(CommitOnTheWay { outcome: self.ports.keeper.commit(batch), late, backlog });
    }

    /// Writes down that the broker session stands, unless that was done less than `every` ago.
    pub(super) fn note_session(&mut self, every: SignedDuration) {
        let now = self.clock.now();
        if let Connection::Watching { .. } = self.snapshot.connection
            && !self.heard
            && now.duration_since(self.session_noted).abs() >= every
        {
            self.backlog.batch.session_seen = Some(now);
            self.session_noted = now;
        }
    }

    pub(super) fn saved(&mut self, outcome: Option<CommitOutcome>) {
        let Some(CommitOnTheWay { backlog, .. }) = self.on_the_way.take() else { return };
        match outcome {
            Some(CommitOutcome { result: Ok(committed), .. }) => self.kept(backlog, &committed),
            Some(CommitOutcome { batch, result: Err(error) }) => {
                self.not_kept(Backlog { batch: *batch, ..backlog }, &error);
            }
            None => {
                // Only a panic ends that thread before us; without it nothing may be acknowledged.
                tracing::error!("the store's thread has ended: stopping, the broker keeps what comes");
                self.ports.stop.cancel();
            }
        }
        self.show();
    }

    fn kept(&mut self, backlog: Backlog, committed: &Committed) {
        let counts = &mut self.snapshot.counts;
        counts.commits += 1;
        counts.stored += u64::try_from(committed.stored).unwrap_or(u64::MAX);
        counts.duplicates += u64::try_from(committed.duplicates).unwrap_or(u64::MAX);
        let conflicts = u64::try_from(committed.conflicts.len()).unwrap_or(u64::MAX);
        if conflicts > 0 {
            *counts.quarantined.entry(Reason::Conflict).or_default() += conflicts;
        }
        for receipt in backlog.receipts {
            receipt.acknowledge();
        }
        for (kept, outcome) in backlog.replies {
            if kept.send(outcome).is_err() {
                tracing::debug!("nobody waits any more for what became of a reply");
            }
        }
        for writer in backlog.writers {
            if writer.send(WriteOutcome::Kept).is_err() {
                tracing::debug!("nobody waits any more for what became of an entry");
            }
        }
        self.gather.acknowledged(self.clock.now());
        self.clock.settled(backlog.messages);
        self.tell_refused(&committed.refused);
        self.failures = 0;
        if self.snapshot.store_trouble.take().is_some() {
            tracing::info!("the store works again");
            self.ports.keeping.send_replace(true);
            self.event(Event::StoreWorks);
            self.collect();
        }
    }

    /// What the store can't hold was left out for good: the disk isn't to blame, and no later try will keep it.
    fn tell_refused(&mut self, refused: &[Quarantined]) {
        for record in refused {
            tracing::error!("a record can't be kept and lies in quarantine: {}", record.detail);
            self.snapshot.counts.refused += 1;
            *self.snapshot.counts.quarantined.entry(record.reason).or_default() += 1;
            let (what, why) = record.detail.split_once(": ").unwrap_or(("record", &record.detail));
            let about = About::NotKept { what: what.to_owned(), why: shown(why) };
            self.event(Event::Query(Query { at: self.clock.now().max(self.reached), by: None, about }));
        }
        if !refused.is_empty() {
            self.collect();
        }
    }

    pub(super) fn hear_of_the_store(&mut self) {
        for news in self.ports.keeper.take_news() {
            self.snapshot.counts.stores_replaced += u64::from(!matches!(news, News::Saved(_)));
            self.event(Event::StoreReplaced(news.into()));
        }
        self.collect();
        self.show();
    }

    /// A disk that hangs says nothing: its silence is the alarm.
    pub(super) fn disk_is_late(&mut self) {
        let seconds = DISK_PATIENCE.as_secs();
        self.store_fails(format!(
            "the disk hasn't answered for more than {seconds} s: it hangs, or it is worn out"
        ));
        self.collect();
        self.show();
    }

    /// Tells people once; what the store says later stands in the metrics.
    pub(super) fn store_fails(&mut self, why: String) {
        if self.snapshot.store_trouble.replace(why.clone()).is_none() {
            tracing::error!("nothing can be kept, nothing is lost yet: {why}");
            self.ports.keeping.send_replace(false);
            self.event(Event::StoreFailed { why });
        }
    }

    fn not_kept(&mut self, mut failed: Backlog, error: &StoreError) {
        self.snapshot.counts.failed_commits += 1;
        self.store_fails(error.to_string());
        self.collect();
        failed.append(std::mem::take(&mut self.backlog));
        failed.trim();
        self.backlog = failed;
        // Where only somebody's hands help, asking again soon helps nobody.
        let growing = FIRST_RETRY.saturating_mul(2_u32.saturating_pow(self.failures)).min(LAST_RETRY);
        let pause = if error.retry_makes_sense() { growing } else { LAST_RETRY };
        self.gather.hurry();
        self.failures = self.failures.saturating_add(1);
        self.retry = Some(Box::pin(tokio::time::sleep(pause)));
    }
}

/// A commit that takes longer is told as a fault of the disk.
const DISK_PATIENCE: Duration = Duration::from_secs(5);

/// A page for each commit saved; after a crash a loss of the session is told from so much earlier on.
const SESSION_NOTED_EVERY: SignedDuration = SignedDuration::from_secs(60);

const FIRST_RETRY: Duration = Duration::from_secs(1);

const LAST_RETRY: Duration = Duration::from_secs(30);
