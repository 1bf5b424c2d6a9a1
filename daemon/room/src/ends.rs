//! The ends of supplies: who is called, when, and when it is over.
//!
//! What is called is the supply that ends. Drums drawn together through one line are one supply; any other drum is one by
//! itself, for hands must go and open the next one.

use claymark_model::forecast::{Forecast, Subject};
use claymark_model::id::Id;
use claymark_model::site::{Draws, Site};
use claymark_notice::content::{Again, Because, DrumState, Runout as Facts, Verdict};
use claymark_notice::{Call, Content, Priority, Urgency};
use jiff::{SignedDuration, Timestamp};

use crate::Room;
use crate::alarms::{AlarmSource, Pending, Raise, Turn};
use crate::audience;
use crate::drum_record::DrumRecord;
use crate::runout::{EndWatch, Moment, Step};
use crate::scene::{Finding, Scene, withdrawn};

/// One supply, and what people heard of its end.
#[derive(Debug)]
pub(crate) struct SupplyEnd {
    pub(crate) cause: String,
    pump: Id,
    /// Several drums of one line.
    joint: bool,
    /// Of the records, in their order.
    drums: Vec<usize>,
    pub(crate) runout: EndWatch,
}

impl SupplyEnd {
    /// All of a site, in the order of its drums.
    pub(crate) fn all(site: &Site) -> Vec<Self> {
        let mut all: Vec<Self> = Vec::new();
        for (place, drum) in site.drums.iter().enumerate() {
            let together = site.pump(&drum.pump).is_some_and(|pump| pump.draws == Draws::Together);
            let joint = together && site.drums_of(&drum.pump).nth(1).is_some();
            match all.iter_mut().find(|end| joint && end.joint && end.pump == drum.pump) {
                Some(end) => end.drums.push(place),
                None => {
                    let cause = if joint { format!("runout:pump:{}", drum.pump) } else { cause(&drum.id) };
                    let (pump, drums, runout) = (drum.pump.clone(), vec![place], EndWatch::default());
                    all.push(Self { cause, pump, joint, drums, runout });
                }
            }
        }
        all
    }

    /// Whether it is several drums of one line.
    pub(crate) fn is_joint(&self) -> bool {
        self.joint
    }

    /// Whether that record's drum is one of its.
    pub(crate) fn has(&self, place: usize) -> bool {
        self.drums.contains(&place)
    }
}

impl Room {
    /// Tells which supply won't last, and withdraws it.
    pub(crate) fn check_ends(&mut self, scene: &Scene) {
        for place in 0..self.ends.len() {
            let Some(forecast) = self.ends.get(place).and_then(|end| self.forecast_of(scene, end)) else {
                continue;
            };
            let mut ends = std::mem::take(&mut self.ends);
            let judged = ends.get_mut(place).map(|end| {
                let moment = self.moment(scene, end);
                end.runout.observe(&moment, &forecast);
                (
                    end.cause.clone(),
                    end.runout.judge(&moment, &forecast),
                    end.runout.holds(&moment, &forecast),
                )
            });
            self.ends = ends;
            let Some((cause, step, holds)) = judged else { continue };
            let lasts = holds.is_some_and(|holds| {
                let urgency = urgency(&forecast, scene.now, self.site.staff.mixing);
                // What the pump doesn't draw from any more calls nobody, though it is empty.
                let drawn = self.ends.get(place).is_some_and(|end| self.is_drawn(end));
                let (urgency, at_night) =
                    if drawn { (urgency, Priority::Now) } else { (Some(Urgency::Look), Priority::Morning) };
                urgency.into_iter().for_each(|urgency| self.alarms.presses(&cause, urgency, at_night));
                let turn = self.alarms.observe(&cause, AlarmSource::Runout, (scene.now, holds));
                matches!(turn, Turn::Withdraw(_))
            });
            match step {
                Step::Wait if lasts => {
                    let Some(state) = self.nearest(scene, place) else { continue };
                    self.withdraw_runout(scene, place, Because::LastsAfterAll { state, visit: scene.visit });
                }
                Step::Wait => {}
                Step::Warn(because) => {
                    if self.ends.get(place).is_some_and(|end| self.is_drawn(end)) {
                        self.warn(scene, place, &because);
                    }
                }
                Step::Refilled(refill) => {
                    let of_outlook = |visit| Verdict::of_outlook(&forecast.outlook, &visit);
                    let verdict = scene.visit.map_or(Verdict::Unknown, of_outlook);
                    let Some(state) = self.nearest(scene, place) else { continue };
                    let because = Because::Refilled { state, refill, visit: scene.visit, verdict };
                    self.withdraw_runout(scene, place, because);
                }
            }
        }
    }

    /// When one is due.
    pub(crate) fn ends_due(&self, scene: &Scene) -> impl Iterator<Item = Timestamp> {
        let due = |place: usize| {
            let end = self.ends.get(place)?;
            end.runout.wake(&self.moment(scene, end), &self.forecast_of(scene, end)?)
        };
        (0..self.ends.len()).filter_map(due)
    }

    /// What counts for a supply at one look.
    fn moment<'a>(&'a self, scene: &Scene, end: &SupplyEnd) -> Moment<'a> {
        let relieves = |(record, forecast): (&DrumRecord, &Forecast)| {
            end.pump == record.drum.pump && forecast.in_use && record.ran_empty().is_none()
        };
        Moment {
            now: scene.now,
            shift: scene.shift,
            staff: &self.site.staff,
            attended: scene.attended,
            relieved: self.records.iter().zip(&scene.forecasts).any(relieves),
        }
    }

    /// Whether the pump draws from it, by all that people were told.
    fn is_drawn(&self, end: &SupplyEnd) -> bool {
        let swapped = |place: &usize| {
            let record = self.records.get(*place);
            record.is_some_and(|record| self.failures.swapped_from(&record.drum.id))
        };
        !end.drums.iter().all(swapped)
    }

    /// What is forecast of a supply.
    fn forecast_of(&self, scene: &Scene, end: &SupplyEnd) -> Option<Forecast> {
        if !end.joint {
            return scene.forecasts.get(*end.drums.first()?).cloned();
        }
        self.supply(scene.now, &end.pump)
    }

    fn supply(&self, now: Timestamp, pump: &Id) -> Option<Forecast> {
        let of = Subject::Supply(pump.clone());
        self.supplies(now).into_iter().find(|forecast| forecast.of == of)
    }

    /// What is known of the drum of a supply that ends first.
    fn nearest(&self, scene: &Scene, place: usize) -> Option<DrumState> {
        let end = self.ends.get(place)?;
        let likely = |place: &usize| {
            let ends = scene.forecasts.get(*place).and_then(|forecast| forecast.outlook.empty_at());
            ends.and_then(|ends| ends.p50).unwrap_or(Timestamp::MAX)
        };
        self.state_at(scene, end.drums.iter().copied().min_by_key(likely)?)
    }

    fn warn(&mut self, scene: &Scene, place: usize, because: &Again) {
        let Some(facts) = self.runout(scene, place, because) else { return };
        let Some(end) = self.ends.get(place) else { return };
        let ends = self.forecast_of(scene, end).and_then(|forecast| forecast.outlook.empty_at());
        let before = self.alarms.last(&end.cause);
        let call = if before.is_some() { Call::Worse } else { Call::First };
        let raise = Raise {
            source: AlarmSource::Runout,
            since: scene.now,
            at_night: Priority::Now,
            urgency: facts.urgency(scene.now),
            call,
        };
        let to = audience::same_or_first(&self.site.contacts, scene.shift, before.map(|told| &told.to));
        let finding = Finding {
            cause: end.cause.clone(),
            drum: Some(facts.state.drum.clone()),
            priority: audience::priority(scene.shift, Priority::Now),
            replaces: before.map(|told| told.number),
            to,
            content: Content::Runout(Box::new(facts)),
        };
        let told = self.raise(scene, finding, raise, None);
        self.joined_by_the_end(scene, place);
        if let Some(end) = self.ends.get_mut(place) {
            end.runout.warned(told.at, ends);
        }
    }

    /// Nobody is called once more for a draw that changed, while people are called for the end that it brings.
    fn joined_by_the_end(&mut self, scene: &Scene, place: usize) {
        let Some(end) = self.ends.get(place) else { return };
        let drums: Vec<&Id> =
            end.drums.iter().filter_map(|place| Some(&self.records.get(*place)?.drum.id)).collect();
        let until = scene.visit.map_or(scene.now, |visit| visit.at) + JOINED_FOR;
        for cause in self.failures.of_draw(&drums) {
            self.alarms.begun(&cause, scene.now, until);
        }
    }

    /// All facts of a supply that ends.
    fn runout(&self, scene: &Scene, place: usize, because: &Again) -> Option<Facts> {
        let end = self.ends.get(place)?;
        let state = self.nearest(scene, place)?;
        let ends = self.forecast_of(scene, end)?.outlook.empty_at();
        let record = self.records.iter().find(|record| record.drum.id == state.drum)?;
        Some(Facts {
            be_there_by: ends.and_then(|ends| ends.p05).map(|earliest| earliest - self.site.staff.mixing),
            visit: scene.visit,
            remedy: self.remedy(scene.seen(), record, &state, (scene.visit.as_ref(), scene.now)),
            because: because.clone(),
            supply: self.supply(scene.now, &end.pump),
            state,
        })
    }

    /// What is to be said when people are called once more.
    pub(crate) fn runout_again(&mut self, scene: &Scene, pending: &Pending) -> Option<(Option<Id>, Content)> {
        let place = self.ends.iter().position(|end| end.cause == pending.cause)?;
        let facts = self.runout(scene, place, &Again::Due)?;
        let ends =
            self.forecast_of(scene, self.ends.get(place)?).and_then(|forecast| forecast.outlook.empty_at());
        self.ends.get_mut(place)?.runout.warned(scene.now, ends);
        Some((Some(facts.state.drum.clone()), Content::Runout(Box::new(facts))))
    }

    fn withdraw_runout(&mut self, scene: &Scene, place: usize, because: Because) {
        let Some(end) = self.ends.get(place) else { return };
        let cause = end.cause.clone();
        let Some(last) = self.alarms.last(&cause).cloned() else { return };
        let drum = self.nearest(scene, place).map(|state| state.drum);
        let ends = self.forecast_of(scene, end).and_then(|forecast| forecast.outlook.empty_at());
        let short = matches!(&because, Because::Refilled { verdict: Verdict::WillNotLast, .. });
        let finding = withdrawn(cause.clone(), drum, &last, because);
        // Whoever has poured still stands there.
        let priority = if short { audience::priority(scene.shift, Priority::Now) } else { finding.priority };
        self.tell(scene, Finding { priority, ..finding });
        self.alarms.over(&cause, None);
        if let Some(end) = self.ends.get_mut(place) {
            end.runout.withdrawn(scene.now, ends);
        }
    }

    /// The evening check told all of them.
    pub(crate) fn evening_told_ends(&mut self, at: Timestamp, drums: &[Forecast], supplies: &[Forecast]) {
        for end in &mut self.ends {
            let of = Subject::Supply(end.pump.clone());
            let forecast = if end.joint {
                supplies.iter().find(|forecast| forecast.of == of)
            } else {
                end.drums.first().and_then(|place| drums.get(*place))
            };
            end.runout.evening_told(at, forecast.and_then(|forecast| forecast.outlook.empty_at()));
        }
    }
}

/// How pressing the end of a supply is; `None`: nothing new can be said.
fn urgency(forecast: &Forecast, now: Timestamp, mixing: SignedDuration) -> Option<Urgency> {
    let earliest = forecast.outlook.empty_at()?.p05?;
    Some(Facts::pressing(Some(earliest - mixing), now))
}

/// By then people have looked at the pump.
const JOINED_FOR: SignedDuration = SignedDuration::from_hours(4);

fn cause(drum: &Id) -> String {
    format!("runout:{drum}")
}
