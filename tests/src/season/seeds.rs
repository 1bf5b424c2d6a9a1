//! Which seeds are for tuning and which for judging. Nothing that is judged may have been tuned on.

use std::ops::RangeInclusive;

/// Seeds on which constants may be chosen, and from which the peers' intervals are taken.
pub const TUNING: RangeInclusive<u64> = 1..=40;

/// Seeds on which the peers' intervals are taken: part of [`TUNING`].
pub const PEERS: RangeInclusive<u64> = 31..=36;

/// Seeds that are only for judging: never look at them while choosing a constant.
pub const JUDGING: RangeInclusive<u64> = 1001..=1060;
