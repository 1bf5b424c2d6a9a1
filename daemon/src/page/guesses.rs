//! Wrong passwords: after each the next try waits longer, by the name that was tried and by the address it came from.
//!
//! No pause grows beyond a minute: whoever guesses for days gets nowhere near a password of ten characters, and nobody is
//! kept out for longer by somebody else's guessing. What is remembered is bounded.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};

use jiff::SignedDuration;

/// Wrong tries of late.
#[derive(Debug, Default)]
pub(super) struct Guesses {
    /// Known names; all others are one.
    by_name: HashMap<Option<String>, WrongTries>,
    by_address: HashMap<IpAddr, WrongTries>,
}

#[derive(Debug, Clone, Copy)]
struct WrongTries {
    times: u32,
    last: SignedDuration,
}

impl Guesses {
    /// How long somebody still has to wait; `None`: they may try. A name that no user has is `None`.
    pub(super) fn pause(
        &self,
        name: Option<&str>,
        from: IpAddr,
        now: SignedDuration,
    ) -> Option<SignedDuration> {
        let name = name.map(str::to_owned);
        let by_name = self.by_name.get(&name).map(|tries| tries.free_at(FREE_BY_NAME));
        let by_address = self.by_address.get(&network(from)).map(|tries| tries.free_at(FREE_BY_ADDRESS));
        let free_at = by_name.max(by_address)?;
        Some(free_at.saturating_sub(now)).filter(|left| left.is_positive())
    }

    /// It was wrong.
    pub(super) fn wrong(&mut self, name: Option<&str>, from: IpAddr, now: SignedDuration) {
        for tries in [
            self.by_name.entry(name.map(str::to_owned)).or_insert(WrongTries { times: 0, last: now }),
            self.by_address.entry(network(from)).or_insert(WrongTries { times: 0, last: now }),
        ] {
            if now.saturating_sub(tries.last) > FORGOTTEN {
                tries.times = 0;
            }
            *tries = WrongTries { times: tries.times.saturating_add(1), last: now };
        }
        self.forget(now);
    }

    /// It was right: that name is tried by whoever knows it. What came from the address stays counted, since somebody who
    /// has a login of their own could else guess others' without a pause.
    pub(super) fn right(&mut self, name: &str) {
        self.by_name.remove(&Some(name.to_owned()));
    }

    fn forget(&mut self, now: SignedDuration) {
        let fresh = |tries: &WrongTries| now.saturating_sub(tries.last) <= FORGOTTEN;
        self.by_name.retain(|_, tries| fresh(tries));
        self.by_address.retain(|_, tries| fresh(tries));
        while self.by_address.len() > ADDRESSES {
            // Whoever was wrong least often is the least loss.
            let least = self.by_address.iter().min_by_key(|(_, tries)| (tries.times, tries.last));
            let Some(least) = least.map(|(address, _)| *address) else { break };
            self.by_address.remove(&least);
        }
    }
}

impl WrongTries {
    /// After the first few each try doubles the pause.
    fn free_at(self, free: u32) -> SignedDuration {
        let doubled = self.times.saturating_sub(free).min(LONGEST_DOUBLED);
        let pause = if self.times < free { 0 } else { 1_i64 << doubled };
        self.last + SignedDuration::from_secs(pause).min(LONGEST)
    }
}

/// Whoever has an IPv6 address has 2^64 of them.
fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V4(address) => IpAddr::V4(address),
        IpAddr::V6(address) => IpAddr::V6(Ipv6Addr::from_bits(address.to_bits() & !u128::from(u64::MAX))),
    }
}

/// Wet fingers slip so often without a pause.
const FREE_BY_NAME: u32 = 3;
/// The whole barn may come from one address.
const FREE_BY_ADDRESS: u32 = 10;
const LONGEST: SignedDuration = SignedDuration::from_secs(60);
/// 2^6 s are more than a minute.
const LONGEST_DOUBLED: u32 = 6;
const FORGOTTEN: SignedDuration = SignedDuration::from_hours(12);
/// Remembered at most.
const ADDRESSES: usize = 1024;

#[cfg(test)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    fn s(seconds: i64) -> SignedDuration {
        SignedDuration::from_secs(seconds)
    }

    /// The pauses after so many wrong tries of one name, each made as soon as it may be.
    fn pauses(tries: usize, from: impl Fn(usize) -> IpAddr) -> Vec<i64> {
        let (mut guesses, mut now) = (Guesses::default(), s(1000));
        let mut pauses = Vec::new();
        for n in 0..tries {
            guesses.wrong(Some("aino"), from(n), now);
            let pause = guesses.pause(Some("aino"), from(n + 1), now).unwrap_or_default();
            pauses.push(pause.as_secs());
            now += pause;
        }
        pauses
    }

    #[test]
    fn pauses_grow_with_each_wrong_try_of_a_name_whatever_address_it_comes_from() {
        let expected = [0, 0, 1, 2, 4, 8, 16, 32, 60, 60, 60, 60];
        assert_eq!(pauses(12, |_| ip("192.0.2.1")), expected);
        assert_eq!(pauses(12, |n| format!("192.0.2.{n}").parse().unwrap()), expected);
    }

    #[test]
    fn one_address_pauses_for_every_name_and_keeps_nobody_else_out() {
        let mut guesses = Guesses::default();
        let from = ip("2001:db8::1");
        for n in 0..20 {
            guesses.wrong(Some(&format!("user {n}")), from, s(0));
        }
        assert_eq!(guesses.pause(Some("kim"), ip("2001:db8::2"), s(0)), Some(s(60)), "of the same network");
        assert_eq!(guesses.pause(Some("kim"), ip("2001:db8:1::2"), s(0)), None);
        assert_eq!(guesses.pause(Some("kim"), from, s(60)), None, "a minute at most");
    }

    #[test]
    fn the_right_password_ends_the_pauses_of_its_name_and_half_a_day_those_of_all() {
        let mut guesses = Guesses::default();
        for _ in 0..5 {
            guesses.wrong(Some("aino"), ip("192.0.2.1"), s(0));
        }
        assert!(guesses.pause(Some("aino"), ip("192.0.2.1"), s(0)).is_some());
        guesses.right("aino");
        assert_eq!(guesses.pause(Some("aino"), ip("192.0.2.1"), s(0)), None);
        guesses.wrong(None, ip("192.0.2.1"), s(13 * 3600));
        assert_eq!(guesses.by_address.len(), 1);
        assert_eq!(guesses.pause(None, ip("192.0.2.1"), s(13 * 3600)), None);
    }

    #[test]
    fn what_is_remembered_is_bounded_and_who_guesses_most_stays() {
        let mut guesses = Guesses::default();
        for _ in 0..30 {
            guesses.wrong(None, ip("192.0.2.1"), s(0));
        }
        for n in 0..5000_u32 {
            guesses.wrong(None, IpAddr::V4(n.into()), s(1));
        }
        assert_eq!((guesses.by_address.len(), guesses.by_name.len()), (ADDRESSES, 1));
        assert!(guesses.by_address.contains_key(&ip("192.0.2.1")));
    }
}
