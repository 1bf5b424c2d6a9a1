//! One value of one sensor, before and after it was assessed.

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::id::Id;
use crate::quality::Flag;

/// A value that arrived and could be read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Whose.
    pub sensor: Id,
    /// When it was measured.
    pub at: Timestamp,
    /// Finite, in the base unit of the sensor's unit ([`crate::units::Unit::base`]).
    pub value: f64,
    /// By how much its device's clock was ahead: `at` is what the device said less this. Zero where the clock was
    /// right, or nothing is known of it.
    #[serde(default, skip_serializing_if = "SignedDuration::is_zero")]
    pub ahead: SignedDuration,
}

impl Reading {
    /// Of a device whose clock is right.
    #[must_use]
    pub fn new(sensor: Id, at: Timestamp, value: f64) -> Self {
        Self { sensor, at, value, ahead: SignedDuration::ZERO }
    }

    /// When it was measured by its device's clock: with the sensor the name of the reading, whatever is found out of the
    /// clock later.
    #[must_use]
    pub fn device_time(&self) -> Timestamp {
        self.at.saturating_add(self.ahead).unwrap_or(self.at)
    }
}

/// The flag of each test that was asked of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct TestFlags {
    /// Test 1.
    pub gap: Flag,
    /// Test 2.
    pub syntax: Flag,
    /// Test 4.
    pub gross_range: Flag,
    /// Test 6.
    pub spike: Flag,
    /// Test 7.
    pub rate: Flag,
    /// Test 8.
    pub flat_line: Flag,
    /// The spike flag is owed only to a neighbour: the value agrees with the other one.
    pub next_to_spike: bool,
    /// Another value is already kept for this time, so nothing could be compared.
    pub time_order: bool,
}

/// A reading with its flags.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Assessed {
    /// What was measured.
    pub reading: Reading,
    /// When it reached Claymark; later than `reading.at` after a network gap.
    pub received_at: Timestamp,
    /// Test by test.
    pub tests: TestFlags,
    /// The aggregate.
    pub flag: Flag,
}

impl TestFlags {
    /// Nothing was evaluated yet.
    pub const NOT_EVALUATED: Self = Self {
        gap: Flag::NotEvaluated,
        syntax: Flag::NotEvaluated,
        gross_range: Flag::NotEvaluated,
        spike: Flag::NotEvaluated,
        rate: Flag::NotEvaluated,
        flat_line: Flag::NotEvaluated,
        next_to_spike: false,
        time_order: false,
    };

    /// One integer for the store: four bits a test in the order of the fields, then the two reasons.
    #[must_use]
    pub fn pack(self) -> u32 {
        let flags = [self.gap, self.syntax, self.gross_range, self.spike, self.rate, self.flat_line];
        let mut packed = 0;
        for (place, flag) in flags.into_iter().enumerate() {
            packed |= u32::from(u8::from(flag)) << (4 * place);
        }
        packed | u32::from(self.next_to_spike) << 24 | u32::from(self.time_order) << 25
    }

    /// The reverse of [`TestFlags::pack`]; `None` where it wasn't made by it.
    #[must_use]
    pub fn unpack(packed: u32) -> Option<Self> {
        let flag = |place: u32| {
            let four_bits = u8::try_from((packed >> (4 * place)) & 0xF).ok()?;
            Flag::try_from(four_bits).ok()
        };
        Some(Self {
            gap: flag(0)?,
            syntax: flag(1)?,
            gross_range: flag(2)?,
            spike: flag(3)?,
            rate: flag(4)?,
            flat_line: flag(5)?,
            next_to_spike: packed & (1 << 24) != 0,
            time_order: packed & (1 << 25) != 0,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn packed_flags_come_back_as_they_were() {
        let flags = TestFlags {
            gap: Flag::Pass,
            syntax: Flag::Pass,
            gross_range: Flag::Suspect,
            spike: Flag::Fail,
            rate: Flag::NotEvaluated,
            flat_line: Flag::Missing,
            next_to_spike: true,
            time_order: false,
        };
        assert_eq!(TestFlags::unpack(flags.pack()), Some(flags));
        assert_eq!(TestFlags::unpack(0), None);
    }
}
