//! Whether anybody came for the visit: seen by what hands leave behind, not assumed from the clock.

use jiff::{SignedDuration, Timestamp};

use crate::action::{AlarmAction, Finding};
use crate::alarms::{AlarmSource, Raise, Turn};
use crate::scene::RoomView;
use claymark_model::calendar::Shift;
use claymark_notice::alarm::Holds;
use claymark_notice::content::Unattended;
use claymark_notice::{Call, Content, Priority, Urgency};

/// Whether nobody came for the visit.
pub(crate) fn condition(view: &RoomView<'_>) -> (String, Holds) {
    (ABSENCE.to_owned(), missed_visit(view).map_or(Holds::No, Holds::Since))
}

/// Tells that nobody came.
pub(crate) fn turned(view: &RoomView<'_>, turn: Turn) -> AlarmAction {
    match turn {
        Turn::Tell(since) => {
            // Whoever has promised nothing is asked again only where something waits for hands.
            let priority = if waits_for_hands(view) { Priority::Soon } else { Priority::Morning };
            let finding = view.on_duty(ABSENCE, priority, (None, unattended(view, since)));
            let (source, at_night, urgency) = (AlarmSource::Absence, priority, urgency(view));
            let raise = Raise { source, since, at_night, urgency, call: Call::First };
            AlarmAction::Raise(Finding { priority, ..finding }, raise)
        }
        // That somebody is there whoever is there knows.
        Turn::Withdraw(_) => AlarmAction::End { cause: ABSENCE.to_owned(), quiet_until: None },
    }
}

/// How pressing it is by now that nobody was seen.
pub(crate) fn presses(view: &RoomView<'_>) -> Option<AlarmAction> {
    view.alarms.last(ABSENCE).filter(|_| view.alarms.holds(ABSENCE))?;
    let at_night = if waits_for_hands(view) { Priority::Soon } else { Priority::Morning };
    Some(AlarmAction::Press { cause: ABSENCE.to_owned(), urgency: urgency(view), at_night })
}

/// Where fish are in danger and nobody has promised to come, it is what endangers them.
fn urgency(view: &RoomView<'_>) -> Urgency {
    if view.alarms.any_unanswered_danger(view.scene.now) {
        Urgency::Danger { by: None }
    } else {
        Urgency::Look
    }
}

/// What is to be said while nobody is seen.
pub(crate) fn unattended(view: &RoomView<'_>, visit: Timestamp) -> Content {
    Content::Unattended(Unattended { visit, seen: view.known.hands_seen })
}

/// The visit of this morning, when it is so long past that somebody should have been seen, and nobody was.
fn missed_visit(view: &RoomView<'_>) -> Option<Timestamp> {
    let (scene, staff) = (view.scene, &view.known.site.staff);
    let visit = match scene.shift {
        Shift::Present => view.known.site.last_visit(scene.now)?,
        Shift::Away { .. } => return None,
    };
    let last = view.known.hands_seen;
    let seen = last.is_some_and(|seen| seen >= visit - EARLY);
    // Where people write nothing down for days, that says nothing; but what waits for hands is missed all the same.
    let missed = last.is_some_and(|seen| seen >= visit - USUAL) || waits_for_hands(view);
    // Before we listened somebody may have been there.
    let listened = scene.live <= visit;
    (!seen && missed && listened && visit + staff.margin <= scene.now).then_some(visit)
}

/// A drum runs dry before the evening, or something else is told and stands.
fn waits_for_hands(view: &RoomView<'_>) -> bool {
    let evening = view.known.site.next_evening_check(view.scene.now);
    let dry = |until: Timestamp| {
        view.scene.forecasts.iter().any(|forecast| {
            let ends = forecast.outlook.empty_at().and_then(|ends| ends.p50);
            forecast.in_use && ends.is_some_and(|ends| ends <= until)
        })
    };
    evening.is_some_and(dry) || view.alarms.any_calls()
}

const ABSENCE: &str = "absence";

/// Whoever was seen within this is usually seen.
const USUAL: SignedDuration = SignedDuration::from_hours(60);

/// Whoever comes earlier than the visit has come for it.
const EARLY: SignedDuration = SignedDuration::from_hours(2);
