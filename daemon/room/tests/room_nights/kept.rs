//! Nights in which nothing can be kept or read, and a clock that is set.

use claymark_notice::Priority;
use claymark_notice::content::{Common, Content, ReadingsMissing};
use claymark_notice::keeping::{ClockStep, StoreFate};
use claymark_room::Event;
use jiff::SignedDuration;

use super::night::RoomNight;
use super::told;

#[test]
fn while_nothing_can_be_kept_or_read_no_number_comes_twice() {
    let mut night = RoomNight::begin("2027-04-20T08:00");
    night.drum("a").holds(150.0).draws(4.0);
    let evening = night.until("2027-04-20T18:00");
    assert_eq!(evening[0].notice.number, 1);
    let failed = night.event(Event::StoreFailed { why: "disk full".to_owned() });
    // 2027-04-20 15:00 UTC is 474 days and 15 hours after the numbers' beginning, two a second.
    assert_eq!(failed[0].notice.number, (474 * 24 + 15) * 7200);

    // Nothing of that was kept. What is told after the restart must not be taken for what was told before it.
    let again = night.restart_without_past(SignedDuration::from_secs(1));
    assert!(again[0].notice.number > failed[0].notice.number, "{again:?}");
    let Content::ReadingsMissing(ReadingsMissing::StoreReplaced { fate, .. }) = &again[0].notice.content
    else {
        panic!("{again:?}")
    };
    assert_eq!(*fate, StoreFate::PastUnread);
}

#[test]
fn sensors_that_fall_silent_while_the_disk_fails_are_not_blamed_on_the_network() {
    for (disk_fails, common) in [(true, Common::Disk), (false, Common::Everything)] {
        let mut night = RoomNight::begin("2027-04-20T08:00");
        night.drum("a").holds(150.0).draws(4.0);
        night.until("2027-04-20T10:00");
        if disk_fails {
            night.event(Event::StoreFailed { why: "the disk hangs".to_owned() });
        }
        night.network_down(true);
        let said = night.until_said("2027-04-20T10:30");
        let Content::ReadingsMissing(ReadingsMissing::Silent { common: found, .. }) = &said[0].notice.content
        else {
            panic!("{said:?}")
        };
        assert_eq!(*found, common);
    }
}

#[test]
fn a_clock_that_was_set_is_told_once_and_wakes_nobody_for_a_few_minutes() {
    for (seconds, priority) in [(-3600, Priority::Soon), (30, Priority::Morning)] {
        let mut night = RoomNight::begin("2027-04-20T08:00");
        night.drum("a").holds(150.0).draws(4.0);
        night.until("2027-04-20T22:00");
        let by = SignedDuration::from_secs(seconds);
        let at = night.at("2027-04-20T22:00") + by;
        let said = night.event(Event::ClockStepped(ClockStep { by, at }));
        assert_eq!(said.len(), 1);
        assert_eq!((said[0].notice.cause.as_str(), said[0].notice.priority), ("clock", priority));
        assert_eq!(told(&night.minutes(20)), []);
    }
}
