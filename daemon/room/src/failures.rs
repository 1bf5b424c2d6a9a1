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

use consequences::{follows, may_bring, moves, needs_two, stands_for, starves, urgency};

use crate::Room;
use crate::alarms::{AlarmSource, Raise, Turn};
use crate::audience::{self, Told};
use crate::drum_record::DrumRecord;
use crate::evidence::Evidence;
use crate::scene::{Finding, Scene, withdrawn};
use claymark_model::id::Id;
use claymark_model::site::Sensor;
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, SilentSensor, StandingFailure};
use claymark_notice::failure::{Failure, Fault, Limited, PumpChanged, Sign};
use claymark_notice::{Call, Content, Notice, Priority, Urgency};

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
#[derive(Debug, Clone)]
pub(crate) struct Found {
    /// Names the cause: "pump:p1".
    cause: String,
    fault: Fault,
    since: Timestamp,
    signs: Vec<Sign>,
    drum: Option<Id>,
    /// A hard limit of the fish is broken: nothing hides it.
    hard: Hard,
    /// While nobody is there.
    at_night: Priority,
    stage: u8,
}

/// Whether a hard limit of the fish is broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Hard {
    /// None is.
    No,
    /// One is, and the water comes back.
    Mending,
    /// One is.
    Yes,
}

/// A failure that people were told of.
#[derive(Debug)]
struct OpenFailure {
    cause: String,
    /// As it was told.
    failure: Failure,
    told_at: Timestamp,
    /// As it was found last, where the rule still finds it.
    now: Option<Found>,
}

/// Something that is over, and may have left its traces in the water.
#[derive(Debug)]
pub(crate) enum Was {
    /// A failure that people were told of.
    Failure(Fault),
    /// A drum was dry.
    DryDrum,
}

/// When that was over, and by which notice it had been told last.
#[derive(Debug)]
struct PastFailure {
    was: Was,
    at: Timestamp,
    notice: Option<u64>,
}

/// The failures that stand, and those that have just ended.
#[derive(Debug, Default)]
pub(crate) struct Failures {
    open: Vec<OpenFailure>,
    ended: Vec<PastFailure>,
}

impl Failures {
    /// People had been told before a restart.
    pub(crate) fn recall(&mut self, cause: &str, failure: &Failure, at: Timestamp) {
        self.tell(cause.to_owned(), failure.clone(), at);
    }

    /// A failure had been withdrawn before a restart.
    pub(crate) fn recall_over(&mut self, notice: &Notice) {
        self.end(&notice.cause, notice.at, notice.replaces);
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

    /// Whether something stands that makes turbidity tell of more than the clay.
    pub(crate) fn cloud(&self) -> bool {
        self.open.iter().any(|open| {
            moves(&open.failure.fault, Limited::Turbidity) || open.failure.fault == Fault::PowerCut
        })
    }

    /// Whether the data show that the pump draws from another drum than from that one.
    pub(crate) fn swapped_from(&self, drum: &Id) -> bool {
        let swapped = |fault: &Fault| matches!(fault, Fault::DrumSwapped { from, .. } if from == drum);
        self.open.iter().any(|open| swapped(&open.failure.fault))
    }

    /// What was told of the draw of these drums: their end is told by it.
    pub(crate) fn of_draw(&self, drums: &[&Id]) -> Vec<String> {
        let changed = |open: &&OpenFailure| {
            let drum = open.failure.drum.as_ref().map(|state| &state.drum);
            matches!(open.failure.fault, Fault::PumpChanged(_))
                && drum.is_some_and(|drum| drums.contains(&drum))
        };
        self.open.iter().filter(changed).map(|open| open.cause.clone()).collect()
    }

    fn tell(&mut self, cause: String, failure: Failure, at: Timestamp) {
        self.open.retain(|open| open.cause != cause);
        self.open.push(OpenFailure { cause, failure, told_at: at, now: None });
    }

    /// It is over: what follows from that is expected for a while.
    fn end(&mut self, cause: &str, at: Timestamp, notice: Option<u64>) {
        for open in self.open.extract_if(.., |open| open.cause == cause) {
            self.ended.push(PastFailure { was: Was::Failure(open.failure.fault), at, notice });
        }
    }

    /// A drum that was dry has been filled.
    pub(crate) fn dry_drum_filled(&mut self, at: Timestamp, notice: Option<u64>) {
        self.ended.push(PastFailure { was: Was::DryDrum, at, notice });
    }

    /// What has stood for half a day and endangers nobody has become how things are.
    fn forget(&mut self, now: Timestamp) -> Vec<String> {
        let old = |open: &OpenFailure| now >= open.told_at + stands_for(&open.failure.fault);
        self.ended.retain(|ended| now < ended.at + RECOVERS_IN * 2);
        self.open.extract_if(.., |open| old(open)).map(|open| open.cause).collect()
    }

    /// Whether a finding is news: neither told at this stage, nor explained by what was.
    fn is_news(&self, now: Timestamp, found: &Found, called_for: impl Fn(&str) -> bool) -> bool {
        let known = self.open.iter().find(|open| open.cause == found.cause);
        match known.map(|open| (&open.failure, &open.failure.fault, &found.fault)) {
            // It names the cause of what was told.
            Some((_, Fault::OxygenFalls { .. }, Fault::Blower { .. })) => true,
            Some((_, Fault::Blower { .. }, Fault::OxygenFalls { .. })) => false,
            Some((open, ..)) => found.stage > open.stage,
            None => !self.explain(now, found, called_for),
        }
    }

    /// Whether what stands or has just ended explains a finding. Danger is told whatever explains it, unless people are
    /// called for the danger that brings it.
    fn explain(&self, now: Timestamp, found: &Found, called_for: impl Fn(&str) -> bool) -> bool {
        let stands = match found.hard {
            Hard::No => self.open.iter().any(|open| explains(&open.failure, found)),
            Hard::Mending | Hard::Yes => self.bringing(&found.fault).any(|open| called_for(&open.cause)),
        };
        stands || found.hard != Hard::Yes && self.leaves(now, found)
    }

    /// Whether something that has ended left it behind.
    fn leaves(&self, now: Timestamp, found: &Found) -> bool {
        let recovers_in = match (found.hard, &found.fault) {
            (Hard::Mending | Hard::Yes, _) => MENDS_IN,
            // What should run again by itself and doesn't is a failure of its own.
            (_, Fault::Blower { .. } | Fault::PumpStopped { .. } | Fault::OxygenFalls { .. }) => MENDS_IN,
            (Hard::No, Fault::ProbeFouled { .. }) => RECOVERS_IN * 2,
            (Hard::No, _) => RECOVERS_IN,
        };
        self.ended.iter().any(|ended| now < ended.at + recovers_in && follows(&ended.was, &found.fault))
    }

    /// What stands and drives the water that way.
    fn bringing(&self, later: &Fault) -> impl Iterator<Item = &OpenFailure> {
        let limit = matches!(later, Fault::OutOfLimits { .. });
        self.open.iter().filter(move |open| limit && may_bring(&open.failure.fault, later))
    }
}

/// Whether a failure that stands explains a finding: it moves the same water at the same time, or comes of it.
fn explains(open: &Failure, found: &Found) -> bool {
    let together = found.since.duration_since(open.since).abs() <= SAME_TIME;
    // That the water leaves its limits comes of what drives it that way, and of nothing else.
    let limit = matches!(found.fault, Fault::OutOfLimits { .. });
    together && !limit || may_bring(&open.fault, &found.fault)
}

impl Room {
    /// Tells what has failed, and when it is over.
    pub(crate) fn check_failures(&mut self, scene: &mut Scene) {
        self.learn(scene);
        let evidence = Evidence::of(self, scene);
        let found: Vec<Found> = RULES.iter().filter_map(|rule| (rule.find)(&evidence)).collect();
        let holds: Vec<(String, bool)> =
            self.failures.open.iter().map(|open| holds(&evidence, open)).collect();
        for open in &mut self.failures.open {
            open.now = found.iter().find(|found| found.cause == open.cause).cloned();
            // Water clears in one tank after the other: those count that were outside last.
            if let (Fault::OutOfLimits { .. }, Some(now)) = (&open.failure.fault, &open.now) {
                open.failure.signs.clone_from(&now.signs);
            }
        }
        for (cause, holds) in holds {
            let holds = if holds { Holds::Since(scene.now) } else { Holds::No };
            if let Turn::Withdraw(_) = self.alarms.observe(&cause, AlarmSource::Failure, (scene.now, holds)) {
                self.end_failure(scene, &cause);
            }
        }
        for cause in self.failures.forget(scene.now) {
            self.alarms.over(&cause, None);
        }
        for found in found {
            // What endangers fish is told at once, however lately it was withdrawn.
            let danger = matches!(urgency(&found, scene.now), Urgency::Danger { .. });
            let quiet = self.alarms.is_quiet(&found.cause, scene.now) && !danger;
            if self.failures.is_news(scene.now, &found, |cause| self.alarms.is_danger(cause))
                && !self.dry_tells(&found)
                && !quiet
            {
                self.hint(scene, &found);
                self.tell_failure(scene, found);
            } else if self.failures.open.iter().any(|open| open.cause == found.cause) {
                self.alarms.presses(&found.cause, urgency(&found, scene.now), found.at_night);
            }
        }
    }

    /// Whether people are called for a supply that has ended, and clear water is what comes of that.
    fn dry_tells(&self, found: &Found) -> bool {
        let clear =
            matches!(found.fault, Fault::OutOfLimits { of: Limited::Turbidity, is, least, .. } if is < least);
        clear && self.ends.iter().any(|end| self.alarms.is_danger(&end.cause))
    }

    /// What stands, and the notices that told it.
    pub(crate) fn standing_failures(&self) -> Vec<StandingFailure> {
        let standing = |open: &OpenFailure| {
            let told = self.alarms.last(&open.cause)?;
            self.alarms
                .holds(&open.cause)
                .then(|| StandingFailure { notice: told.number, failure: open.failure.clone() })
        };
        self.failures.open.iter().filter_map(standing).collect()
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
            comes_of: self.comes_of(found),
        }
    }

    /// The notices of what drives the water where it is found.
    fn comes_of(&self, found: &Found) -> Vec<u64> {
        let bringing = self.failures.bringing(&found.fault).filter(|_| found.hard != Hard::No);
        let standing = bringing.filter_map(|open| Some(self.alarms.last(&open.cause)?.number));
        let left = self.failures.ended.iter().filter(|ended| follows(&ended.was, &found.fault));
        let left = left
            .filter_map(|ended| ended.notice)
            .filter(|_| matches!(found.fault, Fault::OutOfLimits { .. }));
        standing.chain(left).collect()
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
        let urgency = urgency(&found, scene.now);
        let Found { cause, drum, at_night, since, .. } = found;
        let before = self.alarms.last(&cause).map(|told| told.number);
        let content = Content::Failure(Box::new(failure.clone()));
        let to = if needs_two(&failure.fault) {
            audience::first_two(&self.site.contacts, scene.shift)
        } else {
            audience::first(&self.site.contacts, scene.shift)
        };
        let finding =
            Finding { drum, replaces: before, to, ..self.on_duty(scene, cause.clone(), at_night, content) };
        let call = if before.is_some() { Call::Worse } else { Call::First };
        let told = self.raise(
            scene,
            finding,
            Raise { source: AlarmSource::Failure, since, at_night, urgency, call },
            None,
        );
        if failure.fault == Fault::PowerCut {
            self.silenced_by_power(&told);
        }
        self.failures.tell(cause, failure, told.at);
    }

    /// The silence of what runs from the mains is told by the power cut; that it speaks again is told as usual.
    fn silenced_by_power(&mut self, told: &Told) {
        let mains = |sensor: &&Sensor| sensor.mains == Some(true);
        let silent =
            self.site.sensors.iter().filter(mains).map(|sensor| SilentSensor {
                sensor: sensor.id.clone(),
                last: self.sensors.last(&sensor.id),
            });
        let silent: Vec<SilentSensor> = silent.collect();
        self.silent_without_a_call(told, &silent);
    }

    /// What is to be said when people are called once more.
    pub(crate) fn failure_again(&self, scene: &Scene, cause: &str) -> Option<(Option<Id>, Content)> {
        let open = self.failures.open.iter().find(|open| open.cause == cause)?;
        let failure = open.now.as_ref().map(|found| {
            let failure = self.failure(scene, found);
            // Its cause and its beginning were told; what it comes to is as it is now.
            Failure { since: open.failure.since, ..failure }
        });
        let failure = failure.unwrap_or_else(|| Failure { visit: scene.visit, ..open.failure.clone() });
        let drum = failure.drum.as_ref().map(|state| state.drum.clone());
        Some((drum, Content::Failure(Box::new(failure))))
    }

    fn end_failure(&mut self, scene: &Scene, cause: &str) {
        let last = self.alarms.last(cause).cloned();
        let failure =
            self.failures.open.iter().find(|open| open.cause == cause).map(|open| open.failure.clone());
        self.failures.end(cause, scene.now, last.as_ref().map(|told| told.number));
        // The silence of the sensors ends in a message of its own.
        if let (Some(last), Some(failure)) = (last, failure)
            && failure.fault != Fault::PowerCut
        {
            let because = Because::FailureOver { failure: Box::new(failure) };
            self.tell(scene, withdrawn(cause.to_owned(), None, &last, because));
        }
        self.alarms.over(cause, Some(scene.now + QUIET_FOR));
    }
}

/// Whether what was told still holds.
fn holds(evidence: &Evidence<'_>, open: &OpenFailure) -> (String, bool) {
    let mut rules = RULES.iter().filter(|rule| (rule.tells)(&open.failure.fault));
    (open.cause.clone(), !rules.any(|rule| (rule.is_over)(evidence, &open.failure)))
}

/// Two signs of one failure show within this time of each other.
const SAME_TIME: SignedDuration = SignedDuration::from_mins(20);
/// Water that is far outside is let mend for so long after a failure has ended.
const MENDS_IN: SignedDuration = SignedDuration::from_mins(60);
/// What a failure leaves behind is gone after so long.
const RECOVERS_IN: SignedDuration = SignedDuration::from_hours(3);
/// The same cause isn't told again for so long after it was withdrawn.
const QUIET_FOR: SignedDuration = SignedDuration::from_mins(30);
