//! Whether a notice has reached anybody at all.

use std::collections::BTreeMap;

/// The notices that are still on their way to somebody.
#[derive(Debug, Default)]
pub(super) struct Rounds(BTreeMap<u64, Round>);

#[derive(Debug, Default)]
struct Round {
    open: usize,
    /// It reached somebody, or nobody needs it any more.
    well: bool,
}

/// How a delivery is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DeliveryEnd {
    /// It arrived.
    Reached,
    /// It won't arrive.
    Failed,
    /// It isn't needed any more.
    Needless,
}

impl Rounds {
    /// One more delivery of that notice is to be made.
    pub(super) fn begin(&mut self, notice: u64) {
        self.0.entry(notice).or_default().open += 1;
    }

    /// A delivery had been made before we started.
    pub(super) fn had_reached(&mut self, notice: u64) {
        self.0.entry(notice).or_default().well = true;
    }

    /// A delivery is over; true when it was the last one and none had reached anybody.
    pub(super) fn end(&mut self, notice: u64, end: DeliveryEnd) -> bool {
        let Some(round) = self.0.get_mut(&notice) else { return false };
        round.open = round.open.saturating_sub(1);
        round.well |= end != DeliveryEnd::Failed;
        if round.open > 0 {
            return false;
        }
        let reached_nobody = !round.well;
        self.0.remove(&notice);
        reached_nobody
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_notice_of_which_each_delivery_failed_has_reached_nobody() {
        use DeliveryEnd::{Failed, Needless, Reached};
        for (ends, nobody) in [
            (vec![Failed], true),
            (vec![Failed, Failed], true),
            (vec![Reached, Failed], false),
            (vec![Failed, Reached], false),
            (vec![Needless, Failed], false),
        ] {
            let mut rounds = Rounds::default();
            ends.iter().for_each(|_| rounds.begin(7));
            let told: Vec<bool> = ends.iter().map(|end| rounds.end(7, *end)).collect();
            assert_eq!(told.last(), Some(&nobody), "{ends:?}");
            assert!(!told[..told.len() - 1].contains(&true), "{ends:?}: told before the last");
        }
    }
}
