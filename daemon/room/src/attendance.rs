//! Whether anybody is in the room: seen by what hands leave behind, not assumed from the clock.

use jiff::{SignedDuration, Timestamp};

use crate::Room;
use crate::alarms::{AlarmSource, Raise, Turn};
use crate::calendar::{self, Shift};
use crate::scene::{Finding, Scene};
use claymark_notice::alarm::Holds;
use claymark_notice::content::Unattended;
use claymark_notice::{Call, Content, Priority, Urgency};

/// When somebody was seen last.
#[derive(Debug, Default)]
pub(crate) struct Attendance {
    seen: Option<Timestamp>,
}

impl Attendance {
    /// Hands left something behind: an entry of the field log, a refill.
    pub(crate) fn seen(&mut self, at: Timestamp) {
        self.seen = self.seen.max(Some(at));
    }

    /// When.
    pub(crate) fn last(&self) -> Option<Timestamp> {
        self.seen
    }

    /// Whether somebody is about: it is day, and somebody was seen of late.
    pub(crate) fn is_attended(&self, now: Timestamp, shift: Shift) -> bool {
        shift == Shift::Present && self.seen.is_some_and(|seen| now < seen + ABOUT_FOR)
    }
}

impl Room {
    /// Tells that nobody came for the visit.
    pub(crate) fn check_attendance(&mut self, scene: &Scene) {
        let holds = match self.missed_visit(scene) {
            Some(visit) => Holds::Since(visit),
            None => Holds::No,
        };
        match self.alarms.observe(ABSENCE, AlarmSource::Absence, (scene.now, holds)) {
            Turn::Nothing => {}
            Turn::Tell(since) => {
                // Whoever has promised nothing is asked again only where something waits for hands.
                let at_night = if self.waits_for_hands(scene) { Priority::Soon } else { Priority::Morning };
                let content = self.unattended(since);
                let finding = self.on_duty(scene, ABSENCE.to_owned(), at_night, content);
                let finding = Finding { priority: at_night, ..finding };
                let (source, call) = (AlarmSource::Absence, Call::First);
                self.raise(
                    scene,
                    finding,
                    Raise { source, since, at_night, urgency: Urgency::Look, call },
                    None,
                );
            }
            // That somebody is there whoever is there knows.
            Turn::Withdraw(_) => self.alarms.over(ABSENCE, None),
        }
    }

    /// What is to be said while nobody is seen.
    pub(crate) fn unattended(&self, visit: Timestamp) -> Content {
        Content::Unattended(Unattended { visit, seen: self.attendance.last() })
    }

    /// The visit of this morning, when it is so long past that somebody should have been seen, and nobody was.
    fn missed_visit(&self, scene: &Scene) -> Option<Timestamp> {
        let margin = self.site.staff.margin;
        let visit = match scene.shift {
            Shift::Present => calendar::last_visit(&self.site.staff, &self.site.time_zone, scene.now)?,
            Shift::Away { .. } => return None,
        };
        let last = self.attendance.last();
        let seen = last.is_some_and(|seen| seen >= visit - EARLY);
        // Where people write nothing down for days, that says nothing; but what waits for hands is missed all the same.
        let missed = last.is_some_and(|seen| seen >= visit - USUAL) || self.waits_for_hands(scene);
        // Before we listened somebody may have been there.
        let listened = scene.live <= visit;
        (!seen && missed && listened && visit + margin <= scene.now).then_some(visit)
    }

    /// A drum runs dry before the evening, or something else is told and stands.
    fn waits_for_hands(&self, scene: &Scene) -> bool {
        let evening = calendar::next_evening(&self.site.staff, &self.site.time_zone, scene.now);
        let dry = |until: Timestamp| {
            scene.forecasts.iter().any(|forecast| {
                let ends = forecast.outlook.empty_at().and_then(|ends| ends.p50);
                forecast.in_use && ends.is_some_and(|ends| ends <= until)
            })
        };
        evening.is_some_and(dry) || self.alarms.any_calls()
    }
}

pub(crate) const ABSENCE: &str = "absence";

/// Hands that were seen are about for so long.
const ABOUT_FOR: SignedDuration = SignedDuration::from_hours(3);

/// Whoever was seen within this is usually seen.
const USUAL: SignedDuration = SignedDuration::from_hours(60);

/// Whoever comes earlier than the visit has come for it.
const EARLY: SignedDuration = SignedDuration::from_hours(2);
