//! The clay clouds the water otherwise than before: a new lot, another hardness of the water, flocculation.
//!
//! It begins at a lot and stays. Trap: dirty lines, which a cleaning mends.

use jiff::SignedDuration;

use super::{Found, Rule};
use crate::evidence::Evidence;
use claymark_model::fieldlog::Deed;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule =
    Rule { find, tells: |fault| matches!(fault, Fault::YieldChanged { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let change = evidence.yield_change.filter(|change| evidence.now < change.since + FRESH)?;
    let delivered = |deed: &Deed| matches!(deed, Deed::Delivery { .. });
    let delivery = evidence.journal.last(change.since + LATE, delivered);
    let lot = delivery.and_then(|entry| {
        let Deed::Delivery { lot, .. } = &entry.deed else { return None };
        lot.clone()
    });
    let (from, to) = (change.from, change.to);
    Some(Found::of(
        "clay-yield",
        Fault::YieldChanged { from, to, lot },
        change.since,
        vec![Sign::Yield { from, to }],
    ))
}

/// It is learned by then: what comes after counts with the new yield.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    evidence.now >= failure.since + FRESH
}

const FRESH: SignedDuration = SignedDuration::from_hours(12);
/// A lot is delivered before it shows, give or take a late entry.
const LATE: SignedDuration = SignedDuration::from_hours(2);
