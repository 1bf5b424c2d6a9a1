//! One round through the whole room: what has arrived is thought through, what is due is issued, each rule finds at most
//! one thing to tell, and each is told.

use claymark_drum::share_draws;
use jiff::{SignedDuration, Timestamp};

use crate::pace::Pace;
use crate::scene::Scene;
use crate::{Effect, Room, at_or_after};

impl Room {
    /// Looks at everything, tells what must be told, and notes when to look again; of what has its fixed
    /// time, what was due by `due` is told.
    pub(super) fn round(&mut self, now: Timestamp, live: Timestamp, due: Timestamp) {
        for record in &mut self.records {
            record.watch.advance(now);
        }
        share_draws(&mut self.records.iter_mut().map(|record| &mut record.watch).collect::<Vec<_>>());
        self.take_happenings();
        self.records.iter_mut().for_each(|record| record.remember(now));
        let mut scene = self.scene(now, live, due);
        self.check_failures(&mut scene);
        if self.next_forecasts <= due {
            self.next_forecasts = at_or_after(due + SignedDuration::from_nanos(1));
            self.issue_forecasts(&scene);
        } else if self.refilled {
            self.issue_after_refill(&scene);
        }
        self.score(&scene);
        self.check_storage(&scene);
        self.check_clock(&scene);
        self.check_forwarding(&scene);
        self.check_link(&scene);
        self.check_session(&scene);
        self.check_reach(&scene);
        self.check_silence(&scene);
        self.check_doubts(&scene);
        self.check_evening(&scene);
        self.check_ends(&scene);
        self.check_attendance(&scene);
        self.call_again(&scene);
        self.check_queries(&scene);
        self.checked_at = Some(now);
        self.warnings_due = self.warnings_due(&scene);
    }

    fn score(&mut self, scene: &Scene) {
        for (record, forecast) in self.records.iter_mut().zip(&scene.forecasts) {
            for said in record.watch.score(forecast) {
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
        let pace = Pace::of(&self.site, scene.shift);
        let rest = [self.session.wake(), self.asked.wake(), self.reach.wake()].into_iter().flatten();
        let dues = self.ends_due(scene).chain(self.alarms.wake(&pace)).chain(rest);
        dues.filter(|due| *due > scene.now).min()
    }
}
