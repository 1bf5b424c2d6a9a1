//! One round through the whole room: what has arrived is thought through, what is due is issued, each part says what it
//! wants told, and here it is told.

use jiff::{SignedDuration, Timestamp};

use crate::action::{AlarmAction, Finding};
use crate::alarms::{AlarmSource, Pending, Turn};
use crate::announcer::AlsoCalled;
use crate::failures::Found;
use crate::pace::Pace;
use crate::scene::{RoomView, Scene};
use crate::timetable::Issue;
use crate::watches::Watches;
use crate::{Effect, Room, attendance, audience, clock, second_look};
use claymark_notice::alarm::Holds;
use claymark_notice::{AlsoStands, Priority};

impl Room {
    /// Looks at everything, tells what must be told, and notes when to look again; of what has its fixed
    /// time, what was due by `due` is told.
    pub(super) fn round(&mut self, now: Timestamp, live: Timestamp, due: Timestamp) {
        self.known.advance(now);
        self.take_happenings();
        self.known.records.iter_mut().for_each(|record| record.remember(now));
        let mut scene = Scene {
            store_fails_since: self.watches.storage.failing_since(),
            link_down: self.watches.link.down().cloned(),
            ..Scene::of(&self.known, now, live, due)
        };
        let clouded = self.watches.failures.cloud();
        let learned = self.known.learn(now, &scene.forecasts, clouded);
        self.announcer.effect(learned.map(Effect::Learned));
        self.check_failures(&mut scene);
        let scene = &scene;
        let issue = self.timetable.issue(now, due);
        self.issue(scene, issue);
        let marks = self.known.score(&scene.forecasts);
        self.announcer.effect(marks.into_iter().map(Effect::Mark));
        self.ask(scene, |watches, view| watches.storage.news(view));
        self.observe(scene, AlarmSource::Storage);
        self.ask(scene, |watches, view| watches.clock_step.take().map(|step| clock::told(view, step)));
        self.ask(scene, |watches, view| watches.away.news(view));
        self.observe(scene, AlarmSource::Clock);
        self.ask(scene, |watches, view| watches.clocks.news(view));
        self.observe(scene, AlarmSource::Forwarding);
        self.observe(scene, AlarmSource::Name);
        self.ask(scene, |watches, view| watches.session.news(view));
        self.ask(scene, |watches, view| watches.reach.news(view.scene.now));
        self.ask(scene, |watches, view| watches.silence.news(view));
        self.ask(scene, |watches, view| watches.silence.lost_for_long(view));
        self.observe(scene, AlarmSource::Silence);
        self.observe(scene, AlarmSource::Doubt);
        self.ask(scene, Watches::tell_evening);
        self.observe(scene, AlarmSource::Handover);
        self.tell_morning(scene);
        self.ask(scene, Watches::tell_test);
        self.check_ends(scene);
        self.observe(scene, AlarmSource::Absence);
        self.ask(scene, |_, view| attendance::presses(view));
        self.call_again(scene);
        self.ask(scene, |watches, view| {
            watches.asked.doubts(second_look::questions(view));
            watches.asked.news(view)
        });
        let warnings = self.warnings_due(scene);
        self.timetable.looked(now, warnings);
    }

    /// What the parts of the room may look at.
    fn view<'a>(&'a self, scene: &'a Scene) -> RoomView<'a> {
        RoomView { known: &self.known, scene, alarms: &self.announcer.alarms }
    }

    /// Asks a part of the room what it wants done, and does it.
    fn ask<Actions: IntoIterator<Item = AlarmAction>>(
        &mut self,
        scene: &Scene,
        part: impl FnOnce(&mut Watches, &RoomView<'_>) -> Actions,
    ) {
        let view = RoomView { known: &self.known, scene, alarms: &self.announcer.alarms };
        for action in part(&mut self.watches, &view) {
            self.carry_out(scene, action);
        }
    }

    fn tell_morning(&mut self, scene: &Scene) {
        let Watches { morning, failures, .. } = &mut self.watches;
        let view = RoomView { known: &self.known, scene, alarms: &self.announcer.alarms };
        if let Some(action) = morning.news(&view, failures, self.announcer.register()) {
            self.carry_out(scene, action);
        }
    }

    fn carry_out(&mut self, scene: &Scene, action: AlarmAction) {
        if action.is_told() {
            self.issue_before_a_notice(scene);
        }
        let also = if let AlarmAction::Raise(finding, raise) = &action
            && finding.priority != Priority::Morning
            && raise.source.joins()
        {
            let near =
                self.near(scene, |pending| pending.cause != finding.cause && pending.due.to == finding.to);
            // What presses more than the news keeps its own message.
            let near = near.into_iter().filter(|near| near.raise.urgency.rank() >= raise.urgency.rank());
            self.also(scene, near.collect())
        } else {
            Vec::new()
        };
        self.announcer.carry_out(&self.known.site, scene, (action, also));
    }

    /// Lets the alarms of one source see what holds, and does what is due.
    fn observe(&mut self, scene: &Scene, source: AlarmSource) {
        let conditions = self.watches.conditions(&self.view(scene), source);
        self.observe_all(scene, source, conditions);
    }

    fn observe_all(&mut self, scene: &Scene, source: AlarmSource, conditions: Vec<(String, Holds)>) {
        for (cause, holds) in conditions {
            if let Some(turn) = self.announcer.alarms.observe(&cause, source, (scene.now, holds)) {
                self.ask(scene, |watches, view| watches.turned(view, (source, &cause), turn));
            }
        }
    }

    /// Tells what has failed, and when it is over.
    fn check_failures(&mut self, scene: &mut Scene) {
        let view = RoomView { known: &self.known, scene, alarms: &self.announcer.alarms };
        let (all, conditions) = self.watches.failures.look(&view);
        self.observe_all(scene, AlarmSource::Failure, conditions);
        self.ask(scene, |watches, view| watches.failures.forget(view.scene.now));
        self.ask(scene, |watches, view| watches.failures.rests(view));
        for found in all {
            let dry = self.watches.ends.are_danger(&self.announcer.alarms);
            if self.watches.failures.is_to_be_told(&self.view(scene), &found, dry) {
                self.hint(scene, &found);
                self.ask(scene, |watches, view| watches.tell_failure(view, &found));
            } else {
                self.ask(scene, |watches, view| watches.failures.presses(view.scene.now, &found));
            }
        }
    }

    /// What people are told of a draw is what its drum is forecast by.
    fn hint(&mut self, scene: &mut Scene, found: &Found) {
        let Some(place) = self.known.hint(&found.fault, found.drum.as_ref(), found.since) else { return };
        if let (Some(record), Some(forecast)) =
            (self.known.records.get_mut(place), scene.forecasts.get_mut(place))
        {
            record.watch.advance(scene.now);
            *forecast = record.watch.forecast(scene.now);
        }
        self.take_happenings();
    }

    /// Tells which supply won't last, and withdraws it.
    fn check_ends(&mut self, scene: &Scene) {
        for place in 0..self.watches.ends.count() {
            let Watches { ends, failures, .. } = &mut self.watches;
            let view = RoomView { known: &self.known, scene, alarms: &self.announcer.alarms };
            let Some(mut judged) = ends.judge(&view, failures, place) else { continue };
            if let Some(presses) = judged.presses.take() {
                self.carry_out(scene, presses);
            }
            let lasts = judged.holds.is_some_and(|holds| {
                let seen = (scene.now, holds);
                let turn = self.announcer.alarms.observe(&judged.cause, AlarmSource::Runout, seen);
                matches!(turn, Some(Turn::Withdraw(_)))
            });
            self.ask(scene, |watches, view| {
                watches.ends.turned(view, &watches.failures, place, (judged, lasts))
            });
        }
    }

    /// Calls whoever is to be called now, with what is known now: nobody answered, or somebody promised to come and nothing
    /// was seen.
    fn call_again(&mut self, scene: &Scene) {
        let pace = Pace::of(&self.known.site, scene.shift, &scene.on_call);
        let mut due = self.announcer.alarms.due(scene.now, &pace);
        // One message for all that calls people now: the most pressing leads. A promise that wasn't kept is told by itself.
        due.sort_by_key(rank);
        let mut due = std::collections::VecDeque::from(due);
        while let Some(call) = due.pop_front() {
            let view = RoomView { known: &self.known, scene, alarms: &self.announcer.alarms };
            let Some((drum, content)) = self.watches.again(&view, &call) else { continue };
            let mut with: Vec<Pending> = Vec::new();
            while call.broken.is_none()
                && call.raise.source.joins()
                && let Some(also) =
                    due.pop_front_if(|also| also.broken.is_none() && also.raise.source.joins())
            {
                with.push(also);
            }
            let known = |pending: &Pending| {
                pending.cause == call.cause
                    || with.iter().chain(&due).any(|other| other.cause == pending.cause)
            };
            let joins = call.raise.source.joins();
            let near = self.near(scene, |pending| joins && !known(pending));
            with.extend(near);
            let also = self.also(scene, with);
            let finding = Finding {
                drum,
                priority: audience::priority(scene.shift, call.raise.at_night),
                replaces: self.announcer.alarms.last(&call.cause).map(|told| told.number),
                to: call.due.to,
                content,
                cause: call.cause,
            };
            self.issue_before_a_notice(scene);
            self.announcer.raise(&self.known.site, scene, (finding, also), (call.raise, call.broken));
        }
    }

    /// The calls that come so soon that whoever is called now is told of them, too.
    fn near(&self, scene: &Scene, which: impl Fn(&Pending) -> bool) -> Vec<Pending> {
        let pace = Pace::of(&self.known.site, scene.shift, &scene.on_call);
        let mut near = self.announcer.alarms.near(scene.now + SOON, &pace);
        near.retain(|pending| pending.raise.source.joins() && which(pending));
        near
    }

    /// How what else calls people stands.
    fn also(&mut self, scene: &Scene, mut calls: Vec<Pending>) -> Vec<AlsoCalled> {
        calls.sort_by_key(rank);
        let view = RoomView { known: &self.known, scene, alarms: &self.announcer.alarms };
        let mut all = Vec::new();
        for call in calls {
            let Some((_, content)) = self.watches.again(&view, &call) else { continue };
            let (Some(told), Some(what)) = (view.alarms.last(&call.cause), content.also()) else { continue };
            let stands = AlsoStands { notice: told.number, what, cause: call.cause };
            all.push(AlsoCalled { stands, urgency: call.raise.urgency });
        }
        all
    }

    fn issue_before_a_notice(&mut self, scene: &Scene) {
        let issue = self.timetable.issue_all(scene.now);
        self.issue(scene, issue);
    }

    fn issue(&mut self, scene: &Scene, issue: Issue) {
        if matches!(issue, Issue::All) {
            let all = scene.forecasts.iter().cloned().chain(self.known.supplies(scene.now));
            self.announcer.effect(all.map(Effect::Forecast));
        }
        if !matches!(issue, Issue::Nothing) {
            let sheets = self.known.sheets(scene.now, &scene.forecasts);
            self.announcer.effect(sheets.into_iter().map(|sheet| Effect::Sheet(Box::new(sheet))));
        }
    }

    fn warnings_due(&self, scene: &Scene) -> Option<Timestamp> {
        let pace = Pace::of(&self.known.site, scene.shift, &scene.on_call);
        let view = self.view(scene);
        let dues = self.watches.ends.wake(&view).chain(self.announcer.alarms.wake(&pace));
        let confirm = self.known.confirmation_due(scene.now);
        dues.chain(self.watches.wake()).chain(confirm).filter(|due| *due > scene.now).min()
    }
}

/// A call that comes so soon is joined to the one that is made now.
const SOON: SignedDuration = SignedDuration::from_mins(12);

/// What presses most comes first; that nobody is there is no reason by itself.
fn rank(call: &Pending) -> impl Ord + use<> {
    let absence = call.raise.source == AlarmSource::Absence;
    (call.broken.is_some(), absence, call.raise.urgency.rank())
}
