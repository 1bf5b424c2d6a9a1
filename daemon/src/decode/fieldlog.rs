//! Field-log entries, as JSON on `<prefix>/log`.
//!
//! Only `kind` and `at` are required: whoever stands there with wet hands leaves out what isn't known.
//! What is there must be right: a drum that doesn't exist is refused with those that do.

use std::hash::Hasher;

use serde_json::{Map, Value};
use siphasher::sip128::{Hasher128, SipHasher13};

use claymark_clay::bounds;
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::id::Id;
use claymark_model::quarantine::Reason;
use claymark_model::site::{Place, Site};
use claymark_model::units::{Kilograms, Litres, Millimetres};

use super::{Decoded, Problem, Refusal, text, time};
use crate::message::Message;

/// What an entry may name.
#[derive(Debug, Clone)]
pub(super) struct Names {
    drums: Vec<Id>,
    pumps: Vec<Id>,
    tanks: Vec<Id>,
    sensors: Vec<Id>,
    people: Vec<Id>,
}

impl Names {
    pub(super) fn of(site: &Site) -> Self {
        Self {
            drums: site.drums.iter().map(|drum| drum.id.clone()).collect(),
            pumps: site.pumps.iter().map(|pump| pump.id.clone()).collect(),
            tanks: site.tanks.iter().map(|tank| tank.id.clone()).collect(),
            sensors: site.sensors.iter().map(|sensor| sensor.id.clone()).collect(),
            people: site.contacts.iter().map(|contact| contact.id.clone()).collect(),
        }
    }
}

/// Reads one entry; a key that isn't known is told in quarantine, while the entry is used.
pub(super) fn decode((site, names): (&Site, &Names), message: &Message, decoded: &mut Decoded) {
    match entry(names, message) {
        Ok((entry, sure, left)) => {
            decoded.log.push(entry);
            decoded.sure = sure;
            if !left.is_empty() {
                let detail =
                    format!("the entry was taken, but these keys mean nothing to it: {}", left.join(", "));
                decoded.keep_aside(message, None, Problem::new(Reason::BadLogEntry, detail));
            }
        }
        Err(refusal) => decoded.refuse(site, message, refusal),
    }
}

/// The entry, whether its writer is sure of it, and the keys that mean nothing.
fn entry(names: &Names, message: &Message) -> Result<(LogEntry, bool, Vec<String>), Refusal> {
    let sent: Value = serde_json::from_str(text(message)?).map_err(|fault| {
        Refusal::form(wrong(format!("not JSON: {fault}")), &fault, "it is no field-log entry")
    })?;
    let Value::Object(members) = sent else {
        return Err(Refusal::from(wrong(
            "a field-log entry is a JSON object such as {\"kind\":\"refill\",\"at\":\"…\"}".to_owned(),
        )));
    };
    let mut keys = Keys { members, names };
    let kind =
        keys.text("kind")?.ok_or_else(|| wrong("'kind' is missing: refill, pump_setting, …".to_owned()))?;
    let at =
        keys.text("at")?.ok_or_else(|| wrong("'at' is missing: when it was done, with offset".to_owned()))?;
    let at = time::believed(time::strict(&at)?, message.received_at)?;
    let by = keys.text("by")?;
    let replaces = keys.text("replaces")?;
    let given = keys.text("key")?.or(keys.text("id")?);
    let sure = keys.yes_or_no("sure")?;
    let deed = deed(&kind, &mut keys)?;
    let mut entry = LogEntry { key: String::new(), at, received_at: message.received_at, by, replaces, deed };
    // Before the key is made: what isn't finite has no text of its own.
    bounds::deed(&entry.deed)?;
    entry.key = given.unwrap_or_else(|| content_key(&entry));
    bounds::entry(&entry)?;
    Ok((entry, sure, keys.members.into_iter().map(|(key, _)| key).collect()))
}

fn deed(kind: &str, keys: &mut Keys<'_>) -> Result<Deed, Problem> {
    Ok(match kind {
        "refill" => Deed::Refill {
            drum: keys.drum()?,
            water: keys.amount("water_l")?.map(Litres),
            clay: keys.amount("clay_kg")?.map(Kilograms),
        },
        "pump_setting" => Deed::PumpSetting { pump: keys.pump()?, rpm: keys.amount("rpm")? },
        "in_use" => Deed::InUse { pump: keys.pump()?, drum: keys.drum()? },
        "flow_check" => Deed::FlowCheck {
            place: keys.place()?,
            volume: keys.amount("volume_ml")?.map(Litres::from_millilitres),
            seconds: keys.amount("seconds")?,
        },
        "grab_sample" => Deed::GrabSample {
            place: keys.place()?,
            quantity: keys.text("quantity")?,
            value: keys.number("value")?,
            unit: keys.text("unit")?,
        },
        "cleaning" => Deed::Cleaning { place: keys.place()?, minutes: keys.amount("minutes")? },
        "dip" => Deed::Dip {
            drum: keys.drum()?,
            level: keys.amount("level_mm")?.map(Millimetres),
            volume: keys.amount("volume_l")?.map(Litres),
        },
        "wipe" => Deed::Wipe { sensor: keys.sensor()? },
        "tube_change" => Deed::TubeChange { pump: keys.pump()? },
        "clog_cleared" => Deed::ClogCleared { pump: keys.pump()? },
        "delivery" => Deed::Delivery {
            bags: keys.amount("bags")?,
            mass: keys.amount("kg")?.map(Kilograms),
            lot: keys.text("lot")?,
        },
        "fish" => {
            Deed::Fish { place: keys.place()?, what: keys.text("what")?, number: keys.amount("number")? }
        }
        "tonight" => Deed::Tonight { person: keys.person()? },
        "shelve" => {
            let missing =
                |key: &str| wrong(format!("'{key}' is missing: a shelf names its notice, its end and why"));
            let until = keys.text("until")?.ok_or_else(|| missing("until"))?;
            let why = keys.text("why")?.filter(|why| !why.trim().is_empty()).ok_or_else(|| missing("why"))?;
            let notice = keys.whole("notice")?.ok_or_else(|| missing("notice"))?;
            Deed::Shelve { notice, until: time::strict(&until)?, why }
        }
        "note" => Deed::Note { text: keys.text("text")? },
        other => {
            return Err(wrong(format!("'{other}' isn't a kind of field-log entry: {}", KINDS.join(", "))));
        }
    })
}

/// The members of an entry that haven't been read yet.
struct Keys<'a> {
    members: Map<String, Value>,
    names: &'a Names,
}

impl Keys<'_> {
    fn text(&mut self, key: &str) -> Result<Option<String>, Problem> {
        match self.members.shift_remove(key) {
            None | Some(Value::Null) => Ok(None),
            Some(Value::String(text)) => Ok(Some(text)),
            Some(other) => Err(wrong(format!("'{key}' is {other}, expected a text"))),
        }
    }

    fn number(&mut self, key: &str) -> Result<Option<f64>, Problem> {
        match self.members.shift_remove(key) {
            None | Some(Value::Null) => Ok(None),
            Some(Value::Number(number)) => Ok(number.as_f64()),
            Some(other) => Err(wrong(format!("'{key}' is {other}, expected a number"))),
        }
    }

    fn whole(&mut self, key: &str) -> Result<Option<u64>, Problem> {
        match self.members.shift_remove(key) {
            None | Some(Value::Null) => Ok(None),
            Some(Value::Number(number)) if number.is_u64() => Ok(number.as_u64()),
            Some(other) => Err(wrong(format!("'{key}' is {other}, expected a whole number"))),
        }
    }

    fn yes_or_no(&mut self, key: &str) -> Result<bool, Problem> {
        match self.members.shift_remove(key) {
            None | Some(Value::Null) => Ok(false),
            Some(Value::Bool(said)) => Ok(said),
            Some(other) => Err(wrong(format!("'{key}' is {other}, expected true or false"))),
        }
    }

    /// A number that can't be below zero.
    fn amount(&mut self, key: &str) -> Result<Option<f64>, Problem> {
        match self.number(key)? {
            Some(below) if below < 0.0 => Err(wrong(format!("'{key}' is {below}, it can't be below zero"))),
            amount => Ok(amount),
        }
    }

    fn drum(&mut self) -> Result<Option<Id>, Problem> {
        let known = &self.names.drums;
        self.text("drum")?.map(|text| one_of(&text, known, "drum")).transpose()
    }

    fn pump(&mut self) -> Result<Option<Id>, Problem> {
        let known = &self.names.pumps;
        self.text("pump")?.map(|text| one_of(&text, known, "pump")).transpose()
    }

    fn sensor(&mut self) -> Result<Option<Id>, Problem> {
        let known = &self.names.sensors;
        self.text("sensor")?.map(|text| one_of(&text, known, "sensor")).transpose()
    }

    fn person(&mut self) -> Result<Option<Id>, Problem> {
        let known = &self.names.people;
        self.text("person")?.map(|text| one_of(&text, known, "contact")).transpose()
    }

    fn place(&mut self) -> Result<Option<Place>, Problem> {
        let names = self.names;
        let Some(text) = self.text("place")? else {
            return Ok(None);
        };
        let place = Place::parse(&text).map_err(|fault| wrong(fault.to_string()))?;
        match &place {
            Place::Drum(id) => one_of(id.as_str(), &names.drums, "drum").map(drop)?,
            Place::Tank(id) => one_of(id.as_str(), &names.tanks, "tank").map(drop)?,
            Place::Pump(id) => one_of(id.as_str(), &names.pumps, "pump").map(drop)?,
            Place::Head | Place::Room => {}
        }
        Ok(Some(place))
    }
}

fn one_of(text: &str, known: &[Id], what: &str) -> Result<Id, Problem> {
    known.iter().find(|id| id.as_str() == text).cloned().ok_or_else(|| {
        let there: Vec<&str> = known.iter().map(Id::as_str).collect();
        wrong(format!("there is no {what} '{text}'; there is {}", there.join(", ")))
    })
}

/// The same entry sent twice gets the same key; the arrival isn't part of it.
fn content_key(entry: &LogEntry) -> String {
    let content = serde_json::json!([entry.at, entry.by, entry.replaces, entry.deed]);
    let mut hasher = SipHasher13::new();
    hasher.write(content.to_string().as_bytes());
    format!("{:032x}", hasher.finish128().as_u128())
}

fn wrong(detail: String) -> Problem {
    Problem::new(Reason::BadLogEntry, detail)
}

const KINDS: [&str; 15] = [
    "refill",
    "pump_setting",
    "in_use",
    "flow_check",
    "grab_sample",
    "cleaning",
    "dip",
    "wipe",
    "tube_change",
    "clog_cleared",
    "delivery",
    "fish",
    "tonight",
    "shelve",
    "note",
];
