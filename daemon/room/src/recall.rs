//! What people had been told before a restart: nothing is repeated, nothing is forgotten.

use crate::Room;
use crate::audience::Told;
use crate::drum_record::DrumRecord;
use claymark_model::id::Id;
use claymark_notice::Notice;
use claymark_notice::content::{Because, Content, ReadingsMissing};
use claymark_notice::failure::{Failure, Fault, PumpChanged};

impl Room {
    /// A notice that had been sent.
    pub(super) fn recall(&mut self, notice: &Notice) {
        self.last_number = self.last_number.max(notice.number);
        self.register.issue(notice);
        let told = Told { number: notice.number, at: notice.at, to: notice.to.clone() };
        match &notice.content {
            Content::EveningCheck(check) => {
                self.evening.sent_for(check.due);
                for drum in &check.drums {
                    self.record_of(&drum.state.drum, |record| {
                        record.runout.evening_told(
                            check.due,
                            notice.at,
                            drum.state.forecast.outlook.empty_at(),
                        );
                    });
                }
            }
            Content::Runout(runout) => self.record_of(&runout.state.drum, |record| {
                record.runout.warned(told, &runout.because, runout.state.forecast.outlook.empty_at());
            }),
            Content::LevelDoubt(doubt) => {
                let since = doubt.state.doubt.as_ref().map_or(notice.at, |doubted| doubted.since);
                self.record_of(&doubt.state.drum, |record| record.doubt.tell(since, told));
            }
            Content::ReadingsMissing(missing) => self.recall_missing(missing, told),
            Content::Failure(failure) => {
                self.recall_hint(failure);
                self.failures.recall(&notice.cause, failure, told);
            }
            Content::Withdrawn(withdrawn) => self.recall_withdrawn(notice, &withdrawn.because),
            Content::Query(queries) => self.asked.told(notice.at, queries),
            Content::Undelivered(undelivered) => self.reach.told(notice.number, notice.at, undelivered),
        }
    }

    /// The rules look only while the room speaks, so what they had found is said to the watch again.
    fn recall_hint(&mut self, failure: &Failure) {
        if let Fault::PumpChanged(PumpChanged { by_clay: Some(by_clay), .. }) = &failure.fault
            && let Some(state) = &failure.drum
        {
            self.record_of(&state.drum, |record| record.watch.hint_change(failure.since, *by_clay));
        }
    }

    fn recall_missing(&mut self, missing: &ReadingsMissing, told: Told) {
        match missing {
            ReadingsMissing::Silent { sensors, .. } => self.sensors.tell(told, sensors),
            ReadingsMissing::SessionLost { .. } => self.session.told(told.at),
            ReadingsMissing::StoreFailing { since, .. } => self.storage.tell(*since, told),
            ReadingsMissing::NotForwarded { since, .. } => self.forwarding.tell(*since, told),
            // Told once, when it happened.
            ReadingsMissing::StoreReplaced { .. } | ReadingsMissing::ClockStepped(_) => {}
            ReadingsMissing::TakenOver { since, client_id, certain } => {
                self.link.recall(*since, client_id, *certain, told);
            }
        }
    }

    fn recall_withdrawn(&mut self, notice: &Notice, because: &Because) {
        self.reach.cleared(&notice.cause);
        match because {
            Because::Refilled { state, .. } | Because::LastsAfterAll { state, .. } => {
                self.record_of(&state.drum, |record| {
                    record.runout.withdrawn(notice.at, state.forecast.outlook.empty_at())
                });
            }
            Because::LevelBelieved { state, .. } => {
                self.record_of(&state.drum, |record| record.doubt.withdraw())
            }
            Because::HeardAgain { still_silent, .. } => {
                if let Some(number) = notice.replaces {
                    self.sensors.withdraw(number, still_silent);
                }
            }
            Because::FailureOver { .. } => self.failures.recall_over(notice),
            Because::StoreWorks { .. } => self.storage.withdraw(),
            Because::Forwarded { .. } => self.forwarding.withdraw(),
            Because::NameFree { .. } => self.link.withdraw(),
        }
    }

    fn record_of(&mut self, drum: &Id, change: impl FnOnce(&mut DrumRecord)) {
        if let Some(record) = self.records.iter_mut().find(|record| record.drum.id == *drum) {
            change(record);
        }
    }
}
