//! How often what goes wrong: drawn anew for each seed, by kind of room. All invented.

use crate::season::chance::Chance;
use crate::season::rooms::RoomKind;

/// The figures of one season.
#[derive(Debug, Clone, Copy)]
pub struct Faults {
    /// Settings of a pump in a day, and how much another the draw is (ln).
    pub settings: f64,
    /// See [`Faults::settings`].
    pub setting_sd: f64,
    /// Shares that are written down: settings, refills; and of these late.
    pub settings_written: f64,
    /// See above.
    pub refills_written: f64,
    /// See above.
    pub late: f64,
    /// A day: a valve is moved.
    pub valves: f64,
    /// A day: a line begins to clog.
    pub clogs: f64,
    /// A day: a tube splits, a hose comes off.
    pub splits: f64,
    /// A day: a pump stands for minutes.
    pub pauses: f64,
    /// Ln: a pump against its label.
    pub rating_off: f64,
    /// mm/√day that a sensor drifts.
    pub drifts: f64,
    /// Share by which a strapping table is wrong.
    pub strapping_off: f64,
    /// mm.
    pub noise: f64,
    /// Foamy spells a day.
    pub foams: f64,
    /// A day: readings come later in a burst, or not at all.
    pub outages: f64,
}

impl Faults {
    /// Of that kind of room.
    pub fn of(kind: RoomKind, dice: &mut Chance) -> Self {
        let calm = Self {
            settings: dice.between(0.1, 0.5),
            setting_sd: 0.1,
            settings_written: 0.95,
            refills_written: 0.9,
            late: 0.1,
            valves: 0.01,
            clogs: 0.02,
            splits: 0.003,
            pauses: 0.05,
            rating_off: 0.08,
            drifts: dice.between(0.2, 1.0),
            strapping_off: dice.between(0.0, 0.004),
            noise: dice.between(0.5, 2.0),
            foams: dice.between(0.1, 1.0),
            outages: 0.2,
        };
        match kind {
            RoomKind::Calm => calm,
            RoomKind::Noisy => Self { noise: dice.between(3.0, 8.0), foams: dice.between(2.0, 5.0), ..calm },
            RoomKind::Clumsy => {
                Self { settings: 1.0, settings_written: 0.6, refills_written: 0.6, late: 0.3, ..calm }
            }
            RoomKind::Worn => Self { clogs: 0.15, valves: 0.1, splits: 0.02, ..calm },
            RoomKind::Unwritten => Self {
                settings: dice.between(1.0, 3.0),
                setting_sd: dice.between(0.12, 0.35),
                settings_written: dice.between(0.1, 0.5),
                refills_written: dice.between(0.3, 0.7),
                late: 0.2,
                valves: dice.between(0.1, 0.5),
                ..calm
            },
            RoomKind::Clogged => {
                Self { clogs: dice.between(0.4, 1.2), splits: dice.between(0.05, 0.25), ..calm }
            }
            RoomKind::Misread => Self {
                rating_off: 0.3,
                drifts: dice.between(2.0, 8.0),
                strapping_off: dice.between(0.01, 0.03),
                ..calm
            },
            RoomKind::Broken => {
                Self { pauses: dice.between(1.0, 6.0), outages: dice.between(1.0, 4.0), foams: 2.0, ..calm }
            }
        }
    }
}
