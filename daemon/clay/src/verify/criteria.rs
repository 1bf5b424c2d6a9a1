//! How far a sensor may lie from a hand value: when to correct, how to rate, and when the data are no use.
//!
//! Three sets of figures of USGS Techniques and Methods 1-D3 (Wagner and others, 2006; that the ratings and the corrections
//! are two things is said at water.usgs.gov/usgs/owq/dqrating, which was opened; the figures are from memory and say so
//! wherever they are shown). They agree for turbidity and temperature; a correction of oxygen is due by milligrams alone,
//! while its rating goes by the share as well, so that at 8 mg/L a difference of 0.35 is to be corrected and still
//! rated excellent.

use claymark_model::site::Quantity;

/// Two limits of a difference: an absolute one, and one by share of the value; the greater of them holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Criterion {
    absolute: f64,
    share: f64,
}

impl Criterion {
    pub(super) fn at(self, value: f64) -> f64 {
        self.absolute.max(self.share * value.abs())
    }
}

const fn or(absolute: f64, share: f64) -> Criterion {
    Criterion { absolute, share }
}

/// What is published of one quantity.
pub(super) struct Criteria {
    /// Beyond it a correction is due.
    pub(super) correction: Criterion,
    /// Up to where a record is rated excellent, good and fair.
    pub(super) rating: [Criterion; 3],
    /// Beyond it the data aren't used, corrected or not.
    pub(super) most_allowable: Criterion,
}

impl Criteria {
    /// `None`: nothing is published.
    pub(super) fn of(quantity: Quantity) -> Option<Self> {
        match quantity {
            Quantity::Turbidity => Some(Self {
                correction: or(0.5, 0.05),
                rating: [or(0.5, 0.05), or(1.0, 0.10), or(1.5, 0.15)],
                most_allowable: or(3.0, 0.30),
            }),
            Quantity::Oxygen => Some(Self {
                correction: or(0.3, 0.0),
                rating: [or(0.3, 0.05), or(0.5, 0.10), or(0.8, 0.15)],
                most_allowable: or(2.0, 0.20),
            }),
            Quantity::Temperature => Some(Self {
                correction: or(0.2, 0.0),
                rating: [or(0.2, 0.0), or(0.5, 0.0), or(0.8, 0.0)],
                most_allowable: or(2.0, 0.0),
            }),
            Quantity::Level
            | Quantity::Distance
            | Quantity::Volume
            | Quantity::OxygenSaturation
            | Quantity::Flow
            | Quantity::AirPressure
            | Quantity::AirFlow
            | Quantity::Running => None,
        }
    }
}
