//! What the site file says of one drum, in litres and hours.

use super::hours::in_hours;
use claymark_clay::gauge::Gauge as LevelGauge;
use claymark_model::id::Id;
use claymark_model::site::{Draws, Drum, Site};
use claymark_model::strapping::StrappingTable;
use claymark_model::units::Millimetres;

/// One drum with its pump and its level sensor.
#[derive(Debug, Clone)]
pub(super) struct Facts {
    pub drum: Id,
    pub pump: Id,
    /// Other drums draw through the same pump.
    pub shared: bool,
    /// It is the only drum, so that an entry without a drum means this one.
    pub only: bool,
    /// Its pump is the only one, so that an entry without a pump means this one.
    pub only_pump: bool,
    /// Litres.
    pub heel: f64,
    /// Litres at the full line.
    pub full: f64,
    /// L/h per rpm by the rating, of what comes from this drum.
    pub rating: Option<f64>,
    /// Share of what the pump delivers that comes from this drum while it is drawn.
    pub share: f64,
    /// kg/L of dry clay.
    pub mineral_density: f64,
    pub gauge: Option<LevelSensor>,
    strapping: StrappingTable,
}

/// The level sensor.
#[derive(Debug, Clone)]
pub(super) struct LevelSensor {
    pub sensor: Id,
    /// Silence for longer than this is a gap, h.
    pub gap: f64,
    level: LevelGauge,
}

impl Facts {
    /// `None` when the site has no such drum.
    pub fn of(site: &Site, id: &Id) -> Option<Self> {
        let drum = site.drum(id)?;
        let pump = site.pump(&drum.pump);
        let at_once = pump.is_some_and(|pump| pump.draws == Draws::Together);
        let drawn = if at_once { site.drums_of(&drum.pump).map(|_| 1.0).sum() } else { 1.0 };
        let share = 1.0 / f64::max(drawn, 1.0);
        Some(Self {
            drum: drum.id.clone(),
            pump: drum.pump.clone(),
            shared: site.drums_of(&drum.pump).nth(1).is_some(),
            only: site.drums.len() == 1,
            only_pump: site.pumps.len() == 1,
            heel: drum.heel.0,
            full: drum.full.0,
            rating: pump.and_then(|pump| pump.rated(1.0)).map(|draw| share * draw.0),
            share,
            mineral_density: site.clay.mineral_density_kg_per_l,
            gauge: LevelSensor::of(site, drum),
            strapping: drum.strapping.clone(),
        })
    }

    /// Litres that the pump can lift from a full drum.
    pub fn span(&self) -> f64 {
        (self.full - self.heel).max(LEAST_SPAN)
    }

    /// Volume by what the level sensor reads; `None` outside the strapping table.
    pub fn volume(&self, gauge: &LevelSensor, value: f64) -> Option<f64> {
        gauge.level.volume(value).map(|litres| litres.0)
    }

    /// Volume at a level in mm.
    pub fn at_level(&self, mm: f64) -> Option<f64> {
        self.strapping.volume(Millimetres(mm)).map(|litres| litres.0)
    }

    /// No drum holds more than this.
    pub fn brim(&self) -> f64 {
        self.strapping.brim().0
    }
}

impl LevelSensor {
    fn of(site: &Site, drum: &Drum) -> Option<Self> {
        let sensor = site.level_sensor(&drum.id)?;
        Some(Self {
            sensor: sensor.id.clone(),
            gap: in_hours(sensor.thresholds.gap),
            level: LevelGauge::of(drum, sensor, &site.clay)?,
        })
    }
}

/// A litre: the site file refuses a drum whose full line isn't above its heel.
const LEAST_SPAN: f64 = 1.0;
