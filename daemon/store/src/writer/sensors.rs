//! The keys under which the readings of each sensor stand.

use std::collections::HashMap;

use jiff::{SignedDuration, Timestamp};
use rusqlite::{Connection, Statement, params};

use claymark_model::id::Id;
use claymark_model::site::{Place, Quantity, Site};
use claymark_model::units::Unit;

use crate::error::StoreError;
use crate::limits::Limits;
use crate::reader::KnownSensor;

/// The sensors of the site in force.
#[derive(Debug)]
pub(crate) struct SensorsInForce {
    keys: HashMap<Id, i64>,
    site: Site,
}

impl SensorsInForce {
    /// Gives new sensors their keys; old ones keep theirs.
    pub(crate) fn adopt(connection: &Connection, site: &Site) -> Result<Self, StoreError> {
        connection.execute("UPDATE sensor SET in_site = 0", [])?;
        let mut upsert = connection.prepare_cached(
            "INSERT INTO sensor (id, name, place, quantity, unit, every_ms, in_site) VALUES (?1, ?2, ?3, ?4, ?5, ?6, 1)
             ON CONFLICT DO UPDATE SET name = excluded.name, every_ms = excluded.every_ms, in_site = 1
             RETURNING key",
        )?;
        let sensors = site.sensors.iter().map(|sensor| {
            (&sensor.id, &sensor.name, &sensor.place, sensor.quantity, sensor.unit.base(), sensor.every)
        });
        let keys = keys(&mut upsert, sensors)?;
        Ok(Self { keys, site: site.clone() })
    }

    /// The sensors of another store, each with a key here; those that aren't in the site in force get one, too.
    pub(crate) fn with(&self, connection: &Connection, known: &[KnownSensor]) -> Result<Self, StoreError> {
        let mut upsert = connection.prepare_cached(
            "INSERT INTO sensor (id, name, place, quantity, unit, every_ms, in_site) VALUES (?1, ?2, ?3, ?4, ?5, ?6, 0)
             ON CONFLICT DO UPDATE SET id = excluded.id RETURNING key",
        )?;
        let sensors = known.iter().map(|sensor| {
            (&sensor.id, &sensor.name, &sensor.place, sensor.quantity, sensor.unit, sensor.every)
        });
        let keys = keys(&mut upsert, sensors)?;
        Ok(Self { keys, site: self.site.clone() })
    }

    /// `None`: not in the site in force.
    pub(crate) fn key(&self, id: &Id) -> Option<i64> {
        self.keys.get(id).copied()
    }

    /// The limits of a sensor in the hour that begins at `hour`.
    pub(crate) fn limits(&self, id: &Id, hour: Timestamp) -> Limits {
        self.site.sensor(id).map(|sensor| Limits::of(&self.site, sensor, hour)).unwrap_or_default()
    }
}

/// The keys that an upsert of id, name, place, quantity, base unit and interval gives.
fn keys<'a>(
    upsert: &mut Statement<'_>,
    sensors: impl Iterator<Item = (&'a Id, &'a String, &'a Place, Quantity, Unit, SignedDuration)>,
) -> Result<HashMap<Id, i64>, StoreError> {
    let mut keys = HashMap::new();
    for (id, name, place, quantity, unit, every) in sensors {
        let every_ms = i64::try_from(every.as_millis()).unwrap_or(i64::MAX);
        let row = params![id.as_str(), name, place.to_string(), quantity.name(), unit.symbol(), every_ms];
        keys.insert(id.clone(), upsert.query_row(row, |row| row.get(0))?);
    }
    Ok(keys)
}
