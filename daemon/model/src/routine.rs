//! What people do again and again: checks by hand, and ordering clay.

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::fieldlog::{Deed, LogEntry};
use crate::place::{Place, Quantity};

/// A check that people make by hand, again and again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HandCheck {
    /// What.
    pub what: Quantity,
    /// Where.
    pub place: Place,
    /// How often.
    pub every: SignedDuration,
}

impl HandCheck {
    /// Whether that entry is such a check, with its figures.
    #[must_use]
    pub fn is_made_by(&self, entry: &LogEntry) -> bool {
        if let Deed::FlowCheck { place, volume: Some(_), seconds: Some(_) } = &entry.deed {
            return self.what == Quantity::Flow && place.as_ref() == Some(&self.place);
        }
        let Deed::GrabSample { place, quantity: Some(quantity), value: Some(_), .. } = &entry.deed else {
            return false;
        };
        self.what.name() == quantity && place.as_ref() == Some(&self.place)
    }
}

/// A check that should have been made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Overdue {
    /// Which.
    pub check: HandCheck,
    /// When it was made last; `None`: never, as far as is known.
    pub last: Option<Timestamp>,
}

/// What the site file says of ordering clay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StockRules {
    /// Bags on the dry floor when they were counted.
    pub counted_bags: f64,
    /// The day on whose morning they were counted.
    pub counted_on: Date,
    /// Bags ordered and not here yet.
    pub on_order: Option<OnOrder>,
    /// From order to delivery, days.
    pub delivery_days: f64,
    /// Standard deviation of that, days.
    pub delivery_sd_days: f64,
    /// Freight of one delivery, in the currency of `bag_price`.
    pub freight: f64,
    /// One bag.
    pub bag_price: f64,
    /// What a bag costs that lies here for a year, as a share of its price: money, room, clay gone damp.
    pub holding_share_a_year: f64,
    /// Bags on a pallet.
    pub pallet_bags: u32,
    /// Bags that the dry floor holds.
    pub floor_bags: u32,
    /// No more of one lot than is used in so many days.
    pub one_lot_days: f64,
    /// The share of deliveries that should come before the stock is out.
    pub service: f64,
}

/// An order that is on its way.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct OnOrder {
    /// How many bags.
    pub bags: f64,
    /// When it was ordered; a delivery that is written down since then was this one.
    pub since: Date,
}
