//! One round through the whole room: what has arrived is thought through, what is due is issued, each rule finds at most
//! one thing to tell, and each is told.

use claymark_drum::share_draws;
use jiff::{SignedDuration, Timestamp};

use crate::calls::moment_of;
use crate::doubt::DOUBT_PATIENCE;
use crate::scene::Scene;
use crate::{Effect, Room, at_or_after};

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

    fn score(&mut self, scene: &Scene) {
        for (desk, forecast) in self.desks.iter_mut().zip(&scene.forecasts) {
            for said in desk.watch.score(forecast) {
                self.skill.count(&said);
                self.effects.push(Effect::Mark(said));
            }
        }
    }

    pub(crate) fn issue_forecasts(&mut self, scene: &Scene) {
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

    fn warnings_due(&self, scene: &Scene) -> Option<Timestamp> {
        let moment = moment_of(scene, &self.site, &self.answers);
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
