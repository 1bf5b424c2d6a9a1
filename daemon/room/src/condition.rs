//! A thing that is wrong for a while: told once, withdrawn when it has been well for long enough, no nagging.

use jiff::{SignedDuration, Timestamp};

use crate::audience::Told;

/// One thing that may be wrong.
#[derive(Debug, Default)]
pub(crate) struct Condition {
    wrong_since: Option<Timestamp>,
    well_since: Option<Timestamp>,
    told: Option<Told>,
    quiet_until: Option<Timestamp>,
}

/// What is due.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Turn {
    /// Nothing.
    Nothing,
    /// People must be told; wrong since then.
    Tell(Timestamp),
    /// What was told no longer holds; it had been wrong since then.
    Withdraw(Timestamp),
}

impl Condition {
    /// Takes note: wrong since then, or well.
    pub(crate) fn observe(&mut self, now: Timestamp, wrong_since: Option<Timestamp>) {
        match wrong_since {
            Some(since) => {
                self.wrong_since.get_or_insert(since);
                self.well_since = None;
            }
            None if self.told.is_some() => {
                self.well_since.get_or_insert(now);
            }
            None => self.wrong_since = None,
        }
    }

    /// What is due, when `patience` is how long it may be wrong before people are told.
    pub(crate) fn turn(&self, now: Timestamp, patience: SignedDuration) -> Turn {
        match (self.wrong_since, self.due(patience), &self.told) {
            (Some(since), Some(due), None) if due <= now => Turn::Tell(since),
            (Some(since), Some(due), Some(_)) if due <= now => Turn::Withdraw(since),
            _ => Turn::Nothing,
        }
    }

    /// When the next turn comes if nothing changes.
    pub(crate) fn due(&self, patience: SignedDuration) -> Option<Timestamp> {
        match &self.told {
            Some(_) => self.well_since.map(|well| well + WELL_FOR),
            None => self.wrong_since.map(|since| {
                let patient = since + patience;
                self.quiet_until.map_or(patient, |quiet| quiet.max(patient))
            }),
        }
    }

    /// People were told.
    pub(crate) fn tell(&mut self, since: Timestamp, told: Told) {
        self.quiet_until = Some(told.at + QUIET_FOR);
        self.wrong_since = Some(since);
        self.well_since = None;
        self.told = Some(told);
    }

    /// It was withdrawn.
    pub(crate) fn withdraw(&mut self) {
        self.wrong_since = None;
        self.well_since = None;
        self.told = None;
    }

    /// What people were told and still holds.
    pub(crate) fn told(&self) -> Option<&Told> {
        self.told.as_ref()
    }
}

/// Well for so long before a warning is withdrawn, so that it doesn't flap.
pub(crate) const WELL_FOR: SignedDuration = SignedDuration::from_mins(15);

/// The same cause isn't told again for so long, though it was withdrawn meanwhile.
pub(crate) const QUIET_FOR: SignedDuration = SignedDuration::from_hours(2);

#[cfg(test)]
mod tests {
    use super::*;
    use claymark_notice::Audience;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_second(1_800_000_000 + minute * 60).unwrap()
    }

    #[test]
    fn it_is_told_once_withdrawn_when_well_for_long_and_kept_quiet_when_it_flaps() {
        let patience = SignedDuration::from_mins(10);
        let mut condition = Condition::default();
        let mut said = Vec::new();
        // (from minute, to minute) of being wrong.
        let wrong = [(5, 9), (20, 60), (65, 70), (120, 400)];
        for minute in 0..500 {
            let since =
                wrong.iter().find(|(from, to)| (*from..*to).contains(&minute)).map(|(from, _)| at(*from));
            condition.observe(at(minute), since);
            match condition.turn(at(minute), patience) {
                Turn::Nothing => {}
                Turn::Tell(since) => {
                    said.push((minute, "wrong"));
                    condition.tell(since, Told { number: 1, at: at(minute), to: Audience::Everyone });
                }
                Turn::Withdraw(_) => {
                    said.push((minute, "well"));
                    condition.withdraw();
                }
            }
        }
        // 5-9 is too short; 60-65 too short to be well; told again only two hours after minute 30.
        assert_eq!(said, [(30, "wrong"), (85, "well"), (150, "wrong"), (415, "well")]);
    }
}
