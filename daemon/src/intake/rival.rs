//! What the ends of our connections say about another client with our client id.
//!
//! MQTT 5 has a word for it (reason code 0x8E); MQTT 3.1.1 has none, and Mosquitto 2.0.11 closes before its word is read:
//! then connection after connection is made without trouble and closed soon after. A broker that is down refuses,
//! one that is paused keeps silent. When a paused one goes on, it finds the connections that we had given up, and
//! each takes our session from the one before: that is ourselves.

use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use rand::RngExt;

use super::link::Broken;

/// What is known so far.
#[derive(Debug, Default)]
pub struct Rivalry {
    /// Connections in a row that the broker closed, each soon after the one before.
    thrown_out: u32,
    /// Connections that we gave up may still wait at the broker.
    gave_up: bool,
    /// Until then what the broker closes may be our own doing.
    settling_until: Option<Timestamp>,
    /// Takeovers in a row.
    taken_over: u32,
}

/// What the end of a connection says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RivalSuspicion {
    /// Nothing of another client.
    None,
    /// Probably one has our client id.
    Likely,
    /// The broker says that one has.
    Certain,
}

impl Rivalry {
    /// The broker accepted us.
    pub fn accepted(&mut self, now: Timestamp) {
        if std::mem::take(&mut self.gave_up) {
            self.settling_until = Some(now + SETTLES_IN);
        }
    }

    /// The connection had stood for so long that it was good.
    pub fn stood(&mut self) {
        *self = Self { gave_up: self.gave_up, ..Self::default() };
    }

    /// A connection has ended; `subscribed` when it had come so far.
    pub fn ended(&mut self, now: Timestamp, subscribed: bool, how: &Broken) -> RivalSuspicion {
        let settling = self.settling_until.is_some_and(|until| now < until);
        match how {
            Broken::Silent(_) => {
                self.gave_up = true;
                self.thrown_out = 0;
                RivalSuspicion::None
            }
            Broken::TakenOver if settling => RivalSuspicion::None,
            Broken::TakenOver => self.found(RivalSuspicion::Certain),
            Broken::Closed if settling || !subscribed => RivalSuspicion::None,
            Broken::Closed => {
                self.thrown_out += 1;
                if self.thrown_out >= THROWN_OUT {
                    self.found(RivalSuspicion::Likely)
                } else {
                    RivalSuspicion::None
                }
            }
            Broken::Lost(_) | Broken::TooLarge { .. } => {
                self.thrown_out = 0;
                RivalSuspicion::None
            }
        }
    }

    fn found(&mut self, rival: RivalSuspicion) -> RivalSuspicion {
        self.taken_over = self.taken_over.saturating_add(1);
        rival
    }

    /// How long to leave the broker alone: two clients that take each other's session at once do so for ever
    /// (MQTT 5 section 3.1.4). Shortened by chance, so that two of us don't pause alike.
    pub fn pause(&self, rng: &mut impl rand::Rng) -> Duration {
        let doublings = self.taken_over.saturating_sub(1);
        let full = FIRST_PAUSE.saturating_mul(2_u32.saturating_pow(doublings)).min(LONGEST_PAUSE);
        full.mul_f64(rng.random_range(0.75..=1.0))
    }
}

/// So many in a row are no accident.
const THROWN_OUT: u32 = 3;

/// By then the broker has dealt with the connections that we had given up.
const SETTLES_IN: SignedDuration = SignedDuration::from_secs(60);

const FIRST_PAUSE: Duration = Duration::from_secs(30);
/// Nothing is seen of the room meanwhile.
const LONGEST_PAUSE: Duration = Duration::from_secs(10 * 60);

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand::rngs::StdRng;

    use super::*;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_second(1_800_000_000 + second).unwrap()
    }

    fn refused() -> Broken {
        Broken::Lost("connection refused".to_owned())
    }

    const PAUSED: Broken = Broken::Silent("the broker doesn't answer any more");

    /// Each: the second at which the connection ended, whether it had been subscribed, how it ended, and what that says.
    fn check(story: &str, ends: &[(i64, bool, Broken, RivalSuspicion)]) {
        let mut rivalry = Rivalry::default();
        for (second, subscribed, how, expected) in ends {
            if *subscribed {
                rivalry.accepted(at(second - 1));
            }
            assert_eq!(rivalry.ended(at(*second), *subscribed, how), *expected, "{story}, at {second}");
        }
    }

    #[test]
    fn another_client_is_told_from_a_broker_that_is_down_or_paused() {
        use Broken::{Closed, TakenOver};
        use RivalSuspicion::{Certain, Likely, None};
        check("the broker's own word", &[(0, true, TakenOver, Certain), (40, true, TakenOver, Certain)]);
        check(
            "thrown out, again and again",
            &[(0, true, Closed, None), (2, true, Closed, None), (5, true, Closed, Likely)],
        );
        check(
            "a broker that restarts, again and again",
            &[
                (0, true, Closed, None),
                (1, false, refused(), None),
                (5, true, Closed, None),
                (6, false, refused(), None),
                (10, true, Closed, None),
                (11, false, refused(), None),
            ],
        );
        check(
            "a broker that lets nobody in",
            &[(0, false, Closed, None), (1, false, Closed, None), (2, false, Closed, None)],
        );
        check(
            "a broker that was paused finds our own old connections",
            &[
                (0, true, PAUSED, None),
                (10, false, PAUSED, None),
                (20, false, PAUSED, None),
                (31, true, TakenOver, None),
                (33, true, Closed, None),
                (35, true, Closed, None),
                (37, true, Closed, None),
            ],
        );
        check(
            "another client, long after a pause",
            &[(0, true, PAUSED, None), (10, true, Closed, None), (100, true, TakenOver, Certain)],
        );
    }

    #[test]
    fn the_pause_grows_from_takeover_to_takeover_and_begins_anew_after_a_good_connection() {
        let mut rng = StdRng::seed_from_u64(1);
        let mut rivalry = Rivalry::default();
        for full in [30.0, 60.0, 120.0, 240.0, 480.0, 600.0, 600.0] {
            rivalry.ended(at(0), true, &Broken::TakenOver);
            let pause = rivalry.pause(&mut rng).as_secs_f64();
            assert!((full * 0.75..=full).contains(&pause), "{pause} of {full}");
        }
        rivalry.stood();
        rivalry.ended(at(0), true, &Broken::TakenOver);
        assert!(rivalry.pause(&mut rng) <= FIRST_PAUSE);
    }
}
