//! A drum that will not last: who is called, when, and when it is over.

use std::collections::BTreeMap;

use claymark_model::forecast::Subject;
use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_notice::content::{Again, Because, DrumState, Runout as Facts, Verdict};
use claymark_notice::{Audience, Content, Priority};
use jiff::Timestamp;

use crate::Room;
use crate::duty;
use crate::runout::{Moment, Step};
use crate::scene::{Finding, Scene, withdrawn};

impl Room {
    /// Tells which drum won't last, tells it again, and withdraws it.
    pub(crate) fn look_at_runouts(&mut self, scene: &Scene) {
        let Self { site, desks, answers, .. } = self;
        let moment = moment_of(scene, site, answers);
        for (desk, forecast) in desks.iter_mut().zip(&scene.forecasts) {
            desk.runout.observe(&moment, forecast);
        }
        for (place, forecast) in scene.forecasts.iter().enumerate() {
            let moment = moment_of(scene, &self.site, &self.answers);
            let Some(desk) = self.desks.get(place) else { continue };
            let step = desk.runout.judge(&moment, forecast);
            if step == Step::Wait {
                continue;
            }
            let state = self.state(scene, desk, forecast);
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
        let Some(desk) = self.desks.get(place) else { return };
        let ends = state.forecast.outlook.empty_at();
        let supply = Subject::Supply(desk.drum.pump.clone());
        let facts = Facts {
            be_there_by: ends.and_then(|ends| ends.p05).map(|earliest| earliest - self.site.staff.mixing),
            visit: scene.visit,
            remedy: self.remedy(scene.seen(), desk, &state, (scene.visit.as_ref(), scene.now)),
            because: because.clone(),
            supply: self.supplies(scene.now).into_iter().find(|forecast| forecast.of == supply),
            state,
        };
        let finding = Finding {
            cause: cause(&desk.drum.id),
            drum: Some(desk.drum.id.clone()),
            priority: duty::priority(scene.shift, Priority::Now),
            replaces: desk.runout.told().last().map(|told| told.number),
            to,
            content: Content::Runout(Box::new(facts)),
        };
        let told = self.tell(scene, finding);
        self.with_desk(place, |desk| desk.runout.warned(told, &because, ends));
    }

    fn withdraw_runout(&mut self, scene: &Scene, place: usize, because: Because) {
        let Some(desk) = self.desks.get(place) else { return };
        let (drum, told) = (desk.drum.id.clone(), desk.runout.told());
        let Some(last) = told.last() else { return };
        let to = duty::all_of(told);
        let finding = Finding { to, ..withdrawn(cause(&drum), Some(drum), last, because) };
        self.tell(scene, finding);
        let ends = scene.forecasts.get(place).and_then(|forecast| forecast.outlook.empty_at());
        self.with_desk(place, |desk| desk.runout.withdrawn(scene.now, ends));
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
