//! What people had been told before a restart: nothing is repeated, nothing is forgotten.

use crate::Room;
use crate::alarms::{AlarmSource, Raise};
use crate::audience::Told;
use crate::drum_record::DrumRecord;
use crate::ends::SupplyEnd;
use claymark_model::forecast::{EmptyAt, Forecast};
use claymark_model::id::Id;
use claymark_notice::content::{Because, Content, ReadingsMissing};
use claymark_notice::failure::{Failure, Fault, PumpChanged};
use claymark_notice::{Call, Notice, Urgency};

impl Room {
    /// A notice that had been sent.
    pub(super) fn recall(&mut self, notice: &Notice) {
        self.last_number = self.last_number.max(notice.number);
        self.register.issue(notice);
        let told = Told { number: notice.number, at: notice.at, to: notice.to.clone() };
        if let Some(source) = source(&notice.content) {
            self.alarms.told(&notice.cause, as_raised(notice, source), told, notice.calling.as_deref());
        }
        match &notice.content {
            Content::EveningCheck(check) => {
                self.evening.sent_for(check.due);
                let drums: Vec<_> = check.drums.iter().map(|drum| drum.state.forecast.clone()).collect();
                self.evening_told_ends(notice.at, &drums, &check.supplies);
            }
            Content::Runout(runout) => {
                let ends = self.heard_of(&notice.cause, &runout.state.forecast, runout.supply.as_ref());
                self.end_of(&notice.cause, |end| end.runout.warned(notice.at, ends));
            }
            Content::LevelDoubt(_) | Content::Unattended(_) => {}
            Content::ReadingsMissing(missing) => self.recall_missing(notice, missing),
            Content::Failure(failure) => {
                self.recall_hint(failure);
                self.failures.recall(&notice.cause, failure, notice.at);
            }
            Content::Withdrawn(withdrawn) => self.recall_withdrawn(notice, &withdrawn.because),
            Content::Query(queries) => self.asked.told(notice.at, queries),
            Content::Undelivered(undelivered) => self.reach.told(notice.number, notice.at, undelivered),
        }
    }

    /// When the supply that a notice tells of ends, by what it said.
    fn heard_of(&self, cause: &str, drum: &Forecast, supply: Option<&Forecast>) -> Option<EmptyAt> {
        let joint = self.ends.iter().any(|end| end.cause == cause && end.is_joint());
        let forecast = if joint { supply.unwrap_or(drum) } else { drum };
        forecast.outlook.empty_at()
    }

    fn end_of(&mut self, cause: &str, change: impl FnOnce(&mut SupplyEnd)) {
        if let Some(end) = self.ends.iter_mut().find(|end| end.cause == cause) {
            change(end);
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

    fn recall_missing(&mut self, notice: &Notice, missing: &ReadingsMissing) {
        match missing {
            ReadingsMissing::Silent { sensors, common, .. } => {
                self.sensors.tell(notice.at, &notice.cause, sensors, common.clone());
            }
            ReadingsMissing::SessionLost { .. } => self.session.told(notice.at),
            ReadingsMissing::TakenOver { since, client_id, certain } => {
                self.link.recall(*since, client_id, *certain);
            }
            // What is still so will be said again.
            ReadingsMissing::StoreFailing { .. }
            | ReadingsMissing::NotForwarded { .. }
            | ReadingsMissing::StoreReplaced { .. }
            | ReadingsMissing::ClockStepped(_) => {}
        }
    }

    fn recall_withdrawn(&mut self, notice: &Notice, because: &Because) {
        self.reach.cleared(&notice.cause);
        let goes_on = matches!(because, Because::HeardAgain { still_silent, .. } if !still_silent.is_empty());
        if !goes_on {
            self.alarms.over(&notice.cause, None);
        }
        match because {
            Because::Refilled { state, .. } | Because::LastsAfterAll { state, .. } => {
                let ends = state.forecast.outlook.empty_at();
                self.end_of(&notice.cause, |end| end.runout.withdrawn(notice.at, ends));
            }
            Because::HeardAgain { still_silent, .. } => self.sensors.withdraw(&notice.cause, still_silent),
            Because::FailureOver { .. } => self.failures.recall_over(notice),
            Because::NameFree { .. } => self.link.withdraw(),
            Because::LevelBelieved { .. } | Because::StoreWorks { .. } | Because::Forwarded { .. } => {}
        }
    }

    fn record_of(&mut self, drum: &Id, change: impl FnOnce(&mut DrumRecord)) {
        if let Some(record) = self.records.iter_mut().find(|record| record.drum.id == *drum) {
            change(record);
        }
    }
}

/// The part of the room that an alarm's notice comes from; `None`: it is no alarm.
fn source(content: &Content) -> Option<AlarmSource> {
    match content {
        Content::Runout(_) => Some(AlarmSource::Runout),
        Content::LevelDoubt(_) => Some(AlarmSource::Doubt),
        Content::Failure(_) => Some(AlarmSource::Failure),
        Content::Unattended(_) => Some(AlarmSource::Absence),
        Content::ReadingsMissing(missing) => match missing {
            ReadingsMissing::Silent { .. } => Some(AlarmSource::Silence),
            ReadingsMissing::StoreFailing { .. } => Some(AlarmSource::Storage),
            ReadingsMissing::NotForwarded { .. } => Some(AlarmSource::Forwarding),
            ReadingsMissing::TakenOver { .. } => Some(AlarmSource::Name),
            ReadingsMissing::SessionLost { .. }
            | ReadingsMissing::StoreReplaced { .. }
            | ReadingsMissing::ClockStepped(_) => None,
        },
        Content::EveningCheck(_) | Content::Withdrawn(_) | Content::Query(_) | Content::Undelivered(_) => {
            None
        }
    }
}

/// How a notice of before a restart had been raised.
fn as_raised(notice: &Notice, source: AlarmSource) -> Raise {
    let since = match &notice.content {
        Content::Failure(failure) => failure.since,
        Content::LevelDoubt(doubt) => doubt.state.doubt.as_ref().map_or(notice.at, |doubted| doubted.since),
        Content::ReadingsMissing(
            ReadingsMissing::StoreFailing { since, .. }
            | ReadingsMissing::NotForwarded { since, .. }
            | ReadingsMissing::TakenOver { since, .. },
        ) => *since,
        Content::Unattended(unattended) => unattended.visit,
        Content::EveningCheck(_)
        | Content::Runout(_)
        | Content::Withdrawn(_)
        | Content::ReadingsMissing(_)
        | Content::Query(_)
        | Content::Undelivered(_) => notice.at,
    };
    let calling = notice.calling.as_ref();
    Raise {
        source,
        since,
        at_night: notice.priority,
        urgency: calling.map_or(Urgency::Look, |calling| calling.urgency),
        call: calling.map_or(Call::First, |calling| calling.call),
    }
}
