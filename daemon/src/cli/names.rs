//! People name things by id or by name; both lead to the id.

use claymark_model::id::Id;
use claymark_model::site::{Place, Site};

use super::CommandFailure;
use crate::suggest::did_you_mean;

/// A pump.
pub(super) fn pump(site: &Site, word: &str) -> Result<Id, CommandFailure> {
    find("pump", word, site.pumps.iter().map(|pump| (&pump.id, pump.name.as_str())))
}

/// A drum.
pub(super) fn drum(site: &Site, word: &str) -> Result<Id, CommandFailure> {
    find("drum", word, site.drums.iter().map(|drum| (&drum.id, drum.name.as_str())))
}

/// A sensor.
pub(super) fn sensor(site: &Site, word: &str) -> Result<Id, CommandFailure> {
    find("sensor", word, site.sensors.iter().map(|sensor| (&sensor.id, sensor.name.as_str())))
}

/// Somebody who is told.
pub(super) fn contact(site: &Site, word: &str) -> Result<Id, CommandFailure> {
    find("contact", word, site.contacts.iter().map(|contact| (&contact.id, contact.name.as_str())))
}

/// A rearing tank: also as `tank:t1`.
pub(super) fn tank(site: &Site, word: &str) -> Result<Id, CommandFailure> {
    let word = word.strip_prefix("tank:").unwrap_or(word);
    find("rearing tank", word, site.tanks.iter().map(|tank| (&tank.id, tank.name.as_str())))
}

/// A place: `tank:t1`, `head`, a name such as `Tank 1`, or an id that only one place has.
pub(super) fn place(site: &Site, word: &str) -> Result<Place, CommandFailure> {
    let known = places(site);
    let written = known.iter().find(|(place, _)| place.to_string() == word);
    let named = || known.iter().find(|(_, name)| name.eq_ignore_ascii_case(word));
    let has_id = |place: &Place| match place {
        Place::Drum(id) | Place::Tank(id) | Place::Pump(id) => id.as_str() == word,
        Place::Head | Place::Room => false,
    };
    let only = || {
        let mut with_it = known.iter().filter(|(place, _)| has_id(place));
        with_it.next().filter(|_| with_it.next().is_none())
    };
    if let Some((place, _)) = written.or_else(named).or_else(only) {
        return Ok(place.clone());
    }
    let words: Vec<String> = known.iter().map(|(place, _)| place.to_string()).collect();
    let names = known.iter().map(|(_, name)| *name);
    Err(unknown("place", word, words.iter().map(String::as_str), names))
}

fn places(site: &Site) -> Vec<(Place, &str)> {
    let drums = site.drums.iter().map(|drum| (Place::Drum(drum.id.clone()), drum.name.as_str()));
    let tanks = site.tanks.iter().map(|tank| (Place::Tank(tank.id.clone()), tank.name.as_str()));
    let pumps = site.pumps.iter().map(|pump| (Place::Pump(pump.id.clone()), pump.name.as_str()));
    let fixed = [(Place::Head, site.head_tank.name.as_str()), (Place::Room, "room")];
    drums.chain(tanks).chain(pumps).chain(fixed).collect()
}

fn find<'a>(
    kind: &str,
    word: &str,
    known: impl Iterator<Item = (&'a Id, &'a str)> + Clone,
) -> Result<Id, CommandFailure> {
    let by_id = known.clone().find(|(id, _)| id.as_str() == word);
    let by_name = || known.clone().find(|(_, name)| name.eq_ignore_ascii_case(word));
    match by_id.or_else(by_name) {
        Some((id, _)) => Ok(id.clone()),
        None => Err(unknown(
            kind,
            word,
            known.clone().map(|(id, _)| id.as_str()),
            known.clone().map(|(_, name)| name),
        )),
    }
}

fn unknown<'a>(
    kind: &str,
    word: &str,
    ids: impl Iterator<Item = &'a str> + Clone,
    names: impl Iterator<Item = &'a str>,
) -> CommandFailure {
    let hint = did_you_mean(word, ids.clone().chain(names));
    let known: Vec<&str> = ids.collect();
    CommandFailure::Wrong {
        what: format!("there is no {kind} '{word}' in the site file."),
        remedy: format!("{hint}Write one of {}, or its name.", known.join(", ")),
    }
}
