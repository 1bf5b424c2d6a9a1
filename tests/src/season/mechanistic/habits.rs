//! How often what happens in each kind of room of the first simulator. All invented.

use crate::season::rooms::RoomKind;

/// The figures of one kind of room.
#[derive(Debug, Clone, Copy)]
pub struct Habits {
    /// What people do.
    pub crew: CrewHabits,
    /// What pumps and pipes do.
    pub pump: PumpHabits,
    /// What level sensors do.
    pub gauge: GaugeHabits,
}

/// What people do; shares of the occasions.
#[derive(Debug, Clone, Copy)]
pub struct CrewHabits {
    /// A refill isn't written down.
    pub forgets_refill: f64,
    /// It is written down hours later.
    pub logs_late: f64,
    /// The litres in the log are off by a third or so.
    pub wrong_litres: f64,
    /// No litres in the log.
    pub no_litres: f64,
    /// A new pump speed isn't written down.
    pub forgets_setting: f64,
    /// It is written down wrong.
    pub wrong_setting: f64,
    /// Changing over to another drum isn't written down.
    pub forgets_change_over: f64,
    /// A drum is topped up by a part only.
    pub tops_up: f64,
    /// The pump stands while somebody pours.
    pub pauses_pump: f64,
    /// Nobody looks whether the drum lasts.
    pub skips: f64,
    /// At a visit some buckets are taken out.
    pub takes_out: f64,
}

/// What pumps and pipes do.
#[derive(Debug, Clone, Copy)]
pub struct PumpHabits {
    /// Share of delivery that a tube loses before it is changed.
    pub wear: (f64, f64),
    /// Days that a tube lasts.
    pub tube_days: (f64, f64),
    /// Share by which delivery falls from full to empty.
    pub fading: (f64, f64),
    /// Standard deviation of the wandering, a share.
    pub wander: (f64, f64),
    /// A day.
    pub clogs: f64,
    /// A day.
    pub leaks: f64,
    /// Share of the nights in which a valve is moved.
    pub valves: f64,
    /// A day: the pump just stops.
    pub stops: f64,
}

/// What level sensors do; lengths in mm.
#[derive(Debug, Clone, Copy)]
pub struct GaugeHabits {
    /// Standard deviation of the ripple.
    pub ripple: (f64, f64),
    /// Seconds over which it is correlated.
    pub ripple_lasts: (f64, f64),
    /// Bouts a day.
    pub foam: f64,
    /// Height of it.
    pub foam_height: (f64, f64),
    /// Median minutes that a bout lasts.
    pub foam_lasts: f64,
    /// What it rounds to.
    pub steps: [f64; 3],
    /// Swing with the temperature over a day.
    pub drift: (f64, f64),
    /// A day.
    pub stuck: f64,
    /// A day: silent for hours, readings lost.
    pub silent: f64,
    /// A day: the network is down, readings come later in a burst.
    pub outages: f64,
    /// Share of readings that come twice.
    pub doubled: f64,
    /// Share of readings that are nonsense.
    pub nonsense: f64,
    /// A day: somebody bumps into it.
    pub moved: f64,
}

impl Habits {
    /// Of that kind of room.
    #[must_use]
    pub fn of(kind: RoomKind) -> Self {
        let calm = Self { crew: CAREFUL, pump: FRESH, gauge: STILL };
        match kind {
            RoomKind::Calm => calm,
            RoomKind::Noisy => Self { gauge: AERATED, ..calm },
            RoomKind::Clumsy => {
                Self { crew: FORGETFUL, gauge: GaugeHabits { moved: 0.02, ..AIRED }, pump: FRESH }
            }
            RoomKind::Worn => Self { pump: WORN, gauge: AIRED, ..calm },
        }
    }
}

const CAREFUL: CrewHabits = CrewHabits {
    forgets_refill: 0.03,
    logs_late: 0.05,
    wrong_litres: 0.02,
    no_litres: 0.05,
    forgets_setting: 0.05,
    wrong_setting: 0.01,
    forgets_change_over: 0.0,
    tops_up: 0.25,
    pauses_pump: 0.2,
    skips: 0.04,
    takes_out: 0.0,
};

const FORGETFUL: CrewHabits = CrewHabits {
    forgets_refill: 0.35,
    logs_late: 0.25,
    wrong_litres: 0.15,
    no_litres: 0.25,
    forgets_setting: 0.4,
    wrong_setting: 0.1,
    forgets_change_over: 0.15,
    tops_up: 0.5,
    pauses_pump: 0.3,
    skips: 0.1,
    takes_out: 0.02,
};

const FRESH: PumpHabits = PumpHabits {
    wear: (0.03, 0.08),
    tube_days: (8.0, 14.0),
    fading: (0.03, 0.16),
    wander: (0.004, 0.012),
    clogs: 0.03,
    leaks: 0.01,
    valves: 0.07,
    stops: 0.02,
};

const WORN: PumpHabits = PumpHabits {
    wear: (0.12, 0.3),
    tube_days: (3.0, 8.0),
    fading: (0.08, 0.28),
    wander: (0.008, 0.02),
    clogs: 0.15,
    leaks: 0.05,
    valves: 0.15,
    stops: 0.04,
};

const STILL: GaugeHabits = GaugeHabits {
    ripple: (0.5, 1.5),
    ripple_lasts: (10.0, 60.0),
    foam: 0.3,
    foam_height: (10.0, 30.0),
    foam_lasts: 6.0,
    steps: [1.0, 1.0, 2.0],
    drift: (0.2, 0.8),
    stuck: 0.03,
    silent: 0.03,
    outages: 0.05,
    doubled: 0.01,
    nonsense: 0.000_2,
    moved: 0.0,
};

const AIRED: GaugeHabits = GaugeHabits {
    ripple: (1.0, 3.0),
    ripple_lasts: (20.0, 120.0),
    foam: 1.0,
    foam_height: (10.0, 40.0),
    foam_lasts: 8.0,
    steps: [1.0, 2.0, 3.0],
    drift: (0.4, 1.5),
    ..STILL
};

const AERATED: GaugeHabits = GaugeHabits {
    ripple: (2.5, 6.0),
    ripple_lasts: (40.0, 240.0),
    foam: 4.0,
    foam_height: (15.0, 60.0),
    foam_lasts: 14.0,
    steps: [2.0, 3.0, 5.0],
    drift: (0.8, 2.5),
    stuck: 0.1,
    silent: 0.08,
    outages: 0.12,
    doubled: 0.03,
    nonsense: 0.002,
    moved: 0.0,
};
