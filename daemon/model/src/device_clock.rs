//! What the times that a device says tell of its clock, held against their arrival.
//!
//! A network only delays. So of some readings the one that came fastest tells how far the clock is ahead at least, and
//! others that came nearly as fast bear it out, over a while: what arrives in a burst after an outage gets younger from
//! reading to reading, and bears nothing out.

use std::collections::VecDeque;

use jiff::{SignedDuration, Timestamp};

/// Up to so much a device's time is taken as it is.
pub const BEARABLE: SignedDuration = SignedDuration::from_secs(60);

/// 2000-01-01T00:00:00Z in seconds since 1970: nothing is older. A clock that was never set counts from 1970 or so.
pub const OLDEST: i64 = 946_684_800;

/// The clock of one device.
#[derive(Debug, Clone, Default)]
pub struct DeviceClock {
    /// What it said lately, oldest first, at most one in [`APART`].
    seen: VecDeque<SaidTime>,
    /// What that shows.
    shown: Option<SteadyClock>,
    /// By how much it is taken to be ahead.
    ahead: SignedDuration,
}

#[derive(Debug, Clone, Copy)]
struct SaidTime {
    said: Timestamp,
    received_at: Timestamp,
    /// When the first of what is told as one arrived.
    begun: Timestamp,
}

/// What a clock has shown for a while.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SteadyClock {
    /// It is ahead by so much; behind where negative.
    pub ahead: SignedDuration,
    /// When the first reading arrived that bears it out.
    pub since: Timestamp,
}

/// Why a time that a device said can't be right, whatever is known of its clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ImpossibleTime {
    /// It lies behind its arrival by so much.
    Future(SignedDuration),
    /// It is before the year 2000: the clock was never set.
    Unset,
}

impl DeviceClock {
    /// The device said `said` in what arrived at `received_at`; of several the newest. What arrived before what is known
    /// already tells nothing new.
    pub fn hear(&mut self, said: Timestamp, received_at: Timestamp) {
        let new = SaidTime { said, received_at, begun: received_at };
        match self.seen.back_mut() {
            Some(last) if received_at < last.received_at => return,
            Some(last) if received_at.duration_since(last.begun) < APART => {
                if new.ahead() <= last.ahead() {
                    return;
                }
                *last = SaidTime { begun: last.begun, ..new };
            }
            Some(_) | None => self.seen.push_back(new),
        }
        if self.seen.len() > REMEMBERED {
            self.seen.pop_front();
        }
        self.shown = self.steady();
    }

    /// It had been taken to be ahead by so much before a restart.
    pub fn recall(&mut self, ahead: SignedDuration) {
        self.ahead = ahead;
    }

    /// By how much it is taken to be ahead; zero: it is right, or nothing is known yet.
    #[must_use]
    pub fn ahead(&self) -> SignedDuration {
        self.ahead
    }

    /// What it has shown for a while, where it isn't bearable.
    #[must_use]
    pub fn shown_off(&self) -> Option<SteadyClock> {
        self.shown.filter(|shown| shown.ahead.abs() > BEARABLE)
    }

    /// Takes it for what it has shown for a while. Wandering by seconds changes nothing.
    pub fn settle(&mut self) {
        let Some(SteadyClock { ahead, .. }) = self.shown else { return };
        let bearable = if self.ahead.is_zero() { BEARABLE } else { BEARABLE / 2 };
        if ahead.abs() <= bearable {
            self.ahead = SignedDuration::ZERO;
        } else if (ahead - self.ahead).abs() > WANDERS {
            self.ahead = ahead;
        }
    }

    /// It isn't this clock that is off.
    pub fn acquit(&mut self) {
        self.ahead = SignedDuration::ZERO;
    }

    /// By how much the clock was ahead when it said `said`, or why nothing fits.
    pub fn read(&self, said: Timestamp, received_at: Timestamp) -> Result<SignedDuration, ImpossibleTime> {
        let as_it_is = received_at.duration_since(said);
        let delay = as_it_is + self.ahead;
        if delay < -BEARABLE {
            // It was behind, and has been set right.
            return if as_it_is < -BEARABLE {
                Err(ImpossibleTime::Future(-as_it_is))
            } else {
                Ok(SignedDuration::ZERO)
            };
        }
        // It was ahead and has been set right: its times go back, and are those of now. Late readings of a clock that is
        // still ahead go on where it was.
        let set_right = delay > BEARABLE && as_it_is.abs() <= BEARABLE && self.goes_back(said);
        let ahead = if set_right { SignedDuration::ZERO } else { self.ahead };
        if ahead.is_zero() && said.as_second() < OLDEST {
            return Err(ImpossibleTime::Unset);
        }
        Ok(ahead)
    }

    /// Whether what it says now was over for it before.
    fn goes_back(&self, said: Timestamp) -> bool {
        self.seen.iter().any(|seen| seen.said.duration_since(said) > BEARABLE)
    }

    /// What the fastest of the newest readings shows, where enough others bear it out.
    fn steady(&self) -> Option<SteadyClock> {
        let mut fastest = SignedDuration::MIN;
        for first in (0..self.seen.len()).rev() {
            fastest = self.seen.get(first).map_or(fastest, |seen| fastest.max(seen.ahead()));
            let near = |place: &usize| {
                self.seen.get(*place).is_some_and(|seen| fastest - seen.ahead() <= NEARLY_AS_FAST)
            };
            let mut bearing = (first..self.seen.len()).filter(near);
            let (Some(oldest), newest) = (bearing.next(), bearing.next_back()) else { continue };
            // Both ends are taken.
            let count = bearing.count() + 2;
            let still = newest.is_some_and(|newest| newest + STILL >= self.seen.len());
            if count >= ENOUGH && still && self.lasts(oldest, fastest) {
                return Some(SteadyClock { ahead: fastest, since: self.off_since(oldest, fastest)? });
            }
        }
        None
    }

    /// Whether it is borne out for long enough: what is late may be held up on its way, unless the device's times were
    /// seen to go back.
    fn lasts(&self, oldest: usize, ahead: SignedDuration) -> bool {
        let (Some(first), Some(last)) = (self.seen.get(oldest), self.seen.back()) else { return false };
        let before = oldest.checked_sub(1).and_then(|before| self.seen.get(before));
        let set_back = before.is_some_and(|before| before.said.duration_since(first.said) > BEARABLE);
        ahead >= -BEARABLE || set_back || last.received_at.duration_since(first.received_at) >= LATE_FOR
    }

    /// When the first arrived of those that show the same in a row.
    fn off_since(&self, oldest: usize, ahead: SignedDuration) -> Option<Timestamp> {
        let earlier = self.seen.range(..oldest).rev().take_while(|seen| alike(seen.ahead(), ahead));
        earlier.last().or_else(|| self.seen.get(oldest)).map(|seen| seen.received_at)
    }

    /// The most that it was ahead in its newest readings since then; `None`: there are none.
    fn lately(&self, since: Timestamp) -> Option<SignedDuration> {
        let newest = self.seen.iter().rev().take(STILL).filter(|seen| seen.received_at >= since);
        newest.map(SaidTime::ahead).max()
    }
}

impl SaidTime {
    /// At least by so much the clock was ahead.
    fn ahead(&self) -> SignedDuration {
        self.said.duration_since(self.received_at)
    }
}

/// By how much most devices' clocks are ahead alike: then it is our own that is behind, and none of them is off.
///
/// Of the devices that were heard since the first of them was off; two at least.
#[must_use]
pub fn all_off_alike<'a>(clocks: impl Iterator<Item = &'a DeviceClock> + Clone) -> Option<OffAlike> {
    clocks.clone().filter_map(DeviceClock::shown_off).find_map(|SteadyClock { ahead, since }| {
        let lately: Vec<SignedDuration> = clocks.clone().filter_map(|clock| clock.lately(since)).collect();
        let off = lately.iter().filter(|other| alike(**other, ahead)).count();
        (off >= 2 && off * 2 > lately.len()).then_some(OffAlike { ahead, since, off, heard: lately.len() })
    })
}

/// Most devices' clocks are off by the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OffAlike {
    /// They are ahead by so much; behind where negative.
    pub ahead: SignedDuration,
    /// Since when.
    pub since: Timestamp,
    /// So many of them.
    pub off: usize,
    /// Of so many that were heard since.
    pub heard: usize,
}

impl OffAlike {
    /// Whether that clock is one of them.
    #[must_use]
    pub fn includes(&self, clock: &DeviceClock) -> bool {
        clock.lately(self.since).is_some_and(|ahead| alike(ahead, self.ahead))
    }

    /// Whether a time that is so far ahead of its arrival is right by the devices' clocks.
    #[must_use]
    pub fn explains(&self, said: Timestamp, received_at: Timestamp) -> bool {
        alike(said.duration_since(received_at), self.ahead)
    }
}

fn alike(one: SignedDuration, other: SignedDuration) -> bool {
    (one - other).abs() <= BEARABLE
}

/// Readings that arrive within this are told as one: a clock isn't borne out by one moment.
const APART: SignedDuration = SignedDuration::from_secs(15);

/// A quarter of an hour where a device speaks all the time.
const REMEMBERED: usize = 64;

/// So many readings bear a clock out.
const ENOUGH: usize = 5;

/// One of the newest so many must be among them.
const STILL: usize = 3;

/// Delays differ by so much between readings that bear out the same.
const NEARLY_AS_FAST: SignedDuration = SignedDuration::from_secs(15);

/// Lateness that lasts for so long is no queue that empties.
const LATE_FOR: SignedDuration = SignedDuration::from_mins(8);

/// Another estimate changes what is taken only where it differs by more.
const WANDERS: SignedDuration = SignedDuration::from_secs(5);

#[cfg(test)]
mod tests;
