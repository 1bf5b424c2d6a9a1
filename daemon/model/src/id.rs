//! Names of things in the site file: short, safe in topics, tags and file names.

use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

/// The `id` of a drum, pump, tank, sensor, contact or site: `[a-z0-9-]{1,32}`.
///
/// Cheap to clone: a reading carries its sensor's id.
#[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Id(Arc<str>);

/// The text can't be an id.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{0}' is not an id: use 1 to 32 of a-z, 0-9 and '-'")]
pub struct NotAnId(pub String);

impl Id {
    /// Checks `text` against `[a-z0-9-]{1,32}`.
    pub fn new(text: &str) -> Result<Self, NotAnId> {
        let fits = (1..=32).contains(&text.len())
            && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
        if fits { Ok(Self(Arc::from(text))) } else { Err(NotAnId(text.to_owned())) }
    }

    /// The id as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Debug for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Id({})", self.0)
    }
}

impl TryFrom<String> for Id {
    type Error = NotAnId;

    fn try_from(text: String) -> Result<Self, NotAnId> {
        Self::new(&text)
    }
}

impl From<Id> for String {
    fn from(id: Id) -> Self {
        id.0.as_ref().to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_is_short_lower_case_and_safe_in_a_topic() {
        for good in ["a", "drum-a-level", "t12", &"x".repeat(32)] {
            assert_eq!(Id::new(good).unwrap().as_str(), good);
        }
        for bad in ["", "A", "a/b", "a b", "ä", "a+", &"x".repeat(33)] {
            assert_eq!(Id::new(bad), Err(NotAnId(bad.to_owned())));
        }
    }
}
