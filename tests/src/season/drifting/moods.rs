//! The figures of each kind of room of the second simulator. All invented, and not those of the first.

use crate::season::rooms::RoomKind;

/// How a room behaves.
#[derive(Debug, Clone, Copy)]
pub struct Mood {
    /// Spread of the logarithm of the draw about its base.
    pub spread: f64,
    /// Jumps of the base in a day.
    pub jumps: f64,
    /// Share by which delivery falls from full to empty, at most.
    pub sag: f64,
    /// Hours over which a tube loses 1/e of its delivery.
    pub tires_in: f64,
    /// Extra outflows a day: somebody taps the drum for some hours.
    pub taps: f64,
    /// Share of refills that are written down, and of those the share that is late or wrong.
    pub written: f64,
    /// See [`Mood::written`].
    pub badly: f64,
    /// Share of the jumps by day that are new settings of the pump, and written down.
    pub settings: f64,
    /// Scale of the noise, mm.
    pub noise: f64,
    /// Foamy spells a day, and their mean height in mm.
    pub spells: (f64, f64),
    /// mm in a day that the sensor wanders.
    pub wanders: f64,
    /// Gaps a day.
    pub gaps: f64,
    /// mm.
    pub grain: f64,
}

impl Mood {
    /// Of that kind of room.
    #[must_use]
    pub fn of(kind: RoomKind) -> Self {
        match kind {
            RoomKind::Calm => CALM,
            RoomKind::Noisy => {
                Self { noise: 2.6, spells: (3.0, 30.0), wanders: 1.6, gaps: 1.5, grain: 4.0, ..CALM }
            }
            RoomKind::Clumsy => Self {
                noise: 1.2,
                spells: (0.8, 18.0),
                jumps: 0.35,
                written: 0.5,
                badly: 0.4,
                settings: 0.4,
                ..CALM
            },
            RoomKind::Worn => Self {
                noise: 1.2,
                spells: (0.8, 18.0),
                spread: 0.022,
                jumps: 0.3,
                sag: 0.28,
                tires_in: 400.0,
                taps: 0.06,
                ..CALM
            },
        }
    }
}

const CALM: Mood = Mood {
    spread: 0.009,
    jumps: 0.15,
    sag: 0.16,
    tires_in: 2500.0,
    taps: 0.02,
    written: 0.95,
    badly: 0.08,
    settings: 0.85,
    noise: 0.6,
    spells: (0.2, 12.0),
    wanders: 0.6,
    gaps: 0.3,
    grain: 1.0,
};
