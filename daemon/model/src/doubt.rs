//! Why a level isn't believed, and why nothing can be said of a drum: values, of which `words` makes sentences.
//!
//! They are kept as short codes without a space, such as `silent` or `a:silent+no-draw`. A version before kept a
//! sentence in that place; such a row reads as [`Grounds::Earlier`].

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::id::Id;

/// Why a level isn't believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyDoubted {
    /// Nothing is heard of its sensor.
    Silent,
    /// The readings fail their quality tests.
    FailsTests,
    /// The sensor reads outside the strapping table.
    OffTable,
    /// It stands still although the pump should draw.
    StandsStill,
    /// It jumps up and down, as foam does.
    JumpsAbout,
}

/// Why nothing can be said of a drum, or of the drums of a pump.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyUnknown {
    /// No drum draws through the pump.
    NoDrums,
    /// Too few readings yet to tell the draw.
    FewReadings,
    /// Nothing draws from it, and no draw is known.
    NotDrawn,
    /// There is no level to go by, and what else would do is missing.
    Blind {
        /// Why there is none.
        level: NoLevel,
        /// What else is missing.
        missing: Missing,
    },
    /// Of one drum among those of the pump.
    OfDrum {
        /// Which.
        drum: Id,
        /// Why.
        why: Box<WhyUnknown>,
    },
}

/// Why there is no level to go by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoLevel {
    /// It isn't believed.
    Doubted(WhyDoubted),
    /// Its sensor has never been heard.
    NeverHeard,
    /// The drum has no level sensor.
    NoSensor,
}

/// What is missing to reckon without a level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Missing {
    /// No earlier level is known.
    EarlierLevel,
    /// How much the pump draws isn't known.
    Draw,
    /// The last level that was believed is a day old.
    RecentLevel,
}

/// A reason as it was kept: a value, or the sentence of a version before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Grounds<T> {
    /// The reason.
    Known(T),
    /// What an earlier version wrote for people in its place.
    Earlier(String),
}

/// What has a short code, by which it is kept.
pub trait Coded: Sized {
    /// The code; it has no space in it.
    fn code(&self) -> String;
    /// What has that code.
    fn of_code(code: &str) -> Option<Self>;
}

impl WhyDoubted {
    /// Each of them.
    pub const ALL: [Self; 5] =
        [Self::Silent, Self::FailsTests, Self::OffTable, Self::StandsStill, Self::JumpsAbout];

    fn name(self) -> &'static str {
        match self {
            Self::Silent => "silent",
            Self::FailsTests => "fails-tests",
            Self::OffTable => "off-table",
            Self::StandsStill => "stands-still",
            Self::JumpsAbout => "jumps-about",
        }
    }
}

impl NoLevel {
    /// Each of them.
    pub fn all() -> impl Iterator<Item = Self> {
        WhyDoubted::ALL.into_iter().map(Self::Doubted).chain([Self::NeverHeard, Self::NoSensor])
    }

    fn name(self) -> &'static str {
        match self {
            Self::Doubted(why) => why.name(),
            Self::NeverHeard => "never-heard",
            Self::NoSensor => "no-sensor",
        }
    }
}

impl Missing {
    /// Each of them.
    pub const ALL: [Self; 3] = [Self::EarlierLevel, Self::Draw, Self::RecentLevel];

    fn name(self) -> &'static str {
        match self {
            Self::EarlierLevel => "no-earlier-level",
            Self::Draw => "no-draw",
            Self::RecentLevel => "day-old",
        }
    }
}

impl WhyUnknown {
    /// Each of them but [`Self::OfDrum`].
    pub fn all() -> impl Iterator<Item = Self> {
        let blind =
            NoLevel::all().flat_map(|level| Missing::ALL.map(|missing| Self::Blind { level, missing }));
        [Self::NoDrums, Self::FewReadings, Self::NotDrawn].into_iter().chain(blind)
    }
}

impl Coded for WhyDoubted {
    fn code(&self) -> String {
        self.name().to_owned()
    }

    fn of_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|why| why.name() == code)
    }
}

impl Coded for WhyUnknown {
    fn code(&self) -> String {
        match self {
            Self::NoDrums => "no-drums".to_owned(),
            Self::FewReadings => "few-readings".to_owned(),
            Self::NotDrawn => "not-drawn".to_owned(),
            Self::Blind { level, missing } => format!("{}+{}", level.name(), missing.name()),
            Self::OfDrum { drum, why } => format!("{drum}:{}", why.code()),
        }
    }

    fn of_code(code: &str) -> Option<Self> {
        if let Some((drum, why)) = code.split_once(':') {
            let (drum, why) = (Id::new(drum).ok()?, Box::new(Self::of_code(why)?));
            return Some(Self::OfDrum { drum, why });
        }
        Self::all().find(|why| why.code() == code)
    }
}

impl<T: Coded> Grounds<T> {
    /// As it is kept.
    #[must_use]
    pub fn kept(&self) -> String {
        match self {
            Self::Known(why) => why.code(),
            Self::Earlier(sentence) => sentence.clone(),
        }
    }

    /// From what was kept.
    #[must_use]
    pub fn from_kept(kept: String) -> Self {
        T::of_code(&kept).map_or(Self::Earlier(kept), Self::Known)
    }
}

impl<T> From<T> for Grounds<T> {
    fn from(why: T) -> Self {
        Self::Known(why)
    }
}

impl<T: Coded> Serialize for Grounds<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.kept())
    }
}

impl<'de, T: Coded> Deserialize<'de> for Grounds<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer).map(Self::from_kept)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::happening::What;

    #[test]
    fn each_reason_has_a_code_of_its_own_and_is_read_back_from_it() {
        let of_drum = |why| WhyUnknown::OfDrum { drum: Id::new("a").unwrap(), why: Box::new(why) };
        let all: Vec<WhyUnknown> = WhyUnknown::all().chain(WhyUnknown::all().map(of_drum)).collect();
        let codes: std::collections::BTreeSet<String> = all.iter().map(Coded::code).collect();
        assert_eq!((all.len(), codes.len()), (48, 48));
        assert!(codes.contains("a:silent+no-draw") && codes.iter().all(|code| !code.contains(' ')));
        for why in all {
            assert_eq!(WhyUnknown::of_code(&why.code()), Some(why));
        }
        for why in WhyDoubted::ALL {
            assert_eq!(WhyDoubted::of_code(&why.code()), Some(why));
        }
    }

    #[test]
    fn a_happening_that_the_version_before_kept_still_says_its_sentence() {
        let row = r#"{"what":"level-doubted","why":"the level jumps up and down, as foam does"}"#;
        let read: What = serde_json::from_str(row).unwrap();
        let sentence = "the level jumps up and down, as foam does".to_owned();
        assert_eq!(read, What::LevelDoubted { why: Grounds::Earlier(sentence) });
        assert_eq!(serde_json::to_string(&read).unwrap(), row);
        let now = What::LevelDoubted { why: WhyDoubted::JumpsAbout.into() };
        let kept = serde_json::to_string(&now).unwrap();
        assert_eq!(kept, r#"{"what":"level-doubted","why":"jumps-about"}"#);
        assert_eq!(serde_json::from_str::<What>(&kept).unwrap(), now);
    }
}
