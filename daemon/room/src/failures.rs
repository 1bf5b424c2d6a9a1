//! Failures told apart: each is a rule in a file of its own, a pure function from evidence to at most one finding.
//!
//! The list below is their rank: what comes first explains what comes after it. One cause, one notice: while
//! a failure stands, what it explains isn't told beside it.

mod blower;
mod bubbles;
mod clay_weaker;
mod consequences;
mod drum_air;
mod drum_swapped;
mod fresh_water_low;
mod heater;
mod line_plugged;
mod lumps;
mod no_slurry;
mod out_of_limits;
mod overflow;
mod oxygen;
mod power_cut;
mod probe_fouled;
mod probe_out;
mod pump_changed;
mod pump_stopped;
mod tube_split;
mod tube_wear;
mod water_only;
mod wrong_weighing;

use jiff::{SignedDuration, Timestamp};

use consequences::{may_bring, moves, stands_for, starves};

use crate::Room;
use crate::audience::Told;
use crate::drum_record::DrumRecord;
use crate::evidence::Evidence;
use crate::scene::{Finding, Scene, withdrawn};
use claymark_model::id::Id;
use claymark_model::site::Sensor;
use claymark_notice::content::{Because, SilentSensor, Standing};
use claymark_notice::failure::{Failure, Fault, Limited, PumpChanged, Sign};
use claymark_notice::{Content, Notice, Priority};

/// One row: how it is found, and how one knows that it is over.
struct Rule {
    find: fn(&Evidence<'_>) -> Option<Found>,
    /// Whether it is the one that tells of that.
    tells: fn(&Fault) -> bool,
    is_over: fn(&Evidence<'_>, &Failure) -> bool,
}

/// All rules, in the order of their rank.
const RULES: [Rule; 23] = [
    power_cut::RULE,
    blower::RULE,
    oxygen::RULE,
    probe_out::RULE,
    tube_split::RULE,
    line_plugged::RULE,
    pump_stopped::RULE,
    water_only::RULE,
    wrong_weighing::RULE,
    lumps::RULE,
    fresh_water_low::RULE,
    overflow::RULE,
    pump_changed::RULE,
    drum_swapped::RULE,
    heater::RULE,
    drum_air::RULE,
    clay_weaker::RULE,
    tube_wear::RULE,
    probe_fouled::RULE,
    bubbles::RULE,
    out_of_limits::TEMPERATURE,
    out_of_limits::TURBIDITY,
    out_of_limits::SATURATION,
];

/// What a rule has found.
#[derive(Debug)]
pub(crate) struct Found {
    /// Names the cause: "pump:p1".
    cause: String,
    fault: Fault,
    since: Timestamp,
    signs: Vec<Sign>,
    drum: Option<Id>,
    /// While nobody is there.
    at_night: Priority,
    stage: u8,
}

/// A failure that people were told of.
#[derive(Debug)]
struct Open {
    cause: String,
    failure: Failure,
    told: Told,
    over_since: Option<Timestamp>,
}

/// The failures that stand.
#[derive(Debug, Default)]
pub(crate) struct Failures {
    open: Vec<Open>,
    /// Causes of failures that were withdrawn, and until when they aren't told again.
    quiet: Vec<(String, Timestamp)>,
}

impl Failures {
    /// People had been told before a restart.
    pub(crate) fn recall(&mut self, cause: &str, failure: &Failure, told: Told) {
        self.tell(cause.to_owned(), failure.clone(), told);
    }

    /// A failure had been withdrawn before a restart.
    pub(crate) fn recall_over(&mut self, notice: &Notice) {
        self.open.retain(|open| open.cause != notice.cause);
    }

    /// Whether a failure that stands explains why a drum's level stands still.
    pub(crate) fn explain_standing(&self, drum: &Id, drawn_by: &Id) -> bool {
        let stands = |fault: &Fault| {
            matches!(fault, Fault::PumpStopped { pump, .. } | Fault::LinePlugged { pump } if pump == drawn_by)
                || matches!(fault, Fault::DrumSwapped { from, .. } if from == drum)
        };
        self.open.iter().any(|open| stands(&open.failure.fault))
    }

    /// A failure that stands and may be why less of a drum's clay arrives.
    fn starving(&self, drum: &Id) -> Option<&Failure> {
        let mut standing = self.open.iter().map(|open| &open.failure);
        standing.find(|failure| {
            starves(&failure.fault) && failure.drum.as_ref().is_none_or(|state| state.drum == *drum)
        })
    }

    /// What stands, and the notices that told it.
    pub(crate) fn standing(&self) -> Vec<Standing> {
        let standing = |open: &Open| Standing { notice: open.told.number, failure: open.failure.clone() };
        self.open.iter().filter(|open| open.over_since.is_none()).map(standing).collect()
    }

    /// Whether something stands that makes turbidity tell of more than the clay.
    pub(crate) fn cloud(&self) -> bool {
        self.open.iter().any(|open| {
            moves(&open.failure.fault, Limited::Turbidity) || open.failure.fault == Fault::PowerCut
        })
    }

    /// When something is due if nothing happens.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.open.iter().filter_map(|open| open.over_since.map(|since| since + OVER_FOR)).min()
    }

    /// Takes note of what is over.
    fn observe(&mut self, evidence: &Evidence<'_>) {
        for open in &mut self.open {
            let mut rules = RULES.iter().filter(|rule| (rule.tells)(&open.failure.fault));
            let over = rules.any(|rule| (rule.is_over)(evidence, &open.failure));
            open.over_since = if over { open.over_since.or(Some(evidence.now)) } else { None };
        }
    }

    /// What has been over for long enough; what has stood for half a day has become how things are.
    fn take_ended(&mut self, now: Timestamp) -> Vec<Open> {
        let over = |open: &Open| open.over_since.is_some_and(|since| since + OVER_FOR <= now);
        let (ended, open): (Vec<_>, Vec<_>) = std::mem::take(&mut self.open).into_iter().partition(over);
        self.open =
            open.into_iter().filter(|open| now < open.told.at + stands_for(&open.failure.fault)).collect();
        self.quiet.retain(|(_, until)| now < *until);
        self.quiet.extend(ended.iter().map(|open| (open.cause.clone(), now + QUIET_FOR)));
        ended
    }

    fn tell(&mut self, cause: String, failure: Failure, told: Told) {
        self.open.retain(|open| open.cause != cause);
        self.open.push(Open { cause, failure, told, over_since: None });
    }

    /// Whether a finding is news: neither told at this stage, nor explained by what was.
    fn is_news(&self, now: Timestamp, found: &Found) -> bool {
        let known = self.open.iter().find(|open| open.cause == found.cause);
        let quiet = self.quiet.iter().any(|(cause, until)| *cause == found.cause && now < *until);
        match known.map(|open| (&open.failure, &open.failure.fault, &found.fault)) {
            // It names the cause of what was told.
            Some((_, Fault::OxygenFalls { .. }, Fault::Blower { .. })) => true,
            Some((_, Fault::Blower { .. }, Fault::OxygenFalls { .. })) => false,
            Some((open, ..)) => found.stage > open.stage,
            None => !quiet && !self.open.iter().any(|open| explains(&open.failure, found)),
        }
    }
}

/// Whether a failure that stands explains a finding: it moves the same water at the same time, or comes of it.
fn explains(open: &Failure, found: &Found) -> bool {
    let together = found.since.duration_since(open.since).abs() <= SAME_TIME;
    together || may_bring(&open.fault, &found.fault)
}

impl Room {
    /// Tells what has failed, and when it is over.
    pub(crate) fn check_failures(&mut self, scene: &mut Scene) {
        self.learn(scene);
        let mut failures = std::mem::take(&mut self.failures);
        let evidence = Evidence::of(self, scene);
        failures.observe(&evidence);
        let found: Vec<Found> = RULES.iter().filter_map(|rule| (rule.find)(&evidence)).collect();
        self.failures = failures;
        self.end_failures(scene);
        for found in found {
            if self.failures.is_news(scene.now, &found) {
                self.hint(scene, &found);
                self.tell_failure(scene, found);
            }
        }
    }

    /// Why less of a drum's clay arrives than should: what people were told and still stands, else what shows now.
    pub(crate) fn starving(&self, now: Timestamp, drum: &Id) -> Option<Failure> {
        if let Some(standing) = self.failures.starving(drum) {
            return Some(standing.clone());
        }
        let scene = self.scene(now, now, now);
        let evidence = Evidence::of(self, &scene);
        let mut found = RULES.iter().filter_map(|rule| (rule.find)(&evidence));
        let ours = |found: &Found| found.drum.as_ref().is_none_or(|of| of == drum);
        let found = found.find(|found| starves(&found.fault) && ours(found))?;
        Some(self.failure(&scene, &found))
    }

    /// All facts of what was found.
    fn failure(&self, scene: &Scene, found: &Found) -> Failure {
        let is_ours = |record: &DrumRecord| found.drum.as_ref() == Some(&record.drum.id);
        let place = self.records.iter().position(is_ours);
        Failure {
            fault: found.fault.clone(),
            since: found.since,
            signs: found.signs.clone(),
            near: self.journal.nearest(found.since).cloned(),
            drum: place.and_then(|place| self.state_at(scene, place)),
            visit: scene.visit,
            stage: found.stage,
        }
    }

    /// What people are told of a draw is what its drum is forecast by.
    fn hint(&mut self, scene: &mut Scene, found: &Found) {
        let Fault::PumpChanged(PumpChanged { by_clay: Some(by_clay), .. }) = &found.fault else { return };
        for (record, forecast) in self.records.iter_mut().zip(&mut scene.forecasts) {
            if found.drum.as_ref() == Some(&record.drum.id) {
                record.watch.hint_change(found.since, *by_clay);
                record.watch.advance(scene.now);
                *forecast = record.watch.forecast(scene.now);
            }
        }
        self.take_happenings();
    }

    fn tell_failure(&mut self, scene: &Scene, found: Found) {
        let failure = self.failure(scene, &found);
        let Found { cause, drum, at_night, .. } = found;
        let before = self.failures.open.iter().find(|open| open.cause == cause).map(|open| open.told.number);
        let content = Content::Failure(Box::new(failure.clone()));
        let finding =
            Finding { drum, replaces: before, ..self.on_duty(scene, cause.clone(), at_night, content) };
        let told = self.tell(scene, finding);
        if failure.fault == Fault::PowerCut {
            // Their silence is told by this; that they speak again is told as usual.
            let mains = |sensor: &&Sensor| sensor.mains == Some(true);
            let silent = self.site.sensors.iter().filter(mains).map(|sensor| SilentSensor {
                sensor: sensor.id.clone(),
                last: self.sensors.last(&sensor.id),
            });
            let silent: Vec<SilentSensor> = silent.collect();
            self.sensors.tell(told.clone(), &silent);
        }
        self.failures.tell(cause, failure, told);
    }

    fn end_failures(&mut self, scene: &Scene) {
        for open in self.failures.take_ended(scene.now) {
            // The silence of the sensors ends in a message of its own.
            if open.failure.fault == Fault::PowerCut {
                continue;
            }
            let because = Because::FailureOver { failure: Box::new(open.failure) };
            self.tell(scene, withdrawn(open.cause, None, &open.told, because));
        }
    }
}

/// Two signs of one failure show within this time of each other.
const SAME_TIME: SignedDuration = SignedDuration::from_mins(20);
/// Over for so long before it is withdrawn.
const OVER_FOR: SignedDuration = SignedDuration::from_mins(15);
/// The same cause isn't told again for so long after it was withdrawn.
const QUIET_FOR: SignedDuration = SignedDuration::from_mins(30);
