//! Failures told apart: each is a rule in a file of its own, a pure function from evidence to at most one finding.
//!
//! The list below is their rank: what comes first explains what comes after it. One cause, one notice: while
//! a failure stands, what it explains isn't told beside it.

mod blower;
mod bubbles;
mod clay_weaker;
mod clearing;
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
mod renewed;
mod tube_split;
mod tube_wear;
mod water_only;
mod wrong_weighing;

use jiff::{SignedDuration, Timestamp};

use consequences::{
    follows, may_bring, moves, needs_two, recovers, same_water, stands_for, starves, urgency,
};

use crate::action::{AlarmAction, Finding};
use crate::alarms::{AlarmSource, Raise};
use crate::audience;
use crate::drum_record::DrumRecord;
use crate::evidence::Evidence;
use crate::scene::RoomView;
use claymark_model::id::Id;
use claymark_model::site::Place;
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, StandingFailure};
use claymark_notice::failure::{ComesOf, Failure, Fault, Limited, Sign};
use claymark_notice::{Call, Content, Priority, Urgency};

/// One row: how it is found, and how one knows that it is over.
struct Rule {
    find: fn(&Evidence<'_>) -> Option<Found>,
    /// Whether it is the one that tells of that.
    tells: fn(&Fault) -> bool,
    is_over: fn(&Evidence<'_>, &Failure) -> bool,
}

/// All rules, in the order of their rank.
const RULES: [Rule; 24] = [
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
    clearing::RULE,
    out_of_limits::TEMPERATURE,
    out_of_limits::TURBIDITY,
    out_of_limits::SATURATION,
];

/// What a rule has found.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    /// Names the cause: "pump:p1".
    pub(crate) cause: String,
    pub(crate) fault: Fault,
    pub(crate) since: Timestamp,
    signs: Vec<Sign>,
    pub(crate) drum: Option<Id>,
    /// A hard limit of the fish is broken: nothing hides it.
    hard: Hard,
    /// While nobody is there.
    at_night: Priority,
    stage: u8,
}

impl Found {
    /// What hurries nobody and is about no one drum.
    fn of(cause: impl Into<String>, fault: Fault, since: Timestamp, signs: Vec<Sign>) -> Self {
        let (cause, at_night) = (cause.into(), Priority::Morning);
        Self { cause, fault, since, signs, drum: None, hard: Hard::No, at_night, stage: 0 }
    }
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
    /// Whether a failure that stands explains why a drum's level stands still.
    pub(crate) fn explain_standing(&self, drum: &Id, drawn_by: &Id) -> bool {
        let stands = |fault: &Fault| {
            matches!(fault, Fault::PumpStopped { pump, .. } | Fault::LinePlugged { pump } if pump == drawn_by)
                || matches!(fault, Fault::DrumSwapped { from, .. } if from == drum)
        };
        self.any_stands(stands)
    }

    /// Whether something stands that makes turbidity tell of more than the clay.
    pub(crate) fn cloud(&self) -> bool {
        self.any_stands(|fault| moves(fault, Limited::Turbidity) || *fault == Fault::PowerCut)
    }

    /// Whether the data show that the pump draws from another drum than from that one.
    pub(crate) fn swapped_from(&self, drum: &Id) -> bool {
        self.any_stands(|fault| matches!(fault, Fault::DrumSwapped { from, .. } if from == drum))
    }

    fn any_stands(&self, is_it: impl Fn(&Fault) -> bool) -> bool {
        self.open.iter().any(|open| is_it(&open.failure.fault))
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

    /// People were told; before a restart, too.
    pub(crate) fn told(&mut self, cause: &str, failure: Failure, at: Timestamp) {
        self.open.retain(|open| open.cause != cause);
        self.open.push(OpenFailure { cause: cause.to_owned(), failure, told_at: at, now: None });
    }

    /// It is over: what follows from that is expected for a while.
    pub(crate) fn end(&mut self, cause: &str, at: Timestamp, notice: Option<u64>) {
        for open in self.open.extract_if(.., |open| open.cause == cause) {
            self.ended.push(PastFailure { was: Was::Failure(open.failure.fault), at, notice });
        }
    }

    /// A drum that was dry has been filled.
    pub(crate) fn dry_drum_filled(&mut self, at: Timestamp, notice: Option<u64>) {
        self.ended.push(PastFailure { was: Was::DryDrum, at, notice });
    }

    /// What has stood for half a day and endangers nobody has become how things are.
    pub(crate) fn forget(&mut self, now: Timestamp) -> Vec<AlarmAction> {
        let old = |open: &OpenFailure| now >= open.told_at + stands_for(&open.failure.fault);
        self.ended.retain(|ended| now < ended.at + RECOVERS_IN * 2);
        let ends = |open: OpenFailure| AlarmAction::End { cause: open.cause, quiet_until: None };
        self.open.extract_if(.., |open| old(open)).map(ends).collect()
    }

    /// Whether a finding is news: neither told at this stage, nor explained by what was.
    fn is_news(&self, now: Timestamp, found: &Found, called_for: impl Fn(&str) -> bool) -> bool {
        let known = self.open.iter().find(|open| open.cause == found.cause);
        // Danger that begins anew, or on the other side, is another thing than what was promised for.
        let anew =
            |open: &OpenFailure| !called_for(&open.cause) || turns_over(&open.failure.fault, &found.fault);
        let limits = |fault: &Fault| matches!(fault, Fault::OutOfLimits { all_along: None, .. });
        if let Some(open) = known
            && found.hard == Hard::Yes
            && limits(&found.fault)
            && limits(&open.failure.fault)
            && anew(open)
        {
            return true;
        }
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

/// Whether water that was told to be on one side of its limits is on the other.
fn turns_over(told: &Fault, found: &Fault) -> bool {
    let above = |fault: &Fault| {
        if let Fault::OutOfLimits { is, most, .. } = fault { Some(is > most) } else { None }
    };
    above(told).zip(above(found)).is_some_and(|(told, found)| told != found)
}

/// Whether a failure that stands explains a finding: it moves the same water at the same time, or comes of it.
fn explains(open: &Failure, found: &Found) -> bool {
    let together =
        found.since.duration_since(open.since).abs() <= SAME_TIME && same_water(&open.fault, &found.fault);
    // That the water leaves its limits comes of what drives it that way, and of nothing else.
    let limit = matches!(found.fault, Fault::OutOfLimits { .. });
    together && !limit || may_bring(&open.fault, &found.fault) || recovers(open, found)
}

impl Failures {
    /// What the rules find, and whether what was told still holds.
    pub(crate) fn look(&mut self, view: &RoomView<'_>) -> (Vec<Found>, Vec<(String, Holds)>) {
        let limited = |open: &OpenFailure| {
            let Fault::OutOfLimits { of, .. } = open.failure.fault else { return None };
            view.alarms.is_danger(&open.cause).then_some(of)
        };
        let danger = self.open.iter().filter_map(limited).collect();
        let evidence = Evidence::of(view.known, view.scene).in_danger(danger);
        let found: Vec<Found> = RULES.iter().filter_map(|rule| (rule.find)(&evidence)).collect();
        let holds = |open: &OpenFailure| {
            let holds = holds(&evidence, &open.failure);
            (open.cause.clone(), if holds { Holds::Since(view.scene.now) } else { Holds::No })
        };
        let conditions = self.open.iter().map(holds).collect();
        for open in &mut self.open {
            open.now = found.iter().find(|found| found.cause == open.cause).cloned();
            // Water clears in one tank after the other: those count that were outside last.
            if let (Fault::OutOfLimits { .. }, Some(now)) = (&open.failure.fault, &open.now) {
                open.failure.signs.clone_from(&now.signs);
            }
        }
        (found, conditions)
    }

    /// Whether people are to be told of a finding; `dry`: they are called for a supply that has ended.
    pub(crate) fn is_to_be_told(&self, view: &RoomView<'_>, found: &Found, dry: bool) -> bool {
        // What endangers fish is told at once, however lately it was withdrawn.
        let danger = matches!(urgency(found, view.scene.now), Urgency::Danger { .. });
        let quiet = view.alarms.is_quiet(&found.cause, view.scene.now) && !danger;
        // Clear water is what comes of a supply that has ended.
        let clear =
            matches!(found.fault, Fault::OutOfLimits { of: Limited::Turbidity, is, least, .. } if is < least);
        self.is_news(view.scene.now, found, |cause| view.alarms.is_danger(cause)) && !(clear && dry) && !quiet
    }

    /// How pressing what was told is by now.
    pub(crate) fn presses(&self, now: Timestamp, found: &Found) -> Option<AlarmAction> {
        let known = self.open.iter().any(|open| open.cause == found.cause);
        let (cause, urgency, at_night) = (found.cause.clone(), urgency(found, now), found.at_night);
        known.then_some(AlarmAction::Press { cause, urgency, at_night })
    }

    /// Water that has come to rest beside its limits presses no more than other water there; a hard limit is told by itself.
    pub(crate) fn rests(&self, view: &RoomView<'_>) -> Vec<AlarmAction> {
        let heat = |open: &&OpenFailure| {
            matches!(open.failure.fault, Fault::HeaterOff { .. } | Fault::HeaterOn { .. })
                && open.now.is_none()
        };
        let rests = |open: &OpenFailure| {
            let site = &view.known.site;
            let borne = site.calls.hard(&site.limits_at(&Place::Head, view.scene.now)).temperature_c;
            let steady = matches!(
                self.as_it_stands(view, open).fault,
                Fault::HeaterOff { steady: true, temperature, .. }
                    | Fault::HeaterOn { steady: true, temperature, .. } if borne.contains(temperature)
            );
            let (cause, urgency, at_night) = (open.cause.clone(), Urgency::Look, Priority::Soon);
            steady.then_some(AlarmAction::Press { cause, urgency, at_night })
        };
        self.open.iter().filter(heat).filter_map(rests).collect()
    }

    /// What stands, danger first, and the notices that told it.
    pub(crate) fn standing(&self, view: &RoomView<'_>) -> Vec<StandingFailure> {
        let standing = |open: &OpenFailure| {
            let told = view.alarms.last(&open.cause).filter(|_| view.alarms.holds(&open.cause))?;
            let danger = view.alarms.is_danger(&open.cause);
            Some(StandingFailure { notice: told.number, failure: self.as_it_stands(view, open), danger })
        };
        let mut all: Vec<StandingFailure> = self.open.iter().filter_map(standing).collect();
        all.sort_by_key(|standing| !standing.danger);
        all
    }

    /// Why less of a drum's clay arrives than should: what people were told and still stands, else what shows now.
    pub(crate) fn starving(&self, view: &RoomView<'_>, drum: &Id) -> Option<Failure> {
        let mut standing = self.open.iter().map(|open| &open.failure);
        let told = standing.find(|failure| {
            starves(&failure.fault) && failure.drum.as_ref().is_none_or(|state| state.drum == *drum)
        });
        if let Some(told) = told {
            return Some(told.clone());
        }
        let evidence = Evidence::of(view.known, view.scene);
        let mut found = RULES.iter().filter_map(|rule| (rule.find)(&evidence));
        let ours = |found: &Found| found.drum.as_ref().is_none_or(|of| of == drum);
        let found = found.find(|found| starves(&found.fault) && ours(found))?;
        Some(self.failure(view, &found))
    }

    /// All facts of what was found.
    fn failure(&self, view: &RoomView<'_>, found: &Found) -> Failure {
        let is_ours = |record: &DrumRecord| found.drum.as_ref() == Some(&record.drum.id);
        let place = view.known.records.iter().position(is_ours);
        let origins = self.origins(view, found);
        Failure {
            fault: found.fault.clone(),
            since: found.since,
            signs: found.signs.clone(),
            near: view.known.journal.nearest(found.since).cloned(),
            drum: place.and_then(|place| view.state_at(place)),
            visit: view.scene.visit,
            stage: found.stage,
            comes_of: origins.iter().map(|origin| origin.notice).collect(),
            origins,
        }
    }

    /// What drives the water where it is found.
    fn origins(&self, view: &RoomView<'_>, found: &Found) -> Vec<ComesOf> {
        let standing = self.bringing(&found.fault).filter_map(|open| {
            let told = Some(open.failure.fault.clone());
            Some(ComesOf { notice: view.alarms.last(&open.cause)?.number, told })
        });
        let left = self.ended.iter().filter(|ended| follows(&ended.was, &found.fault));
        let left = left
            .filter_map(|ended| {
                let told = match &ended.was {
                    Was::Failure(fault) => Some(fault.clone()),
                    Was::DryDrum => None,
                };
                Some(ComesOf { notice: ended.notice?, told })
            })
            .filter(|_| matches!(found.fault, Fault::OutOfLimits { .. }));
        standing.chain(left).collect()
    }

    /// Tells what was found.
    pub(crate) fn tell(&mut self, view: &RoomView<'_>, found: &Found) -> AlarmAction {
        let failure = self.failure(view, found);
        let (now, shift) = (view.scene.now, view.scene.shift);
        let contacts = view.scene.on_call.for_what(urgency(found, now));
        let before = view.alarms.last(&found.cause).map(|told| told.number);
        let to = if needs_two(&failure.fault) {
            audience::first_two(contacts, shift)
        } else {
            audience::first(contacts, shift)
        };
        let content = Content::Failure(Box::new(failure.clone()));
        let finding = view.on_duty(&found.cause, found.at_night, (found.drum.clone(), content));
        let raise = Raise {
            source: AlarmSource::Failure,
            since: found.since,
            at_night: found.at_night,
            urgency: urgency(found, now),
            call: if before.is_some() { Call::Worse } else { Call::First },
        };
        self.told(&found.cause, failure, now);
        AlarmAction::Raise(Finding { replaces: before, to, ..finding }, raise)
    }

    /// What was told, with the figures of now.
    fn as_it_stands(&self, view: &RoomView<'_>, open: &OpenFailure) -> Failure {
        match &open.now {
            // Its cause and its beginning were told; what it comes to is as it is now.
            Some(found) => Failure { since: open.failure.since, ..self.failure(view, found) },
            None => {
                let evidence = Evidence::of(view.known, view.scene);
                let drum = open.failure.drum.as_ref().map(|state| &state.drum);
                let place = view.known.records.iter().position(|record| drum == Some(&record.drum.id));
                let told = Failure { visit: view.scene.visit, ..open.failure.clone() };
                renewed::renewed(&evidence, &told, place.and_then(|place| view.state_at(place)))
            }
        }
    }

    /// What is to be said when people are called once more.
    pub(crate) fn again(&self, view: &RoomView<'_>, cause: &str) -> Option<(Option<Id>, Content)> {
        let open = self.open.iter().find(|open| open.cause == cause)?;
        let failure = self.as_it_stands(view, open);
        let drum = failure.drum.as_ref().map(|state| state.drum.clone());
        Some((drum, Content::Failure(Box::new(failure))))
    }

    /// Tells that it is over.
    pub(crate) fn withdraw(&mut self, view: &RoomView<'_>, cause: &str) -> AlarmAction {
        let quiet_until = Some(view.scene.now + QUIET_FOR);
        let last = view.alarms.last(cause).map(|told| told.number);
        let failure = self.open.iter().find(|open| open.cause == cause).map(|open| open.failure.clone());
        self.end(cause, view.scene.now, last);
        // The silence of the sensors ends in a message of its own.
        let told = failure.filter(|failure| failure.fault != Fault::PowerCut).and_then(|failure| {
            view.withdrawn(cause, None, Because::FailureOver { failure: Box::new(failure) }, quiet_until)
        });
        told.unwrap_or(AlarmAction::End { cause: cause.to_owned(), quiet_until })
    }
}

/// Whether what was told still holds.
fn holds(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let mut rules = RULES.iter().filter(|rule| (rule.tells)(&failure.fault));
    !rules.any(|rule| (rule.is_over)(evidence, failure))
}

/// Two signs of one failure show within this time of each other.
const SAME_TIME: SignedDuration = SignedDuration::from_mins(20);
/// Water that is far outside is let mend for so long after a failure has ended.
const MENDS_IN: SignedDuration = SignedDuration::from_mins(60);
/// What a failure leaves behind is gone after so long.
const RECOVERS_IN: SignedDuration = SignedDuration::from_hours(3);
/// The same cause isn't told again for so long after it was withdrawn.
const QUIET_FOR: SignedDuration = SignedDuration::from_mins(30);
