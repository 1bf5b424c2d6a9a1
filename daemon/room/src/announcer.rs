//! What tells: the table of alarms, the register of notices with their numbers, and what is to be done outside.

use std::collections::{BTreeMap, BTreeSet};

use crate::Effect;
use crate::action::{AlarmAction, Finding};
use crate::alarms::{Alarms, Raise, TooLate};
use crate::audience::{self, Told};
use crate::pace::Pace;
use crate::scene::Scene;
use claymark_model::site::Site;
use claymark_notice::calling::{Calling, Earlier, Later, Promise};
use claymark_notice::register::{Register, by_the_clock};
use claymark_notice::{AlsoStands, Answer, Audience, Content, Notice, Priority, Urgency};

/// Something else that a message calls people for.
#[derive(Debug)]
pub(crate) struct AlsoCalled {
    pub(crate) stands: AlsoStands,
    pub(crate) urgency: Urgency,
}

/// All that tells.
#[derive(Debug, Default)]
pub(crate) struct Announcer {
    pub(crate) alarms: Alarms,
    register: Register,
    last_number: u64,
    /// The number of a notice that tells of one that didn't arrive, and of the one that it stands for.
    stands_for: BTreeMap<u64, u64>,
    /// Causes that more people have heard of than they were first told to, for that.
    passed_on: BTreeSet<String>,
    effects: Vec<Effect>,
}

impl Announcer {
    /// Which notices there are, and what an answer to them comes to.
    pub(crate) fn register(&self) -> &Register {
        &self.register
    }

    pub(crate) fn take_effects(&mut self) -> Vec<Effect> {
        std::mem::take(&mut self.effects)
    }

    pub(crate) fn effect(&mut self, effects: impl IntoIterator<Item = Effect>) {
        self.effects.extend(effects);
    }

    /// Does what a part of the room wants done.
    pub(crate) fn carry_out(
        &mut self,
        site: &Site,
        scene: &Scene,
        (action, also): (AlarmAction, Vec<AlsoCalled>),
    ) {
        match action {
            AlarmAction::Tell(finding) => drop(self.tell(scene, finding, None)),
            AlarmAction::Raise(finding, raise) => {
                self.raise(site, scene, (finding, also), (raise, None));
            }
            AlarmAction::Withdraw(finding, quiet_until) => {
                let (cause, in_part) = (finding.cause.clone(), finding.content.is_withdrawn_in_part());
                self.tell(scene, finding, None);
                if in_part {
                    self.alarms.goes_on(&cause);
                } else {
                    self.alarms.over(&cause, quiet_until);
                }
            }
            AlarmAction::End { cause, quiet_until } => self.alarms.over(&cause, quiet_until),
            AlarmAction::Join { cause, told_by, raise } => self.alarms.join(&cause, &told_by, raise),
            AlarmAction::Press { cause, urgency, at_night } => self.alarms.presses(&cause, urgency, at_night),
            AlarmAction::Begin { cause, until } => self.alarms.begun(&cause, scene.now, until),
        }
    }

    /// Tells an alarm: it calls people again until somebody has promised to come.
    pub(crate) fn raise(
        &mut self,
        site: &Site,
        scene: &Scene,
        (finding, also): (Finding, Vec<AlsoCalled>),
        (raise, broken): (Raise, Option<Promise>),
    ) {
        let cause = finding.cause.clone();
        let pace = Pace::of(site, scene.shift, &scene.on_call);
        let raise = Raise { urgency: pace.graded(raise.urgency, scene.now), ..raise };
        let danger = matches!(raise.urgency, Urgency::Danger { .. }) && finding.priority == Priority::Soon;
        let finding = if danger { Finding { priority: Priority::Now, ..finding } } else { finding };
        let calling = (finding.priority != Priority::Morning)
            .then(|| self.calling((&pace, scene), (&finding, &also), raise, broken));
        let told = self.tell(scene, finding, calling.clone());
        for also in &also {
            let urgency = pace.graded(also.urgency, scene.now);
            let led_by = Some(told.number);
            let called = Told { number: also.stands.notice, led_by, ..told.clone() };
            self.alarms.called_with(&also.stands.cause, urgency, called);
        }
        self.alarms.told(&cause, raise, told, calling.as_ref());
    }

    /// How a finding calls people.
    fn calling(
        &self,
        (pace, scene): (&Pace<'_>, &Scene),
        (finding, also): (&Finding, &[AlsoCalled]),
        raise: Raise,
        broken: Option<Promise>,
    ) -> Calling {
        let now = scene.now;
        let told = Told { number: 0, at: now, to: finding.to.clone(), led_by: None };
        let later = self.alarms.later(&finding.cause, &raise, told, pace);
        let earlier = self.alarms.last(&finding.cause);
        Calling {
            call: raise.call,
            urgency: raise.urgency,
            earlier: earlier.map(|told| Earlier { at: told.at, to: told.to.clone() }),
            broken,
            holds_until: pace.holds_until(now, raise.urgency),
            later: later.map(|due| Later { at: due.at, to: due.to }),
            also: also.iter().map(|also| also.stands.clone()).collect(),
        }
    }

    /// Gives a finding its number and sends it. While notices can't be kept, the clock gives it: after a restart that knows
    /// nothing of them no number comes twice, so that an old answer silences no new warning.
    fn tell(&mut self, scene: &Scene, finding: Finding, calling: Option<Calling>) -> Told {
        let (now, next) = (scene.now, self.last_number + 1);
        let by_clock = scene.store_fails_since.map(|_| by_the_clock(now));
        self.last_number = by_clock.map_or(next, |number| next.max(number));
        let Finding { cause, drum, priority, replaces, mut to, content } = finding;
        // Who heard of it only because somebody else couldn't be reached hears that it is over.
        if matches!(content, Content::Withdrawn(_)) {
            let more = self.passed_on.remove(&cause);
            to = if more { Audience::Everyone } else { audience::all_of(self.alarms.notices(&cause)) };
        }
        let danger =
            calling.as_ref().is_some_and(|calling| matches!(calling.urgency, Urgency::Danger { .. }));
        let to = scene.on_call.reached(to, danger, self.alarms.notices(&cause));
        let told = Told { number: self.last_number, at: now, to: to.clone(), led_by: None };
        let notice = Notice {
            number: told.number,
            at: told.at,
            kind: content.kind(),
            cause,
            drum,
            priority,
            replaces,
            to,
            calling: calling.map(Box::new),
            tonight: scene.tonight.clone(),
            content,
        };
        self.issue(&notice);
        self.effects.push(Effect::Notify(notice));
        told
    }

    fn issue(&mut self, notice: &Notice) {
        self.register.issue(notice);
        if let Content::Undelivered(undelivered) = &notice.content {
            self.stands_for.insert(notice.number, undelivered.notice.number);
            if self.stands_for.len() > REMEMBERED {
                self.stands_for.pop_first();
            }
            self.passed_on.insert(undelivered.notice.cause.clone());
        }
    }

    /// Somebody answered a notice; each promise that comes too late.
    pub(crate) fn answered(&mut self, answer: &Answer, pace: &Pace<'_>) -> Vec<(Answer, TooLate)> {
        // It mustn't silence a later notice of that number.
        if answer.notice > self.last_number {
            return Vec::new();
        }
        self.register.answered(answer);
        let meant = [Some(answer.notice), self.stands_for.get(&answer.notice).copied()];
        let answers = meant.into_iter().flatten().map(|notice| Answer { notice, ..answer.clone() });
        answers.filter_map(|answer| self.alarms.answered(&answer, pace).map(|late| (answer, late))).collect()
    }

    /// Notices were numbered up to there.
    pub(crate) fn numbered_up_to(&mut self, last: u64) {
        self.last_number = self.last_number.max(last);
        // Whoever answers one of the past isn't told that there never was such a notice.
        self.register.numbered_up_to(last);
    }

    /// A notice that had been sent before a restart, and how it had been raised; `None`: it is no alarm.
    pub(crate) fn recall(&mut self, notice: &Notice, raised: Option<Raise>) {
        self.last_number = self.last_number.max(notice.number);
        self.issue(notice);
        if let Some(raise) = raised {
            let told = Told { number: notice.number, at: notice.at, to: notice.to.clone(), led_by: None };
            for also in notice.calling.iter().flat_map(|calling| &calling.also) {
                let called = Told { number: also.notice, led_by: Some(told.number), ..told.clone() };
                self.alarms.called_again(&also.cause, called);
            }
            self.alarms.told(&notice.cause, raise, told, notice.calling.as_deref());
        }
        if matches!(notice.content, Content::Withdrawn(_)) {
            self.passed_on.remove(&notice.cause);
            if !notice.content.is_withdrawn_in_part() {
                self.alarms.over(&notice.cause, None);
            }
        }
    }
}

/// Nobody answers what is so many such notices old.
const REMEMBERED: usize = 64;
