//! Daily figures as CSV: one row for each day, thing and quantity, for people's own sums.
//!
//! `lowest`, `mean` and `highest` are in the row's `unit`, which is a base unit and never a people's unit, so
//! that files of two sites can be joined; everything else has its unit in the column's name. What isn't
//! known is an empty cell, not a zero.
//!
//! Only the names are typed by people. One that begins with =, +, -, @ or an apostrophe gets an apostrophe before it:
//! a spreadsheet shows it instead of reckoning with it. Take one leading apostrophe away for the name as the site file
//! has it; `place` and `sensor` are its ids and never need one. Characters that can't be seen stand as their codes.

use serde::Serialize;

use claymark_model::site::Place;
use claymark_model::units::{Litres, Unit};
use claymark_notice::figures::AlarmFigures;
use claymark_words::report::unmade::Part;
use claymark_words::typed;

use crate::facts::WeekFacts;
use crate::facts::drums::DrumWeek;
use crate::facts::trace::{self, Shares};
use crate::facts::water::{MeasuredWeek, PlaceWeek};
use crate::week::Day;

/// The bytes of the CSV.
pub fn csv(facts: &WeekFacts) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let told = facts.unmade.why(Part::Told).is_none();
    for (number, day) in facts.week.days().iter().enumerate() {
        let alarms = facts.alarms.as_ref().and_then(|alarms| *alarms.days.get(number)?);
        if let Some(alarms) = alarms.filter(|_| told) {
            writer.serialize(of_people(&alarms, facts, day))?;
        }
        for drum in &facts.drums {
            writer.serialize(of_drum(drum, facts, number, day))?;
        }
        // Of readings that can't be read nothing is known, not even that they are missing.
        let known = facts.unmade.why(Part::Water).is_none();
        for place in facts.places.iter().filter(|_| known) {
            for measured in place.turbidity.iter().chain(&place.temperature).chain(&place.oxygen) {
                writer.serialize(of_sensor(measured, place, facts, day))?;
            }
            if let Some(row) = saturation(place, facts, day) {
                writer.serialize(row)?;
            }
        }
    }
    writer.into_inner().map_err(|unwritten| unwritten.into_error().into())
}

/// A row; the order of the fields is the order of the columns.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
struct SheetRow {
    week: String,
    date: String,
    day_hours: f64,
    place: String,
    name: String,
    sensor: String,
    quantity: &'static str,
    unit: &'static str,
    lowest: Option<f64>,
    mean: Option<f64>,
    highest: Option<f64>,
    in_limits_percent: Option<f64>,
    below_limits_percent: Option<f64>,
    above_limits_percent: Option<f64>,
    doubtful_percent: Option<f64>,
    no_data_percent: Option<f64>,
    drawn_l: Option<f64>,
    added_l: Option<f64>,
    refills: Option<usize>,
    refills_not_logged: Option<usize>,
    clay_logged_kg: Option<f64>,
    ran_empty: Option<usize>,
    empty_minutes: Option<f64>,
    alarms: Option<usize>,
    calls: Option<usize>,
    waking_calls: Option<usize>,
    promises_not_kept: Option<usize>,
    most_calls_in_ten_minutes: Option<usize>,
    flood_percent: Option<f64>,
    standing_alarms: Option<usize>,
    chattering_alarms: Option<usize>,
}

impl SheetRow {
    fn new(facts: &WeekFacts, day: &Day) -> Self {
        Self {
            week: facts.week.to_string(),
            date: day.date.to_string(),
            day_hours: day.end.duration_since(day.start).as_secs_f64() / 3600.0,
            ..Self::default()
        }
    }
}

fn of_sensor(measured: &MeasuredWeek, place: &PlaceWeek, facts: &WeekFacts, day: &Day) -> SheetRow {
    let slots = measured.trace.between(day.start, day.end);
    let shares = Shares::of(slots);
    let extremes = trace::extremes(slots);
    let share = |seconds: f64| shares.percent(seconds).map(|percent| rounded(percent, 2));
    SheetRow {
        place: place.place.to_string(),
        name: cell(&place.name),
        sensor: measured.sensor.id.to_string(),
        quantity: measured.sensor.quantity.name(),
        unit: measured.sensor.unit.base().symbol(),
        lowest: extremes.map(|(low, _)| rounded(low, 3)),
        mean: trace::mean(slots).map(|mean| rounded(mean, 3)),
        highest: extremes.map(|(_, high)| rounded(high, 3)),
        in_limits_percent: share(shares.inside_s),
        below_limits_percent: share(shares.below_s),
        above_limits_percent: share(shares.above_s),
        doubtful_percent: share(shares.doubtful_s),
        no_data_percent: share(shares.missing_s),
        ..SheetRow::new(facts, day)
    }
}

/// The computed saturation of a tank, where there is one.
fn saturation(place: &PlaceWeek, facts: &WeekFacts, day: &Day) -> Option<SheetRow> {
    let oxygen = place.oxygen.first()?;
    let (first, last) = oxygen.trace.indices(day.start, day.end);
    let summary = place.saturation.as_ref()?.summary(first, last);
    Some(SheetRow {
        place: place.place.to_string(),
        name: cell(&place.name),
        sensor: oxygen.sensor.id.to_string(),
        quantity: "oxygen_saturation",
        unit: Unit::Percent.symbol(),
        lowest: summary.map(|(low, _, _)| rounded(low, 2)),
        mean: summary.map(|(_, mean, _)| rounded(mean, 2)),
        highest: summary.map(|(_, _, high)| rounded(high, 2)),
        ..SheetRow::new(facts, day)
    })
}

/// How much people were called.
fn of_people(alarms: &AlarmFigures, facts: &WeekFacts, day: &Day) -> SheetRow {
    SheetRow {
        place: Place::Room.to_string(),
        quantity: "alarms",
        alarms: Some(alarms.alarms),
        calls: Some(alarms.calls),
        waking_calls: Some(alarms.waking),
        promises_not_kept: Some(alarms.broken),
        most_calls_in_ten_minutes: Some(alarms.most),
        flood_percent: Some(rounded(Unit::Ratio.to_base(alarms.flooded), 2)),
        standing_alarms: Some(alarms.standing),
        chattering_alarms: Some(alarms.chattering),
        ..SheetRow::new(facts, day)
    }
}

fn of_drum(drum: &DrumWeek, facts: &WeekFacts, number: usize, day: &Day) -> SheetRow {
    let inside = |at| (day.start..day.end).contains(&at);
    let volumes: Vec<f64> = drum
        .volume
        .iter()
        .filter(|point| inside(point.at))
        .filter_map(|point| Some(point.volume?.0))
        .collect();
    let refills: Vec<_> = drum.refills.iter().filter(|refill| inside(refill.at)).collect();
    let clay = refills.iter().filter_map(|refill| Some(refill.logged.as_ref()?.clay?.0));
    let known = facts.unmade.why(Part::Daily).is_none();
    let past = known && day.start < facts.until;
    let level = facts.site.level_sensor(&drum.drum.id);
    SheetRow {
        place: Place::Drum(drum.drum.id.clone()).to_string(),
        name: cell(&drum.drum.name),
        sensor: level.map(|sensor| sensor.id.to_string()).unwrap_or_default(),
        quantity: "volume",
        unit: Unit::Litre.symbol(),
        lowest: volumes.iter().copied().min_by(f64::total_cmp).map(|litres| rounded(litres, 1)),
        mean: trace::even_mean(&volumes).map(|litres| rounded(litres, 1)),
        highest: volumes.iter().copied().max_by(f64::total_cmp).map(|litres| rounded(litres, 1)),
        drawn_l: drum
            .drawn
            .get(number)
            .copied()
            .flatten()
            .filter(|_| known)
            .map(|Litres(litres)| rounded(litres, 1)),
        added_l: past.then(|| rounded(refills.iter().map(|refill| refill.added.0).sum(), 1)),
        refills: past.then_some(refills.len()),
        refills_not_logged: past.then(|| refills.iter().filter(|refill| refill.logged.is_none()).count()),
        clay_logged_kg: past.then(|| rounded(clay.sum(), 3)),
        ran_empty: past.then(|| drum.run_outs.iter().filter(|run_out| inside(run_out.at)).count()),
        empty_minutes: past.then(|| rounded(drum.empty_s(day.start, day.end, facts.until) / 60.0, 1)),
        ..SheetRow::new(facts, day)
    }
}

fn rounded(value: f64, decimals: i32) -> f64 {
    let factor = 10_f64.powi(decimals);
    let rounded = (value * factor).round() / factor;
    // Too large to have decimals; and a zero has no sign.
    if rounded.is_finite() { rounded + 0.0 } else { value }
}

/// A name as a cell: nothing unseen in it, and nothing that a spreadsheet would reckon with.
fn cell(name: &str) -> String {
    let name = typed::name(name);
    let reckons = name.starts_with(['=', '+', '-', '@', '\'', '＝', '＋', '－', '＠']);
    if reckons { format!("'{name}") } else { name }
}
