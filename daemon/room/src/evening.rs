//! The evening check: when it is due, and when it is late.
//!
//! It is sent every evening, so that its absence means something.

use jiff::Timestamp;

use crate::calendar::Shift;
use crate::scene::{Finding, Scene};
use crate::silence::BACKLOG;
use crate::{Room, calendar};
use claymark_model::forecast::Forecast;
use claymark_notice::content::{EveningCheck, EveningDrum, Verdict, Visit};
use claymark_notice::{Audience, Content, Priority};

/// When the next evening check is due.
#[derive(Debug, Default)]
pub(crate) struct Evening {
    sent_for: Option<Timestamp>,
    next: Option<EveningDue>,
}

/// An evening check that is to be sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct EveningDue {
    /// The evening that it is for.
    pub(crate) evening: Timestamp,
    /// When it is to be sent.
    pub(crate) at: Timestamp,
}

impl Evening {
    /// From `now` on, in the night of `tonight` if it is one; `upcoming` is the next evening check.
    ///
    /// A check that was missed is sent late, after the readings that waited at the broker have come in.
    pub(crate) fn go_live(
        &mut self,
        now: Timestamp,
        tonight: Option<Timestamp>,
        upcoming: Option<Timestamp>,
    ) {
        let missed = tonight.filter(|evening| self.sent_for != Some(*evening) && *evening < now);
        self.next = match (missed, tonight) {
            (Some(evening), _) => Some(EveningDue { evening, at: now + BACKLOG }),
            (None, Some(evening)) if evening == now && self.sent_for != Some(evening) => {
                Some(EveningDue { evening, at: now })
            }
            (None, _) => upcoming.map(|evening| EveningDue { evening, at: evening }),
        };
    }

    /// The check that is to be sent now.
    pub(crate) fn due(&self, now: Timestamp) -> Option<EveningDue> {
        self.next.filter(|due| due.at <= now)
    }

    /// It was sent, or the night that it was for is over; `upcoming` is the next one.
    pub(crate) fn done(&mut self, upcoming: Option<Timestamp>) {
        self.next = upcoming.map(|evening| EveningDue { evening, at: evening });
    }

    /// It is known to have been sent.
    pub(crate) fn sent_for(&mut self, evening: Timestamp) {
        self.sent_for = Some(evening);
    }

    /// When the next one is to be sent.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.next.map(|due| due.at)
    }
}

impl Room {
    /// The next visit: of this night, or of the night that comes.
    #[must_use]
    pub fn next_visit(&self, now: Timestamp) -> Option<Visit> {
        let (staff, zone) = (&self.site.staff, &self.site.time_zone);
        let at = match self.shift(now) {
            Shift::Away { visit, .. } => Some(visit),
            Shift::Present => calendar::visit_of(staff, zone, calendar::next_evening(staff, zone, now)?),
        };
        Some(Visit { at: at?, margin: staff.margin })
    }

    /// The next evening check, after which nobody is there.
    #[must_use]
    pub fn next_evening(&self, now: Timestamp) -> Option<Timestamp> {
        match self.shift(now) {
            Shift::Away { .. } => None,
            Shift::Present => calendar::next_evening(&self.site.staff, &self.site.time_zone, now),
        }
    }

    /// Whether each drum lasts until then, and what hands that are there at `from` can do; then each supply that
    /// several drums share.
    #[must_use]
    pub fn outlook(
        &self,
        now: Timestamp,
        visit: &Visit,
        from: Timestamp,
    ) -> (Vec<EveningDrum>, Vec<Forecast>) {
        let scene = self.scene(now, self.live.unwrap_or(now), now);
        (self.drums_until(&scene, visit, from), self.supplies(now))
    }

    /// Tells the evening's word on the whole room.
    pub(crate) fn check_evening(&mut self, scene: &Scene) {
        let Some(due) = self.evening.due(scene.due) else { return };
        let upcoming = calendar::next_evening(&self.site.staff, &self.site.time_zone, scene.now);
        self.evening.done(upcoming);
        // After a long sleep the night may be over: its check would tell nothing any more.
        let visit = calendar::visit_of(&self.site.staff, &self.site.time_zone, due.evening);
        let Some(visit) = visit.filter(|visit| *visit > scene.now) else { return };
        let visit = Visit { at: visit, margin: self.site.staff.margin };
        let finding = self.evening_check(scene, due, visit);
        let told = self.tell(scene, finding);
        let supplies = self.supplies(scene.now);
        self.evening_told_ends(told.at, &scene.forecasts, &supplies);
    }

    /// Whether each drum lasts, and what hands that are there at `from` can do.
    pub(crate) fn drums_until(&self, scene: &Scene, visit: &Visit, from: Timestamp) -> Vec<EveningDrum> {
        let drum = |(record, forecast)| {
            let state = self.state(scene, record, forecast);
            EveningDrum {
                verdict: Verdict::of_outlook(&forecast.outlook, visit),
                remedy: self.remedy(scene.seen(), record, &state, (Some(visit), from)),
                state,
            }
        };
        self.records.iter().zip(&scene.forecasts).map(drum).collect()
    }

    fn evening_check(&self, scene: &Scene, due: EveningDue, visit: Visit) -> Finding {
        let drums = self.drums_until(scene, &visit, scene.now);
        let standing = self.standing_failures();
        let all_well = standing.is_empty()
            && drums.iter().all(|drum| drum.verdict == Verdict::Lasts || !drum.state.forecast.in_use);
        let (silent, heard) = self.sensors.roll_call(scene.now);
        let date = self.site.time_zone.to_datetime(due.evening).date();
        Finding {
            cause: format!("evening:{date}"),
            drum: None,
            priority: if all_well && silent.is_empty() { Priority::Morning } else { Priority::Soon },
            replaces: None,
            to: Audience::Everyone,
            content: Content::EveningCheck(Box::new(EveningCheck {
                due: due.evening,
                visit,
                drums,
                supplies: self.supplies(scene.now),
                silent,
                heard,
                first_called: self.site.contacts.first().map(|contact| contact.id.clone()),
                store_failing_since: self.storage.failing_since(),
                standing,
                overdue: self.overdue_checks(scene.now),
                doubtful_catches: self.doubtful_catches(scene.now),
                order_due: self.order_due(scene.now),
            })),
        }
    }
}
