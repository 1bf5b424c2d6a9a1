//! What is told of warnings, missing readings, what was kept aside, and the field log.

use jiff::SignedDuration;
use jiff::tz::TimeZone;

use claymark_core::fieldlog::{Deed, LogEntry};
use claymark_core::id::Id;
use claymark_core::notice::Priority;
use claymark_core::quarantine::Reason;
use claymark_core::site::{Place, Site};
use claymark_core::units::{Litres, Millimetres};

use super::drums::{litres, mass};
use super::{Mark, counted, duration, moment};

/// How soon someone had to act.
#[must_use]
pub fn urgency(priority: Priority) -> &'static str {
    match priority {
        Priority::Now => "at once",
        Priority::Soon => "within the hour",
        Priority::Morning => "by the next visit",
    }
}

/// "Kim after 4 min".
#[must_use]
pub fn answered(by: Option<&str>, after: SignedDuration) -> String {
    format!("{} after {}", by.filter(|by| !by.is_empty()).unwrap_or("someone"), duration(after))
}

/// Where nobody answered.
#[must_use]
pub fn unanswered(priority: Priority) -> &'static str {
    match priority {
        Priority::Now | Priority::Soon => "nobody",
        Priority::Morning => "none needed",
    }
}

/// Readings that came late.
#[must_use]
pub fn late(late: u64) -> Option<String> {
    (late > 0).then(|| {
        format!(
            "{late} readings came more than 5 minutes after they were measured; they stand at their own time."
        )
    })
}

/// How the messages of one notice fared.
#[must_use]
pub fn delivered(sent: usize, pending: usize, given_up: usize, took: Option<SignedDuration>) -> String {
    let took = match took {
        Some(took) if took >= SignedDuration::from_mins(2) => format!(", the first after {}", duration(took)),
        _ => String::new(),
    };
    match (sent, pending, given_up) {
        (0, 0, 0) => "nobody to tell".to_owned(),
        (sent, 0, 0) => format!("{sent} sent{took}"),
        (sent, pending, 0) => format!("{sent} sent{took}, {pending} still waiting"),
        (sent, 0, given_up) => format!("{sent} sent{took}, {given_up} given up"),
        (sent, pending, given_up) => {
            format!("{sent} sent{took}, {pending} still waiting, {given_up} given up")
        }
    }
}

/// What lacks in one sensor's week: its longest gap, failed and suspect readings.
#[must_use]
pub fn lacks(
    readings: u64,
    longest_gap: Option<(SignedDuration, String)>,
    failed: u64,
    suspect: u64,
) -> String {
    if readings == 0 {
        return "not a single reading".to_owned();
    }
    let gap = longest_gap.map(|(length, since)| format!("longest gap {} ({since})", duration(length)));
    let some = |number: u64, what: &str| (number > 0).then(|| format!("{number} {what}"));
    let all: Vec<String> =
        [gap, some(failed, "failed a test"), some(suspect, "suspect")].into_iter().flatten().collect();
    if all.is_empty() { "nothing".to_owned() } else { all.join(", ") }
}

/// How many sensors were complete.
#[must_use]
pub fn complete(complete: usize, all: usize) -> (Mark, String) {
    match (complete, all) {
        (_, 0) => (Mark::Unknown, "The site has no sensor.".to_owned()),
        (complete, all) if complete == all => (
            Mark::Good,
            format!("{}: each gave at least 99 % of its week.", counted(all, "sensor", "sensors")),
        ),
        (0, all) => (Mark::Bad, format!("None of {} was complete.", counted(all, "sensor", "sensors"))),
        (complete, all) => (
            Mark::Look,
            format!("{complete} of {all} sensors gave at least 99 % of their week; these didn't:"),
        ),
    }
}

/// For those who can't see when a sensor's readings were there.
#[must_use]
pub fn coverage(sensor: &str, known: &str) -> String {
    format!("Usable readings of {sensor} over the week: {known}.")
}

/// Why something was kept aside.
#[must_use]
pub fn reason(reason: Reason) -> &'static str {
    match reason {
        Reason::UnknownTopic => "a topic that no sensor claims",
        Reason::NotUtf8 => "bytes that aren't text",
        Reason::TooLarge => "a message larger than any reading",
        Reason::NotANumber => "something that isn't a number",
        Reason::NotFinite => "a number without end or meaning (infinite, NaN)",
        Reason::OutOfNumberRange => "a number too large to hold",
        Reason::BadJson => "text that isn't JSON",
        Reason::MissingField => "JSON without the expected field",
        Reason::BadSenml => "a pack that isn't SenML",
        Reason::BadCbor => "a pack that isn't CBOR",
        Reason::UnknownUnit => "a unit that doesn't fit the sensor",
        Reason::BadTime => "a time that can't be read",
        Reason::FutureTime => "a time in the future",
        Reason::RetainedWithoutTime => "an old message without a time",
        Reason::Conflict => "a second, different value for the same moment",
        Reason::BadLogEntry => "a field-log entry that can't be read",
        Reason::BadAnswer => "an answer that can't be read",
    }
}

/// What was done, in a line.
#[must_use]
pub fn deed(entry: &LogEntry, site: &Site) -> String {
    let units = &site.units;
    match &entry.deed {
        Deed::Refill { drum, water, clay } => {
            let what = figures([
                water.map(|water| format!("{} of water", litres(water, units))),
                clay.map(|clay| format!("{} of clay", mass(clay, units))),
            ]);
            format!("Refilled {}{what}", drum_name(drum.as_ref(), site))
        }
        Deed::PumpSetting { pump, rpm } => match rpm {
            Some(rpm) if *rpm <= 0.0 => format!("Switched {} off", pump_name(pump.as_ref(), site)),
            Some(rpm) => format!("Set {} to {rpm:.0} rpm", pump_name(pump.as_ref(), site)),
            None => format!("Set {}", pump_name(pump.as_ref(), site)),
        },
        Deed::InUse { pump, drum } => {
            format!("{} draws from {}", pump_name(pump.as_ref(), site), drum_name(drum.as_ref(), site))
        }
        Deed::FlowCheck { place, volume, seconds } => {
            let what = figures([
                volume.map(|volume| small_volume(volume, site)),
                seconds.map(|seconds| format!("in {seconds:.0} s")),
            ]);
            format!("Flow check at {}{what}", place_name(place.as_ref(), site))
        }
        Deed::GrabSample { place, quantity, value, unit } => {
            let value = value.map(|value| format!("{value} {}", unit.as_deref().unwrap_or("")));
            let what = figures([quantity.clone(), value.map(|value| value.trim_end().to_owned())]);
            format!("Hand sample at {}{what}", place_name(place.as_ref(), site))
        }
        Deed::Cleaning { place, minutes } => {
            let what = figures([minutes.map(|minutes| format!("{minutes:.0} min"))]);
            format!("Cleaned {}{what}", place_name(place.as_ref(), site))
        }
        Deed::Dip { drum, level, volume } => {
            let what = figures([
                level.map(|Millimetres(mm)| format!("{mm:.0} mm")),
                volume.map(|volume| litres(volume, units)),
            ]);
            format!("Read {} by eye{what}", drum_name(drum.as_ref(), site))
        }
        Deed::Wipe { sensor } => format!("Wiped {}", sensor_name(sensor.as_ref(), site)),
        Deed::TubeChange { pump } => format!("New tube in {}", pump_name(pump.as_ref(), site)),
        Deed::ClogCleared { pump } => format!("Cleared a clog at {}", pump_name(pump.as_ref(), site)),
        Deed::Delivery { bags, mass: clay, lot } => {
            let what = figures([
                bags.map(|bags| format!("{bags:.0} bags")),
                clay.map(|clay| mass(clay, units)),
                lot.as_ref().map(|lot| format!("lot {lot}")),
            ]);
            format!("Clay delivered{what}")
        }
        Deed::Fish { place, what, number } => {
            let what = figures([what.clone(), number.map(|number| format!("{number:.0}"))]);
            format!("Fish in {}{what}", place_name(place.as_ref(), site))
        }
        Deed::Note { text } => text.clone().unwrap_or_else(|| "A note without text".to_owned()),
    }
}

/// "Thu 07:32, Kim".
#[must_use]
pub fn when_and_who(entry: &LogEntry, zone: &TimeZone) -> (String, String) {
    (moment(entry.at, zone), entry.by.clone().unwrap_or_default())
}

/// When the list is cut.
#[must_use]
pub fn more_entries(left_out: usize) -> String {
    format!("{} more in the store.", counted(left_out, "entry", "entries"))
}

/// Where something was done.
#[must_use]
pub fn place_name(place: Option<&Place>, site: &Site) -> String {
    match place {
        None => "a place not named".to_owned(),
        Some(Place::Room) => "the room".to_owned(),
        Some(Place::Head) => site.head_tank.name.clone(),
        Some(Place::Drum(id)) => drum_name(Some(id), site),
        Some(Place::Pump(id)) => pump_name(Some(id), site),
        Some(Place::Tank(id)) => site
            .tanks
            .iter()
            .find(|tank| tank.id == *id)
            .map_or_else(|| id.to_string(), |tank| tank.name.clone()),
    }
}

fn drum_name(id: Option<&Id>, site: &Site) -> String {
    named(id, |id| site.drum(id).map(|drum| drum.name.clone()), "a drum not named")
}

fn pump_name(id: Option<&Id>, site: &Site) -> String {
    named(id, |id| site.pump(id).map(|pump| pump.name.clone()), "a pump not named")
}

fn sensor_name(id: Option<&Id>, site: &Site) -> String {
    named(id, |id| site.sensor(id).map(|sensor| sensor.name.clone()), "a sensor not named")
}

fn named(id: Option<&Id>, find: impl Fn(&Id) -> Option<String>, missing: &str) -> String {
    id.map_or_else(|| missing.to_owned(), |id| find(id).unwrap_or_else(|| id.to_string()))
}

fn small_volume(volume: Litres, site: &Site) -> String {
    let shown = site.units.volume.from_base(volume.0);
    format!("{shown:.2} {}", site.units.volume.symbol())
}

/// ": 150 L of water, 4.2 kg of clay"; nothing where no figure was given.
fn figures<const N: usize>(parts: [Option<String>; N]) -> String {
    let given: Vec<String> = parts.into_iter().flatten().collect();
    if given.is_empty() { String::new() } else { format!(": {}", given.join(", ")) }
}
