//! The thresholds of one sensor's quality tests, checked once.
//!
//! A test without thresholds isn't run and its flag stays 2. A reversed span, or suspect beyond fail,
//! can't be built.

use jiff::SignedDuration;
use serde::{Deserialize, Serialize};

/// A span of values, ends included; `min < max` and both finite.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Span {
    min: f64,
    max: f64,
}

/// What is wrong with a set of thresholds.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BadThreshold {
    /// A span must rise.
    #[error("the range runs from {min} to {max}: the first must be the smaller")]
    Reversed {
        /// As given.
        min: f64,
        /// As given.
        max: f64,
    },
    /// People's limits lie outside what the sensor can show.
    #[error(
        "the range {inner_min} to {inner_max} reaches outside the sensor's own {outer_min} to {outer_max}"
    )]
    Outside {
        /// The narrower span's lower end.
        inner_min: f64,
        /// The narrower span's upper end.
        inner_max: f64,
        /// The sensor's lower end.
        outer_min: f64,
        /// The sensor's upper end.
        outer_max: f64,
    },
    /// The suspect level must come before the fail level.
    #[error("suspect at {suspect} comes after fail at {fail}")]
    Swapped {
        /// As given.
        suspect: f64,
        /// As given.
        fail: f64,
    },
    /// A threshold must be a finite number that isn't negative.
    #[error("{0} is not a usable threshold")]
    NotUsable(f64),
    /// A duration must be longer than the sensor's interval.
    #[error("{given_s} s is shorter than the sensor's interval of {every_s} s")]
    TooShort {
        /// As given, seconds.
        given_s: f64,
        /// The sensor's interval, seconds.
        every_s: f64,
    },
}

impl Span {
    /// A rising span of finite numbers.
    pub fn new(min: f64, max: f64) -> Result<Self, BadThreshold> {
        if min.is_finite() && max.is_finite() && min < max {
            Ok(Self { min, max })
        } else {
            Err(BadThreshold::Reversed { min, max })
        }
    }

    /// Lower end.
    #[must_use]
    pub fn min(self) -> f64 {
        self.min
    }

    /// Upper end.
    #[must_use]
    pub fn max(self) -> f64 {
        self.max
    }

    /// Ends included.
    #[must_use]
    pub fn contains(self, value: f64) -> bool {
        (self.min..=self.max).contains(&value)
    }
}

/// Test 4: outside `sensor` fails, outside `expected` is suspect; limits pass.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GrossRange {
    sensor: Span,
    expected: Option<Span>,
}

impl GrossRange {
    /// `expected` must lie inside `sensor`.
    pub fn new(sensor: Span, expected: Option<Span>) -> Result<Self, BadThreshold> {
        match expected {
            Some(inner) if inner.min < sensor.min || inner.max > sensor.max => Err(BadThreshold::Outside {
                inner_min: inner.min,
                inner_max: inner.max,
                outer_min: sensor.min,
                outer_max: sensor.max,
            }),
            _ => Ok(Self { sensor, expected }),
        }
    }

    /// What the sensor can show.
    #[must_use]
    pub fn sensor(self) -> Span {
        self.sensor
    }

    /// What people expect.
    #[must_use]
    pub fn expected(self) -> Option<Span> {
        self.expected
    }
}

/// Two levels, of which suspect is at or below fail.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Levels {
    suspect: f64,
    fail: Option<f64>,
}

impl Levels {
    /// Both finite and not negative; `suspect <= fail`.
    pub fn new(suspect: f64, fail: Option<f64>) -> Result<Self, BadThreshold> {
        for level in [Some(suspect), fail].into_iter().flatten() {
            if !level.is_finite() || level < 0.0 {
                return Err(BadThreshold::NotUsable(level));
            }
        }
        match fail {
            Some(fail) if suspect > fail => Err(BadThreshold::Swapped { suspect, fail }),
            _ => Ok(Self { suspect, fail }),
        }
    }

    /// Beyond this is suspect.
    #[must_use]
    pub fn suspect(self) -> f64 {
        self.suspect
    }

    /// Beyond this fails; `None`: never.
    #[must_use]
    pub fn fail(self) -> Option<f64> {
        self.fail
    }
}

/// How the spike of test 6 is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum SpikeMethod {
    /// |x(n-1) - mean of its neighbours|, as the manuals write it.
    Average,
    /// The smaller of the two steps when they point opposite ways, else 0: flags no neighbour.
    Differential,
}

/// Test 6, in the sensor's base unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Spike {
    /// Which measure.
    pub method: SpikeMethod,
    /// Beyond which.
    pub levels: Levels,
}

/// Test 8: the value hasn't moved by more than `eps` for so long.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FlatLine {
    // Sites that are kept have the name from before.
    #[serde(alias = "tolerance")]
    eps: f64,
    suspect: SignedDuration,
    fail: Option<SignedDuration>,
}

impl FlatLine {
    /// `eps` in the base unit, 0 for an exact repeat; durations longer than the sensor's interval.
    pub fn new(
        eps: f64,
        suspect: SignedDuration,
        fail: Option<SignedDuration>,
        every: SignedDuration,
    ) -> Result<Self, BadThreshold> {
        if !eps.is_finite() || eps < 0.0 {
            return Err(BadThreshold::NotUsable(eps));
        }
        for given in [Some(suspect), fail].into_iter().flatten() {
            if given <= every {
                return Err(BadThreshold::TooShort {
                    given_s: given.as_secs_f64(),
                    every_s: every.as_secs_f64(),
                });
            }
        }
        match fail {
            Some(fail) if suspect > fail => {
                Err(BadThreshold::Swapped { suspect: suspect.as_secs_f64(), fail: fail.as_secs_f64() })
            }
            _ => Ok(Self { eps, suspect, fail }),
        }
    }

    /// EPS of the manuals, base unit.
    #[must_use]
    pub fn eps(self) -> f64 {
        self.eps
    }

    /// Flat for so long is suspect.
    #[must_use]
    pub fn suspect(self) -> SignedDuration {
        self.suspect
    }

    /// Flat for so long fails.
    #[must_use]
    pub fn fail(self) -> Option<SignedDuration> {
        self.fail
    }
}

/// All tests of one sensor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Thresholds {
    /// Test 1: a longer step between readings is a gap, and so is silence for so long.
    pub gap: SignedDuration,
    /// Test 4.
    pub gross_range: Option<GrossRange>,
    /// Test 6.
    pub spike: Option<Spike>,
    /// Test 7, base unit per second.
    pub rate_per_s: Option<Levels>,
    /// Test 8.
    pub flat_line: Option<FlatLine>,
}
