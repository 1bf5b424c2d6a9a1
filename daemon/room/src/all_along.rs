//! Water that has been outside its limits ever since the watch began, and stays where it is: then the limit itself is in question.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use claymark_model::id::Id;
use claymark_model::quality::thresholds::Span;
use claymark_model::reading::Assessed;
use claymark_model::site::{Place, Quantity, Site};

/// Of each sensor that has limits.
#[derive(Debug, Default)]
pub(crate) struct AllAlong(BTreeMap<Id, FirstSeen>);

/// How the watch found what a sensor measures.
#[derive(Debug, Clone, Copy)]
enum FirstSeen {
    /// It has been within its limits at some time.
    Within,
    /// It hasn't; in its first hours it was between these.
    Outside { since: Timestamp, lowest: f64, highest: f64 },
}

impl AllAlong {
    /// A reading arrived.
    pub(crate) fn take(&mut self, site: &Site, assessed: &Assessed) {
        let reading = &assessed.reading;
        let sensor = site.sensor(&reading.sensor).filter(|_| assessed.flag.usable());
        let limits = sensor.and_then(|sensor| limits(site, &sensor.place, sensor.quantity, reading.at));
        let Some(limits) = limits else { return };
        let is = reading.value;
        let within = (limits.min()..=limits.max()).contains(&is);
        let new = FirstSeen::Outside { since: reading.at, lowest: is, highest: is };
        let seen = self.0.entry(reading.sensor.clone()).or_insert(new);
        match seen {
            FirstSeen::Within => {}
            FirstSeen::Outside { .. } if within => *seen = FirstSeen::Within,
            FirstSeen::Outside { since, lowest, highest } => {
                if reading.at < *since + FIRST_HOURS {
                    (*lowest, *highest) = (lowest.min(is), highest.max(is));
                }
            }
        }
    }

    /// Since when a sensor has been outside all along and near where it was found; `None`: it hasn't, or it moves, or that
    /// isn't known yet.
    pub(crate) fn since(&self, sensor: &Id, now: Timestamp, (is, slack): (f64, f64)) -> Option<Timestamp> {
        match self.0.get(sensor)? {
            FirstSeen::Within => None,
            FirstSeen::Outside { since, lowest, highest } => {
                let stays = (lowest - slack..=highest + slack).contains(&is);
                (stays && now >= *since + FIRST_HOURS).then_some(*since)
            }
        }
    }
}

/// What the fish of a place want of what is measured there.
fn limits(site: &Site, place: &Place, quantity: Quantity, at: Timestamp) -> Option<Span> {
    if !matches!(place, Place::Head | Place::Tank(_)) {
        return None;
    }
    let limits = site.limits_at(place, at);
    match quantity {
        Quantity::Turbidity => Some(limits.turbidity),
        Quantity::Temperature => Some(limits.temperature_c),
        Quantity::Level
        | Quantity::Distance
        | Quantity::Volume
        | Quantity::Oxygen
        | Quantity::OxygenSaturation
        | Quantity::Flow
        | Quantity::AirPressure
        | Quantity::AirFlow
        | Quantity::Running => None,
    }
}

/// For so long it is called for like any other water outside its limits: it may have just begun.
const FIRST_HOURS: SignedDuration = SignedDuration::from_hours(3);
