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
    let parts: [&[&str]; 13] = [
        &[
            "The clock of device gateway-1 is 1 h fast: its readings are put right.",
            "Nothing is lost",
            "A whole number of half hours",
        ],
        &["2 h slow", "the sensor for level of", "A whole number of half hours"],
        &["3 min slow", "the device for turbidity of", "always sends so late"],
        &["2 min fast", "that drifts"],
        &["20929 days slow", "was never set"],
        &[
            "The times of device gateway-1 can't be right since 22:00",
            "21 messages of device gateway-1 within an hour",
            "put aside and not used",
        ],
        &["The server's clock may be 1 h slow: 4 of 5 devices say so.", "The server shows 22:05 now."],
        &["The server's clock may be 1 h fast: 4 of 5 devices say so.", "No reading's time is changed"],
        &["All clear. The clock of device gateway-1 is right again.", "It was off from 22:00 on."],
        &["What was put aside meanwhile is missing"],
        &["All clear. The server's clock and the devices' agree again."],
        &[
            "Nobody watched from 20:31 to 22:02.",
            "412 readings of that time came late",
            "None came from: turbidity of",
        ],
        &["No reading of that time has come since.", "None came from: level of"],
    ];
    for (said, parts) in all.iter().zip(parts) {
        for part in parts {
            assert!(said.contains(part), "'{part}' isn't in:\n{said}");
        }
    }
    assert_eq!(all.len(), parts.len());
}
