//! `[[batch]]` and `[[hand_check]]`: the fish with their rearing plans, and what is checked by hand.

use toml::Spanned;

use claymark_model::id::Id;
use claymark_model::plan::{BadPlan, Batch, Plan, Ramp, Row};
use claymark_model::routine::HandCheck;
use claymark_model::site::{Place, Quantity};
use claymark_model::units::{Dimension, Kilograms};

use super::list::List;
use super::table::Table;
use super::value::{self, Wrong};
use super::vessels::Vessels;
use crate::suggest::did_you_mean;

/// The batches; two that stand in the same tank at the same time are a mistake.
pub(super) fn batches(file: &Table<'_>, vessels: &Vessels) -> Vec<Batch> {
    let list = List::read(file, "batch", |table, id, name| batch(table, id, name, vessels));
    for (later, second) in list.things.iter().enumerate() {
        for first in list.things.iter().take(later) {
            let shared = second.tanks.iter().find(|tank| first.tanks.contains(tank));
            if let Some(tank) = shared.filter(|_| overlap(first, second)) {
                let what = format!(
                    "batch '{}' stands in tank '{tank}' together with batch '{}'",
                    second.id, first.id
                );
                let remedy = "Write ended = DATE under the batch that leaves, or mend the tanks.";
                file.findings.mistake(list.span(&second.id), what, remedy);
            }
        }
    }
    list.things
}

fn overlap(a: &Batch, b: &Batch) -> bool {
    let begins_before_end = |one: &Batch, other: &Batch| other.ended.is_none_or(|ended| one.stocked < ended);
    begins_before_end(a, b) && begins_before_end(b, a)
}

fn batch(table: &Table<'_>, id: Id, name: String, vessels: &Vessels) -> Option<Batch> {
    let stocked = table.need("stocked", "2027-04-12, the day on which it came into its tanks", value::date);
    let dph = table.need("dph", "3, its days post hatch on that day", value::whole(0, 3650));
    let day = table.or("fish_day", 0, value::whole(0, 3650));
    let ended = table.maybe("ended", value::date);
    if let (Some(stocked), Some(ended)) = (&stocked, &ended)
        && ended.get_ref() <= stocked.get_ref()
    {
        let what = "ended: the batch ends before it begins";
        table.findings.mistake(ended.span(), what, "Write the first day on which it is no longer there.");
    }
    let tanks = tanks(table, vessels);
    let ramp = table.or("ramp", Ramp::Linear, value::one_of(RAMPS));
    let plan = plan(table, ramp);
    Some(Batch {
        id,
        name,
        stocked: stocked?.into_inner(),
        dph_at_stocking: dph?.into_inner(),
        day_at_stocking: day,
        ended: ended.map(Spanned::into_inner),
        tanks: tanks?,
        plan: plan?,
    })
}

/// Those that are named, or all of the file.
fn tanks(table: &Table<'_>, vessels: &Vessels) -> Option<Vec<Id>> {
    if table.key_span("tanks").is_none() {
        return Some(vessels.tanks.ids.iter().map(|id| id.get_ref().clone()).collect());
    }
    let mut found = Vec::new();
    for word in table.need("tanks", "[\"t1\", \"t2\"]", value::texts)?.into_inner() {
        match Id::new(word.get_ref()) {
            Ok(id) if vessels.tanks.has(&id) => found.push(id),
            Ok(_) | Err(_) => {
                let hint = did_you_mean(word.get_ref(), vessels.tanks.words());
                let known: Vec<&str> = vessels.tanks.words().collect();
                let what = format!("tanks: there is no tank '{}'", word.get_ref());
                let remedy = format!("{hint}Write ids of [[tank]]s of this file: {}.", known.join(", "));
                table.findings.mistake(word.span(), what, remedy);
                return None;
            }
        }
    }
    Some(found)
}

/// `day = [{ day = 0, turbidity = [50, 80], … }, …]`, or a `[[batch.day]]` for each.
fn plan(table: &Table<'_>, ramp: Ramp) -> Option<Plan> {
    let given = table.tables("day");
    if given.is_empty() && table.key_span("day").is_none() {
        let remedy = "Add day = [{ day = 0, turbidity = [50, 80], exchanges_per_h = 0.5 }, …].";
        table.lacks("day", "the batch has no plan", remedy);
        return None;
    }
    let mut spans = Vec::new();
    let mut rows = Vec::new();
    for row in given {
        spans.push(row.span());
        rows.extend(plan_row(&row));
        row.finish();
    }
    if rows.len() < spans.len() {
        return None;
    }
    Plan::new(ramp, rows)
        .map_err(|bad| {
            let number = match bad {
                BadPlan::Empty => 1,
                BadPlan::NotRising(row) | BadPlan::RatioOfNothing(row) => row,
            };
            let span = spans.get(number - 1).cloned().unwrap_or(table.span());
            let remedy = "Write the rows by rising day; a band that ends at 0 wants ramp = \"linear\".";
            table.findings.mistake(span, format!("day: {bad}"), remedy);
        })
        .ok()
}

fn plan_row(row: &Table<'_>) -> Option<Row> {
    let day = row.need("day", "0, the fish day from which the row holds", value::whole(0, 3650));
    let plain = |found: Option<Spanned<f64>>| found.map(Spanned::into_inner);
    let turbidity = row.maybe("turbidity", value::span);
    if let Some(band) = turbidity.as_ref().filter(|band| band.get_ref().min() < 0.0) {
        row.findings.mistake(
            band.span(),
            "turbidity: no water is clearer than 0",
            "Write [lowest, highest].",
        );
    }
    let exchanges = row.maybe("exchanges_per_h", value::positive);
    if let Some(exchanges) = exchanges.as_ref().filter(|given| *given.get_ref() > MOST_EXCHANGES) {
        let what = format!("exchanges_per_h: {} an hour can't be meant", exchanges.get_ref());
        let remedy = "Write how often an hour the water of a tank is exchanged: litres an hour through it over its litres.";
        row.findings.mistake(exchanges.span(), what, remedy);
    }
    let biomass = row.maybe("biomass", value::amount(Dimension::Mass));
    Some(Row {
        turbidity: turbidity.map(Spanned::into_inner),
        exchanges_per_h: plain(exchanges),
        temperature_c: row.maybe("temperature_c", value::span).map(Spanned::into_inner),
        oxygen_min_mg_l: plain(row.maybe("oxygen_min_mg_l", value::positive)),
        biomass: plain(biomass).map(Kilograms),
        day: day?.into_inner(),
    })
}

/// `[[hand_check]]`.
pub(super) fn hand_checks(file: &Table<'_>, vessels: &Vessels) -> Vec<HandCheck> {
    let mut checks = Vec::new();
    for table in file.tables("hand_check") {
        let what = table.need("what", "\"turbidity\"", value::one_of(CHECKED));
        let place = table.need("place", "\"head\" or \"tank:t1\"", place);
        if let Some(place) = place.as_ref().filter(|place| !vessels.holds(place.get_ref())) {
            let places = vessels.places();
            let hint = did_you_mean(&place.get_ref().to_string(), places.iter().map(String::as_str));
            let what = format!("place: there is no {}", place.get_ref());
            let remedy = format!("{hint}Write a place of this file: {}.", places.join(", "));
            table.findings.mistake(place.span(), what, remedy);
        }
        let every = table.need("every", "\"1 day\"", value::duration);
        table.finish();
        if let (Some(what), Some(place), Some(every)) = (what, place, every) {
            let (what, place) = (what.into_inner(), place.into_inner());
            checks.push(HandCheck { what, place, every: every.into_inner() });
        }
    }
    checks
}

fn place(value: &toml::de::DeValue<'_>) -> Result<Place, Wrong> {
    Place::parse(&value::text(value)?).map_err(|bad| Wrong {
        what: bad.to_string(),
        remedy: "Write \"head\", \"tank:ID\" or \"pump:ID\".".to_owned(),
    })
}

const RAMPS: &[(&str, Ramp)] = &[("linear", Ramp::Linear), ("equal ratio", Ramp::EqualRatio)];

/// What hands can measure with what a hatchery has.
const CHECKED: &[(&str, Quantity)] = &[
    ("turbidity", Quantity::Turbidity),
    ("oxygen", Quantity::Oxygen),
    ("temperature", Quantity::Temperature),
    ("flow", Quantity::Flow),
];

/// A tank that is exchanged once a minute is a pipe.
const MOST_EXCHANGES: f64 = 60.0;
