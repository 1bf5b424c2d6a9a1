//! What people wrote that can't be or can hardly be, and answers to no purpose: told at once, and when more comes
//! gathered, with growing pauses, so that ten thousand bad entries are a few notices.

use jiff::{SignedDuration, Timestamp};

use crate::Room;
use crate::alarms::named;
use crate::scene::{Finding, Scene};
use claymark_clay::bounds::{self, Unlikely};
use claymark_model::fieldlog::LogEntry;
use claymark_notice::query::{About, Queries, Query};
use claymark_notice::register::Standing;
use claymark_notice::{Answer, Audience, Content, Priority};

/// What waits to be told.
#[derive(Debug, Default)]
pub(crate) struct Asked {
    first: Vec<Query>,
    more: u64,
    /// When it was told last, and how long is waited from then on.
    told: Option<(Timestamp, SignedDuration)>,
    /// The most records of the store that people were told of as unreadable.
    unreadable: u64,
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
            if let About::Unreadable { count, .. } = &query.about {
                self.unreadable = self.unreadable.max(*count);
            }
        }
    }
}

impl Room {
    /// What an answer comes to.
    #[must_use]
    pub fn standing(&self, answer: &Answer) -> Standing {
        self.register.standing(answer.notice, answer.by.as_deref())
    }

    /// The notice that was probably meant by a number that doesn't fit.
    #[must_use]
    pub fn meant(&self, number: u64) -> Option<u64> {
        self.register.meant(number)
    }

    /// The number of the newest notice; 0: there was none.
    #[must_use]
    pub fn last_notice(&self) -> u64 {
        self.register.last()
    }

    /// What speaks against an entry; an entry that the rest of the log or the sensors speak against is asked about where
    /// that is told: on the refill sheet, and in the evening.
    #[must_use]
    pub fn unlikely(&self, entry: &LogEntry) -> Option<Unlikely> {
        bounds::unlikely(&self.site, &entry.deed, (entry.received_at.duration_since(entry.at), None))
    }

    /// Tells what waits.
    pub(crate) fn check_queries(&mut self, scene: &Scene) {
        let Some(queries) = self.asked.due(scene.now) else { return };
        let by_answer = queries.first.iter().any(|query| matches!(query.about, About::Answer { .. }));
        let at_night = if by_answer { Priority::Soon } else { Priority::Morning };
        let content = Content::Query(Box::new(queries.clone()));
        let finding = self.on_duty(scene, QUERY.to_owned(), at_night, content);
        let to = match self.contact_of(&queries) {
            Some(writer) => writer,
            // Whoever believes that it was answered is one of them.
            None if by_answer => Audience::Everyone,
            None => finding.to.clone(),
        };
        let told = self.tell(scene, Finding { to, ..finding });
        self.asked.told(told.at, &queries);
    }

    /// The contact who wrote all of it.
    fn contact_of(&self, queries: &Queries) -> Option<Audience> {
        let named = |name: &str| named(&self.site.contacts, name);
        let mut writers = queries.first.iter().map(|query| query.by.as_deref().and_then(named));
        let writer = writers.next()??;
        let only = queries.more == 0 && writers.all(|other| other == Some(writer));
        only.then(|| Audience::one(writer.clone()))
    }
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
