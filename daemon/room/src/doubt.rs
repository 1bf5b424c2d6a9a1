//! A level that isn't believed: its drum is watched worse than usual.

use jiff::Timestamp;

use crate::Room;
use crate::alarms::{AlarmSource, QUIET_FOR, Raise, Turn, WELL_FOR};
use crate::audience::Told;
use crate::drum_record::DrumRecord;
use crate::scene::{Finding, Scene, withdrawn};
use claymark_model::id::Id;
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, LevelDoubt};
use claymark_notice::{Call, Content, Priority, Urgency};

impl Room {
    /// Tells which level isn't believed, and when it is again.
    pub(crate) fn check_doubts(&mut self, scene: &Scene) {
        for place in 0..self.records.len() {
            let Some(record) = self.records.get(place) else { continue };
            let cause = cause(&record.drum.id);
            let holds = self.doubted_since(scene, record).map_or(Holds::No, Holds::Since);
            match self.alarms.observe(&cause, AlarmSource::Doubt, (scene.now, holds)) {
                Turn::Nothing => {}
                Turn::Tell(since) => self.tell_doubt(scene, place, since),
                Turn::Withdraw(since) => {
                    if let Some(told) = self.alarms.last(&cause).cloned() {
                        self.withdraw_doubt(scene, place, &told, since);
                    }
                }
            }
        }
    }

    fn tell_doubt(&mut self, scene: &Scene, place: usize, since: Timestamp) {
        let Some(state) = self.state_at(scene, place) else { return };
        let at_night = if state.forecast.in_use { Priority::Now } else { Priority::Morning };
        let (drum, cause) = (state.drum.clone(), cause(&state.drum));
        let content = Content::LevelDoubt(Box::new(LevelDoubt { state, visit: scene.visit }));
        let finding = Finding { drum: Some(drum), ..self.on_duty(scene, cause, at_night, content) };
        let raise =
            Raise { source: AlarmSource::Doubt, since, at_night, urgency: Urgency::Look, call: Call::First };
        self.raise(scene, finding, raise, None);
    }

    /// What is to be said when people are called once more.
    pub(crate) fn doubt_again(&self, scene: &Scene, of: &str) -> Option<(Option<Id>, Content)> {
        let place = self.records.iter().position(|record| cause(&record.drum.id) == of)?;
        let state = self.state_at(scene, place)?;
        let drum = state.drum.clone();
        Some((Some(drum), Content::LevelDoubt(Box::new(LevelDoubt { state, visit: scene.visit }))))
    }

    fn withdraw_doubt(&mut self, scene: &Scene, place: usize, told: &Told, since: Timestamp) {
        let Some(state) = self.state_at(scene, place) else { return };
        let (drum, cause) = (state.drum.clone(), cause(&state.drum));
        // All has been well for so long when it is told.
        let until = Some(scene.now - WELL_FOR);
        let because = Because::LevelBelieved { state, since, until };
        self.tell(scene, withdrawn(cause.clone(), Some(drum), told, because));
        self.alarms.over(&cause, Some(told.at + QUIET_FOR));
    }

    /// A level that isn't believed though its sensor speaks; one that doesn't is told as silence.
    fn doubted_since(&self, scene: &Scene, record: &DrumRecord) -> Option<Timestamp> {
        let level = self.site.level_sensor(&record.drum.id)?;
        let doubt = record.watch.doubt(scene.now)?;
        let explained = self.failures.explain_standing(&record.drum.id, &record.drum.pump);
        (!explained && !self.sensors.overdue(&level.id, scene.now)).then_some(doubt.since)
    }
}

fn cause(drum: &Id) -> String {
    format!("level:{drum}")
}
