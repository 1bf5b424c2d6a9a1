//! The field log: what hands do. Append-only; a correction names the entry that it replaces.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::id::Id;
use crate::units::{Kilograms, Litres, Millimetres};

/// Where something was done: a drum, the head tank, a rearing tank, a pump, or the room.
pub use crate::place::Place;

/// One entry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LogEntry {
    /// Names the entry: given by the sender, else made from its content, so that a redelivery is the same entry.
    pub key: String,
    /// When it was done.
    pub at: Timestamp,
    /// When Claymark heard of it.
    pub received_at: Timestamp,
    /// By whom.
    pub by: Option<String>,
    /// The entry that this one replaces.
    pub replaces: Option<String>,
    /// What.
    pub deed: Deed,
}

/// What was done; figures may be missing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Deed {
    /// Slurry was topped up.
    Refill {
        /// Which drum; missing when only one is possible, or when it was forgotten.
        drum: Option<Id>,
        /// Water added.
        water: Option<Litres>,
        /// Clay added, dry.
        clay: Option<Kilograms>,
    },
    /// The pump's speed was set; 0 is off.
    PumpSetting {
        /// Which.
        pump: Option<Id>,
        /// Revolutions per minute.
        rpm: Option<f64>,
    },
    /// From now on this drum is drawn by that pump.
    InUse {
        /// Which pump.
        pump: Option<Id>,
        /// Which drum.
        drum: Option<Id>,
    },
    /// Bucket (or cylinder) and stopwatch.
    FlowCheck {
        /// Where the water was caught.
        place: Option<Place>,
        /// How much.
        volume: Option<Litres>,
        /// In how long, seconds.
        seconds: Option<f64>,
    },
    /// A hand instrument's value.
    GrabSample {
        /// Where.
        place: Option<Place>,
        /// What was measured.
        quantity: Option<String>,
        /// The value, in `unit`.
        value: Option<f64>,
        /// Its unit.
        unit: Option<String>,
    },
    /// A tank was cleaned.
    Cleaning {
        /// Which.
        place: Option<Place>,
        /// For how long.
        minutes: Option<f64>,
    },
    /// A drum was read by eye.
    Dip {
        /// Which.
        drum: Option<Id>,
        /// Level read.
        level: Option<Millimetres>,
        /// Or volume read.
        volume: Option<Litres>,
    },
    /// A sensor was wiped.
    Wipe {
        /// Which.
        sensor: Option<Id>,
    },
    /// A new tube was put into the pump.
    TubeChange {
        /// Which.
        pump: Option<Id>,
    },
    /// A clog was cleared.
    ClogCleared {
        /// Which pump's line.
        pump: Option<Id>,
    },
    /// Clay was delivered.
    Delivery {
        /// Bags.
        bags: Option<f64>,
        /// Mass in all.
        mass: Option<Kilograms>,
        /// The supplier's lot.
        lot: Option<String>,
    },
    /// Fish were stocked, moved or counted.
    Fish {
        /// Which tank.
        place: Option<Place>,
        /// What was done.
        what: Option<String>,
        /// How many.
        number: Option<f64>,
    },
    /// Somebody has the coming night, or this one.
    Tonight {
        /// Who.
        person: Option<Id>,
    },
    /// Nobody is to be called for a notice until then, for a reason.
    Shelve {
        /// The notice.
        notice: u64,
        /// When the shelf ends.
        until: Timestamp,
        /// Why.
        why: String,
    },
    /// Free text.
    Note {
        /// The text.
        text: Option<String>,
    },
}

impl Deed {
    /// Whether it was done to a pump or its line, and so may change what is drawn.
    #[must_use]
    pub fn is_of_a_pump(&self) -> bool {
        matches!(
            self,
            Self::PumpSetting { .. }
                | Self::InUse { .. }
                | Self::TubeChange { .. }
                | Self::ClogCleared { .. }
        )
    }

    /// Whether it is said from anywhere: nobody need have been in the room for it.
    #[must_use]
    pub fn is_said_from_afar(&self) -> bool {
        matches!(self, Self::Tonight { .. } | Self::Shelve { .. })
    }

    /// The pump that it names.
    #[must_use]
    pub fn pump(&self) -> Option<&Id> {
        let (Self::PumpSetting { pump, .. }
        | Self::InUse { pump, .. }
        | Self::TubeChange { pump }
        | Self::ClogCleared { pump }) = self
        else {
            return None;
        };
        pump.as_ref()
    }

    /// The drum that it names.
    #[must_use]
    pub fn drum(&self) -> Option<&Id> {
        let (Self::Refill { drum, .. } | Self::InUse { drum, .. } | Self::Dip { drum, .. }) = self else {
            return None;
        };
        drum.as_ref()
    }

    /// The place that it names.
    #[must_use]
    pub fn place(&self) -> Option<&Place> {
        let (Self::FlowCheck { place, .. }
        | Self::GrabSample { place, .. }
        | Self::Cleaning { place, .. }
        | Self::Fish { place, .. }) = self
        else {
            return None;
        };
        place.as_ref()
    }

    /// Whether it is a refill of that drum, or of one that it doesn't name.
    #[must_use]
    pub fn may_refill(&self, drum: &Id) -> bool {
        matches!(self, Self::Refill { .. }) && self.drum().is_none_or(|named| named == drum)
    }

    /// Whether it is the cleaning of one of these places, or of one that it doesn't name.
    #[must_use]
    pub fn may_clean(&self, places: &[Place]) -> bool {
        matches!(self, Self::Cleaning { .. }) && self.place().is_none_or(|named| places.contains(named))
    }

    /// Whether it is the wipe of that sensor, or of one that it doesn't name.
    #[must_use]
    pub fn may_wipe(&self, of: &Id) -> bool {
        matches!(self, Self::Wipe { sensor } if sensor.as_ref().is_none_or(|sensor| sensor == of))
    }

    /// Whether it says that the network or the server is worked on. No kind of entry is for that: people write a note,
    /// so it goes by words in it, here and nowhere else.
    #[must_use]
    pub fn announces_network_work(&self) -> bool {
        let Self::Note { text: Some(text) } = self else { return false };
        let text = text.to_lowercase();
        NETWORK_WORK.iter().any(|word| text.contains(word))
    }
}

/// Words by which a note, in English, speaks of work on the network; a note in another tongue announces nothing, and then
/// the silence is told.
const NETWORK_WORK: [&str; 7] = ["maintenance", "network", "router", "server", "broker", "wifi", "wi-fi"];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_note_that_names_it_announces_work_on_the_network() {
        let note = |text: &str| Deed::Note { text: Some(text.to_owned()) };
        assert!(note("Router maintenance, back in half an hour").announces_network_work());
        assert!(note("new Wi-Fi in the hall").announces_network_work());
        assert!(!note("fish look fine").announces_network_work());
        assert!(!Deed::Note { text: None }.announces_network_work());
        assert!(!Deed::TubeChange { pump: None }.announces_network_work());
    }
}
