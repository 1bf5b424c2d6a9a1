//! The evening check: when it is due, and when it is late.
//!
//! It is sent every evening, so that its absence means something.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::action::Finding;
use crate::failures::Failures;
use crate::scene::RoomView;
use crate::silence::BACKLOG;
use claymark_model::calendar::Shift;
use claymark_model::site::Site;
use claymark_notice::content::{EveningCheck, EveningDrum, Verdict, Visit};
use claymark_notice::{Audience, Content, Priority};

/// When the next evening check is due.
#[derive(Debug, Default)]
pub(crate) struct Evening {
    sent_for: Option<Timestamp>,
    next: Option<EveningDue>,
}

/// An evening check that is to be sent.
#[derive(Debug, Clone, Copy)]
struct EveningDue {
    /// The evening that it is for.
    evening: Timestamp,
    /// When it is to be sent.
    at: Timestamp,
}

impl EveningDue {
    fn after(now: Timestamp, site: &Site) -> Option<Self> {
        let evening = site.next_evening_check(now)?;
        Some(Self { evening, at: evening })
    }
}

impl Evening {
    /// From `now` on. A check that was missed is sent late, after the readings that waited at the broker have come in.
    pub(crate) fn go_live(&mut self, now: Timestamp, site: &Site) {
        let missed = match site.shift(now) {
            Shift::Away { evening, .. } => Some(evening).filter(|evening| self.sent_for != Some(*evening)),
            Shift::Present => None,
        };
        let late = |evening| EveningDue { evening, at: if evening < now { now + BACKLOG } else { now } };
        self.next = missed.map(late).or_else(|| EveningDue::after(now, site));
    }

    /// It is known to have been sent.
    pub(crate) fn sent_for(&mut self, evening: Timestamp) {
        self.sent_for = Some(evening);
    }

    /// When the next one is to be sent.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.next.map(|due| due.at)
    }

    /// The evening's word on the whole room.
    pub(crate) fn news(&mut self, view: &RoomView<'_>, failures: &Failures) -> Option<EveningCheck> {
        let (known, now) = (view.known, view.scene.now);
        let site = &known.site;
        let due = self.next.filter(|due| due.at <= view.scene.due)?;
        self.next = EveningDue::after(now, site);
        // After a long sleep the night may be over: its check would tell nothing any more.
        let visit = site.visit_after(due.evening);
        let visit = Visit { at: visit.filter(|visit| *visit > now)?, margin: site.staff.margin };
        let (silent, heard) = known.sensors.roll_call(now);
        Some(EveningCheck {
            due: due.evening,
            visit,
            drums: known.drums_until(view.scene.seen(), &visit, now),
            supplies: known.supplies(now),
            silent,
            heard,
            first_called: view.scene.on_call.for_danger().first().map(|contact| contact.id.clone()),
            confirm_by: known.confirm_by(due.evening).filter(|by| *by > now),
            store_failing_since: view.scene.store_fails_since,
            standing: failures.standing(view),
            overdue: known.overdue_checks(now),
            doubtful_catches: known.doubtful_catches(now),
            order_due: known.order_due(now),
            shelved: view.alarms.shelved(),
        })
    }
}

/// How it is told.
pub(crate) fn finding(zone: &TimeZone, check: EveningCheck) -> Finding {
    let lasts = |drum: &EveningDrum| drum.verdict == Verdict::Lasts || !drum.state.forecast.in_use;
    let all_well = check.standing.is_empty()
        && check.shelved.is_empty()
        && check.silent.is_empty()
        && check.drums.iter().all(lasts);
    Finding {
        cause: format!("evening:{}", zone.to_datetime(check.due).date()),
        drum: None,
        priority: if all_well { Priority::Morning } else { Priority::Soon },
        replaces: None,
        to: Audience::Everyone,
        content: Content::EveningCheck(Box::new(check)),
    }
}
