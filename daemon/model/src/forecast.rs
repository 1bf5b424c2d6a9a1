//! A forecast: when a drum, or the supply of one pump, runs empty, and what that is based on.

use jiff::{SignedDuration, Timestamp};
use serde::ser::SerializeMap;
use serde::{Deserialize, Serialize, Serializer};

use crate::doubt::{Grounds, WhyUnknown};
use crate::id::Id;
use crate::units::{Litres, LitresPerHour};

/// Later than this isn't told: it stands as `None`.
pub const HORIZON: SignedDuration = SignedDuration::from_hours(72);

/// Of what the forecast speaks.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Subject {
    /// One drum.
    Drum(Id),
    /// All drums that share this pump.
    Supply(Id),
}

/// What a forecast that says something goes by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// The level sensor.
    Level,
    /// Dead reckoning from the last believed volume and a known pump rate.
    Pump,
}

/// When the true volume has come down to the heel, if nobody refills and pump and valves stay.
///
/// In rising order; `None` is later than [`HORIZON`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct EmptyAt {
    /// A 5 % chance that it is empty before then: the earliest.
    pub p05: Option<Timestamp>,
    /// 25 %.
    pub p25: Option<Timestamp>,
    /// 50 %: the likely time.
    pub p50: Option<Timestamp>,
    /// 75 %.
    pub p75: Option<Timestamp>,
    /// 95 %: the latest.
    pub p95: Option<Timestamp>,
}

/// What can be said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Outlook {
    /// Something.
    Known {
        /// What it goes by.
        basis: Basis,
        /// All slurry in the drum, heel included.
        volume: Litres,
        /// Net outflow at the time of the forecast.
        draw: LitresPerHour,
        /// When it is empty.
        empty_at: EmptyAt,
    },
    /// Nothing.
    Unknown {
        /// Why.
        why: Grounds<WhyUnknown>,
    },
}

impl Outlook {
    /// When it is empty, where something can be said.
    #[must_use]
    pub fn empty_at(&self) -> Option<EmptyAt> {
        match self {
            Self::Known { empty_at, .. } => Some(*empty_at),
            Self::Unknown { .. } => None,
        }
    }

    /// The net outflow, where something can be said.
    #[must_use]
    pub fn draw(&self) -> Option<LitresPerHour> {
        match self {
            Self::Known { draw, .. } => Some(*draw),
            Self::Unknown { .. } => None,
        }
    }

    /// All slurry in the drum, where something can be said.
    #[must_use]
    pub fn volume(&self) -> Option<Litres> {
        match self {
            Self::Known { volume, .. } => Some(*volume),
            Self::Unknown { .. } => None,
        }
    }
}

/// One forecast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Forecast {
    /// When it was made; only what had arrived by then is used.
    pub at: Timestamp,
    /// Of what.
    pub of: Subject,
    /// Whether it is being drawn; if not, the draw is what it would get if switched on now.
    pub in_use: bool,
    /// What can be said.
    pub outlook: Outlook,
}

impl Forecast {
    /// The forecast as the line that is recorded and published; `say` makes a sentence of why nothing can be said.
    #[must_use]
    pub fn line(&self, say: SayUnknown) -> ForecastLine<'_> {
        ForecastLine { forecast: self, say }
    }
}

/// A forecast as one flat record: litres with one decimal, whole seconds in UTC, the keys always in this order.
#[derive(Debug, Clone, Copy)]
pub struct ForecastLine<'a> {
    forecast: &'a Forecast,
    say: SayUnknown,
}

/// Why nothing can be said, as a sentence: `words` has it.
pub type SayUnknown = fn(&Grounds<WhyUnknown>) -> String;

impl Serialize for ForecastLine<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Forecast { at, of, in_use, outlook } = self.forecast;
        let mut line = serializer.serialize_map(None)?;
        line.serialize_entry("at", &whole_second(*at))?;
        match of {
            Subject::Drum(drum) => line.serialize_entry("drum", drum)?,
            Subject::Supply(pump) => line.serialize_entry("supply", pump)?,
        }
        if !in_use {
            line.serialize_entry("in_use", in_use)?;
        }
        match outlook {
            Outlook::Known { basis, volume, draw, empty_at } => {
                line.serialize_entry("basis", basis)?;
                line.serialize_entry("volume_l", &one_decimal(volume.0))?;
                line.serialize_entry("draw_l_per_h", &one_decimal(draw.0))?;
                line.serialize_entry("empty_at", &empty_at.whole_seconds())?;
            }
            Outlook::Unknown { why } => {
                line.serialize_entry("basis", "none")?;
                for key in ["volume_l", "draw_l_per_h", "empty_at"] {
                    line.serialize_entry(key, &None::<f64>)?;
                }
                line.serialize_entry("why", &(self.say)(why))?;
            }
        }
        line.end()
    }
}

impl EmptyAt {
    fn whole_seconds(&self) -> Self {
        let Self { p05, p25, p50, p75, p95 } = self;
        let [p05, p25, p50, p75, p95] = [p05, p25, p50, p75, p95].map(|at| at.map(whole_second));
        Self { p05, p25, p50, p75, p95 }
    }
}

fn whole_second(at: Timestamp) -> Timestamp {
    Timestamp::from_second(at.as_second()).unwrap_or(at)
}

/// Adding zero turns a negative zero into a plain one.
fn one_decimal(litres: f64) -> f64 {
    (litres * 10.0).round() / 10.0 + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn known(of: Subject, in_use: bool) -> Forecast {
        let empty = |text: &str| Some(at(text));
        let outlook = Outlook::Known {
            basis: Basis::Level,
            volume: Litres(131.249),
            draw: LitresPerHour(-0.01),
            empty_at: EmptyAt {
                p05: empty("2027-04-21T02:10:00.9Z"),
                p25: empty("2027-04-21T02:30:00Z"),
                p50: empty("2027-04-21T02:45:00Z"),
                p75: empty("2027-04-21T03:00:00Z"),
                p95: None,
            },
        };
        Forecast { at: at("2027-04-20T14:10:00.25Z"), of, in_use, outlook }
    }

    #[test]
    fn a_line_has_its_keys_in_order_one_decimal_and_whole_seconds() {
        let drum = known(Subject::Drum(Id::new("a").unwrap()), true);
        assert_eq!(
            serde_json::to_string(&drum.line(Grounds::kept)).unwrap(),
            r#"{"at":"2027-04-20T14:10:00Z","drum":"a","basis":"level","volume_l":131.2,"draw_l_per_h":0.0,"empty_at":{"p05":"2027-04-21T02:10:00Z","p25":"2027-04-21T02:30:00Z","p50":"2027-04-21T02:45:00Z","p75":"2027-04-21T03:00:00Z","p95":null}}"#
        );
    }

    #[test]
    fn a_supply_that_is_not_drawn_says_so() {
        let supply = known(Subject::Supply(Id::new("p1").unwrap()), false);
        let line = serde_json::to_string(&supply.line(Grounds::kept)).unwrap();
        assert!(
            line.starts_with(r#"{"at":"2027-04-20T14:10:00Z","supply":"p1","in_use":false,"basis":"level","#),
            "{line}"
        );
    }

    #[test]
    fn an_unknown_outlook_is_all_null_and_says_why() {
        let outlook = Outlook::Unknown { why: WhyUnknown::FewReadings.into() };
        let unknown = Forecast { outlook, ..known(Subject::Drum(Id::new("a").unwrap()), true) };
        assert_eq!(
            serde_json::to_string(&unknown.line(Grounds::kept)).unwrap(),
            r#"{"at":"2027-04-20T14:10:00Z","drum":"a","basis":"none","volume_l":null,"draw_l_per_h":null,"empty_at":null,"why":"few-readings"}"#
        );
    }
}
