//! What is told of warnings, missing readings, what was kept aside, and the field log.

use jiff::SignedDuration;
use jiff::tz::TimeZone;

use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::id::Id;
use claymark_model::site::{Place, Site};
use claymark_model::units::{Litres, Millimetres};
use claymark_notice::{Call, Priority};

use super::{Mark, counted, moment};
use crate::format::{self, duration, number};
use crate::{names, reasons, typed};

/// "Kim after 4 min".
#[must_use]
pub fn answered(by: Option<&str>, after: SignedDuration) -> String {
    let by = by.filter(|by| !by.is_empty()).map_or_else(|| "someone".to_owned(), short_line);
    format!("{by} after {}", duration(after))
}

/// Where nobody answered this notice: `calls` is whether it called somebody, `other` the one by which its cause was answered.
#[must_use]
pub fn unanswered(calls: bool, other: Option<u64>) -> String {
    match (calls, other) {
        (_, Some(other)) => format!("see No. {other}"),
        (true, None) => "nobody".to_owned(),
        (false, None) => "none needed".to_owned(),
    }
}

/// How soon somebody had to act, and why they were told then.
#[must_use]
pub fn to_act(priority: Priority, call: Option<Call>) -> String {
    let soon = reasons::priority(priority);
    match call {
        None => "no call".to_owned(),
        Some(Call::First) => soon.to_owned(),
        Some(Call::Worse) => format!("{soon}; worse"),
        Some(Call::Again) => format!("{soon}; again"),
        Some(Call::Next) => format!("{soon}; next person"),
        Some(Call::PromiseBroken) => format!("{soon}; promise not kept"),
    }
}

/// Readings that failed a quality test.
#[must_use]
pub fn failed(readings: u64, sensors: usize) -> Option<String> {
    (readings > 0).then(|| {
        format!(
            "{readings} readings of {} failed a quality test and count as unknown.",
            counted(sensors, "sensor", "sensors")
        )
    })
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
            format!("{complete} of {all} sensors gave at least 99 % of their week; these gave less:"),
        ),
    }
}

/// For those who can't see when a sensor's readings were there.
#[must_use]
pub fn coverage(sensor: &str, known: &str) -> String {
    format!("Usable readings of {sensor} over the week: {known}.")
}

/// What was done, in a line.
#[must_use]
#[expect(clippy::too_many_lines, reason = "an arm for each kind of deed")]
pub fn deed(entry: &LogEntry, site: &Site) -> String {
    let units = &site.units;
    match &entry.deed {
        Deed::Refill { drum, water, clay } => {
            let what = figures([
                water.map(|water| format!("{} of water", format::volume(units, water))),
                clay.map(|clay| format!("{} of clay", format::mass(units, clay, site.clay.scale_step))),
            ]);
            format!("Refilled {}{what}", name_of_drum(drum.as_ref(), site))
        }
        Deed::PumpSetting { pump, rpm } => match rpm {
            Some(rpm) if *rpm <= 0.0 => format!("Switched {} off", name_of_pump(pump.as_ref(), site)),
            Some(rpm) => format!("Set {} to {} rpm", name_of_pump(pump.as_ref(), site), number(*rpm, 0)),
            None => format!("Set {}", name_of_pump(pump.as_ref(), site)),
        },
        Deed::InUse { pump, drum } => {
            format!("{} draws from {}", name_of_pump(pump.as_ref(), site), name_of_drum(drum.as_ref(), site))
        }
        Deed::FlowCheck { place, volume, seconds } => {
            let what = figures([
                volume.map(|volume| small_volume(volume, site)),
                seconds.map(|seconds| format!("in {} s", number(seconds, 0))),
            ]);
            format!("Flow check at {}{what}", name_of_place(place.as_ref(), site))
        }
        Deed::GrabSample { place, quantity, value, unit } => {
            let value = value
                .map(|value| format!("{} {}", as_typed(value), short_line(unit.as_deref().unwrap_or(""))));
            let what = figures([
                quantity.as_deref().map(short_line),
                value.map(|value| value.trim_end().to_owned()),
            ]);
            format!("Hand sample at {}{what}", name_of_place(place.as_ref(), site))
        }
        Deed::Cleaning { place, minutes } => {
            let what = figures([minutes.map(|minutes| format!("{} min", number(minutes, 0)))]);
            format!("Cleaned {}{what}", name_of_place(place.as_ref(), site))
        }
        Deed::Dip { drum, level, volume } => {
            let what = figures([
                level.map(|Millimetres(mm)| format!("{} mm", number(mm, 0))),
                volume.map(|volume| format::volume(units, volume)),
            ]);
            format!("Read {} by eye{what}", name_of_drum(drum.as_ref(), site))
        }
        Deed::Wipe { sensor } => format!("Wiped {}", name_of_sensor(sensor.as_ref(), site)),
        Deed::TubeChange { pump } => format!("New tube in {}", name_of_pump(pump.as_ref(), site)),
        Deed::ClogCleared { pump } => format!("Cleared a clog at {}", name_of_pump(pump.as_ref(), site)),
        Deed::Delivery { bags, mass: clay, lot } => {
            let what = figures([
                bags.map(|bags| format!("{} bags", number(bags, 0))),
                clay.map(|clay| format::mass(units, clay, site.clay.scale_step)),
                lot.as_ref().map(|lot| format!("lot {}", short_line(lot))),
            ]);
            format!("Clay delivered{what}")
        }
        Deed::Fish { place, what, number: of } => {
            let what = figures([what.as_deref().map(short_line), of.map(|of| number(of, 0))]);
            format!("Fish in {}{what}", name_of_place(place.as_ref(), site))
        }
        Deed::Tonight { person } => crate::fieldlog::tonight(site, person.as_ref()),
        Deed::Shelve { notice, until, why } => format!(
            "Notice {notice} shelved until {}: {}",
            until.to_zoned_datetime(site.time_zone.clone()).strftime("%a %H:%M"),
            short_line(why)
        ),
        Deed::Note { text: Some(text) } => {
            typed::lines(&typed::at_most(text.trim_end_matches([' ', '\n', '\r']), NOTE))
        }
        Deed::Note { text: None } => "A note without text".to_owned(),
    }
}

/// "Thu 07:32, Kim".
#[must_use]
pub fn when_and_who(entry: &LogEntry, zone: &TimeZone) -> (String, String) {
    (moment(entry.at, zone), entry.by.as_deref().map(short_line).unwrap_or_default())
}

/// What is done day by day and told elsewhere in the report, or only counted; `None`: worth a line of its own.
#[must_use]
pub fn routine(deed: &Deed) -> Option<(&'static str, &'static str)> {
    match deed {
        Deed::Refill { .. } => Some(("refill", "refills")),
        Deed::FlowCheck { .. } => Some(("flow check", "flow checks")),
        Deed::GrabSample { .. } => Some(("hand sample", "hand samples")),
        Deed::Cleaning { .. } => Some(("cleaning", "cleanings")),
        Deed::Dip { .. } => Some(("reading by eye", "readings by eye")),
        Deed::Wipe { .. } => Some(("wiped sensor", "wiped sensors")),
        Deed::PumpSetting { .. }
        | Deed::InUse { .. }
        | Deed::TubeChange { .. }
        | Deed::ClogCleared { .. }
        | Deed::Delivery { .. }
        | Deed::Fish { .. }
        | Deed::Tonight { .. }
        | Deed::Shelve { .. }
        | Deed::Note { .. } => None,
    }
}

/// The field log in a sentence: how many entries of each routine kind.
#[must_use]
pub fn entries(all: usize, routine: &[(usize, &str, &str)]) -> String {
    let each: Vec<String> = routine.iter().map(|(number, one, many)| counted(*number, one, many)).collect();
    match (all, each.as_slice()) {
        (0, _) => "Nobody wrote anything down this week.".to_owned(),
        (all, []) => format!("{}.", counted(all, "entry", "entries")),
        (all, each) => format!("{}, of them {}.", counted(all, "entry", "entries"), each.join(", ")),
    }
}

/// When the list of notices is cut.
#[must_use]
pub fn more_notices(left_out: usize) -> Option<String> {
    (left_out > 0).then(|| {
        format!(
            "{} more in the store (claymark happened): calls that were told again are left out here first.",
            counted(left_out, "message", "messages")
        )
    })
}

/// When the list is cut.
#[must_use]
pub fn more_entries(left_out: usize) -> String {
    format!("{} more in the store.", counted(left_out, "entry", "entries"))
}

/// When the list of what happened is cut.
#[must_use]
pub fn more_happenings(left_out: usize) -> Option<String> {
    (left_out > 0)
        .then(|| format!("{} more in the store (claymark happened).", counted(left_out, "event", "events")))
}

fn name_of_place(place: Option<&Place>, site: &Site) -> String {
    place.map_or_else(|| "a place not named".to_owned(), |place| names::place(site, place))
}

fn name_of_drum(id: Option<&Id>, site: &Site) -> String {
    id.map_or_else(|| "a drum not named".to_owned(), |id| names::drum(site, id))
}

fn name_of_pump(id: Option<&Id>, site: &Site) -> String {
    id.map_or_else(|| "a pump not named".to_owned(), |id| names::pump(site, id))
}

fn name_of_sensor(id: Option<&Id>, site: &Site) -> String {
    id.map_or_else(|| "a sensor not named".to_owned(), |id| names::sensor(site, id))
}

fn small_volume(volume: Litres, site: &Site) -> String {
    let shown = site.units.volume.from_base(volume.0);
    format!("{} {}", number(shown, 2), site.units.volume.symbol())
}

/// ": 150 L of water, 4.2 kg of clay"; nothing where no figure was given.
fn figures<const N: usize>(parts: [Option<String>; N]) -> String {
    let given: Vec<String> = parts.into_iter().flatten().collect();
    if given.is_empty() { String::new() } else { format!(": {}", given.join(", ")) }
}

/// As it was typed, so that a slip shows.
fn as_typed(value: f64) -> String {
    if value.abs() < format::ABSURD { value.to_string() } else { number(value, 0) }
}

/// What should be a word or two.
fn short_line(text: &str) -> String {
    typed::line(&typed::at_most(text, WORDS))
}

/// So many characters of a note stand in the report: a long one would push the rest of the week off its pages.
const NOTE: usize = 1000;

/// So many characters of a name, a unit or a lot.
const WORDS: usize = 40;
