//! Waiting for a thing, with a deadline, instead of for a time.

#![expect(clippy::disallowed_methods, reason = "a deadline of a test is no time of the daemon")]

use std::net::TcpListener;
use std::time::{Duration, Instant};

/// Asks `look` again and again until it has an answer.
///
/// # Panics
/// When there is none after [`PATIENCE`], with `what` was awaited.
pub fn wait_for<T>(what: &str, look: impl FnMut() -> Option<T>) -> T {
    wait_within(PATIENCE, what, look)
}

/// As [`wait_for`], where the thing itself promises a time.
///
/// # Panics
/// When there is no answer by then.
pub fn wait_within<T>(most: Duration, what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let until = Instant::now() + most;
    loop {
        if let Some(answer) = look() {
            return answer;
        }
        assert!(Instant::now() < until, "{what}: not within {most:?}");
        std::thread::sleep(BETWEEN_LOOKS);
    }
}

/// As [`wait_for`], where what is found meanwhile says why it failed.
///
/// # Panics
/// When there is no answer after [`PATIENCE`], with what was found last.
pub fn wait_seeing<T>(what: &str, mut look: impl FnMut() -> Result<T, String>) -> T {
    let until = Instant::now() + PATIENCE;
    loop {
        match look() {
            Ok(answer) => return answer,
            Err(found) => assert!(Instant::now() < until, "{what}: not within {PATIENCE:?}; found {found}"),
        }
        std::thread::sleep(BETWEEN_LOOKS);
    }
}

/// When the patience of what begins now is at its end: for what also hears signs of life, which must not prolong it.
#[must_use]
pub fn latest() -> Instant {
    Instant::now() + PATIENCE
}

/// What is left of it.
#[must_use]
pub fn left(latest: Instant) -> Duration {
    latest.saturating_duration_since(Instant::now())
}

/// The time on this machine's clock, for sites whose evening is to come soon.
#[must_use]
pub fn now() -> jiff::Timestamp {
    jiff::Timestamp::now()
}

/// A TCP port on this machine that nothing listens on.
///
/// # Panics
/// When the machine has none left.
#[must_use]
pub fn free_port() -> u16 {
    let listener = TcpListener::bind(("127.0.0.1", 0)).expect("the machine has a free port");
    listener.local_addr().expect("a bound socket has an address").port()
}

/// Long enough for a loaded machine; a test that passes never waits so long.
pub const PATIENCE: Duration = Duration::from_secs(60);
const BETWEEN_LOOKS: Duration = Duration::from_millis(10);
