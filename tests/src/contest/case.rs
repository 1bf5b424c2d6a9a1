//! One forecast of everybody beside the truth.

use claymark_model::forecast::{Basis, Forecast, Outlook};
use jiff::Timestamp;

use super::parts::IfKnown;

/// Who forecasts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Who {
    /// Ours.
    DrumWatch,
    /// A line through now and two hours ago.
    TwoPoints,
    /// Least squares over six hours since the refill.
    LeastSquares,
    /// Theil and Sen's slope over the same.
    TheilSen,
    /// Holt's double exponential smoothing.
    Holt,
    /// A Kalman local linear trend of a reference library.
    Kalman,
    /// Cheats: true volume, the true draw held.
    TrueDraw,
    /// Cheats: true volume and the pump's true curve.
    TrueCurve,
}

impl Who {
    /// All, in the order in which cases hold them.
    pub const ALL: [Self; 8] = [
        Self::DrumWatch,
        Self::TwoPoints,
        Self::LeastSquares,
        Self::TheilSen,
        Self::Holt,
        Self::Kalman,
        Self::TrueDraw,
        Self::TrueCurve,
    ];

    /// Those that the drum watch is measured against.
    pub const PEERS: [Self; 5] =
        [Self::TwoPoints, Self::LeastSquares, Self::TheilSen, Self::Holt, Self::Kalman];

    /// For a table.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::DrumWatch => "drum watch",
            Self::TwoPoints => "two points 2 h",
            Self::LeastSquares => "least squares 6 h",
            Self::TheilSen => "Theil-Sen 6 h",
            Self::Holt => "Holt",
            Self::Kalman => "Kalman trend",
            Self::TrueDraw => "true draw held",
            Self::TrueCurve => "true curve",
        }
    }
}

/// What somebody said.
#[derive(Debug, Clone, Copy)]
pub struct SaidEnd {
    /// Hours to the quantiles 5, 25, 50, 75 and 95 %; three days where it is later.
    pub hours: [f64; 5],
    /// Litres now; not a number where nothing is said of it.
    pub volume: f64,
    /// By dead reckoning.
    pub by_pump: bool,
}

/// One instant of one drum.
#[derive(Debug, Clone)]
pub struct Case {
    /// Place of the drum in its season.
    pub drum: usize,
    /// Minute of the season.
    pub minute: u32,
    /// Which fill of the drum.
    pub fill: u32,
    /// Hours until it would truly be empty.
    pub truth: f64,
    /// Litres truly in it.
    pub volume: f64,
    /// What everybody said, in the order of [`Who::ALL`].
    pub said: [Option<SaidEnd>; 8],
    /// What the drum watch would have said had it known one thing.
    pub parts: Option<IfKnown>,
}

impl Case {
    /// What one said.
    #[must_use]
    pub fn of(&self, who: Who) -> Option<&SaidEnd> {
        self.said.get(who as usize)?.as_ref()
    }
}

impl SaidEnd {
    /// A forecast of ours.
    #[must_use]
    pub fn from_forecast(forecast: &Forecast, now: Timestamp) -> Option<Self> {
        let Outlook::Known { basis, volume, empty_at, .. } = &forecast.outlook else { return None };
        let quantiles = [empty_at.p05, empty_at.p25, empty_at.p50, empty_at.p75, empty_at.p95];
        let hours = quantiles.map(|at| {
            at.map_or(LONGEST, |at| (at.duration_since(now).as_secs_f64() / 3600.0).clamp(0.0, LONGEST))
        });
        Some(Self { hours, volume: volume.0, by_pump: *basis == Basis::Pump })
    }

    /// Somebody who only has one number.
    #[must_use]
    pub fn without_spread(hours: f64, volume: f64) -> Self {
        Self { hours: [hours.clamp(0.0, LONGEST); 5], volume, by_pump: false }
    }

    /// The likely time, hours.
    #[must_use]
    pub fn likely(&self) -> f64 {
        self.hours[2]
    }
}

/// The levels of the quantiles that everybody states.
pub const LEVELS: [f64; 5] = [0.05, 0.25, 0.5, 0.75, 0.95];
/// Hours; later isn't told.
pub const LONGEST: f64 = 72.0;
