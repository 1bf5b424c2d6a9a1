//! The morning's word: what the night has brought, who answered, and what to look at first.

use jiff::Timestamp;

use crate::action::{AlarmAction, Finding};
use crate::failures::Failures;
use crate::scene::RoomView;
use claymark_model::calendar::Shift;
use claymark_model::site::Site;
use claymark_notice::content::Visit;
use claymark_notice::handover::Morning;
use claymark_notice::register::Register;
use claymark_notice::{Audience, Content, Priority};
use jiff::SignedDuration;

/// When it is due.
#[derive(Debug, Default)]
pub(crate) struct MorningWatch {
    next: Option<Timestamp>,
}

impl MorningWatch {
    /// From `now` on.
    pub(crate) fn go_live(&mut self, now: Timestamp, site: &Site) {
        self.next = site.staff.morning.and_then(|morning| site.next_time(now, morning));
    }

    /// When it is due.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.next
    }

    /// Tells it.
    pub(crate) fn news(
        &mut self,
        view: &RoomView<'_>,
        failures: &Failures,
        register: &Register,
    ) -> Option<AlarmAction> {
        let (known, scene) = (view.known, view.scene);
        self.next.filter(|due| *due <= scene.due)?;
        self.go_live(scene.now, &known.site);
        let evening = match scene.shift {
            Shift::Away { evening, .. } => evening,
            Shift::Present => scene.now - A_NIGHT,
        };
        let next_evening = known.site.next_evening_check(scene.now);
        let until = Visit { at: next_evening?, margin: SignedDuration::ZERO };
        let morning = Morning {
            evening,
            tonight: known.on_tonight(scene.now),
            told: register.told_since(evening),
            standing: failures.standing(view),
            drums: known.drums_until(scene.seen(), &until, scene.now),
            next_evening,
        };
        let date = known.site.date_at(scene.now);
        Some(AlarmAction::Tell(Finding {
            cause: format!("morning:{date}"),
            drum: None,
            priority: if morning.standing.is_empty() { Priority::Morning } else { Priority::Soon },
            replaces: None,
            to: Audience::Everyone,
            content: Content::Morning(Box::new(morning)),
        }))
    }
}

/// What is told of where the morning comes after the visit.
const A_NIGHT: SignedDuration = SignedDuration::from_hours(15);
