//! A level that isn't believed: its drum is watched worse than usual, and that is told once.

use jiff::{SignedDuration, Timestamp};

use crate::Room;
use crate::audience::Told;
use crate::condition::Turn;
use crate::drum_record::DrumRecord;
use crate::scene::{Finding, Scene, withdrawn};
use claymark_model::id::Id;
use claymark_notice::content::{Because, LevelDoubt};
use claymark_notice::{Content, Priority};

impl Room {
    /// Tells which level isn't believed, and when it is again.
    pub(crate) fn check_doubts(&mut self, scene: &Scene) {
        for place in 0..self.records.len() {
            let doubted_since = self.records.get(place).and_then(|record| self.doubted_since(scene, record));
            let Some(record) = self.records.get_mut(place) else { continue };
            record.doubt.observe(scene.now, doubted_since);
            let turn = record.doubt.turn(scene.now, DOUBT_PATIENCE);
            let (drum, told) = (record.drum.id.clone(), record.doubt.told().cloned());
            match (turn, told) {
                (Turn::Nothing, _) | (Turn::Withdraw(_), None) => {}
                (Turn::Tell(since), _) => self.tell_doubt(scene, place, drum, since),
                (Turn::Withdraw(since), Some(told)) => {
                    self.withdraw_doubt(scene, place, drum, (&told, since))
                }
            }
        }
    }

    fn tell_doubt(&mut self, scene: &Scene, place: usize, drum: Id, since: Timestamp) {
        let Some(state) = self.state_at(scene, place) else { return };
        let at_night = if state.forecast.in_use { Priority::Now } else { Priority::Morning };
        let content = Content::LevelDoubt(Box::new(LevelDoubt { state, visit: scene.visit }));
        let finding =
            Finding { drum: Some(drum.clone()), ..self.on_duty(scene, cause(&drum), at_night, content) };
        let told = self.tell(scene, finding);
        self.with_record(place, |record| record.doubt.tell(since, told));
    }

    fn withdraw_doubt(&mut self, scene: &Scene, place: usize, drum: Id, (told, since): (&Told, Timestamp)) {
        let Some(state) = self.state_at(scene, place) else { return };
        let because = Because::LevelBelieved { state, since };
        self.tell(scene, withdrawn(cause(&drum), Some(drum), told, because));
        self.with_record(place, |record| record.doubt.withdraw());
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

/// Foam comes and goes: a doubt is told when it has lasted.
pub(crate) const DOUBT_PATIENCE: SignedDuration = SignedDuration::from_mins(10);
