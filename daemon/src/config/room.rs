//! `[site]`, `[staff]`, `[units]`, `[water]`, `[clay]`: the room as a whole.

use jiff::SignedDuration;
use jiff::civil::Time;
use jiff::tz::TimeZone;
use toml::Spanned;

use claymark_clay::settling::GRAINS_UM;
use claymark_model::id::Id;
use claymark_model::site::{ClaySupply, Premix, Staff, WaterLimits};
use claymark_model::units::{Dimension, GramsPerLitre, Kilograms, Litres, PeopleUnits};

use super::roster;
use super::table::Table;
use super::value;

/// `[site]`.
pub(super) struct General {
    pub(super) id: Id,
    pub(super) name: String,
    pub(super) time_zone: TimeZone,
    pub(super) elevation_m: f64,
}

/// Where and what the site is.
pub(super) fn general(file: &Table<'_>) -> Option<General> {
    let table = file.need_table("site", "its id, name, time_zone and elevation_m")?;
    let id = table.need("id", "\"alder-bend\"", value::id);
    let name = table.need("name", "\"Alder Bend Hatchery\"", value::text);
    let time_zone = table.need("time_zone", "\"Europe/Helsinki\"", value::time_zone);
    let elevation = table.need("elevation_m", "92, the height above the sea in metres", value::number);
    if let Some(height) = &elevation
        && !(LOWEST_M..=HIGHEST_M).contains(height.get_ref())
    {
        let what = format!("elevation_m: {} m is no place for a hatchery", height.get_ref());
        table.findings.mistake(height.span(), what, "Write the height above the sea in metres, not in feet.");
    }
    table.finish();
    Some(General {
        id: id?.into_inner(),
        name: name?.into_inner(),
        time_zone: time_zone?.into_inner(),
        elevation_m: elevation?.into_inner(),
    })
}

/// When people come and go.
pub(super) fn staff(file: &Table<'_>) -> Option<Staff> {
    let table =
        file.need_table("staff", "its evening_check, next_visit, margin, mixing, travel and response")?;
    let evening = table.need("evening_check", "\"17:00\"", value::time_of_day);
    let visit = table.need("next_visit", "\"07:30\"", value::time_of_day);
    if let (Some(evening), Some(visit)) = (&evening, &visit) {
        same_time(&table, evening, visit);
    }
    let other_visits = roster::other_visits(&table);
    let confirm_by = table.maybe("confirm_by", value::time_of_day).map(Spanned::into_inner);
    let morning = table.maybe("morning", value::time_of_day).map(Spanned::into_inner);
    let margin = shift_duration(&table, "margin", "\"1 h\", how long a drum must last beyond the next visit");
    let mixing = shift_duration(&table, "mixing", "\"15 min\", how long mixing a drum takes");
    let travel = shift_duration(&table, "travel", "\"30 min\", how long the way to the barn takes");
    let response =
        shift_duration(&table, "response", "\"15 min\", how long it takes to see a message and get up");
    table.finish();
    Some(Staff {
        evening_check: evening?.into_inner(),
        next_visit: visit?.into_inner(),
        other_visits,
        confirm_by,
        morning,
        margin: margin?,
        mixing: mixing?,
        travel: travel?,
        response: response?,
    })
}

/// The units that people read and type; kg, L, g/L and °C unless the file says otherwise.
pub(super) fn units(file: &Table<'_>) -> PeopleUnits {
    let usual = PeopleUnits::default();
    let Some(table) = file.table("units") else { return usual };
    let units = PeopleUnits {
        mass: table.or("mass", usual.mass, value::unit_of(Dimension::Mass)),
        volume: table.or("volume", usual.volume, value::unit_of(Dimension::Volume)),
        strength: table.or("strength", usual.strength, value::unit_of(Dimension::Strength)),
        flow: table.or("flow", usual.flow, value::unit_of(Dimension::Flow)),
        temperature: table.or("temperature", usual.temperature, value::unit_of(Dimension::Temperature)),
    };
    table.finish();
    units
}

/// What the fish need.
pub(super) fn water(file: &Table<'_>) -> Option<WaterLimits> {
    let table = file.need_table("water", "its turbidity, temperature_c and oxygen_min_mg_l")?;
    let turbidity = table.need("turbidity", "[50, 80]", value::span);
    let temperature = table.need("temperature_c", "[19, 21]", value::span);
    let oxygen = table.need("oxygen_min_mg_l", "6", value::positive);
    if let Some(band) = turbidity.as_ref().filter(|band| band.get_ref().min() < 0.0) {
        let what = "turbidity: no water is clearer than 0";
        table.findings.mistake(
            band.span(),
            what,
            "Write the band as [lowest, highest], for instance [50, 80].",
        );
    }
    table.finish();
    Some(WaterLimits {
        turbidity: turbidity?.into_inner(),
        temperature_c: temperature?.into_inner(),
        oxygen_min_mg_l: oxygen?.into_inner(),
    })
}

/// How the clay comes.
pub(super) fn clay(file: &Table<'_>) -> Option<ClaySupply> {
    let table = file.need_table("clay", "its bag, scale_step and thickest")?;
    let bag = table.need("bag", "\"25 kg\", the mass of a bag", value::amount(Dimension::Mass));
    let step =
        table.need("scale_step", "\"50 g\", the finest step of the scale", value::amount(Dimension::Mass));
    let thickest =
        table.need("thickest", "\"60 g/L\", more can't be pumped", value::amount(Dimension::Strength));
    let density = table.or("mineral_density_kg_per_l", KAOLIN_KG_PER_L, value::positive);
    let ntu_per_mg_l = table.maybe("ntu_per_mg_l", value::positive).map(Spanned::into_inner);
    let background_ntu = table.or("background_ntu", 0.0, value::not_negative);
    let coarse_um = table.maybe("coarse_um", value::within(GRAINS_UM)).map(Spanned::into_inner);
    let premix = premix(&table);
    if let (Some(bag), Some(step)) = (&bag, &step)
        && step.get_ref() >= bag.get_ref()
    {
        let what = "scale_step: the scale's step is as large as a bag";
        table.findings.mistake(
            step.span(),
            what,
            "Write the finest step that the scale shows, for instance \"50 g\".",
        );
    }
    table.finish();
    Some(ClaySupply {
        bag: Kilograms(bag?.into_inner()),
        scale_step: Kilograms(step?.into_inner()),
        mineral_density_kg_per_l: density,
        thickest: GramsPerLitre(thickest?.into_inner()),
        ntu_per_mg_l,
        background_ntu,
        premix,
        coarse_um,
    })
}

/// The buckets in which clay is wetted.
fn premix(clay: &Table<'_>) -> Premix {
    let usual = Premix::default();
    let bucket = clay.maybe("premix_bucket", value::amount(Dimension::Volume)).map(Spanned::into_inner);
    let most_clay = clay.maybe("premix_clay", value::amount(Dimension::Mass)).map(Spanned::into_inner);
    Premix {
        bucket: bucket.map_or(usual.bucket, Litres),
        most_clay: most_clay.map_or(usual.most_clay, Kilograms),
    }
}

fn same_time(table: &Table<'_>, evening: &Spanned<Time>, visit: &Spanned<Time>) {
    if evening.get_ref() == visit.get_ref() {
        let what = "next_visit: the evening check and the next visit are at the same time";
        let remedy = "Write when the first person comes in the morning; the evening check is when the last one leaves.";
        table.findings.mistake(visit.span(), what, remedy);
    }
}

/// A part of a shift: longer than half a day is a slip.
fn shift_duration(table: &Table<'_>, key: &'static str, example: &str) -> Option<SignedDuration> {
    let found = table.need(key, example, value::duration)?;
    if *found.get_ref() > LONGEST_SHIFT_PART {
        let what = format!("{key}: more than 12 hours can't be meant");
        table.findings.mistake(found.span(), what, format!("Write {example}."));
        return None;
    }
    Some(found.into_inner())
}

/// The shore of the Dead Sea and the highest towns.
const LOWEST_M: f64 = -430.0;
const HIGHEST_M: f64 = 5_100.0;
const LONGEST_SHIFT_PART: SignedDuration = SignedDuration::from_hours(12);
/// Kaolinite, 2.6 g/cm3 (from memory; mineral handbooks give 2.6 to 2.63).
const KAOLIN_KG_PER_L: f64 = 2.6;
