//! How long to wait before the next connection.

use std::time::Duration;

use rand::RngExt;

/// Pauses that double from one second to a minute, each shortened by chance, so that the clients of a
/// broker that comes back don't all come at once.
#[derive(Debug, Default)]
pub struct Pauses {
    failures: u32,
}

impl Pauses {
    /// The pause after one more failure.
    pub fn next(&mut self, rng: &mut impl rand::Rng) -> Duration {
        let full = SHORTEST.saturating_mul(2_u32.saturating_pow(self.failures)).min(LONGEST);
        self.failures = self.failures.saturating_add(1);
        full.mul_f64(rng.random_range(0.5..=1.0))
    }

    /// The last connection was good for a while.
    pub fn reset(&mut self) {
        self.failures = 0;
    }
}

const SHORTEST: Duration = Duration::from_secs(1);
const LONGEST: Duration = Duration::from_secs(60);

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand::rngs::StdRng;

    use super::*;

    #[test]
    fn pauses_double_up_to_a_minute_and_are_shortened_by_at_most_half() {
        let mut rng = StdRng::seed_from_u64(1);
        let mut pauses = Pauses::default();
        for full in [1, 2, 4, 8, 16, 32, 60, 60, 60] {
            let pause = pauses.next(&mut rng).as_secs_f64();
            let full = f64::from(full);
            assert!((full / 2.0..=full).contains(&pause), "{pause} of {full}");
        }
        pauses.reset();
        assert!(pauses.next(&mut rng) <= Duration::from_secs(1));
    }

    #[test]
    fn two_clients_do_not_pause_alike() {
        let pause = |seed| Pauses::default().next(&mut StdRng::seed_from_u64(seed));
        assert_ne!(pause(1), pause(2));
    }
}
