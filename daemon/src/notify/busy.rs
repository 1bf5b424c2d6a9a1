//! What is on the way to whom, and since when: one letter at a time for each contact and way.

use jiff::{SignedDuration, Timestamp};

use super::letter::Letter;

/// All of it.
#[derive(Debug, Default)]
pub(super) struct BusyWays(Vec<BegunAttempt>);

#[derive(Debug)]
struct BegunAttempt {
    letter: Letter,
    since: Timestamp,
    /// Others were told that it hangs.
    told: bool,
}

impl BegunAttempt {
    fn slow_at(&self) -> Option<Timestamp> {
        (!self.told && self.letter.presses())
            .then(|| self.since.saturating_add(PATIENCE).unwrap_or(Timestamp::MAX))
    }
}

impl BusyWays {
    /// An attempt begins.
    pub(super) fn begin(&mut self, letter: &Letter, now: Timestamp) {
        self.0.push(BegunAttempt { letter: letter.clone(), since: now, told: letter.told });
    }

    /// It is over; whether others were told meanwhile that it hangs.
    pub(super) fn end(&mut self, letter: &Letter) -> bool {
        let over = |begun: &mut BegunAttempt| begun.letter.goes(&letter.contact, letter.channel);
        self.0.extract_if(.., over).any(|begun| begun.told)
    }

    /// Whether that contact's way is taken.
    pub(super) fn holds(&self, letter: &Letter) -> bool {
        self.0.iter().any(|begun| begun.letter.goes(&letter.contact, letter.channel))
    }

    /// When the next call has hung for long enough to be told.
    pub(super) fn next_slow(&self) -> Option<Timestamp> {
        self.0.iter().filter_map(BegunAttempt::slow_at).min()
    }

    /// The calls that hang, each once.
    pub(super) fn slow(&mut self, now: Timestamp) -> Vec<Letter> {
        let hangs = |begun: &&mut BegunAttempt| begun.slow_at().is_some_and(|at| at <= now);
        let told = |begun: &mut BegunAttempt| {
            begun.told = true;
            begun.letter.clone()
        };
        self.0.iter_mut().filter(hangs).map(told).collect()
    }
}

/// A broker or a server that works has taken it long before.
const PATIENCE: SignedDuration = SignedDuration::from_secs(30);
