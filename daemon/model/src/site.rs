//! The site model: what stands in the room, checked once when the site file is read.

use jiff::SignedDuration;
use jiff::civil::Time;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use crate::calls::CallRules;
use crate::id::Id;
use crate::plan::Batch;
use crate::quality::thresholds::Thresholds;
use crate::roster::OtherVisit;
use crate::routine::{HandCheck, StockRules};
use crate::strapping::StrappingTable;
use crate::units::{GramsPerLitre, Kilograms, Litres, LitresPerHour, Millimetres, PeopleUnits, Unit};

pub use crate::limits::WaterLimits;
pub use crate::place::{NotAPlace, Place, Quantity};
pub use crate::roster::Contact;

/// The whole room.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Site {
    /// Used in topics and tags.
    pub id: Id,
    /// For people.
    pub name: String,
    /// Where the clocks of the people stand.
    #[serde(with = "jiff::fmt::serde::tz::required")]
    pub time_zone: TimeZone,
    /// Above the sea, metres.
    pub elevation_m: f64,
    /// Units for people.
    pub units: PeopleUnits,
    /// When people come and go, and how long they need.
    pub staff: Staff,
    /// What the fish need where no batch has a plan of its own.
    pub water: WaterLimits,
    /// The batches of fish and their rearing plans, in the order of the file.
    #[serde(default)]
    pub batches: Vec<Batch>,
    /// How clay is bought, where that is written down.
    #[serde(default)]
    pub stock: Option<StockRules>,
    /// What is checked by hand, and how often.
    #[serde(default)]
    pub hand_checks: Vec<HandCheck>,
    /// How the clay comes.
    pub clay: ClaySupply,
    /// In the order of the file.
    pub pumps: Vec<Pump>,
    /// In the order of the file; each names a pump that is there.
    pub drums: Vec<Drum>,
    /// Where slurry meets fresh water.
    pub head_tank: HeadTank,
    /// In the order of the file.
    pub tanks: Vec<Tank>,
    /// In the order of the file; each stands at a place that is there.
    pub sensors: Vec<Sensor>,
    /// Who is told, first person first.
    pub contacts: Vec<Contact>,
    /// When they are called, and how often.
    #[serde(default)]
    pub calls: CallRules,
}

/// When people come and go, and how long they need.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Staff {
    /// Local time of the evening check; from then on nobody is there.
    pub evening_check: Time,
    /// Local time of the next visit.
    pub next_visit: Time,
    /// Days on which it is at another time.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub other_visits: Vec<OtherVisit>,
    /// Until when whoever has the night confirms it; without it nobody is asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confirm_by: Option<Time>,
    /// When people are told what the night has brought; without it they aren't.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub morning: Option<Time>,
    /// How long a drum must last beyond the next visit.
    pub margin: SignedDuration,
    /// How long mixing a drum takes.
    pub mixing: SignedDuration,
    /// How long the way to the barn takes.
    pub travel: SignedDuration,
    /// How long it takes to read a message and to get up.
    pub response: SignedDuration,
}

/// How the clay comes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClaySupply {
    /// Mass of a bag.
    pub bag: Kilograms,
    /// The finest step that the scale shows.
    pub scale_step: Kilograms,
    /// Density of the dry mineral, kg/L: how much room it takes in the slurry.
    pub mineral_density_kg_per_l: f64,
    /// Slurry thicker than this can't be pumped.
    pub thickest: GramsPerLitre,
    /// NTU for each mg/L of clay, as fitted to this clay in this water; no figure holds everywhere.
    #[serde(default)]
    pub ntu_per_mg_l: Option<f64>,
    /// Turbidity of the fresh water without clay.
    #[serde(default)]
    pub background_ntu: f64,
    /// How clay is wetted before it goes into a drum.
    #[serde(default)]
    pub premix: Premix,
    /// A tenth of the clay's mass is coarser than this, µm, by the supplier's data sheet.
    #[serde(default)]
    pub coarse_um: Option<f64>,
}

/// The buckets in which clay is wetted before it goes into a drum.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Premix {
    /// Water and clay that one bucket takes.
    pub bucket: Litres,
    /// The most clay that can be stirred smooth in one bucket.
    pub most_clay: Kilograms,
}

impl Default for Premix {
    /// A household bucket that one person can lift and stir (common practice, no source).
    fn default() -> Self {
        Self { bucket: Litres(10.0), most_clay: Kilograms(1.5) }
    }
}

/// A peristaltic pump.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pump {
    /// Its id.
    pub id: Id,
    /// For people.
    pub name: String,
    /// Rating, mL per revolution; the true value is learned.
    pub ml_per_min_per_rpm: Option<f64>,
    /// The speed at which it can run at most, rpm.
    pub max_rpm: Option<f64>,
    /// The slowest speed that keeps the slurry in the line moving, rpm.
    #[serde(default)]
    pub min_rpm: Option<f64>,
    /// How it draws from its drums, where it has several.
    #[serde(default)]
    pub draws: Draws,
    /// Drums drawn together stand at one level through their line: what is missing in one flows in from the others.
    #[serde(default)]
    pub levels_out: bool,
}

/// How a pump draws from several drums.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Draws {
    /// From one drum at a time, one after the other: the supply ends when the last of them is empty.
    #[default]
    One,
    /// From all at once, through a common suction line: the supply ends when the first of them is empty, since the
    /// pump then lifts air through that one's intake. Drums that are joined below the slurry stand at one level and
    /// are empty together, so that the same holds for them.
    Together,
}

impl Draws {
    /// All, with their names in the site file.
    pub const NAMES: [(&'static str, Self); 2] = [("one", Self::One), ("together", Self::Together)];
}

impl Pump {
    /// Delivery by the rating at `rpm`.
    #[must_use]
    pub fn rated(&self, rpm: f64) -> Option<LitresPerHour> {
        self.ml_per_min_per_rpm.map(|ml| LitresPerHour::from_ml_per_min(ml * rpm))
    }
}

/// A drum of slurry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Drum {
    /// Its id.
    pub id: Id,
    /// For people.
    pub name: String,
    /// The pump that draws from it.
    pub pump: Id,
    /// Volume at the full line.
    pub full: Litres,
    /// What the pump can't lift.
    pub heel: Litres,
    /// Level to volume.
    pub strapping: StrappingTable,
    /// Strength wanted.
    pub target: GramsPerLitre,
}

/// Where slurry meets fresh heated water.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HeadTank {
    /// Its id.
    pub id: Id,
    /// For people.
    pub name: String,
    /// Its volume.
    pub volume: Litres,
}

/// A rearing tank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Tank {
    /// Its id.
    pub id: Id,
    /// For people.
    pub name: String,
    /// Its volume.
    pub volume: Litres,
}

/// What a level sensor goes by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Senses {
    /// Where the surface stands: a float, a sight tube, a capacitive probe.
    #[default]
    Surface,
    /// The weight of the slurry above it. It speaks in millimetres of water, of which slurry of the same height weighs
    /// more.
    Pressure,
}

impl Senses {
    /// All, with their names in the site file.
    pub const NAMES: [(&'static str, Self); 2] = [("surface", Self::Surface), ("pressure", Self::Pressure)];
}

/// A sensor, without its topic and payload format, which are the intake's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sensor {
    /// Its id.
    pub id: Id,
    /// For people.
    pub name: String,
    /// Where it stands.
    pub place: Place,
    /// What it measures.
    pub quantity: Quantity,
    /// The device whose clock dates its readings, where several sensors share one, such as a gateway; `None`: those of
    /// one topic do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub device: Option<Id>,
    /// In which unit it speaks; readings are kept in `unit.base()`.
    pub unit: Unit,
    /// How often it should speak.
    pub every: SignedDuration,
    /// What a level sensor goes by.
    #[serde(default)]
    pub senses: Senses,
    /// Whether it lives on the mains (true) or on a battery (false); `None`: nobody says.
    #[serde(default)]
    pub mains: Option<bool>,
    /// For a distance sensor: its height over the drum's bottom.
    pub mount_height: Option<Millimetres>,
    /// Of its quality tests, in the base unit.
    pub thresholds: Thresholds,
}

impl Site {
    /// The drum of that id.
    #[must_use]
    pub fn drum(&self, id: &Id) -> Option<&Drum> {
        self.drums.iter().find(|drum| drum.id == *id)
    }

    /// The pump of that id.
    #[must_use]
    pub fn pump(&self, id: &Id) -> Option<&Pump> {
        self.pumps.iter().find(|pump| pump.id == *id)
    }

    /// The sensor of that id.
    #[must_use]
    pub fn sensor(&self, id: &Id) -> Option<&Sensor> {
        self.sensors.iter().find(|sensor| sensor.id == *id)
    }

    /// The sensor that tells the level of that drum.
    #[must_use]
    pub fn level_sensor(&self, drum: &Id) -> Option<&Sensor> {
        self.sensors
            .iter()
            .find(|sensor| sensor.place == Place::Drum(drum.clone()) && sensor.quantity.tells_level())
    }

    /// The drums that draw through that pump.
    pub fn drums_of(&self, pump: &Id) -> impl Iterator<Item = &Drum> {
        self.drums.iter().filter(move |drum| drum.pump == *pump)
    }
}
