//! The site of a season, as the store keeps a site: fields that don't matter here have their defaults.

use claymark_model::id::Id;
use claymark_model::quality::thresholds::{
    FlatLine, GrossRange, Levels, Span, Spike, SpikeMethod, Thresholds,
};
use claymark_model::site::Site;
use claymark_model::strapping::StrappingTable;
use claymark_model::units::{Litres, Millimetres, PeopleUnits};
use jiff::SignedDuration;
use serde_json::{Value, json};

/// One drum with its level sensor.
pub struct DrumPlan {
    /// `a`, `b`.
    pub name: &'static str,
    /// `p1`, `p2`.
    pub pump: &'static str,
    /// Litres at the full line.
    pub full: f64,
    /// Litres that the pump can't lift.
    pub heel: f64,
    /// Level in mm and litres, as somebody measured them.
    pub strapping: Vec<(f64, f64)>,
    /// How its level is measured.
    pub mount: Mount,
}

/// How a level is measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Mount {
    /// By the surface: a float or a probe.
    Surface,
    /// By what the slurry weighs, in mm of water.
    Pressure,
    /// From above, down to the surface; the height over the bottom, mm.
    Above(f64),
}

impl Mount {
    /// What it shows, mm, of a level in slurry of so many g/L.
    #[must_use]
    pub fn shows(self, level: f64, g_per_l: f64) -> f64 {
        match self {
            Self::Surface => level,
            Self::Pressure => level * (1.0 + g_per_l / 1000.0 * (1.0 - 1.0 / MINERAL_DENSITY)),
            Self::Above(height) => height - level,
        }
    }

    /// How much of the foam's height it takes for slurry: foam weighs little.
    #[must_use]
    pub fn sees_foam(self) -> f64 {
        match self {
            Self::Surface | Self::Above(_) => 1.0,
            Self::Pressure => 0.1,
        }
    }
}

/// The site with these drums.
///
/// # Panics
/// When a strapping table doesn't rise.
#[must_use]
pub fn site(plans: &[DrumPlan]) -> Site {
    let mut pumps: Vec<&str> = plans.iter().map(|plan| plan.pump).collect();
    pumps.dedup();
    let minutes = SignedDuration::from_mins;
    let site = json!({
        "id": "alder-bend",
        "name": "Alder Bend Hatchery (invented)",
        "time_zone": "UTC",
        "elevation_m": 92.0,
        "units": PeopleUnits::default(),
        "staff": {
            "evening_check": "17:00:00",
            "next_visit": "07:30:00",
            "margin": minutes(60),
            "mixing": minutes(15),
            "travel": minutes(30),
            "response": minutes(15),
        },
        "water": {"turbidity": span(50.0, 80.0), "temperature_c": span(18.0, 22.0), "oxygen_min_mg_l": 6.0},
        "clay": {
            "bag": 25.0,
            "scale_step": 0.05,
            "mineral_density_kg_per_l": MINERAL_DENSITY,
            "thickest": 150.0,
        },
        "pumps": pumps.into_iter().map(pump).collect::<Vec<_>>(),
        "drums": plans.iter().map(drum).collect::<Vec<_>>(),
        "head_tank": {"id": "head", "name": "Head tank", "volume": 450.0},
        "tanks": [],
        "sensors": plans.iter().map(sensor).collect::<Vec<_>>(),
        "contacts": [{"id": "ann", "name": "ann"}, {"id": "kim", "name": "kim"}],
    });
    serde_json::from_value(site).expect("it is written as the store writes one")
}

/// The id of that name.
///
/// # Panics
/// When it can't be an id.
#[must_use]
pub fn id(name: &str) -> Id {
    Id::new(name).expect("names of the simulation are ids")
}

/// The id of a drum's level sensor.
#[must_use]
pub fn gauge_of(drum: &str) -> Id {
    id(&format!("level-{drum}"))
}

fn pump(name: &str) -> Value {
    json!({"id": name, "name": name, "ml_per_min_per_rpm": RATED_ML_PER_REVOLUTION, "max_rpm": 200.0})
}

fn drum(plan: &DrumPlan) -> Value {
    let rows = plan.strapping.iter().map(|(mm, litres)| (Millimetres(*mm), Litres(*litres)));
    json!({
        "id": plan.name,
        "name": plan.name,
        "pump": plan.pump,
        "full": plan.full,
        "heel": plan.heel,
        "strapping": StrappingTable::new(rows.collect()).expect("the table was measured upwards"),
        "target": TARGET_G_PER_L,
    })
}

fn sensor(plan: &DrumPlan) -> Value {
    let every = SignedDuration::from_mins(1);
    let (quantity, senses, mount_height) = match plan.mount {
        Mount::Surface => ("level", "surface", None),
        Mount::Pressure => ("level", "pressure", None),
        Mount::Above(height) => ("distance", "surface", Some(height)),
    };
    json!({
        "id": gauge_of(plan.name),
        "name": plan.name,
        "place": format!("drum:{}", plan.name),
        "quantity": quantity,
        "senses": senses,
        "unit": "mm",
        "every": every,
        "mount_height": mount_height,
        "thresholds": thresholds(every),
    })
}

/// As the example site file has them.
fn thresholds(every: SignedDuration) -> Thresholds {
    let hours = SignedDuration::from_hours;
    let rise = |suspect, fail| Levels::new(suspect, fail).expect("suspect comes first");
    Thresholds {
        gap: every * 5,
        gross_range: Some(GrossRange::new(span(0.0, 1200.0), None).expect("one range")),
        spike: Some(Spike { method: SpikeMethod::Average, levels: rise(15.0, Some(60.0)) }),
        rate_per_s: Some(rise(1.0, None)),
        flat_line: Some(FlatLine::new(0.2, hours(2), Some(hours(6)), every).expect("they rise")),
    }
}

fn span(min: f64, max: f64) -> Span {
    Span::new(min, max).expect("it rises")
}

/// mL in a revolution by the label of every pump.
pub const RATED_ML_PER_REVOLUTION: f64 = 2.1;
/// kg/L of dry clay.
pub const MINERAL_DENSITY: f64 = 2.6;
/// Strength that the drums are mixed to, g/L.
pub const TARGET_G_PER_L: f64 = 18.0;
