//! What things are called: the site's names for people, never an id where a name is known.

use claymark_model::id::Id;
use claymark_model::site::{Place, Quantity, Sensor, Site};
use claymark_model::units::{Turbidity, Unit};
use claymark_notice::Channel;

use crate::{format, typed};

/// The drum's name.
#[must_use]
pub fn drum(site: &Site, id: &Id) -> String {
    site.drum(id).map_or_else(|| id.to_string(), |drum| typed::name(&drum.name))
}

/// The pump's name.
#[must_use]
pub fn pump(site: &Site, id: &Id) -> String {
    site.pump(id).map_or_else(|| id.to_string(), |pump| typed::name(&pump.name))
}

/// The rearing tank's name.
#[must_use]
pub fn tank(site: &Site, id: &Id) -> String {
    let tank = site.tanks.iter().find(|tank| tank.id == *id);
    tank.map_or_else(|| id.to_string(), |tank| typed::name(&tank.name))
}

/// The contact's name.
#[must_use]
pub fn contact(site: &Site, id: &Id) -> String {
    let contact = site.contacts.iter().find(|contact| contact.id == *id);
    contact.map_or_else(|| id.to_string(), |contact| typed::name(&contact.name))
}

/// The place's name.
#[must_use]
pub fn place(site: &Site, place: &Place) -> String {
    match place {
        Place::Drum(id) => drum(site, id),
        Place::Head => typed::name(&site.head_tank.name),
        Place::Tank(id) => tank(site, id),
        Place::Pump(id) => pump(site, id),
        Place::Room => "the room".to_owned(),
    }
}

/// "65 NTU", in the unit of the site's turbidity sensors.
#[must_use]
pub fn turbidity(site: &Site, turbidity: Turbidity) -> String {
    let sensor = site.sensors.iter().find(|sensor| sensor.quantity == Quantity::Turbidity);
    let unit = sensor.map_or(Unit::Ntu, |sensor| sensor.unit.base());
    format!("{} {unit}", format::number(turbidity.0, 0))
}

/// "level of Drum A".
#[must_use]
pub fn sensor(site: &Site, id: &Id) -> String {
    site.sensor(id).map_or_else(|| id.to_string(), |sensor| sensor_at(site, sensor))
}

fn sensor_at(site: &Site, sensor: &Sensor) -> String {
    format!("{} of {}", quantity(sensor.quantity), place(site, &sensor.place))
}

/// What is measured, in a word or two.
#[must_use]
pub fn quantity(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Level | Quantity::Distance | Quantity::Volume => "level",
        Quantity::Turbidity => "turbidity",
        Quantity::Temperature => "temperature",
        Quantity::Oxygen => "oxygen",
        Quantity::OxygenSaturation => "oxygen saturation",
        Quantity::Flow => "flow",
        Quantity::AirPressure => "air pressure",
        Quantity::AirFlow => "air flow",
        Quantity::Running => "run contact",
    }
}

/// By what a notice goes.
#[must_use]
pub fn channel(channel: Channel) -> &'static str {
    match channel {
        Channel::Email => "mail",
        Channel::Mqtt => "MQTT",
        Channel::Webhook => "webhook",
        Channel::Command => "command",
    }
}

/// "A", "A and B", "A, B and C".
#[must_use]
pub fn list(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [rest @ .., last] => format!("{} and {last}", rest.join(", ")),
    }
}

/// The same, but of a long list only the first few and how many more.
#[must_use]
pub fn first_of(names: &[String]) -> String {
    match names.get(..NAMED) {
        Some(first) if names.len() > NAMED + 1 => {
            format!("{} and {} more", first.join(", "), names.len() - NAMED)
        }
        Some(_) | None => list(names),
    }
}

/// A name in at most `longest` characters.
#[must_use]
pub fn short(name: &str, longest: usize) -> String {
    if name.chars().count() <= longest {
        return name.to_owned();
    }
    let kept: String = name.chars().take(longest.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// More names than this in a row aren't read.
const NAMED: usize = 8;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_stay_on_one_line_and_within_their_room() {
        assert_eq!(typed::name("Drum\nA \t big"), "Drum A big");
        assert_eq!(short("Drum A", 6), "Drum A");
        assert_eq!(short("The old drum by the door", 10), "The old d…");
        let many: Vec<_> = (1..=12).map(|n| format!("T{n}")).collect();
        assert_eq!(first_of(&many), "T1, T2, T3, T4, T5, T6, T7, T8 and 4 more");
        assert_eq!(first_of(&many[..9]), list(&many[..9]));
        assert_eq!(list(&["A".to_owned(), "B".to_owned(), "C".to_owned()]), "A, B and C");
    }
}
