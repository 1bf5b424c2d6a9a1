//! What the forecast must show, and which of it is shown already: the one place to switch an assertion on.

/// What must hold on seeds that nothing was tuned on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Goal {
    /// The 90 % interval holds the truth 88 to 92 % of the time in each bucket, up to binomial bounds.
    Coverage90,
    /// The 50 % interval 46 to 54 %.
    Coverage50,
    /// The second simulator moves no coverage by more than three points, up to binomial bounds.
    SecondSimulator,
    /// Median error of the likely time at most half of the best peer's.
    ErrorToPeer,
    /// And at most 1.7 times the practical limit's.
    ErrorToLimit,
    /// CRPS at most 0.8 of the best peer's.
    CrpsToPeer,
    /// Median error of the volume at most 0.6 L.
    Volume,
    /// Back on track within ten minutes after a logged refill.
    AfterRefill,
    /// And within twenty after a logged change.
    AfterChange,
    /// No run-out is missed by both the evening check and a warning an hour before.
    NightsMissed,
    /// At most one false warning for each drum and month, over all kinds of room.
    NightsFalse,
    /// A forecast at 98 of 100 instants.
    Speaks,
}

impl Goal {
    /// Whether the estimator is held to it now; a goal that isn't reached yet is printed, not asserted.
    #[must_use]
    pub fn asserted(self) -> bool {
        match self {
            // 2.1 times it in both simulators. Told the true curve, the true draw or the true volume alone, it wouldn't come
            // to 1.7 in both either: the benchmark prints how near.
            Self::ErrorToLimit => false,
            Self::Coverage90
            | Self::Coverage50
            | Self::SecondSimulator
            | Self::ErrorToPeer
            | Self::CrpsToPeer
            | Self::Volume
            | Self::AfterRefill
            | Self::AfterChange
            | Self::NightsMissed
            | Self::NightsFalse
            | Self::Speaks => true,
        }
    }

    /// Holds the estimator to it, or says how far it is.
    ///
    /// # Panics
    /// When it is asserted and not reached.
    pub fn hold(self, reached: bool, what: &str) {
        assert!(reached || !self.asserted(), "{self:?}: {what}");
        if !reached {
            eprintln!("{self:?} isn't reached yet: {what}");
        }
    }
}
