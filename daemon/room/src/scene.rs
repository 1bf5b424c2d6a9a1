//! What every part of the room sees of one look at it.

use jiff::{SignedDuration, Timestamp};

use crate::action::{AlarmAction, Finding};
use crate::alarms::{AlarmSource, Alarms, QUIET_FOR, Raise};
use crate::audience;
use crate::knowledge::Knowledge;
use crate::on_call::OnCall;
use claymark_model::calendar::Shift;
use claymark_model::forecast::Forecast;
use claymark_model::id::Id;
use claymark_notice::content::{Because, Content, DrumState, Visit, Withdrawn};
use claymark_notice::handover::OnTonight;
use claymark_notice::link::LinkDown;
use claymark_notice::{Audience, Call, Priority, Urgency};

/// The time, who is there, and what is forecast.
#[derive(Debug)]
pub(crate) struct Scene {
    pub(crate) now: Timestamp,
    pub(crate) live: Timestamp,
    /// What has its fixed time and was due by then is told.
    pub(crate) due: Timestamp,
    pub(crate) shift: Shift,
    /// Somebody is about: it is day, and hands were seen of late.
    pub(crate) attended: bool,
    /// The next visit, while nobody is there.
    pub(crate) visit: Option<Visit>,
    /// Who may be called.
    pub(crate) on_call: OnCall,
    /// Who has the night, where the site asks for that.
    pub(crate) tonight: Option<OnTonight>,
    /// Of each record, in order.
    pub(crate) forecasts: Vec<Forecast>,
    /// Since when nothing can be kept.
    pub(crate) store_fails_since: Option<Timestamp>,
    /// What is wrong with the connection to the broker.
    pub(crate) link_down: Option<LinkDown>,
}

impl Scene {
    /// While the room's own plumbing works.
    pub(crate) fn of(known: &Knowledge, now: Timestamp, live: Timestamp, due: Timestamp) -> Self {
        let shift = known.shift(now);
        let visit = match shift {
            Shift::Away { visit, .. } => Some(Visit { at: visit, margin: known.site.staff.margin }),
            Shift::Present => None,
        };
        let attended = shift == Shift::Present && known.hands_seen.is_some_and(|seen| now < seen + ABOUT_FOR);
        let (forecasts, on_call) = (known.drum_forecasts(now), known.on_call(now));
        let (store_fails_since, link_down, tonight) = (None, None, known.on_tonight(now));
        Self {
            now,
            live,
            due,
            shift,
            attended,
            visit,
            on_call,
            tonight,
            forecasts,
            store_fails_since,
            link_down,
        }
    }

    /// When, and what is forecast of each record.
    pub(crate) fn seen(&self) -> (Timestamp, &[Forecast]) {
        (self.now, &self.forecasts)
    }
}

/// All that a part of the room may look at, and how it makes of that what it wants told.
#[derive(Clone, Copy)]
pub(crate) struct RoomView<'a> {
    pub(crate) known: &'a Knowledge,
    pub(crate) scene: &'a Scene,
    pub(crate) alarms: &'a Alarms,
}

impl RoomView<'_> {
    /// What is known of the drum of a record.
    pub(crate) fn state_at(&self, place: usize) -> Option<DrumState> {
        self.known.state_at(&self.scene.forecasts, place)
    }

    /// A finding for whoever is on duty; while people are there, everyone within the hour.
    pub(crate) fn on_duty(
        &self,
        cause: impl Into<String>,
        at_night: Priority,
        (drum, content): (Option<Id>, Content),
    ) -> Finding {
        Finding {
            cause: cause.into(),
            drum,
            priority: audience::priority(self.scene.shift, at_night),
            replaces: None,
            to: audience::first(self.scene.on_call.usual(), self.scene.shift),
            content,
        }
    }

    /// For the first time something is told that only needs to be looked at.
    pub(crate) fn raised(
        &self,
        source: AlarmSource,
        since: Timestamp,
        at_night: Priority,
        finding: Finding,
    ) -> AlarmAction {
        AlarmAction::Raise(
            finding,
            Raise { source, since, at_night, urgency: Urgency::Look, call: Call::First },
        )
    }

    /// Until when something that was told isn't told again.
    pub(crate) fn quiet_until(&self, cause: &str) -> Option<Timestamp> {
        self.alarms.last(cause).map(|told| told.at + QUIET_FOR)
    }

    /// What was told of a cause no longer holds, and isn't told again before then.
    pub(crate) fn withdrawn(
        &self,
        cause: &str,
        drum: Option<Id>,
        because: Because,
        quiet_until: Option<Timestamp>,
    ) -> Option<AlarmAction> {
        let told = self.alarms.last(cause)?;
        let finding = Finding {
            cause: cause.to_owned(),
            drum,
            priority: Priority::Morning,
            replaces: Some(told.number),
            to: Audience::Everyone,
            content: Content::Withdrawn(Box::new(Withdrawn { told_at: told.at, because })),
        };
        Some(AlarmAction::Withdraw(finding, quiet_until))
    }
}

/// Hands that were seen are about for so long.
const ABOUT_FOR: SignedDuration = SignedDuration::from_hours(3);
