//! One look at the whole room: each rule finds at most one thing to tell, and each is told.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use crate::calendar::Shift;
use crate::desk::Desk;
use crate::doubt::DOUBT_PATIENCE;
use crate::duty::{self, Told};
use crate::runout::Moment;
use crate::{Effect, Room, at_or_after};
use claymark_drum::share_draws;
use claymark_model::forecast::{Forecast, Outlook};
use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_model::units::LitresPerHour;
use claymark_notice::content::{Because, Content, DrumState, Visit, Withdrawn};
use claymark_notice::{Audience, Notice, Priority};

/// Something to tell, before it has its number.
pub(crate) struct Finding {
    pub(crate) cause: String,
    pub(crate) drum: Option<Id>,
    pub(crate) priority: Priority,
    pub(crate) replaces: Option<u64>,
    pub(crate) to: Audience,
    pub(crate) content: Content,
}

/// What every rule sees of this look.
pub(crate) struct Scene {
    pub(crate) now: Timestamp,
    pub(crate) live: Timestamp,
    /// What has its fixed time and was due by then is told.
    pub(crate) due: Timestamp,
    pub(crate) shift: Shift,
    /// The next visit, while nobody is there.
    pub(crate) visit: Option<Visit>,
    /// Of each desk, in order.
    pub(crate) forecasts: Vec<Forecast>,
}

impl Scene {
    /// When, and what is forecast of each desk.
    pub(crate) fn seen(&self) -> (Timestamp, &[Forecast]) {
        (self.now, &self.forecasts)
    }

    pub(crate) fn moment<'a>(&self, site: &'a Site, answers: &'a BTreeMap<u64, Timestamp>) -> Moment<'a> {
        Moment { now: self.now, shift: self.shift, staff: &site.staff, contacts: &site.contacts, answers }
    }
}

impl Room {
    /// Looks at everything, tells what must be told, and notes when to look again; of what has its fixed
    /// time, what was due by `due` is told.
    pub(super) fn look(&mut self, now: Timestamp, live: Timestamp, due: Timestamp) {
        for desk in &mut self.desks {
            desk.watch.advance(now);
        }
        share_draws(&mut self.desks.iter_mut().map(|desk| &mut desk.watch).collect::<Vec<_>>());
        self.take_happenings();
        self.desks.iter_mut().for_each(|desk| desk.remember(now));
        let mut scene = self.scene(now, live, due);
        self.look_at_failures(&mut scene);
        if self.next_forecasts <= due {
            self.next_forecasts = at_or_after(due + SignedDuration::from_nanos(1));
            self.issue_forecasts(&scene);
        } else if self.refilled {
            self.issue_after_refill(&scene);
        }
        self.score(&scene);
        self.look_at_storage(&scene);
        self.look_at_clock(&scene);
        self.look_at_forwarding(&scene);
        self.look_at_link(&scene);
        self.look_at_session(&scene);
        self.look_at_reach(&scene);
        self.look_at_silence(&scene);
        self.look_at_doubts(&scene);
        self.look_at_evening(&scene);
        self.look_at_runouts(&scene);
        self.look_at_queries(&scene);
        self.looked_at = Some(now);
        self.warnings_due = self.warnings_due(&scene);
    }

    pub(crate) fn scene(&self, now: Timestamp, live: Timestamp, due: Timestamp) -> Scene {
        let shift = self.shift(now);
        let visit = match shift {
            Shift::Away { visit, .. } => Some(Visit { at: visit, margin: self.site.staff.margin }),
            Shift::Present => None,
        };
        let forecasts = self.desks.iter().map(|desk| desk.watch.forecast(now)).collect();
        Scene { now, live, due, shift, visit, forecasts }
    }

    fn score(&mut self, scene: &Scene) {
        for (desk, forecast) in self.desks.iter_mut().zip(&scene.forecasts) {
            for said in desk.watch.score(forecast) {
                self.skill.count(&said);
                self.effects.push(Effect::Mark(said));
            }
        }
    }

    fn issue_forecasts(&mut self, scene: &Scene) {
        if self.forecasts_at == Some(scene.now) {
            return;
        }
        self.forecasts_at = Some(scene.now);
        self.refilled = false;
        let supplies = self.supplies(scene.now);
        self.effects.extend(scene.forecasts.iter().cloned().chain(supplies).map(Effect::Forecast));
        self.issue_sheets(scene);
    }

    /// What stands beside a drum mustn't advise for ten minutes more what was just poured.
    fn issue_after_refill(&mut self, scene: &Scene) {
        if self.forecasts_at == Some(scene.now) {
            self.issue_sheets(scene);
        } else {
            self.issue_forecasts(scene);
        }
        self.refilled = false;
    }

    fn issue_sheets(&mut self, scene: &Scene) {
        let sheets = self.sheets(scene.now, &scene.forecasts);
        self.effects.extend(sheets.into_iter().map(|sheet| Effect::Sheet(Box::new(sheet))));
    }

    /// Gives a finding its number and sends it, with the forecasts that it goes by.
    pub(crate) fn tell(&mut self, scene: &Scene, finding: Finding) -> Told {
        self.issue_forecasts(scene);
        self.last_number = self.next_number(scene.now);
        let Finding { cause, drum, priority, replaces, mut to, content } = finding;
        // Who heard of it only because somebody else couldn't be reached hears that it is over.
        if matches!(content, Content::Withdrawn(_)) && self.reach.cleared(&cause) {
            to = Audience::Everyone;
        }
        let told = Told { number: self.last_number, at: scene.now, to: to.clone() };
        let kind = content.kind();
        let notice =
            Notice { number: told.number, at: told.at, kind, cause, drum, priority, replaces, to, content };
        self.register.issue(&notice);
        self.effects.push(Effect::Notify(notice));
        told
    }

    /// What is known of a desk's drum.
    pub(crate) fn state(&self, scene: &Scene, desk: &Desk, forecast: &Forecast) -> DrumState {
        let level = self.site.level_sensor(&desk.drum.id);
        let heard = level.and_then(|sensor| self.sensors.last(&sensor.id));
        desk.state(&self.site, forecast, self.drawn_through(scene, &desk.drum.pump), heard)
    }

    pub(crate) fn state_at(&self, scene: &Scene, place: usize) -> Option<DrumState> {
        Some(self.state(scene, self.desks.get(place)?, scene.forecasts.get(place)?))
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
    pub(crate) fn on_duty(
        &self,
        scene: &Scene,
        cause: String,
        at_night: Priority,
        content: Content,
    ) -> Finding {
        Finding {
            cause,
            drum: None,
            priority: duty::priority(scene.shift, at_night),
            replaces: None,
            to: duty::first(&self.site.contacts, scene.shift),
            content,
        }
    }

    pub(crate) fn with_desk(&mut self, place: usize, change: impl FnOnce(&mut Desk)) {
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
        let rest = [
            self.storage.wake(),
            self.forwarding.wake(),
            self.session.wake(),
            self.failures.wake(),
            self.asked.wake(),
            self.link.wake(),
            self.reach.wake(),
        ]
        .into_iter()
        .flatten();
        runouts.chain(doubts).chain(rest).filter(|due| *due > scene.now).min()
    }
}

/// A warning of `told` no longer holds.
pub(crate) fn withdrawn(cause: String, drum: Option<Id>, told: &Told, because: Because) -> Finding {
    Finding {
        cause,
        drum,
        priority: Priority::Morning,
        replaces: Some(told.number),
        to: told.to.clone(),
        content: Content::Withdrawn(Box::new(Withdrawn { told_at: told.at, because })),
    }
}
