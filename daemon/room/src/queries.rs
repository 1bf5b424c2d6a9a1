//! What people wrote that can't be or can hardly be, and answers to no purpose: told at once, and when more comes
//! gathered, with growing pauses, so that ten thousand bad entries are a few notices.

use std::collections::BTreeSet;

use jiff::{SignedDuration, Timestamp};

use crate::action::{AlarmAction, Finding};
use crate::on_call::named;
use crate::scene::RoomView;
use claymark_model::site::Contact;
use claymark_notice::query::{About, Queries, Query};
use claymark_notice::{Audience, Content, Priority};

/// What waits to be told.
#[derive(Debug, Default)]
pub(crate) struct Asked {
    first: Vec<Query>,
    more: u64,
    /// When it was told last, and how long is waited from then on.
    told: Option<(Timestamp, SignedDuration)>,
    /// The most records of the store that people were told of as unreadable.
    unreadable: u64,
    /// Entries that were asked about because of what the sensors show.
    doubted: BTreeSet<String>,
}

impl Asked {
    /// Takes one in.
    pub(crate) fn take(&mut self, query: Query) {
        if let About::Unreadable { count, .. } = &query.about {
            // The same rows are found again at each start.
            if *count <= self.unreadable {
                return;
            }
            self.unreadable = *count;
        }
        if self.first.len() < SHOWN {
            self.first.push(query);
        } else {
            self.more = self.more.saturating_add(1);
        }
    }

    /// Takes what the sensors speak against, once each.
    pub(crate) fn doubts(&mut self, queries: Vec<Query>) {
        for query in queries {
            let new = query.doubted_by_sensors().is_some_and(|key| self.doubted.insert(key.to_owned()));
            if new {
                self.take(query);
            }
        }
    }

    /// When what waits is told.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        let newest = self.first.first()?.at;
        Some(self.told.map_or(newest, |(at, pause)| at + pause))
    }

    /// What is due, oldest first.
    fn due(&mut self, now: Timestamp) -> Option<Queries> {
        self.wake().filter(|due| *due <= now)?;
        let queries = Queries { first: std::mem::take(&mut self.first), more: self.more };
        self.more = 0;
        Some(queries)
    }

    /// They were told; before a restart, too.
    pub(crate) fn told(&mut self, at: Timestamp, queries: &Queries) {
        let again = self.told.filter(|(last, pause)| *last + *pause + LONGEST_PAUSE > at);
        let pause = again.map_or(FIRST_PAUSE, |(_, pause)| (pause * 2).min(LONGEST_PAUSE));
        self.told = Some((at, pause));
        for query in &queries.first {
            self.doubted.extend(query.doubted_by_sensors().map(str::to_owned));
            if let About::Unreadable { count, .. } = &query.about {
                self.unreadable = self.unreadable.max(*count);
            }
        }
    }

    /// Tells what waits.
    pub(crate) fn news(&mut self, view: &RoomView<'_>) -> Option<AlarmAction> {
        let queries = self.due(view.scene.now)?;
        self.told(view.scene.now, &queries);
        let by_answer = queries.first.iter().any(|query| matches!(query.about, About::Answer { .. }));
        let at_night = if by_answer { Priority::Soon } else { Priority::Morning };
        let writer = writer(&view.known.site.contacts, &queries);
        let finding = view.on_duty(QUERY, at_night, (None, Content::Query(Box::new(queries))));
        // Whoever believes that it was answered is one of them.
        let to = writer.or(by_answer.then_some(Audience::Everyone)).unwrap_or_else(|| finding.to.clone());
        Some(AlarmAction::Tell(Finding { to, ..finding }))
    }
}

/// The contact who wrote all of it.
fn writer(contacts: &[Contact], queries: &Queries) -> Option<Audience> {
    let mut writers =
        queries.first.iter().map(|query| query.by.as_deref().and_then(|name| named(contacts, name)));
    let writer = writers.next()??;
    let only = queries.more == 0 && writers.all(|other| other == Some(writer));
    only.then(|| Audience::one(writer.clone()))
}

const QUERY: &str = "query";

/// So many are told with their words; of the rest the number.
const SHOWN: usize = 5;

/// Whoever answered a wrong number must hear of it while it matters.
const FIRST_PAUSE: SignedDuration = SignedDuration::from_mins(1);
/// A device that writes nonsense for days is told some times a day.
const LONGEST_PAUSE: SignedDuration = SignedDuration::from_hours(4);

#[cfg(test)]
mod tests;
