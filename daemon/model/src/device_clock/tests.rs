//! The clocks of devices: fast, slow, drifting, set right, delivered late.

use super::*;

/// A device that speaks each half minute, and what its listener makes of it.
#[derive(Default)]
struct ClockUnderTest {
    clock: DeviceClock,
    /// How often the listener took it for right, or not right, after the other.
    turns: u32,
}

impl ClockUnderTest {
    /// Measured at `second`, on its way for `delay` seconds, by a clock that is ahead by `ahead` seconds.
    fn hear(&mut self, second: i64, delay: i64, ahead: i64) -> Result<i64, ImpossibleTime> {
        let (said, received_at) = (at(second + ahead), at(second + delay));
        let was_right = self.clock.ahead().is_zero();
        self.clock.hear(said, received_at);
        self.clock.settle();
        self.turns += u32::from(was_right != self.clock.ahead().is_zero());
        self.clock.read(said, received_at).map(|ahead| ahead.as_secs())
    }

    fn hear_all(&mut self, from: i64, readings: i64, ahead: i64) {
        for n in 0..readings {
            let _whatever = self.hear(from + n * EVERY, 1, ahead);
        }
    }
}

fn at(second: i64) -> Timestamp {
    Timestamp::from_second(1_808_229_600 + second).unwrap()
}

fn secs(seconds: i64) -> SignedDuration {
    SignedDuration::from_secs(seconds)
}

#[test]
fn an_hour_fast_is_known_by_the_fifth_reading() {
    let mut bench = ClockUnderTest::default();
    bench.hear_all(0, 20, 0);
    for n in 0..4 {
        assert_eq!(bench.hear(600 + n * EVERY, 1, HOUR), Err(ImpossibleTime::Future(secs(HOUR - 1))));
    }
    assert_eq!(bench.hear(600 + 4 * EVERY, 1, HOUR), Ok(HOUR - 1));
    assert_eq!(bench.clock.shown_off().unwrap().since, at(601));
}

#[test]
fn an_hour_slow_is_known_at_once_where_its_times_went_back_and_else_within_ten_minutes() {
    let mut set_back = ClockUnderTest::default();
    set_back.hear_all(0, 20, 0);
    set_back.hear_all(600, 5, -HOUR);
    assert_eq!(set_back.clock.ahead(), secs(-HOUR - 1));

    let mut from_the_start = ClockUnderTest::default();
    let known = (0..20).find(|n| from_the_start.hear(n * EVERY, 1, -HOUR) == Ok(-HOUR - 1));
    assert_eq!(known.map(|n| n * EVERY), Some(480));
}

#[test]
fn a_minute_a_day_is_told_once_and_then_followed() {
    let mut bench = ClockUnderTest::default();
    for n in 0..(5 * 24 * 60) {
        let (second, ahead) = (n * 60, n / (24 * 60 / 60));
        let taken = bench.hear(second, n % 3, ahead).unwrap();
        let wrong = (ahead - taken).abs();
        assert!(wrong <= 62 && (ahead <= 62 || wrong <= 10), "{ahead} s ahead is taken for {taken} s");
    }
    assert_eq!(bench.turns, 1);
}

#[test]
fn jitter_of_seconds_is_no_fault_and_hides_none() {
    let delays = [0, 7, 2, 9, 1, 4, 12, 3, 0, 8];
    let mut bench = ClockUnderTest::default();
    for n in 0..200 {
        assert_eq!(bench.hear(n * EVERY, delays[usize::try_from(n % 10).unwrap()], 0), Ok(0));
    }
    for n in 200..240 {
        let _whatever = bench.hear(n * EVERY, delays[usize::try_from(n % 10).unwrap()], HOUR);
    }
    assert!((bench.clock.ahead() - secs(HOUR)).abs() <= secs(2));
    assert_eq!(bench.turns, 1);
}

#[test]
fn a_backlog_after_an_outage_is_no_fault_however_it_comes() {
    // Sent in order and faster than measured: in one burst, then twice and four times as fast.
    for apart in [0, 7, 15] {
        let mut bench = ClockUnderTest::default();
        bench.hear_all(0, 20, 0);
        let (mut measured, mut now) = (600, 4200);
        while measured < now {
            assert_eq!(bench.hear(measured, now - measured, 0), Ok(0));
            (measured, now) = (measured + EVERY, now + apart);
        }
        bench.hear_all(measured, 20, 0);
        assert_eq!(bench.turns, 0, "{apart} s apart");
    }
    // What is new goes first, and the old in between.
    let mut bench = ClockUnderTest::default();
    bench.hear_all(0, 20, 0);
    for n in 0..120 {
        let _whatever = bench.hear(4200 + n * EVERY, 1, 0);
        assert_eq!(bench.hear(600 + n * EVERY, 3602, 0), Ok(0));
    }
    assert_eq!(bench.turns, 0);
}

#[test]
fn what_a_fast_device_sends_late_is_dated_by_its_clock_too() {
    let mut bench = ClockUnderTest::default();
    bench.hear_all(0, 20, HOUR);
    for n in 0..240 {
        let measured = 600 + n * EVERY;
        assert_eq!(bench.hear(measured, 7800 - measured, HOUR), Ok(HOUR - 1), "reading {n}");
    }
    assert_eq!(bench.turns, 1);
}

#[test]
fn a_device_that_begins_at_1970_is_known_by_the_fifth_reading() {
    let mut bench = ClockUnderTest::default();
    bench.hear_all(0, 20, 0);
    let ahead = -at(600).as_second();
    for n in 0..4 {
        assert_eq!(bench.hear(600 + n * EVERY, 1, ahead), Err(ImpossibleTime::Unset));
    }
    assert_eq!(bench.hear(600 + 4 * EVERY, 1, ahead), Ok(ahead - 1));
    // It got the time: what it says is right at once.
    assert_eq!(bench.hear(600 + 5 * EVERY, 1, 0), Ok(0));
}

#[test]
fn a_clock_that_is_set_right_is_believed_at_once_and_right_by_the_fifth_reading() {
    for ahead in [HOUR, -HOUR] {
        let mut bench = ClockUnderTest::default();
        bench.hear_all(0, 40, ahead);
        assert!(!bench.clock.ahead().is_zero());
        for n in 0..5 {
            assert_eq!(bench.hear(1200 + n * EVERY, 1, 0), Ok(0), "{ahead} s, reading {n}");
        }
        assert!(bench.clock.ahead().is_zero());
        assert_eq!(bench.turns, 2);
    }
}

#[test]
fn times_at_random_show_nothing() {
    let mut bench = ClockUnderTest::default();
    for n in 0..100 {
        let wild = n * 7919 % 86_400 + 120;
        assert!(bench.hear(n * EVERY, 1, wild).is_err());
    }
    assert_eq!(bench.turns, 0);
}

#[test]
fn most_devices_at_once_is_our_clock_and_one_among_many_is_its_own() {
    let room = |ahead: [i64; 5]| {
        let mut devices: [ClockUnderTest; 5] = Default::default();
        for (bench, ahead) in devices.iter_mut().zip(ahead) {
            bench.hear_all(0, 20, 0);
            bench.hear_all(600, 6, ahead);
        }
        devices.map(|bench| bench.clock)
    };
    let alike = |clocks: &[DeviceClock]| all_off_alike(clocks.iter()).map(|off| (off.off, off.heard));
    assert_eq!(alike(&room([HOUR; 5])), Some((5, 5)));
    assert_eq!(alike(&room([HOUR, HOUR, 0, HOUR, 0])), Some((3, 5)));
    assert_eq!(alike(&room([-HOUR, 0, -HOUR, -HOUR, -HOUR])), Some((4, 5)));
    assert_eq!(alike(&room([HOUR, 0, 0, 0, 0])), None);
    assert_eq!(alike(&room([HOUR, HOUR, 0, 0, 0])), None);
    assert_eq!(alike(&room([HOUR, 2 * HOUR, -HOUR, 0, 0])), None);
    assert_eq!(alike(&room([HOUR, 0, 0, 0, 0])[..1]), None, "nobody else speaks");
}

#[test]
fn the_first_of_all_to_be_known_is_not_blamed_while_the_others_say_the_same() {
    let mut quick = ClockUnderTest::default();
    let mut slow = ClockUnderTest::default();
    quick.hear_all(0, 20, 0);
    slow.hear_all(0, 20, 0);
    quick.hear_all(600, 6, HOUR);
    let _whatever = slow.hear(700, 1, HOUR);
    assert!(slow.clock.shown_off().is_none());
    let off = all_off_alike([&quick.clock, &slow.clock].into_iter()).unwrap();
    assert!(off.includes(&quick.clock) && off.includes(&slow.clock));
    assert!(off.explains(at(800 + HOUR), at(801)) && !off.explains(at(900 + 2 * HOUR), at(900)));
}

const EVERY: i64 = 30;
const HOUR: i64 = 3600;
