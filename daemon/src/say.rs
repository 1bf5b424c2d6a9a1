//! `claymark log` and `claymark answer`: one message to the broker, nothing else.
//!
//! The store has one writer, the daemon; a field-log entry reaches it as any other message does.

use jiff::Timestamp;
use serde_json::{Map, Value, json};

use claymark_model::fieldlog::Deed;
use claymark_model::id::Id;
use claymark_model::site::Place;
use claymark_model::units::{Kilograms, Litres, Millimetres, Unit};

use crate::intake::Settings;
use crate::intake::one_shot::{self, ErrandError, Taken};

/// One message to publish.
#[derive(Debug, Clone, PartialEq)]
pub struct Saying {
    /// Where to.
    pub topic: String,
    /// What.
    pub payload: Value,
}

/// Who did it, when, and what it corrects.
#[derive(Debug, Clone, PartialEq)]
pub struct Signature {
    /// Names the entry.
    pub key: String,
    /// When it was done.
    pub at: Timestamp,
    /// By whom.
    pub by: Option<String>,
    /// The entry that this one replaces.
    pub replaces: Option<String>,
    /// Its figures are right as they stand, also where they can hardly be.
    pub sure: bool,
}

impl Saying {
    /// A field-log entry; figures that nobody knows are left out.
    #[must_use]
    pub fn entry(prefix: &str, deed: &Deed, signature: Signature) -> Self {
        let (kind, figures) = figures(deed);
        let mut object = Map::new();
        object.insert("kind".to_owned(), json!(kind));
        object.extend(figures.into_iter().filter_map(|(key, value)| Some((key.to_owned(), value?))));
        object.insert("at".to_owned(), json!(signature.at.to_string()));
        for (key, value) in [("by", signature.by), ("replaces", signature.replaces)] {
            object.extend(value.map(|text| (key.to_owned(), json!(text))));
        }
        if signature.sure {
            object.insert("sure".to_owned(), json!(true));
        }
        object.insert("key".to_owned(), json!(signature.key));
        Self { topic: format!("{prefix}/log"), payload: Value::Object(object) }
    }

    /// "I'm on it."
    #[must_use]
    pub fn answer(prefix: &str, notice: u64, by: Option<String>, there_by: Option<Timestamp>) -> Self {
        let mut object = Map::new();
        object.insert("notice".to_owned(), json!(notice));
        object.extend(by.map(|name| ("by".to_owned(), json!(name))));
        object.extend(there_by.map(|at| ("there_by".to_owned(), json!(at.to_string()))));
        Self { topic: format!("{prefix}/answer"), payload: Value::Object(object) }
    }
}

/// Sends it and waits for the broker's word.
pub fn publish(settings: &Settings, saying: &Saying) -> Result<Taken, ErrandError> {
    let client_id = format!("say{:016x}", rand::random::<u64>());
    one_shot::publish(settings, &client_id, &saying.topic, saying.payload.to_string().as_bytes())
}

type NamedFigures = Vec<(&'static str, Option<Value>)>;

/// The kind and its figures under the names that they have on `<prefix>/log`.
fn figures(deed: &Deed) -> (&'static str, NamedFigures) {
    match deed {
        Deed::Refill { drum, water, clay } => {
            ("refill", vec![("drum", id(drum)), ("water_l", litres(*water)), ("clay_kg", kilograms(*clay))])
        }
        Deed::PumpSetting { pump, rpm } => ("pump_setting", vec![("pump", id(pump)), ("rpm", number(*rpm))]),
        Deed::InUse { pump, drum } => ("in_use", vec![("pump", id(pump)), ("drum", id(drum))]),
        Deed::FlowCheck { place: at, volume, seconds } => {
            let millilitres = volume.map(|Litres(litres)| Unit::Millilitre.from_base(litres));
            (
                "flow_check",
                vec![("place", place(at)), ("volume_ml", number(millilitres)), ("seconds", number(*seconds))],
            )
        }
        Deed::GrabSample { place: at, quantity, value, unit } => (
            "grab_sample",
            vec![
                ("place", place(at)),
                ("quantity", text(quantity)),
                ("value", number(*value)),
                ("unit", text(unit)),
            ],
        ),
        Deed::Cleaning { place: at, minutes } => {
            ("cleaning", vec![("place", place(at)), ("minutes", number(*minutes))])
        }
        Deed::Dip { drum, level, volume } => {
            let level = level.map(|Millimetres(mm)| mm);
            ("dip", vec![("drum", id(drum)), ("level_mm", number(level)), ("volume_l", litres(*volume))])
        }
        Deed::Wipe { sensor } => ("wipe", vec![("sensor", id(sensor))]),
        Deed::TubeChange { pump } => ("tube_change", vec![("pump", id(pump))]),
        Deed::ClogCleared { pump } => ("clog_cleared", vec![("pump", id(pump))]),
        Deed::Delivery { bags, mass, lot } => {
            ("delivery", vec![("bags", number(*bags)), ("kg", kilograms(*mass)), ("lot", text(lot))])
        }
        Deed::Fish { place: at, what, number: fish } => {
            ("fish", vec![("place", place(at)), ("what", text(what)), ("number", number(*fish))])
        }
        Deed::Tonight { person } => ("tonight", vec![("person", id(person))]),
        Deed::Shelve { notice, until, why } => (
            "shelve",
            vec![
                ("notice", Some(json!(notice))),
                ("until", Some(json!(until.to_string()))),
                ("why", Some(json!(why))),
            ],
        ),
        Deed::Note { text: note } => ("note", vec![("text", text(note))]),
    }
}

fn id(id: &Option<Id>) -> Option<Value> {
    id.as_ref().map(|id| json!(id.as_str()))
}

fn place(place: &Option<Place>) -> Option<Value> {
    place.as_ref().map(|place| json!(place.to_string()))
}

fn text(text: &Option<String>) -> Option<Value> {
    text.as_ref().map(|text| json!(text))
}

/// To a millionth: what conversion leaves behind that only reads badly.
fn number(number: Option<f64>) -> Option<Value> {
    number.map(|number| json!((number * 1e6).round() / 1e6))
}

fn litres(volume: Option<Litres>) -> Option<Value> {
    number(volume.map(|Litres(litres)| litres))
}

fn kilograms(mass: Option<Kilograms>) -> Option<Value> {
    number(mass.map(|Kilograms(kilograms)| kilograms))
}
