//! A level that isn't believed: its drum is watched worse than usual.

use jiff::Timestamp;

use crate::action::AlarmAction;
use crate::alarms::{AlarmSource, Turn, WELL_FOR};
use crate::drum_record::DrumRecord;
use crate::failures::Failures;
use crate::scene::RoomView;
use claymark_model::id::Id;
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, DrumState, LevelDoubt};
use claymark_notice::{Content, Priority};

/// Of each drum, whether its level isn't believed.
pub(crate) fn conditions(view: &RoomView<'_>, failures: &Failures) -> Vec<(String, Holds)> {
    let doubted = |record: &DrumRecord| {
        let since = doubted_since(view, failures, record);
        (cause(&record.drum.id), since.map_or(Holds::No, Holds::Since))
    };
    view.known.records.iter().map(doubted).collect()
}

/// Tells which level isn't believed, and when it is again.
pub(crate) fn turned(view: &RoomView<'_>, of: &str, turn: Turn) -> Option<AlarmAction> {
    let state = state(view, of)?;
    match turn {
        Turn::Tell(since) => {
            let at_night = if state.forecast.in_use { Priority::Now } else { Priority::Morning };
            let finding = view.on_duty(of, at_night, said(view, state));
            Some(view.raised(AlarmSource::Doubt, since, at_night, finding))
        }
        Turn::Withdraw(since) => {
            let drum = state.drum.clone();
            // All has been well for so long when it is told.
            let until = Some(view.scene.now - WELL_FOR);
            let because = Because::LevelBelieved { state, since, until };
            view.withdrawn(of, Some(drum), because, view.quiet_until(of))
        }
    }
}

/// What is to be said when people are called once more.
pub(crate) fn again(view: &RoomView<'_>, of: &str) -> Option<(Option<Id>, Content)> {
    Some(said(view, state(view, of)?))
}

fn said(view: &RoomView<'_>, state: DrumState) -> (Option<Id>, Content) {
    let drum = state.drum.clone();
    (Some(drum), Content::LevelDoubt(Box::new(LevelDoubt { state, visit: view.scene.visit })))
}

fn state(view: &RoomView<'_>, of: &str) -> Option<DrumState> {
    view.state_at(view.known.records.iter().position(|record| cause(&record.drum.id) == of)?)
}

/// A level that isn't believed though its sensor speaks; one that doesn't is told as silence.
fn doubted_since(view: &RoomView<'_>, failures: &Failures, record: &DrumRecord) -> Option<Timestamp> {
    let level = view.known.site.level_sensor(&record.drum.id)?;
    let doubt = record.watch.doubt(view.scene.now)?;
    let explained = failures.explain_standing(&record.drum.id, &record.drum.pump);
    let speaks = !view.known.sensors.overdue(&level.id, view.scene.now);
    (!explained && speaks).then_some(doubt.since)
}

fn cause(drum: &Id) -> String {
    format!("level:{drum}")
}
