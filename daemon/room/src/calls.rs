//! A drum that will not last: who is called, when, and when it is over.

use std::collections::BTreeMap;

use claymark_model::forecast::Subject;
use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_notice::content::{Again, Because, DrumState, Runout as Facts, Verdict};
use claymark_notice::{Audience, Content, Priority};
use jiff::Timestamp;

use crate::Room;
use crate::audience;
use crate::runout::{Moment, Step};
use crate::scene::{Finding, Scene, withdrawn};

impl Room {
    /// Tells which drum won't last, tells it again, and withdraws it.
    pub(crate) fn check_runouts(&mut self, scene: &Scene) {
        let Self { site, records, answers, .. } = self;
        let moment = moment_of(scene, site, answers);
        for (record, forecast) in records.iter_mut().zip(&scene.forecasts) {
            record.runout.observe(&moment, forecast);
        }
        for (place, forecast) in scene.forecasts.iter().enumerate() {
            let moment = moment_of(scene, &self.site, &self.answers);
            let Some(record) = self.records.get(place) else { continue };
            let step = record.runout.judge(&moment, forecast);
            if step == Step::Wait {
                continue;
            }
            let state = self.state(scene, record, forecast);
            match step {
                Step::Wait => {}
                Step::Warn(because, to) => self.warn(scene, place, state, (because, to)),
                Step::Refilled(refill) => {
                    let of_outlook = |visit| Verdict::of_outlook(&forecast.outlook, &visit);
                    let verdict = scene.visit.map_or(Verdict::Unknown, of_outlook);
                    let because = Because::Refilled { state, refill, visit: scene.visit, verdict };
                    self.withdraw_runout(scene, place, because);
                }
                Step::Lasts => {
                    let because = Because::LastsAfterAll { state, visit: scene.visit };
                    self.withdraw_runout(scene, place, because);
                }
            }
        }
    }

    fn warn(&mut self, scene: &Scene, place: usize, state: DrumState, (because, to): (Again, Audience)) {
        let Some(record) = self.records.get(place) else { return };
        let ends = state.forecast.outlook.empty_at();
        let supply = Subject::Supply(record.drum.pump.clone());
        let facts = Facts {
            be_there_by: ends.and_then(|ends| ends.p05).map(|earliest| earliest - self.site.staff.mixing),
            visit: scene.visit,
            remedy: self.remedy(scene.seen(), record, &state, (scene.visit.as_ref(), scene.now)),
            because: because.clone(),
            supply: self.supplies(scene.now).into_iter().find(|forecast| forecast.of == supply),
            state,
        };
        let finding = Finding {
            cause: cause(&record.drum.id),
            drum: Some(record.drum.id.clone()),
            priority: audience::priority(scene.shift, Priority::Now),
            replaces: record.runout.told().last().map(|told| told.number),
            to,
            content: Content::Runout(Box::new(facts)),
        };
        let told = self.tell(scene, finding);
        self.with_record(place, |record| record.runout.warned(told, &because, ends));
    }

    fn withdraw_runout(&mut self, scene: &Scene, place: usize, because: Because) {
        let Some(record) = self.records.get(place) else { return };
        let (drum, told) = (record.drum.id.clone(), record.runout.told());
        let Some(last) = told.last() else { return };
        let to = audience::all_of(told);
        let finding = Finding { to, ..withdrawn(cause(&drum), Some(drum), last, because) };
        self.tell(scene, finding);
        let ends = scene.forecasts.get(place).and_then(|forecast| forecast.outlook.empty_at());
        self.with_record(place, |record| record.runout.withdrawn(scene.now, ends));
    }
}

/// What counts for a run-out at one look.
pub(crate) fn moment_of<'a>(
    scene: &Scene,
    site: &'a Site,
    answers: &'a BTreeMap<u64, Timestamp>,
) -> Moment<'a> {
    Moment { now: scene.now, shift: scene.shift, staff: &site.staff, contacts: &site.contacts, answers }
}

fn cause(drum: &Id) -> String {
    format!("runout:{drum}")
}
