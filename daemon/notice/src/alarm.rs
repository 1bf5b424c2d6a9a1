//! The states of one alarm, after ISA-18.2 and IEC 62682 as OPC 10000-9 (clauses 4.8 and 5.8, annex B.1) describes them openly.
//!
//! Timers run on the clock, not on readings: [`Alarm::advance`] to any time says what has come of it. What isn't known
//! stops both delays and changes no state.

use jiff::{SignedDuration, Timestamp};

/// Where an alarm stands by itself, whatever lies over it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum AlarmState {
    /// All is well.
    #[default]
    Normal,
    /// It holds, and nobody has taken it on.
    Unacknowledged,
    /// It holds, and somebody has.
    Acknowledged,
    /// It doesn't hold any more; nobody had taken it on.
    Returned,
    /// As `Returned`, but it stays until it is taken on and reset.
    LatchedUnacknowledged,
    /// It doesn't hold any more, was taken on, and stays until it is reset.
    LatchedAcknowledged,
}

/// What lies over an alarm, so that nothing is announced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Overlay {
    /// By people, for a time.
    Shelved {
        /// The shelf's end.
        until: Timestamp,
    },
    /// By design: something that is under way explains it.
    Suppressed,
    /// For maintenance.
    OutOfService,
}

/// How an alarm behaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Behaviour {
    /// It must hold for so long before it is raised.
    pub on_delay: SignedDuration,
    /// It must be gone for so long before it returns to normal.
    pub off_delay: SignedDuration,
    /// It stays until somebody resets it.
    pub latched: bool,
    /// Taken on and still holding, it is announced again after so long.
    pub re_alarm: Option<SignedDuration>,
}

/// Whether what is watched holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// It does, since then.
    Since(Timestamp),
    /// It doesn't.
    No,
    /// Nothing can be said.
    Unknown,
}

/// What an alarm did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Transition {
    /// When.
    pub at: Timestamp,
    /// What.
    pub change: Change,
}

/// Why an alarm changed its state, or didn't though somebody wanted it to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// It has held for the on-delay.
    Raised,
    /// It has been gone for the off-delay.
    Cleared,
    /// Somebody has taken it on.
    Acknowledged,
    /// There was nothing to take on.
    AcknowledgeRefused,
    /// A latched one was reset.
    Reset,
    /// It holds, or nobody has taken it on.
    ResetRefused,
    /// Taken on, and it still holds.
    ReAlarmed,
    /// Something lies over it now.
    Covered,
    /// Nothing lies over it any more.
    Uncovered,
}

/// One alarm.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Alarm {
    behaviour: Behaviour,
    state: AlarmState,
    overlay: Option<Overlay>,
    holds: bool,
    /// Since when it holds, or doesn't, without a break; `None`: nothing is known since.
    unbroken_since: Option<Timestamp>,
    /// Taken on and holding: announced again then.
    re_alarm_at: Option<Timestamp>,
}

impl Alarm {
    /// One that is normal.
    #[must_use]
    pub fn new(behaviour: Behaviour) -> Self {
        Self { behaviour, ..Self::default() }
    }

    /// One that was announced before, and of which nothing else is known yet.
    #[must_use]
    pub fn announced(behaviour: Behaviour) -> Self {
        Self { behaviour, state: AlarmState::Unacknowledged, holds: true, ..Self::default() }
    }

    /// How it behaves.
    #[must_use]
    pub fn behaviour(&self) -> Behaviour {
        self.behaviour
    }

    /// Where it stands by itself.
    #[must_use]
    pub fn state(&self) -> AlarmState {
        self.state
    }

    /// What lies over it.
    #[must_use]
    pub fn overlay(&self) -> Option<Overlay> {
        self.overlay
    }

    /// Whether what is watched holds, by the last word on it.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.holds
    }

    /// Whether it has been raised and hasn't returned to normal.
    #[must_use]
    pub fn is_active(&self) -> bool {
        matches!(self.state, AlarmState::Unacknowledged | AlarmState::Acknowledged)
    }

    /// When a delay, a shelf or a re-alarm ends, if nothing happens.
    #[must_use]
    pub fn due(&self) -> Option<Timestamp> {
        let shelf = self.overlay.and_then(|overlay| match overlay {
            Overlay::Shelved { until } => Some(until),
            Overlay::Suppressed | Overlay::OutOfService => None,
        });
        self.delay_ends().into_iter().chain(shelf).chain(self.re_alarm_at).min()
    }

    /// What has come of the time until `now`, in order.
    pub fn advance(&mut self, now: Timestamp) -> Vec<Transition> {
        let mut transitions = Vec::new();
        while let Some(at) = self.due().filter(|due| *due <= now) {
            transitions.extend(self.fall_due(at));
        }
        transitions
    }

    /// What is watched holds at `now`, doesn't, or can't be told.
    pub fn observe(&mut self, now: Timestamp, holds: Holds) -> Vec<Transition> {
        let mut transitions = self.advance(now);
        match holds {
            Holds::Unknown => self.unbroken_since = None,
            Holds::Since(since) if !self.holds || self.unbroken_since.is_none() => {
                self.holds = true;
                self.unbroken_since = Some(since.min(now));
            }
            Holds::No if self.holds || self.unbroken_since.is_none() => {
                self.holds = false;
                self.unbroken_since = Some(now);
            }
            Holds::Since(_) | Holds::No => {}
        }
        transitions.extend(self.advance(now));
        transitions
    }

    /// Somebody takes it on until `until`, or for as long as its behaviour says.
    pub fn acknowledge(&mut self, now: Timestamp, until: Option<Timestamp>) -> Change {
        let announced = self.behaviour.re_alarm.map(|after| now + after);
        self.state = match self.state {
            AlarmState::Unacknowledged => {
                self.re_alarm_at = until.or(announced);
                AlarmState::Acknowledged
            }
            AlarmState::Returned => AlarmState::Normal,
            AlarmState::LatchedUnacknowledged => AlarmState::LatchedAcknowledged,
            AlarmState::Normal | AlarmState::Acknowledged | AlarmState::LatchedAcknowledged => {
                return Change::AcknowledgeRefused;
            }
        };
        Change::Acknowledged
    }

    /// Somebody resets a latched one.
    pub fn reset(&mut self) -> Change {
        if self.state != AlarmState::LatchedAcknowledged || self.holds {
            return Change::ResetRefused;
        }
        self.state = AlarmState::Normal;
        Change::Reset
    }

    /// For how long people may shelve one.
    pub const LONGEST_SHELF: SignedDuration = SignedDuration::from_hours(8);

    /// Something lies over it from now on.
    pub fn cover(&mut self, overlay: Overlay) -> Change {
        self.overlay = Some(overlay);
        Change::Covered
    }

    /// Nothing lies over it any more: what holds is announced afresh, what doesn't is normal.
    pub fn uncover(&mut self) -> Change {
        self.overlay = None;
        self.re_alarm_at = None;
        self.state = if self.holds { AlarmState::Unacknowledged } else { AlarmState::Normal };
        Change::Uncovered
    }

    fn delay_ends(&self) -> Option<Timestamp> {
        let since = self.unbroken_since?;
        match (self.holds, self.is_active()) {
            (true, false) => Some(since + self.behaviour.on_delay),
            (false, true) => Some(since + self.behaviour.off_delay),
            (true, true) | (false, false) => None,
        }
    }

    fn fall_due(&mut self, at: Timestamp) -> Option<Transition> {
        let told = |change| Some(Transition { at, change });
        if self.overlay == Some(Overlay::Shelved { until: at }) {
            return told(self.uncover());
        }
        let covered = self.overlay.is_some();
        if self.delay_ends() == Some(at) {
            let change = if self.holds { self.raise() } else { self.clear() };
            return told(change).filter(|_| !covered);
        }
        self.re_alarm_at = None;
        self.state = AlarmState::Unacknowledged;
        told(Change::ReAlarmed).filter(|_| !covered)
    }

    fn raise(&mut self) -> Change {
        self.state = AlarmState::Unacknowledged;
        Change::Raised
    }

    fn clear(&mut self) -> Change {
        self.re_alarm_at = None;
        self.state = match (self.state, self.behaviour.latched) {
            (AlarmState::Acknowledged, false) => AlarmState::Normal,
            (AlarmState::Acknowledged, true) => AlarmState::LatchedAcknowledged,
            (_, false) => AlarmState::Returned,
            (_, true) => AlarmState::LatchedUnacknowledged,
        };
        Change::Cleared
    }
}

/// A limit with its deadband: between the two the last word holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// The limit itself is still well.
    pub at: f64,
    /// So far beyond the limit it is well again.
    pub deadband: f64,
    /// Too high is wrong; else too low.
    pub high: bool,
}

impl Limit {
    /// Whether `value` is wrong; `None`: as it was before.
    #[must_use]
    pub fn is_broken(&self, value: f64) -> Option<bool> {
        let beyond = if self.high { value - self.at } else { self.at - value };
        if beyond > 0.0 { Some(true) } else { (beyond <= -self.deadband).then_some(false) }
    }
}

#[cfg(test)]
mod tests;
