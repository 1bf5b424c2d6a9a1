//! The keys under which the readings of each sensor stand.

use std::collections::HashMap;

use jiff::Timestamp;
use rusqlite::{Connection, params};

use claymark_model::id::Id;
use claymark_model::site::Site;

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
        let mut keys = HashMap::new();
        for sensor in &site.sensors {
            let every_ms = i64::try_from(sensor.every.as_millis()).unwrap_or(i64::MAX);
            let key = upsert.query_row(
                params![
                    sensor.id.as_str(),
                    sensor.name,
                    sensor.place.to_string(),
                    sensor.quantity.name(),
                    sensor.unit.base().symbol(),
                    every_ms
                ],
                |row| row.get(0),
            )?;
            keys.insert(sensor.id.clone(), key);
        }
        Ok(Self { keys, site: site.clone() })
    }

    /// The sensors of another store, each with a key here; those that aren't in the site in force get one, too.
    pub(crate) fn with(&self, connection: &Connection, known: &[KnownSensor]) -> Result<Self, StoreError> {
        let mut upsert = connection.prepare_cached(
            "INSERT INTO sensor (id, name, place, quantity, unit, every_ms, in_site) VALUES (?1, ?2, ?3, ?4, ?5, ?6, 0)
             ON CONFLICT DO UPDATE SET id = excluded.id RETURNING key",
        )?;
        let mut keys = HashMap::new();
        for sensor in known {
            let every_ms = i64::try_from(sensor.every.as_millis()).unwrap_or(i64::MAX);
            let key = upsert.query_row(
                params![
                    sensor.id.as_str(),
                    sensor.name,
                    sensor.place.to_string(),
                    sensor.quantity.name(),
                    sensor.unit.symbol(),
                    every_ms
                ],
                |row| row.get(0),
            )?;
            keys.insert(sensor.id.clone(), key);
        }
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
