//! The site of a season: the invented room, with the drums of that season.

use claymark_invented as invented;
use claymark_model::id::Id;
use claymark_model::quality::thresholds::{
    FlatLine, GrossRange, Levels, Span, Spike, SpikeMethod, Thresholds,
};
use claymark_model::site::{ClaySupply, Drum, Place, Pump, Quantity, Senses, Sensor, Site};
use claymark_model::units::{GramsPerLitre, Litres, Millimetres};
use jiff::SignedDuration;
use jiff::tz::TimeZone;

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
    Site {
        name: "Alder Bend Hatchery (invented)".to_owned(),
        time_zone: TimeZone::UTC,
        clay: ClaySupply { mineral_density_kg_per_l: MINERAL_DENSITY, ..invented::clay() },
        pumps: pumps.into_iter().map(pump).collect(),
        drums: plans.iter().map(drum).collect(),
        tanks: Vec::new(),
        sensors: plans.iter().map(sensor).collect(),
        contacts: ["ann", "kim"].map(|name| invented::contact(name, name)).into(),
        ..invented::site()
    }
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

fn pump(name: &str) -> Pump {
    Pump { name: name.to_owned(), ml_per_min_per_rpm: Some(RATED_ML_PER_REVOLUTION), ..invented::pump(name) }
}

fn drum(plan: &DrumPlan) -> Drum {
    Drum {
        name: plan.name.to_owned(),
        full: Litres(plan.full),
        heel: Litres(plan.heel),
        strapping: invented::strapping(&plan.strapping),
        target: GramsPerLitre(TARGET_G_PER_L),
        ..invented::drum(plan.name, plan.pump)
    }
}

fn sensor(plan: &DrumPlan) -> Sensor {
    let (quantity, senses, mount_height) = match plan.mount {
        Mount::Surface => (Quantity::Level, Senses::Surface, None),
        Mount::Pressure => (Quantity::Level, Senses::Pressure, None),
        Mount::Above(height) => (Quantity::Distance, Senses::Surface, Some(Millimetres(height))),
    };
    let gauge = gauge_of(plan.name);
    let like = invented::sensor(gauge.as_str(), Place::Drum(id(plan.name)), quantity);
    Sensor { name: plan.name.to_owned(), senses, mount_height, thresholds: thresholds(like.every), ..like }
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
