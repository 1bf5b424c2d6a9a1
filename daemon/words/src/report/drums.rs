//! What is told of a drum's week.

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use claymark_model::doubt::{Grounds, WhyDoubted};
use claymark_model::site::Site;
use claymark_model::units::{Kilograms, Litres, PeopleUnits};

use super::{counted, moment, percent};
use crate::format::{duration, mass, volume};
use crate::{doubt, typed};

/// For a drum whose volume isn't known all week.
#[must_use]
pub fn known_for(known_percent: f64) -> String {
    let rest = "refills and run-outs in the rest can't be told";
    if known_percent <= 0.0 {
        "The volume was never known: whether it was refilled or ran empty can't be told.".to_owned()
    } else {
        format!("The volume is known for {} of the week; {rest}.", percent(known_percent))
    }
}

/// Refills: how many, how much, how many of them nobody wrote down, and the clay that the log tells of.
#[must_use]
pub fn refills(added: &[Litres], unlogged: usize, clay: Kilograms, site: &Site) -> String {
    let units = &site.units;
    let sum = Litres(added.iter().map(|litres| litres.0).sum());
    let unlogged = match (unlogged, added.len()) {
        (0, _) => String::new(),
        (1, 1) => ", which nobody wrote down".to_owned(),
        (unlogged, _) => format!(", {unlogged} of them not written down"),
    };
    let clay = if clay.0 > 0.0 {
        format!("; the log tells of {} of clay", mass(units, clay, site.clay.scale_step))
    } else {
        String::new()
    };
    match added {
        [] => "No refill was seen.".to_owned(),
        _ => format!(
            "{}, {} in all{unlogged}{clay}.",
            counted(added.len(), "refill", "refills"),
            volume(units, sum)
        ),
    }
}

/// A time without slurry.
#[must_use]
pub fn run_out(
    at: Timestamp,
    refilled: Option<Timestamp>,
    lasted: SignedDuration,
    zone: &TimeZone,
) -> String {
    match refilled {
        Some(refilled) => format!(
            "Ran empty {}; refilled {}, after {} without slurry.",
            moment(at, zone),
            moment(refilled, zone),
            duration(lasted)
        ),
        None => format!("Ran empty {} and wasn't refilled in the week.", moment(at, zone)),
    }
}

/// How early the first word on its end came, and by which notice.
#[must_use]
pub fn warned(first: Option<(SignedDuration, u64)>) -> String {
    match first {
        None => "No warning was sent.".to_owned(),
        Some((ahead, number)) if ahead.is_negative() => {
            format!("First warned {} too late, by No. {number}.", duration(ahead))
        }
        Some((ahead, number)) => format!("First warned {} before, by No. {number}.", duration(ahead)),
    }
}

/// What a forecast had said: `error` is the likely time minus the true one.
#[must_use]
pub fn hindsight(ahead: SignedDuration, error: Option<SignedDuration>, held: bool) -> String {
    let said = match error {
        None => "the forecast saw no end within 72 h".to_owned(),
        Some(error) if error.abs() < SignedDuration::from_mins(1) => "the likely time was right".to_owned(),
        Some(error) if error.is_negative() => format!("the likely time was {} too early", duration(error)),
        Some(error) => format!("the likely time was {} too late", duration(error)),
    };
    let held = if held { "within earliest to latest" } else { "outside earliest to latest" };
    format!("{} before, {said}, {held}.", duration(ahead))
}

/// A time in which the level couldn't be believed.
#[must_use]
pub fn doubt(from: Timestamp, to: Option<Timestamp>, why: &Grounds<WhyDoubted>, zone: &TimeZone) -> String {
    let why = doubt::doubted(why);
    let why = why.trim_end_matches('.');
    match to {
        Some(to) => format!("Level not believed {} to {}: {why}.", moment(from, zone), moment(to, zone)),
        None => format!("Level not believed since {}: {why}.", moment(from, zone)),
    }
}

/// Shorter times in which the level couldn't be believed: how many, and how long together.
#[must_use]
pub fn more_doubts(times: usize, in_all: SignedDuration) -> Option<String> {
    (times > 0).then(|| {
        format!("Not believed {} more, for {} in all.", counted(times, "time", "times"), duration(in_all))
    })
}

/// Forecasts that a refill overtook: how many, and how many of them had called the drum empty before that.
#[must_use]
pub fn refuted(checked: u64, too_early: u64) -> Option<String> {
    match (checked, too_early) {
        (0, _) => None,
        (checked, 0) => Some(format!(
            "Of {checked} forecasts that a refill overtook, none had called the drum empty too soon."
        )),
        (checked, wrong) => Some(format!(
            "Of {checked} forecasts that a refill overtook, {wrong} had called the drum empty too soon."
        )),
    }
}

/// Over a refill in the picture.
#[must_use]
pub fn refill_label(added: Litres, logged: bool, units: &PeopleUnits) -> String {
    let unlogged = if logged { "" } else { " not logged" };
    format!("+{}{unlogged}", volume(units, added))
}

/// Beside the lowest point of a vessel.
#[must_use]
pub fn lowest(lowest: Litres, units: &PeopleUnits) -> String {
    format!("lowest {}", volume(units, lowest))
}

/// Under a vessel: what was in it at the end of the week.
#[must_use]
pub fn at_the_end(last: Option<Litres>, full: Litres, units: &PeopleUnits) -> String {
    let full = volume(units, full);
    match last {
        Some(last) => format!("{} of {full} at the end", volume(units, last)),
        None => format!("volume not known at the end (full: {full})"),
    }
}

/// Under a vessel: what happened.
#[must_use]
pub fn events(refills: usize, run_outs: usize) -> String {
    format!("{}, {}", counted(refills, "refill", "refills"), counted(run_outs, "run-out", "run-outs"))
}

/// For those who can't see the picture.
#[must_use]
pub fn picture(
    name: &str,
    lowest: Option<Litres>,
    last: Option<Litres>,
    refills: usize,
    run_outs: usize,
    units: &PeopleUnits,
) -> String {
    let told =
        |known: Option<Litres>| known.map_or_else(|| "unknown".to_owned(), |known| volume(units, known));
    format!(
        "Volume of {} over the week: lowest {}, at the end {}; {}, {}.",
        typed::name(name),
        told(lowest),
        told(last),
        counted(refills, "refill", "refills"),
        counted(run_outs, "run-out", "run-outs")
    )
}

/// Beside the line of what the pump can't lift.
pub const HEEL: &str = "heel";
/// Beside the line of a full drum.
pub const FULL: &str = "full";
/// Where there was no slurry.
pub const EMPTY: &str = "ran empty";
/// Where the level couldn't be believed.
pub const DOUBT: &str = "level not believed";
/// Where nothing measures.
pub const NO_SENSOR: &str = "no sensor";
/// Where a figure isn't known.
pub const NOT_KNOWN: &str = "not known";
