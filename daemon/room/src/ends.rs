//! The ends of supplies: who is called, when, and when it is over.
//!
//! What is called is the supply that ends. Drums drawn together through one line are one supply; any other drum is one by
//! itself, for hands must go and open the next one.

use claymark_model::forecast::{EmptyAt, Forecast, Subject};
use claymark_model::happening::SeenRefill;
use claymark_model::id::Id;
use claymark_model::site::{Draws, Site};
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Again, Because, DrumState, EveningCheck, Runout as Facts, Verdict};
use claymark_notice::{Call, Content, Notice, Priority, Urgency};
use jiff::{SignedDuration, Timestamp};

use crate::action::{AlarmAction, Finding};
use crate::alarms::{AlarmSource, Alarms, Raise};
use crate::audience;
use crate::drum_record::DrumRecord;
use crate::failures::Failures;
use crate::runout::{EndWatch, Moment, Step};
use crate::scene::RoomView;

/// One supply, and what people heard of its end.
#[derive(Debug)]
struct SupplyEnd {
    cause: String,
    pump: Id,
    /// Several drums of one line.
    joint: bool,
    /// Of the records, in their order.
    drums: Vec<usize>,
    runout: EndWatch,
}

/// All supplies of a site.
#[derive(Debug, Default)]
pub(crate) struct SupplyEnds(Vec<SupplyEnd>);

/// What one look says of a supply.
pub(crate) struct JudgedEnd {
    pub(crate) cause: String,
    pub(crate) step: Step,
    /// Whether what was told still holds; `None`: nothing was told.
    pub(crate) holds: Option<Holds>,
    /// How pressing it is by now, where it was told.
    pub(crate) presses: Option<AlarmAction>,
    forecast: Forecast,
}

impl SupplyEnds {
    /// In the order of the site's drums.
    pub(crate) fn all(site: &Site) -> Self {
        let mut all: Vec<SupplyEnd> = Vec::new();
        for (place, drum) in site.drums.iter().enumerate() {
            let together = site.pump(&drum.pump).is_some_and(|pump| pump.draws == Draws::Together);
            let joint = together && site.drums_of(&drum.pump).nth(1).is_some();
            match all.iter_mut().find(|end| joint && end.joint && end.pump == drum.pump) {
                Some(end) => end.drums.push(place),
                None => {
                    let cause = if joint { format!("runout:pump:{}", drum.pump) } else { cause(&drum.id) };
                    let (pump, drums, runout) = (drum.pump.clone(), vec![place], EndWatch::default());
                    all.push(SupplyEnd { cause, pump, joint, drums, runout });
                }
            }
        }
        Self(all)
    }

    /// How many.
    pub(crate) fn count(&self) -> usize {
        self.0.len()
    }

    /// The cause of the supply that a record's drum belongs to.
    pub(crate) fn cause_of(&self, drum: usize) -> Option<&str> {
        self.0.iter().find(|end| end.drums.contains(&drum)).map(|end| end.cause.as_str())
    }

    /// Whether people are being called for the end of one.
    pub(crate) fn are_danger(&self, alarms: &Alarms) -> bool {
        self.0.iter().any(|end| alarms.is_danger(&end.cause))
    }

    /// The data show a refill of that record's drum; `called` is when people were called last.
    pub(crate) fn refill_seen(&mut self, drum: usize, refill: SeenRefill, called: Option<Timestamp>) {
        if let Some(end) = self.0.iter_mut().find(|end| end.drums.contains(&drum)) {
            end.runout.refill_seen(refill, called);
        }
    }

    /// The evening check told all of them.
    pub(crate) fn evening_told(&mut self, at: Timestamp, check: &EveningCheck) {
        for end in &mut self.0 {
            let of = Subject::Supply(end.pump.clone());
            let forecast = if end.joint {
                check.supplies.iter().find(|forecast| forecast.of == of)
            } else {
                end.drums.first().and_then(|place| Some(&check.drums.get(*place)?.state.forecast))
            };
            end.runout.evening_told(at, forecast.and_then(|forecast| forecast.outlook.empty_at()));
        }
    }

    /// A warning had been told before a restart.
    pub(crate) fn recall(&mut self, notice: &Notice, runout: &Facts) {
        if let Some(end) = self.0.iter_mut().find(|end| end.cause == notice.cause) {
            let drum = &runout.state.forecast;
            let forecast = if end.joint { runout.supply.as_ref().unwrap_or(drum) } else { drum };
            end.runout.warned(notice.at, forecast.outlook.empty_at());
        }
    }

    /// A warning had been withdrawn before a restart.
    pub(crate) fn recall_withdrawn(&mut self, notice: &Notice, state: &DrumState) {
        if let Some(end) = self.0.iter_mut().find(|end| end.cause == notice.cause) {
            end.runout.withdrawn(notice.at, state.forecast.outlook.empty_at());
        }
    }

    /// When something is due.
    pub(crate) fn wake(&self, view: &RoomView<'_>) -> impl Iterator<Item = Timestamp> {
        self.0.iter().filter_map(|end| end.runout.wake(&end.moment(view), &end.forecast(view)?))
    }

    /// Looks at one of them.
    pub(crate) fn judge(
        &mut self,
        view: &RoomView<'_>,
        failures: &Failures,
        place: usize,
    ) -> Option<JudgedEnd> {
        let end = self.0.get_mut(place)?;
        let forecast = end.forecast(view)?;
        let moment = end.moment(view);
        end.runout.observe(&moment, &forecast);
        let (cause, step) = (end.cause.clone(), end.runout.judge(&moment, &forecast));
        let holds = end.runout.holds(&moment, &forecast);
        // What the pump doesn't draw from any more calls nobody, though it is empty.
        let (urgency, at_night) = if end.is_drawn(view, failures) {
            (urgency(&forecast, view.scene.now, view.known.site.staff.mixing), Priority::Now)
        } else {
            (Some(Urgency::Look), Priority::Morning)
        };
        let urgency = urgency.filter(|_| holds.is_some());
        let presses = urgency.map(|urgency| AlarmAction::Press { cause: cause.clone(), urgency, at_night });
        Some(JudgedEnd { cause, step, holds, presses, forecast })
    }

    /// Tells that it won't last, and withdraws it; `lasts`: it does by now.
    pub(crate) fn turned(
        &mut self,
        view: &RoomView<'_>,
        failures: &Failures,
        place: usize,
        (judged, lasts): (JudgedEnd, bool),
    ) -> Vec<AlarmAction> {
        let Some(end) = self.0.get_mut(place) else { return Vec::new() };
        let visit = view.scene.visit;
        let state = |end: &SupplyEnd| end.nearest(view);
        match judged.step {
            Step::Wait if lasts => {
                let because = state(end).map(|state| Because::LastsAfterAll { state, visit });
                because.and_then(|because| end.withdraw(view, because)).into_iter().collect()
            }
            Step::Wait => Vec::new(),
            Step::Warn(because) if end.is_drawn(view, failures) => end.warn(view, failures, &because),
            Step::Warn(_) => Vec::new(),
            Step::Refilled(refill) => {
                let of_outlook = |visit| Verdict::of_outlook(&judged.forecast.outlook, &visit);
                let verdict = visit.map_or(Verdict::Unknown, of_outlook);
                let because = state(end).map(|state| Because::Refilled { state, refill, visit, verdict });
                because.and_then(|because| end.withdraw(view, because)).into_iter().collect()
            }
        }
    }

    /// What is to be said when people are called once more.
    pub(crate) fn again(&mut self, view: &RoomView<'_>, cause: &str) -> Option<(Option<Id>, Content)> {
        let end = self.0.iter_mut().find(|end| end.cause == cause)?;
        let facts = end.facts(view, &Again::Due)?;
        end.runout.warned(view.scene.now, end.ends(view));
        Some((Some(facts.state.drum.clone()), Content::Runout(Box::new(facts))))
    }
}

impl SupplyEnd {
    /// What counts for it at one look.
    fn moment<'a>(&self, view: &RoomView<'a>) -> Moment<'a> {
        let relieves = |(record, forecast): (&DrumRecord, &Forecast)| {
            self.pump == record.drum.pump && forecast.in_use && record.ran_empty().is_none()
        };
        Moment {
            now: view.scene.now,
            shift: view.scene.shift,
            staff: &view.known.site.staff,
            attended: view.scene.attended,
            relieved: view.known.records.iter().zip(&view.scene.forecasts).any(relieves),
        }
    }

    /// Whether the pump draws from it, by all that people were told.
    fn is_drawn(&self, view: &RoomView<'_>, failures: &Failures) -> bool {
        !self.ids(view).all(|drum| failures.swapped_from(drum))
    }

    fn ids<'a>(&self, view: &RoomView<'a>) -> impl Iterator<Item = &'a Id> {
        let records = &view.known.records;
        self.drums.iter().filter_map(|place| Some(&records.get(*place)?.drum.id))
    }

    /// What is forecast of it.
    fn forecast(&self, view: &RoomView<'_>) -> Option<Forecast> {
        if !self.joint {
            return view.scene.forecasts.get(*self.drums.first()?).cloned();
        }
        view.known.supply(view.scene.now, &self.pump)
    }

    /// When it ends.
    fn ends(&self, view: &RoomView<'_>) -> Option<EmptyAt> {
        self.forecast(view)?.outlook.empty_at()
    }

    /// What is known of its drum that ends first.
    fn nearest(&self, view: &RoomView<'_>) -> Option<DrumState> {
        let likely = |place: &usize| {
            let ends = view.scene.forecasts.get(*place).and_then(|forecast| forecast.outlook.empty_at());
            ends.and_then(|ends| ends.p50).unwrap_or(Timestamp::MAX)
        };
        view.state_at(self.drums.iter().copied().min_by_key(likely)?)
    }

    fn warn(&mut self, view: &RoomView<'_>, failures: &Failures, because: &Again) -> Vec<AlarmAction> {
        let Some(facts) = self.facts(view, because) else { return Vec::new() };
        let (now, shift) = (view.scene.now, view.scene.shift);
        let before = view.alarms.last(&self.cause);
        let raise = Raise {
            source: AlarmSource::Runout,
            since: now,
            at_night: Priority::Now,
            urgency: facts.urgency(now),
            call: if before.is_some() { Call::Worse } else { Call::First },
        };
        let contacts = view.scene.on_call.for_what(raise.urgency);
        let finding = Finding {
            cause: self.cause.clone(),
            drum: Some(facts.state.drum.clone()),
            priority: audience::priority(shift, Priority::Now),
            replaces: before.map(|told| told.number),
            to: audience::same_or_first(contacts, shift, before.map(|told| &told.to)),
            content: Content::Runout(Box::new(facts)),
        };
        self.runout.warned(now, self.ends(view));
        // Nobody is called once more for a draw that changed, while people are called for the end that it brings.
        let until = view.scene.visit.map_or(now, |visit| visit.at) + JOINED_FOR;
        let joined = failures.of_draw(&self.ids(view).collect::<Vec<_>>());
        let joined = joined.into_iter().map(|cause| AlarmAction::Begin { cause, until });
        [AlarmAction::Raise(finding, raise)].into_iter().chain(joined).collect()
    }

    /// All facts of its end.
    fn facts(&self, view: &RoomView<'_>, because: &Again) -> Option<Facts> {
        let (known, scene) = (view.known, view.scene);
        let state = self.nearest(view)?;
        let earliest = self.forecast(view)?.outlook.empty_at().and_then(|ends| ends.p05);
        let record = known.records.iter().find(|record| record.drum.id == state.drum)?;
        Some(Facts {
            be_there_by: earliest.map(|earliest| earliest - known.site.staff.mixing),
            visit: scene.visit,
            remedy: known.remedy(scene.seen(), record, &state, (scene.visit.as_ref(), scene.now)),
            because: because.clone(),
            supply: known.supply(scene.now, &self.pump),
            state,
        })
    }

    fn withdraw(&mut self, view: &RoomView<'_>, because: Because) -> Option<AlarmAction> {
        let drum = self.nearest(view).map(|state| state.drum);
        let short = matches!(&because, Because::Refilled { verdict: Verdict::WillNotLast, .. });
        let mut action = view.withdrawn(&self.cause, drum, because, None)?;
        // Whoever has poured still stands there.
        if let (true, AlarmAction::Withdraw(finding, _)) = (short, &mut action) {
            finding.priority = audience::priority(view.scene.shift, Priority::Now);
        }
        self.runout.withdrawn(view.scene.now, self.ends(view));
        Some(action)
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
