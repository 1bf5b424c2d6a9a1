//! What kills within hours, and can't be seen any more. That is no danger by itself, but nobody would know of one: somebody
//! must look before the morning.

use jiff::SignedDuration;

use crate::scene::RoomView;
use claymark_model::site::{Place, Quantity, Sensor};
use claymark_notice::content::SilentSensor;

/// What of the water of the fish these sensors alone had shown, and for longer than it may be out of sight.
pub(crate) fn lost(view: &RoomView<'_>, silent: &[SilentSensor]) -> Vec<Quantity> {
    let gone = |silent: &SilentSensor| {
        let sensor = view.known.site.sensor(&silent.sensor)?;
        let bearable = bearable(sensor.quantity)?;
        let since = silent.last.unwrap_or(view.scene.live);
        let lost = is_of_fish(&sensor.place) && since + bearable <= view.scene.now && is_alone(view, sensor);
        lost.then_some(sensor.quantity)
    };
    let mut lost: Vec<Quantity> = silent.iter().filter_map(gone).collect();
    lost.sort();
    lost.dedup();
    lost
}

/// No other one shows the same water.
fn is_alone(view: &RoomView<'_>, sensor: &Sensor) -> bool {
    let shows = |other: &&Sensor| {
        other.id != sensor.id
            && is_same(other.quantity, sensor.quantity)
            && shows_water_of(&other.place, sensor)
            && view.known.sensors.sees(&other.id, view.scene.now)
    };
    !view.known.site.sensors.iter().any(|other| shows(&other))
}

/// The tanks get the head tank's water; what a tank's fish breathe only its own probe shows.
fn shows_water_of(other: &Place, sensor: &Sensor) -> bool {
    match sensor.quantity {
        Quantity::Oxygen | Quantity::OxygenSaturation => {
            *other == sensor.place || sensor.place == Place::Head && is_of_fish(other)
        }
        Quantity::Temperature | Quantity::Turbidity => is_of_fish(other),
        Quantity::Level
        | Quantity::Distance
        | Quantity::Volume
        | Quantity::Flow
        | Quantity::AirPressure
        | Quantity::AirFlow
        | Quantity::Running => false,
    }
}

fn is_same(one: Quantity, other: Quantity) -> bool {
    let oxygen = |quantity| matches!(quantity, Quantity::Oxygen | Quantity::OxygenSaturation);
    one == other || oxygen(one) && oxygen(other)
}

fn is_of_fish(place: &Place) -> bool {
    matches!(place, Place::Head | Place::Tank(_))
}

/// How long it may be out of sight; `None`: it may until the morning, or has its own alarm.
fn bearable(quantity: Quantity) -> Option<SignedDuration> {
    match quantity {
        // It is told when its own patience ends.
        Quantity::Oxygen | Quantity::OxygenSaturation => Some(SignedDuration::ZERO),
        Quantity::Temperature | Quantity::Turbidity => Some(SLOWER),
        Quantity::Level
        | Quantity::Distance
        | Quantity::Volume
        | Quantity::Flow
        | Quantity::AirPressure
        | Quantity::AirFlow
        | Quantity::Running => None,
    }
}

/// What takes hours to kill may be out of sight for so long (common practice, no source).
const SLOWER: SignedDuration = SignedDuration::from_mins(30);
