//! A form's fields, made into a field-log entry: the same rules as at the command line.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use claymark_model::fieldlog::Deed;
use claymark_model::id::Id;
use claymark_model::site::{Place, Site};
use claymark_model::units::{Dimension, Kilograms, Litres, Unit};
use claymark_words::page as words;

use crate::amount::Amount;
use crate::say::Signature;

/// What was done, when, and by which contact; or what to write otherwise.
pub(super) fn read<'a>(
    site: &'a Site,
    fields: &BTreeMap<String, String>,
    now: Timestamp,
) -> Result<(Deed, Signature, Option<&'a Id>), String> {
    let field = |name: &str| fields.get(name).map(|text| text.trim()).filter(|text| !text.is_empty());
    let deed = deed(site, fields)?;
    let who = field("by").map(|by| site.contacts.iter().find(|contact| contact.id.as_str() == by));
    let who = match who {
        Some(None) => return Err(words::choose_one().to_owned()),
        Some(Some(contact)) => Some(contact),
        None => None,
    };
    let ago = minutes(field("ago").unwrap_or_default()).map_err(|NoMinutes| words::no_such_entry())?;
    let key = field("key").map_or_else(|| format!("page{:016x}", rand::random::<u64>()), str::to_owned);
    let signature = Signature {
        key,
        at: now - ago.unwrap_or_default(),
        by: who.map(|contact| contact.name.clone()),
        replaces: field("replaces").map(str::to_owned),
        sure: field("sure") == Some("yes"),
    };
    Ok((deed, signature, who.map(|contact| &contact.id)))
}

/// None of the forms' times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct NoMinutes;

/// So many minutes, at most a day of them; nothing chosen is `None`.
pub(super) fn minutes(text: &str) -> Result<Option<SignedDuration>, NoMinutes> {
    match text.parse::<u16>() {
        Ok(minutes) if minutes <= LONGEST_MINUTES => Ok(Some(SignedDuration::from_mins(i64::from(minutes)))),
        Err(_nothing) if text.is_empty() => Ok(None),
        Ok(_) | Err(_) => Err(NoMinutes),
    }
}

fn deed(site: &Site, fields: &BTreeMap<String, String>) -> Result<Deed, String> {
    let field = |name: &str| fields.get(name).map(|text| text.trim()).filter(|text| !text.is_empty());
    let drum = || known(field("drum"), site.drums.iter().map(|drum| &drum.id));
    let pump = || known(field("pump"), site.pumps.iter().map(|pump| &pump.id));
    let (mass, volume) = (site.units.mass, site.units.volume);
    let litres = |name| amount(field(name), Dimension::Volume, volume).map(|value| value.map(Litres));
    Ok(match field("kind").unwrap_or_default() {
        "mixed" => Deed::Refill {
            drum: Some(drum()?),
            water: litres("water")?,
            clay: amount(field("clay"), Dimension::Mass, mass)?.map(Kilograms),
        },
        "read" => {
            let Some(read) = litres("volume")? else { return Err(words::figure_missing().to_owned()) };
            Deed::Dip { drum: Some(drum()?), level: None, volume: Some(read) }
        }
        "changed" => {
            let rpm = bare(field("rpm"))?;
            let Some(rpm) = rpm else { return Err(words::figure_missing().to_owned()) };
            Deed::PumpSetting { pump: Some(pump()?), rpm: Some(rpm) }
        }
        "swapped" => Deed::InUse { pump: Some(pump()?), drum: Some(drum()?) },
        "cleaning" => {
            Deed::Cleaning { place: Some(place(site, field("place"))?), minutes: bare(field("minutes"))? }
        }
        "note" => match field("text") {
            Some(text) => Deed::Note { text: Some(text.to_owned()) },
            None => return Err(words::figure_missing().to_owned()),
        },
        _ => return Err(words::no_such_entry().to_owned()),
    })
}

fn known<'a>(typed: Option<&str>, ids: impl Iterator<Item = &'a Id>) -> Result<Id, String> {
    let mut ids = ids.filter(|id| Some(id.as_str()) == typed);
    ids.next().cloned().ok_or_else(|| words::choose_one().to_owned())
}

fn place(site: &Site, typed: Option<&str>) -> Result<Place, String> {
    let place = typed.and_then(|text| Place::parse(text).ok());
    let there = |place: &Place| match place {
        Place::Head => true,
        Place::Tank(id) => site.tanks.iter().any(|tank| tank.id == *id),
        Place::Drum(_) | Place::Pump(_) | Place::Room => false,
    };
    place.filter(there).ok_or_else(|| words::choose_one().to_owned())
}

/// A number with or without its unit, zero or more.
fn amount(typed: Option<&str>, dimension: Dimension, usual: Unit) -> Result<Option<f64>, String> {
    let Some(typed) = typed else { return Ok(None) };
    let read = Amount::parse(typed).and_then(|amount| amount.in_base(dimension, Some(usual)));
    let base = read.map_err(|bad| words::bad_figure(&bad.to_string()))?;
    if base < 0.0 { Err(words::below_zero(typed)) } else { Ok(Some(base)) }
}

fn bare(typed: Option<&str>) -> Result<Option<f64>, String> {
    let Some(typed) = typed else { return Ok(None) };
    let read = Amount::parse(typed).map_err(|bad| words::bad_figure(&bad.to_string()))?;
    if read.number() < 0.0 || read.unit().is_some() {
        return Err(words::below_zero(typed));
    }
    Ok(Some(read.number()))
}

/// Longer ago it is written down at the command line, with its time.
const LONGEST_MINUTES: u16 = 24 * 60;
