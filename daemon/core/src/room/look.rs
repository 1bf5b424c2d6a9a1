//! One look at the whole room: each rule finds at most one thing to tell, and each is told.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use crate::drum::Doubt;
use crate::drum::share_draws;
use crate::forecast::{Forecast, Outlook, Subject};
use crate::id::Id;
use crate::notice::content::{
    Again, Because, Common, Content, DrumState, EveningCheck, EveningDrum, LevelDoubt, ReadingsMissing,
    Runout, SilentSensor, Verdict, Visit, Withdrawn,
};
use crate::notice::{Audience, Notice, Priority};
use crate::room::calendar::{self, Shift};
use crate::room::desk::Desk;
use crate::room::duty::{self, Told};
use crate::room::episode::Turn;
use crate::room::evening::Due;
use crate::room::runout::{Moment, Step};
use crate::room::silence::Back;
use crate::room::{Effect, FORECAST_EVERY, Room, at_or_after};
use crate::site::{Quantity, Site};
use crate::units::LitresPerHour;

/// Something to tell, before it has its number.
struct Finding {
    cause: String,
    drum: Option<Id>,
    priority: Priority,
    replaces: Option<u64>,
    to: Audience,
    content: Content,
}

/// What every rule sees of this look.
struct Scene {
    now: Timestamp,
    live: Timestamp,
    shift: Shift,
    /// The next visit, while nobody is there.
    visit: Option<Visit>,
    /// Of each desk, in order.
    forecasts: Vec<Forecast>,
}

impl Scene {
    fn moment<'a>(&self, site: &'a Site, answers: &'a BTreeMap<u64, Timestamp>) -> Moment<'a> {
        Moment { now: self.now, shift: self.shift, staff: &site.staff, contacts: &site.contacts, answers }
    }
}

impl Room {
    /// Looks at everything, tells what must be told, and notes when to look again.
    pub(super) fn look(&mut self, now: Timestamp, live: Timestamp) {
        for desk in &mut self.desks {
            desk.watch.advance(now);
        }
        share_draws(&mut self.desks.iter_mut().map(|desk| &mut desk.watch).collect::<Vec<_>>());
        self.take_happenings();
        let scene = self.scene(now, live);
        if self.next_forecasts <= now {
            self.next_forecasts = at_or_after(now);
            if self.next_forecasts == now {
                self.next_forecasts = now + FORECAST_EVERY;
            }
            self.issue_forecasts(&scene);
        }
        self.sensors.observe(now);
        self.sensors.join_outages(now, live);
        self.look_at_storage(&scene);
        self.look_at_session(&scene);
        self.look_at_silence(&scene);
        self.look_at_doubts(&scene);
        self.look_at_evening(&scene);
        self.look_at_runouts(&scene);
        self.looked_at = Some(now);
        self.warnings_due = self.warnings_due(&scene);
    }

    fn scene(&self, now: Timestamp, live: Timestamp) -> Scene {
        let shift = self.shift(now);
        let visit = match shift {
            Shift::Away { visit, .. } => Some(Visit { at: visit, margin: self.site.staff.margin }),
            Shift::Present => None,
        };
        let forecasts = self.desks.iter().map(|desk| desk.watch.forecast(now)).collect();
        Scene { now, live, shift, visit, forecasts }
    }

    fn issue_forecasts(&mut self, scene: &Scene) {
        if self.forecasts_at == Some(scene.now) {
            return;
        }
        self.forecasts_at = Some(scene.now);
        let supplies = self.supplies(scene.now);
        self.effects.extend(scene.forecasts.iter().cloned().chain(supplies).map(Effect::Forecast));
    }

    /// Gives a finding its number and sends it, with the forecasts that it goes by.
    fn tell(&mut self, scene: &Scene, finding: Finding) -> Told {
        self.issue_forecasts(scene);
        self.last_number += 1;
        let told = Told { number: self.last_number, at: scene.now, to: finding.to.clone() };
        let Finding { cause, drum, priority, replaces, to, content } = finding;
        let kind = content.kind();
        let notice =
            Notice { number: told.number, at: told.at, kind, cause, drum, priority, replaces, to, content };
        self.effects.push(Effect::Notify(notice));
        told
    }

    fn look_at_storage(&mut self, scene: &Scene) {
        match self.storage.turn(scene.now) {
            Turn::Nothing => {}
            Turn::Tell(since) => {
                let why = self.storage.why().to_owned();
                let content = Content::ReadingsMissing(ReadingsMissing::StoreFailing { since, why });
                let finding = self.on_duty(scene, STORE.to_owned(), Priority::Soon, content);
                let told = self.tell(scene, finding);
                self.storage.tell(since, told);
            }
            Turn::Withdraw(since) => {
                if let Some(told) = self.storage.told().cloned() {
                    self.tell(scene, withdrawn(STORE.to_owned(), None, &told, Because::StoreWorks { since }));
                }
                self.storage.withdraw();
            }
        }
    }

    fn look_at_session(&mut self, scene: &Scene) {
        if let Some(since) = self.session.finding(scene.now) {
            let content = Content::ReadingsMissing(ReadingsMissing::SessionLost { since, until: scene.now });
            let finding = self.on_duty(scene, "session".to_owned(), Priority::Morning, content);
            self.tell(scene, finding);
            self.session.told(scene.now);
        }
    }

    fn look_at_silence(&mut self, scene: &Scene) {
        if let Some((sensors, common)) = self.sensors.silent(scene.now, scene.live) {
            let finding = self.silence(scene, sensors.clone(), common);
            let told = self.tell(scene, finding);
            self.sensors.tell(told, &sensors);
        }
        while let Some(back) = self.sensors.back(scene.now) {
            let Back { told, heard, still_silent } = back;
            self.sensors.withdraw(told.number, &still_silent);
            let cause = silence_cause(heard.first());
            self.tell(scene, withdrawn(cause, None, &told, Because::HeardAgain { heard, still_silent }));
        }
    }

    fn silence(&self, scene: &Scene, sensors: Vec<SilentSensor>, common: Common) -> Finding {
        let watches_a_drum = |silent: &SilentSensor| {
            let sensor = self.site.sensor(&silent.sensor);
            sensor.is_some_and(|s| {
                matches!(s.quantity, Quantity::Level | Quantity::Distance | Quantity::Volume)
            })
        };
        let of_drum = |desk: &Desk| {
            let level = self.site.level_sensor(&desk.drum.id);
            level.is_some_and(|level| sensors.iter().any(|silent| silent.sensor == level.id))
        };
        let drums: Vec<DrumState> =
            self.states(scene).filter(|(desk, _)| of_drum(desk)).map(|(_, state)| state).collect();
        let at_night = if sensors.iter().any(watches_a_drum) { Priority::Now } else { Priority::Morning };
        let drum = match drums.as_slice() {
            [one] => Some(one.drum.clone()),
            [] | [..] => None,
        };
        let cause = silence_cause(sensors.first().map(|silent| &silent.sensor));
        let silent = ReadingsMissing::Silent { sensors, common, drums, visit: scene.visit };
        Finding { drum, ..self.on_duty(scene, cause, at_night, Content::ReadingsMissing(silent)) }
    }

    fn look_at_doubts(&mut self, scene: &Scene) {
        for place in 0..self.desks.len() {
            let doubt = self.doubt(scene, place);
            let Some(desk) = self.desks.get_mut(place) else { continue };
            desk.doubt.observe(scene.now, doubt.map(|doubt| doubt.since));
            let turn = desk.doubt.turn(scene.now, DOUBT_PATIENCE);
            let drum = desk.drum.id.clone();
            let told_before = desk.doubt.told().cloned();
            let Some((_, state)) = self.states(scene).nth(place) else { continue };
            let cause = format!("level:{drum}");
            match (turn, told_before) {
                (Turn::Nothing, _) | (Turn::Withdraw(_), None) => {}
                (Turn::Tell(since), _) => {
                    let at_night = if state.forecast.in_use { Priority::Now } else { Priority::Morning };
                    let content = Content::LevelDoubt(Box::new(LevelDoubt { state, visit: scene.visit }));
                    let finding =
                        Finding { drum: Some(drum), ..self.on_duty(scene, cause, at_night, content) };
                    let told = self.tell(scene, finding);
                    self.with_desk(place, |desk| desk.doubt.tell(since, told));
                }
                (Turn::Withdraw(since), Some(told)) => {
                    let because = Because::LevelBelieved { state, since };
                    self.tell(scene, withdrawn(cause, Some(drum), &told, because));
                    self.with_desk(place, |desk| desk.doubt.withdraw());
                }
            }
        }
    }

    /// A level that isn't believed though its sensor speaks; one that doesn't is told as silence.
    fn doubt(&self, scene: &Scene, place: usize) -> Option<Doubt> {
        let desk = self.desks.get(place)?;
        let level = self.site.level_sensor(&desk.drum.id)?;
        let doubt = desk.watch.doubt(scene.now)?;
        (!self.sensors.overdue(&level.id, scene.now)).then_some(doubt)
    }

    fn look_at_evening(&mut self, scene: &Scene) {
        let Some(due) = self.evening.due(scene.now) else { return };
        let upcoming = calendar::next_evening(&self.site.staff, &self.site.time_zone, scene.now);
        self.evening.done(upcoming);
        // After a long sleep the night may be over: its check would tell nothing any more.
        let visit = calendar::visit_of(&self.site.staff, &self.site.time_zone, due.evening);
        let Some(visit) = visit.filter(|visit| *visit > scene.now) else { return };
        let visit = Visit { at: visit, margin: self.site.staff.margin };
        let finding = self.evening_check(scene, due, visit);
        let told = self.tell(scene, finding);
        for (desk, forecast) in self.desks.iter_mut().zip(&scene.forecasts) {
            desk.runout.evening_told(due.evening, told.at, forecast.outlook.empty_at());
        }
    }

    fn evening_check(&self, scene: &Scene, due: Due, visit: Visit) -> Finding {
        let drums: Vec<EveningDrum> = self
            .states(scene)
            .map(|(desk, state)| EveningDrum {
                verdict: Verdict::of_outlook(&state.forecast.outlook, &visit),
                remedy: desk.remedy(&self.site, &state.forecast, Some(&visit)),
                state,
            })
            .collect();
        let all_well = drums.iter().all(|drum| drum.verdict == Verdict::Lasts || !drum.state.forecast.in_use);
        let (silent, heard) = self.sensors.roll_call(scene.now);
        let date = self.site.time_zone.to_datetime(due.evening).date();
        Finding {
            cause: format!("evening:{date}"),
            drum: None,
            priority: if all_well && silent.is_empty() { Priority::Morning } else { Priority::Soon },
            replaces: None,
            to: Audience::Everyone,
            content: Content::EveningCheck(EveningCheck {
                due: due.evening,
                visit,
                drums,
                supplies: self.supplies(scene.now),
                silent,
                heard,
                first_called: self.site.contacts.first().map(|contact| contact.id.clone()),
                store_failing_since: self.storage.failing_since(),
            }),
        }
    }

    fn look_at_runouts(&mut self, scene: &Scene) {
        let Self { site, desks, answers, .. } = self;
        let moment = scene.moment(site, answers);
        for (desk, forecast) in desks.iter_mut().zip(&scene.forecasts) {
            desk.runout.observe(&moment, forecast);
        }
        for (place, forecast) in scene.forecasts.iter().enumerate() {
            let Some((desk, state)) = self.states(scene).nth(place) else { continue };
            let cause = format!("runout:{}", desk.drum.id);
            let told = desk.runout.told().to_vec();
            match desk.runout.judge(&scene.moment(&self.site, &self.answers), forecast) {
                Step::Wait => {}
                Step::Warn(because, to) => {
                    let finding = self.runout(scene, desk, state, (because.clone(), to));
                    let told = self.tell(scene, Finding { cause, ..finding });
                    self.with_desk(place, |desk| {
                        desk.runout.warned(told, &because, forecast.outlook.empty_at())
                    });
                }
                Step::Refilled(refill) => {
                    let verdict = scene
                        .visit
                        .map_or(Verdict::Unknown, |visit| Verdict::of_outlook(&forecast.outlook, &visit));
                    let because = Because::Refilled { state, refill, visit: scene.visit, verdict };
                    self.withdraw_runout(scene, place, cause, &told, because);
                }
                Step::Lasts => {
                    let because = Because::LastsAfterAll { state, visit: scene.visit };
                    self.withdraw_runout(scene, place, cause, &told, because);
                }
            }
        }
    }

    fn runout(
        &self,
        scene: &Scene,
        desk: &Desk,
        state: DrumState,
        (because, to): (Again, Audience),
    ) -> Finding {
        let earliest = state.forecast.outlook.empty_at().and_then(|empty_at| empty_at.p05);
        let supply = self
            .supplies(scene.now)
            .into_iter()
            .find(|supply| supply.of == Subject::Supply(desk.drum.pump.clone()));
        let remedy = desk.remedy(&self.site, &state.forecast, scene.visit.as_ref());
        let content = Content::Runout(Box::new(Runout {
            be_there_by: earliest.map(|earliest| earliest - self.site.staff.mixing),
            visit: scene.visit,
            state,
            remedy,
            because,
            supply,
        }));
        Finding {
            cause: String::new(),
            drum: Some(desk.drum.id.clone()),
            priority: duty::priority(scene.shift, Priority::Now),
            replaces: desk.runout.told().last().map(|told| told.number),
            to,
            content,
        }
    }

    fn withdraw_runout(
        &mut self,
        scene: &Scene,
        place: usize,
        cause: String,
        told: &[Told],
        because: Because,
    ) {
        let Some(last) = told.last() else { return };
        let drum = self.desks.get(place).map(|desk| desk.drum.id.clone());
        let finding = Finding { to: duty::all_of(told), ..withdrawn(cause, drum, last, because) };
        self.tell(scene, finding);
        let ends = scene.forecasts.get(place).and_then(|forecast| forecast.outlook.empty_at());
        self.with_desk(place, |desk| desk.runout.withdrawn(scene.now, ends));
    }

    /// Each desk with what is known of its drum.
    fn states<'a>(&'a self, scene: &'a Scene) -> impl Iterator<Item = (&'a Desk, DrumState)> {
        self.desks.iter().zip(&scene.forecasts).map(|(desk, forecast)| {
            let heard =
                self.site.level_sensor(&desk.drum.id).and_then(|sensor| self.sensors.last(&sensor.id));
            let drawn = self.drawn_through(scene, &desk.drum.pump);
            (desk, desk.state(&self.site, forecast, drawn, heard))
        })
    }

    /// What the data say that a pump draws; `None` where the draw of one of its drums isn't known.
    fn drawn_through(&self, scene: &Scene, pump: &Id) -> Option<LitresPerHour> {
        self.desks
            .iter()
            .zip(&scene.forecasts)
            .filter(|(desk, forecast)| desk.drum.pump == *pump && forecast.in_use)
            .map(|(_, forecast)| match &forecast.outlook {
                Outlook::Known { draw, .. } => Some(draw.0),
                Outlook::Unknown { .. } => None,
            })
            .sum::<Option<f64>>()
            .map(LitresPerHour)
    }

    /// A finding for whoever is on duty; while people are there, everyone within the hour.
    fn on_duty(&self, scene: &Scene, cause: String, at_night: Priority, content: Content) -> Finding {
        Finding {
            cause,
            drum: None,
            priority: duty::priority(scene.shift, at_night),
            replaces: None,
            to: duty::first(&self.site.contacts, scene.shift),
            content,
        }
    }

    fn with_desk(&mut self, place: usize, change: impl FnOnce(&mut Desk)) {
        if let Some(desk) = self.desks.get_mut(place) {
            change(desk);
        }
    }

    fn warnings_due(&self, scene: &Scene) -> Option<Timestamp> {
        let moment = scene.moment(&self.site, &self.answers);
        let runouts = self
            .desks
            .iter()
            .zip(&scene.forecasts)
            .filter_map(|(desk, forecast)| desk.runout.wake(&moment, forecast));
        let doubts = self.desks.iter().filter_map(|desk| desk.doubt.due(DOUBT_PATIENCE));
        let rest = [self.storage.wake(), self.session.wake()].into_iter().flatten();
        runouts.chain(doubts).chain(rest).filter(|due| *due > scene.now).min()
    }
}

/// A warning of `told` no longer holds.
fn withdrawn(cause: String, drum: Option<Id>, told: &Told, because: Because) -> Finding {
    Finding {
        cause,
        drum,
        priority: Priority::Morning,
        replaces: Some(told.number),
        to: told.to.clone(),
        content: Content::Withdrawn(Box::new(Withdrawn { told_at: told.at, because })),
    }
}

fn silence_cause(first: Option<&Id>) -> String {
    first.map_or_else(|| "silent".to_owned(), |sensor| format!("silent:{sensor}"))
}

/// Foam comes and goes: a doubt is told when it has lasted.
const DOUBT_PATIENCE: SignedDuration = SignedDuration::from_mins(10);

const STORE: &str = "store";
