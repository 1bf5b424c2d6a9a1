//! Clocks that are off, and the time in which nobody watched.

use claymark_notice::device_clock::{ClockFault, OffClock, ServerClock};
use claymark_notice::unwatched::Unwatched;

use super::*;

fn off(device: Option<&str>, sensors: &[&str], fault: ClockFault) -> OffClock {
    OffClock {
        device: device.map(id),
        sensors: sensors.iter().map(|sensor| id(sensor)).collect(),
        since: at("2027-04-20T19:00:00Z"),
        fault,
    }
}

fn steady(seconds: i64) -> ClockFault {
    ClockFault::Steady { ahead: SignedDuration::from_secs(seconds) }
}

fn server(ahead: i64) -> ServerClock {
    let ahead = SignedDuration::from_mins(ahead);
    ServerClock { since: at("2027-04-20T19:00:00Z"), ahead, off: 4, heard: 5 }
}

/// One of each that this file is about.
pub(super) fn every_kind() -> Vec<Content> {
    let told_at = at("2027-04-20T19:01:00Z");
    let clocks = [
        off(Some("gateway-1"), &["drum-a-level", "drum-b-level", "head-turbidity"], steady(3599)),
        off(None, &["drum-a-level"], steady(-7204)),
        off(None, &["head-turbidity", "drum-b-level"], steady(-200)),
        off(None, &["head-turbidity"], steady(130)),
        off(Some("gateway-1"), &["drum-a-level"], steady(-1_808_229_600)),
        off(Some("gateway-1"), &["drum-a-level", "drum-b-level"], ClockFault::Refused { messages: 21 }),
    ];
    let gap = |late, missing: &[&str]| Unwatched {
        from: at("2027-04-20T17:31:00Z"),
        to: at("2027-04-20T19:02:00Z"),
        late,
        missing: missing.iter().map(|sensor| id(sensor)).collect(),
    };
    let right = |because| Content::Withdrawn(Box::new(Withdrawn { told_at, because }));
    let mut all: Vec<Content> =
        clocks.iter().cloned().map(ReadingsMissing::DeviceClock).map(Content::ReadingsMissing).collect();
    all.extend([60, -60].map(|by| Content::ReadingsMissing(ReadingsMissing::ServerClock(server(by)))));
    all.extend([
        right(Because::DeviceClockRight(clocks[0].clone())),
        right(Because::DeviceClockRight(clocks[5].clone())),
        right(Because::ServerClockRight(server(60))),
        Content::ReadingsMissing(ReadingsMissing::Unwatched(gap(412, &["head-turbidity"]))),
        Content::ReadingsMissing(ReadingsMissing::Unwatched(gap(0, &["drum-a-level", "head-turbidity"]))),
    ]);
    all
}

#[test]
fn a_clock_that_is_off_is_named_with_what_becomes_of_its_readings() {
    let all: Vec<_> = every_kind()
        .into_iter()
        .map(|content| told(&site(), &notice("2027-04-20T19:05:00Z", content)))
        .collect();
    insta::assert_snapshot!(all.join("\n=====\n\n"));
}
