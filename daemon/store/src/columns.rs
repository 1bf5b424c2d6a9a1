//! How core types stand in columns: times as milliseconds, kinds by their names, figures as JSON.

use jiff::Timestamp;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use claymark_model::id::Id;

use crate::error::StoreError;

/// The name under which serde knows a unit variant, for instance `level-doubt`.
pub(crate) fn name<T: Serialize>(value: &T) -> Result<String, StoreError> {
    let json = serde_json::to_value(value)?;
    json.as_str()
        .map(str::to_owned)
        .ok_or_else(|| StoreError::BadRow { what: "name", found: json.to_string() })
}

/// The reverse of [`name`].
pub(crate) fn named<T: DeserializeOwned>(what: &'static str, name: String) -> Result<T, StoreError> {
    serde_json::from_value(Value::String(name.clone()))
        .map_err(|_not_one| StoreError::BadRow { what, found: name })
}

/// A tagged record as JSON, and its tag.
pub(crate) fn tagged<T: Serialize>(value: &T, tag: &str) -> Result<(String, String), StoreError> {
    let json = serde_json::to_value(value)?;
    let kind = json.get(tag).and_then(Value::as_str).unwrap_or_default().to_owned();
    Ok((kind, json.to_string()))
}

/// A record from its JSON.
pub(crate) fn record<T: DeserializeOwned>(what: &'static str, json: String) -> Result<T, StoreError> {
    serde_json::from_str(&json).map_err(|_not_one| StoreError::BadRow { what, found: json })
}

/// A time from its column.
pub(crate) fn time(ms: i64) -> Result<Timestamp, StoreError> {
    Timestamp::from_millisecond(ms).map_err(|_out| StoreError::BadRow { what: "time", found: ms.to_string() })
}

/// An id from its column.
pub(crate) fn id(text: &str) -> Result<Id, StoreError> {
    Id::new(text).map_err(|_not_one| StoreError::BadRow { what: "id", found: text.to_owned() })
}

/// Which hour since 1970 holds `ms`.
pub(crate) fn hour(ms: i64) -> i64 {
    ms.div_euclid(MS_PER_HOUR)
}

/// Length of an hour in the unit of the time columns.
pub(crate) const MS_PER_HOUR: i64 = 3_600_000;
