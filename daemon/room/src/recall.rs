//! What people had been told before a restart: nothing is repeated, nothing is forgotten.

use crate::Room;
use crate::alarms::{AlarmSource, Raise};
use crate::device_clocks::ToldClock;
use crate::watches::Watches;
use claymark_notice::content::{Because, Content, ReadingsMissing};
use claymark_notice::failure::Failure;
use claymark_notice::{Call, Notice, Priority, Urgency};

impl Room {
    /// A notice that had been sent.
    pub(super) fn recall(&mut self, notice: &Notice) {
        self.announcer.recall(notice, raised(notice));
        // The rules look only while the room speaks, so what they had found is said to the drum's watch again.
        if let Content::Failure(failure) = &notice.content {
            let drum = failure.drum.as_ref().map(|state| &state.drum);
            self.known.hint(&failure.fault, drum, failure.since);
        }
        self.watches.recall(notice);
    }
}

impl Watches {
    fn recall(&mut self, notice: &Notice) {
        match &notice.content {
            Content::EveningCheck(check) => {
                self.evening.sent_for(check.due);
                self.ends.evening_told(notice.at, check);
            }
            Content::Runout(runout) => self.ends.recall(notice, runout),
            Content::LevelDoubt(_) | Content::Unattended(_) | Content::Handover(_) | Content::Morning(_) => {}
            Content::TestCall(test) => self.test.told(notice.at, test),
            Content::ReadingsMissing(missing) => self.recall_missing(notice, missing),
            Content::Failure(failure) => {
                self.failures.told(&notice.cause, Failure::clone(failure), notice.at);
            }
            Content::Withdrawn(withdrawn) => self.recall_withdrawn(notice, &withdrawn.because),
            Content::Query(queries) => self.asked.told(notice.at, queries),
            Content::Undelivered(undelivered) => self.reach.told(notice.at, undelivered),
        }
    }

    fn recall_missing(&mut self, notice: &Notice, missing: &ReadingsMissing) {
        match missing {
            ReadingsMissing::Silent { sensors, common, .. } => {
                let calls = notice.priority == Priority::Now;
                self.silence.told((notice.at, &notice.cause), sensors, (common.clone(), calls));
            }
            ReadingsMissing::SessionLost { .. } => self.session.told(notice.at),
            ReadingsMissing::TakenOver { since, client_id, certain } => {
                self.link.taken_over(*since, client_id, *certain);
            }
            ReadingsMissing::DeviceClock(clock) => {
                self.clocks.told(&notice.cause, ToldClock::Device(clock.clone()))
            }
            ReadingsMissing::ServerClock(clock) => self.clocks.told(&notice.cause, ToldClock::Server(*clock)),
            // What is still so will be said again.
            ReadingsMissing::StoreFailing { .. }
            | ReadingsMissing::NotForwarded { .. }
            | ReadingsMissing::StoreReplaced { .. }
            | ReadingsMissing::Unwatched(_)
            | ReadingsMissing::ClockStepped(_) => {}
        }
    }

    fn recall_withdrawn(&mut self, notice: &Notice, because: &Because) {
        match because {
            Because::Refilled { state, .. } | Because::LastsAfterAll { state, .. } => {
                self.ends.recall_withdrawn(notice, state);
            }
            Because::HeardAgain { still_silent, .. } => self.silence.withdrawn(&notice.cause, still_silent),
            Because::FailureOver { .. } => self.failures.end(&notice.cause, notice.at, notice.replaces),
            Because::NameFree { .. } => self.link.withdraw(),
            Because::DeviceClockRight(_) | Because::ServerClockRight(_) => {
                self.clocks.withdrawn(&notice.cause)
            }
            Because::LevelBelieved { .. } | Because::StoreWorks { .. } | Because::Forwarded { .. } => {}
        }
    }
}

/// How a notice of before a restart had been raised; `None`: it is no alarm.
fn raised(notice: &Notice) -> Option<Raise> {
    let (source, since) = match &notice.content {
        Content::Runout(_) => (AlarmSource::Runout, notice.at),
        Content::LevelDoubt(doubt) => {
            let since = doubt.state.doubt.as_ref().map(|doubted| doubted.since);
            (AlarmSource::Doubt, since.unwrap_or(notice.at))
        }
        Content::Failure(failure) => (AlarmSource::Failure, failure.since),
        Content::Unattended(unattended) => (AlarmSource::Absence, unattended.visit),
        Content::Handover(_) => (AlarmSource::Handover, notice.at),
        Content::ReadingsMissing(missing) => match missing {
            ReadingsMissing::Silent { .. } => (AlarmSource::Silence, notice.at),
            ReadingsMissing::StoreFailing { since, .. } => (AlarmSource::Storage, *since),
            ReadingsMissing::NotForwarded { since, .. } => (AlarmSource::Forwarding, *since),
            ReadingsMissing::TakenOver { since, .. } => (AlarmSource::Name, *since),
            ReadingsMissing::DeviceClock(clock) => (AlarmSource::Clock, clock.since),
            ReadingsMissing::ServerClock(clock) => (AlarmSource::Clock, clock.since),
            ReadingsMissing::SessionLost { .. }
            | ReadingsMissing::StoreReplaced { .. }
            | ReadingsMissing::Unwatched(_)
            | ReadingsMissing::ClockStepped(_) => return None,
        },
        Content::EveningCheck(_)
        | Content::Withdrawn(_)
        | Content::Query(_)
        | Content::Undelivered(_)
        | Content::Morning(_)
        | Content::TestCall(_) => {
            return None;
        }
    };
    let calling = notice.calling.as_ref();
    Some(Raise {
        source,
        since,
        at_night: notice.priority,
        urgency: calling.map_or(Urgency::Look, |calling| calling.urgency),
        call: calling.map_or(Call::First, |calling| calling.call),
    })
}
