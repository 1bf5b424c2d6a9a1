//! `[[sensor]]`: where it stands, what it measures, how its messages are read.

use std::ops::Range;

use toml::Spanned;
use toml::de::DeValue;

use claymark_model::id::Id;
use claymark_model::site::{Place, Quantity, Senses, Sensor};
use claymark_model::units::{Dimension, Millimetres, Unit};

use super::count;
use super::list::List;
use super::mistake::Findings;
use super::quality::{self, Tests, Usual};
use super::table::Table;
use super::value::{self, Wrong, wrong};
use super::vessels::Vessels;
use crate::decode::{Binding, Payload};
use crate::suggest::did_you_mean;

/// All sensors without a mistake of their own.
pub(super) struct SoundSensors {
    pub(super) bound: Vec<Bound>,
}

/// A sensor with the places in the file that later checks point at.
pub(super) struct Bound {
    pub(super) binding: Binding,
    pub(super) topic: Range<usize>,
    pub(super) at: Range<usize>,
    pub(super) payload: Range<usize>,
}

/// Reads them all.
pub(super) fn sensors(file: &Table<'_>, vessels: &Vessels) -> SoundSensors {
    let usual = quality::usual(file);
    let list = List::read(file, "sensor", |table, id, name| sensor(table, id, name, vessels, &usual));
    if list.ids.is_empty() && file.key_span("sensor").is_none() {
        let remedy = "Describe each sensor under a [[sensor]] of its own.";
        file.lacks("sensor", "there is no [[sensor]]", remedy);
    }
    let bound = list.things;
    bare_numbers(file.findings, &bound);
    turbidity_units(file.findings, &bound);
    let untested: Vec<_> =
        bound.iter().filter(|bound| bound.binding.sensor.thresholds.gross_range.is_none()).collect();
    if let Some(first) = untested.first() {
        let what =
            format!("{} without a range: impossible values would pass", count(untested.len(), "sensor"));
        let remedy = format!(
            "Add gross_range = {{ fail = [lowest, highest] }}, first to '{}'.",
            first.binding.sensor.id
        );
        file.findings.warning(first.at.clone(), what, remedy);
    }
    SoundSensors { bound }
}

/// A drum is watched by one level, distance or volume sensor.
pub(super) fn check_drums(findings: &Findings, vessels: &Vessels, sensors: &SoundSensors) {
    for drum in &vessels.drums.things {
        let at_drum = Place::Drum(drum.id.clone());
        let watching: Vec<&Bound> = sensors
            .bound
            .iter()
            .filter(|bound| {
                bound.binding.sensor.place == at_drum && bound.binding.sensor.quantity.tells_level()
            })
            .collect();
        if watching.is_empty() {
            let what =
                format!("drum '{}' has no level sensor: Claymark can't say when it runs empty", drum.id);
            let remedy =
                format!("Add a [[sensor]] with at = \"{at_drum}\" that measures level, distance or volume.");
            findings.warning(vessels.drums.span(&drum.id), what, remedy);
        }
        for second in watching.iter().skip(1) {
            let what = format!(
                "drum '{}' has more than one level sensor: only the first is used for the forecast",
                drum.id
            );
            findings.warning(second.at.clone(), what, "Put the better one first in the file.");
        }
        for bound in watching {
            mounted_high_enough(findings, drum, bound);
        }
    }
}

fn sensor(table: &Table<'_>, id: Id, name: String, vessels: &Vessels, usual: &[Usual]) -> Option<Bound> {
    let topic = table.need("topic", "the topic on which it speaks", topic_name);
    let place = place(table, vessels);
    let names = Quantity::NAMES.map(|(name, _)| name);
    let quantity = table.need("measures", "\"level\"", |value| {
        let word = value::text(value)?;
        Quantity::parse(&word).ok_or_else(|| Wrong {
            what: format!("'{word}' isn't something that Claymark knows"),
            remedy: format!("{}Write one of {}.", did_you_mean(&word, names), names.join(", ")),
        })
    });
    let unit = table.need("unit", "the unit in which it speaks", value::unit);
    let payload = table.need("payload", "\"number\"", payload);
    let every = table.need("every", "\"30 s\", how often it speaks", value::duration);
    let mount_height = table.maybe("mount_height_mm", value::positive);
    let mains = table.maybe("mains", value::yes_or_no);
    let senses = table.maybe("senses", value::one_of(&Senses::NAMES));
    let device = table.maybe("device", value::id);
    if let (Some(device), Some(payload)) = (&device, &payload) {
        device_dates(table.findings, device, payload.get_ref());
    }
    if let (Some(quantity), Some(unit)) = (&quantity, &unit) {
        unit_fits(table, *quantity.get_ref(), unit);
    }
    if let (Some(quantity), Some(place)) = (&quantity, &place) {
        place_fits(table, *quantity.get_ref(), place);
        mount_height_fits(table, *quantity.get_ref(), mount_height.as_ref());
        senses_fits(table, *quantity.get_ref(), senses.as_ref());
    }
    let tests = Tests::read(table, unit.as_ref().map_or(Unit::Millimetre, |unit| *unit.get_ref()));
    let (quantity, unit) = (quantity?.into_inner(), unit?.into_inner());
    let every = every?.into_inner();
    let thresholds = tests.thresholds(table, quantity, unit, every, usual);
    let (topic, place, payload) = (topic?, place?, payload?);
    let (topic_span, at, payload_span) = (topic.span(), place.span(), payload.span());
    let sensor = Sensor {
        id,
        name,
        place: place.into_inner(),
        quantity,
        device: device.map(Spanned::into_inner),
        unit,
        every,
        mains: mains.map(Spanned::into_inner),
        senses: senses.map(Spanned::into_inner).unwrap_or_default(),
        mount_height: mount_height.map(|height| Millimetres(height.into_inner())),
        thresholds,
    };
    let binding = Binding { sensor, topic: topic.into_inner(), payload: payload.into_inner() };
    Some(Bound { binding, topic: topic_span, at, payload: payload_span })
}

fn place(table: &Table<'_>, vessels: &Vessels) -> Option<Spanned<Place>> {
    let place = table.need("at", "\"drum:a\", where it stands", |value| {
        Place::parse(&value::text(value)?).map_err(|bad| Wrong {
            what: bad.to_string(),
            remedy: "Write where it stands, for instance \"drum:a\" or \"tank:t1\".".to_owned(),
        })
    })?;
    if !vessels.holds(place.get_ref()) {
        let places = vessels.places();
        let hint = did_you_mean(&place.get_ref().to_string(), places.iter().map(String::as_str));
        let what = format!("at: there is no '{}' in this file", place.get_ref());
        table.findings.mistake(
            place.span(),
            what,
            format!("{hint}Write where it stands, or add what is missing."),
        );
    }
    Some(place)
}

/// "number", or a table that says where in JSON or SenML the value stands.
fn payload(value: &DeValue<'_>) -> Result<Payload, Wrong> {
    let remedy = "Write \"number\", { json = \"/v\", time = \"/t\" } or { senml = \"name\" }.";
    if value.as_str() == Some("number") {
        return Ok(Payload::Number);
    }
    let DeValue::Table(entries) = value else {
        return wrong(format!("this {} names no payload format", value::kind_of(value)), remedy);
    };
    let pointer = |key: &str| entries.get(key).map(|found| json_pointer(found.get_ref())).transpose();
    let only = |known: &[&str]| match entries.keys().find(|key| !known.contains(&key.get_ref().as_ref())) {
        Some(stranger) => wrong(format!("'{}' isn't known here", stranger.get_ref()), remedy),
        None => Ok(()),
    };
    if let Some(value) = pointer("json")? {
        only(&["json", "time", "unit"])?;
        return Ok(Payload::Json { value, time: pointer("time")?, unit: pointer("unit")? });
    }
    match entries.get("senml") {
        Some(name) => {
            only(&["senml"])?;
            Ok(Payload::Senml { name: value::text(name.get_ref())? })
        }
        None => wrong("neither json nor senml is given", remedy),
    }
}

/// RFC 6901: empty, or beginning with a slash; `~` only as `~0` or `~1`.
fn json_pointer(value: &DeValue<'_>) -> Result<String, Wrong> {
    let DeValue::String(pointer) = value else {
        return wrong("a JSON Pointer is text", "Write it in quotes: \"/v\".");
    };
    let tildes = pointer.split('~').skip(1).all(|rest| rest.starts_with(['0', '1']));
    if (pointer.is_empty() || pointer.starts_with('/')) && tildes {
        Ok(pointer.as_ref().to_owned())
    } else {
        wrong(format!("'{pointer}' isn't a JSON Pointer"), "Begin it with a slash: \"/v\" is the member v.")
    }
}

/// A topic without wildcards (MQTT 5, 4.7.1 and 4.7.3).
fn topic_name(value: &DeValue<'_>) -> Result<String, Wrong> {
    let topic = value::text(value)?;
    if topic.contains(['+', '#']) {
        return wrong(format!("'{topic}' has a wildcard"), "A sensor speaks on one topic: write it in full.");
    }
    if topic.contains('\0') || topic.len() > usize::from(u16::MAX) {
        return wrong("this can't be an MQTT topic", "Write the topic on which the sensor speaks.");
    }
    Ok(topic)
}

fn unit_fits(table: &Table<'_>, quantity: Quantity, unit: &Spanned<Unit>) {
    let fitting = quantity.dimensions();
    if fitting.contains(&unit.get_ref().dimension()) {
        return;
    }
    let what = format!("unit: '{}' is no unit of {}", unit.get_ref(), quantity.name());
    let other = match (quantity, unit.get_ref().dimension()) {
        (Quantity::Oxygen, Dimension::Share) => {
            "If it tells percent saturation, write measures = \"oxygen_saturation\". "
        }
        (Quantity::OxygenSaturation, Dimension::Concentration) => {
            "If it tells mg/L, write measures = \"oxygen\". "
        }
        (Quantity::Level, Dimension::Volume) => "If it tells litres, write measures = \"volume\". ",
        _ => "",
    };
    table.findings.mistake(unit.span(), what, format!("{other}Write one of {}.", value::units_of(fitting)));
}

fn place_fits(table: &Table<'_>, quantity: Quantity, place: &Spanned<Place>) {
    let at_drum = matches!(place.get_ref(), Place::Drum(_));
    if quantity.tells_level() && !at_drum {
        let what = format!("at: a {} sensor is read at drums only", quantity.name());
        table.findings.mistake(place.span(), what, "Write the drum, for instance \"drum:a\".");
    }
}

fn mount_height_fits(table: &Table<'_>, quantity: Quantity, mount_height: Option<&Spanned<f64>>) {
    match (quantity, mount_height) {
        (Quantity::Distance, None) if table.key_span("mount_height_mm").is_none() => {
            let remedy =
                "Add mount_height_mm = its height over the drum's bottom: level = mount height - distance.";
            table.lacks("mount_height_mm", "the distance sensor has no mount_height_mm", remedy);
        }
        (Quantity::Distance, _) | (_, None) => {}
        (_, Some(height)) => {
            let what = format!("mount_height_mm: a {} sensor doesn't use it", quantity.name());
            table.findings.mistake(height.span(), what, "Take it out, or write measures = \"distance\".");
        }
    }
}

fn senses_fits(table: &Table<'_>, quantity: Quantity, senses: Option<&Spanned<Senses>>) {
    if let Some(senses) = senses.filter(|_| quantity != Quantity::Level) {
        let what = format!("senses: {} is measured in one way only", quantity.name());
        let remedy = "Take it out: only a sensor that measures level may feel the weight of the slurry.";
        table.findings.mistake(senses.span(), what, remedy);
    }
}

fn mounted_high_enough(findings: &Findings, drum: &claymark_model::site::Drum, bound: &Bound) {
    let (Some(height), Some(full)) = (bound.binding.sensor.mount_height, drum.strapping.level(drum.full))
    else {
        return;
    };
    if height <= full {
        let what = format!(
            "the sensor hangs at {:.0} mm, but drum '{}' is full at {:.0} mm",
            height.0, drum.id, full.0
        );
        findings.mistake(
            bound.at.clone(),
            what,
            "Mend mount_height_mm: it is measured from the drum's bottom.",
        );
    }
}

/// A clock that nobody sees is watched by nobody.
fn device_dates(findings: &Findings, device: &Spanned<Id>, payload: &Payload) {
    if matches!(payload, Payload::Number | Payload::Json { time: None, .. }) {
        let what = format!(
            "device: the clock of '{}' isn't watched here, for this payload brings no time of its own",
            device.get_ref()
        );
        let remedy = "Let the sensor send its time: payload = { json = \"/v\", time = \"/t\" } or senml. Else take device out.";
        findings.warning(device.span(), what, remedy);
    }
}

/// Said once, at the first, rather than forty times.
fn bare_numbers(findings: &Findings, bound: &[Bound]) {
    let bare: Vec<_> = bound.iter().filter(|bound| bound.binding.payload == Payload::Number).collect();
    if let Some(first) = bare.first() {
        let verb = if bare.len() == 1 { "sends" } else { "send" };
        let what = format!(
            "{} {verb} bare numbers: what waits when a connection breaks may be stored twice",
            count(bare.len(), "sensor")
        );
        let remedy = "Exactly once is promised for payloads with a time: use json with time, or senml, where the sensor can.";
        findings.warning(first.payload.clone(), what, remedy);
    }
}

/// The band of `[water]` has one unit; NTU and FNU are never merged.
fn turbidity_units(findings: &Findings, bound: &[Bound]) {
    let mut in_tanks = bound.iter().filter(|bound| {
        bound.binding.sensor.quantity == Quantity::Turbidity
            && matches!(bound.binding.sensor.place, Place::Tank(_))
    });
    let Some(first) = in_tanks.next() else { return };
    let unit = first.binding.sensor.unit;
    for other in in_tanks.filter(|other| other.binding.sensor.unit.dimension() != unit.dimension()) {
        let what = format!(
            "tanks are measured in {unit} and in {}, which can't be compared",
            other.binding.sensor.unit
        );
        let remedy =
            "Use instruments of one kind for all rearing tanks: [water] turbidity holds for one unit.";
        findings.mistake(other.at.clone(), what, remedy);
    }
}
