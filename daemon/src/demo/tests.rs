//! The story of the demo, as its messages tell it.

use jiff::civil::date;
use jiff::tz::TimeZone;

use super::hatchery::{Hatchery, LOG};
use super::staff::Calendar;
use super::story::Story;
use crate::message::Message;
use crate::recording;

fn week(seed: u64) -> (Calendar, Vec<Message>) {
    let calendar = Calendar::new(TimeZone::get("Europe/Helsinki").unwrap(), date(2027, 4, 17));
    let start = calendar.at(0, 8, 0);
    let mut hatchery = Hatchery::new(Story::new(calendar.clone()), start, seed);
    let messages = hatchery.live_until(calendar.at(9, 8, 0));
    (calendar, messages)
}

fn levels(messages: &[Message]) -> Vec<(jiff::Timestamp, f64)> {
    let of_a = messages.iter().filter(|message| message.topic == "alder-bend/drum/a/level");
    of_a.filter_map(|message| {
        let json: serde_json::Value = serde_json::from_slice(&message.payload).ok()?;
        Some((json["t"].as_str()?.parse().ok()?, json["v"].as_f64()?))
    })
    .collect()
}

#[test]
fn messages_arrive_in_order_and_are_the_same_for_the_same_seed() {
    let (_, first) = week(1);
    assert!(first.is_sorted_by_key(|message| message.received_at));
    assert!((60_000..90_000).contains(&first.len()), "{}", first.len());
    let lines = |messages: &[Message]| messages.iter().map(recording::line).collect::<Vec<_>>();
    assert!(lines(&first) == lines(&week(1).1));
    assert!(lines(&first) != lines(&week(2).1));
}

#[test]
fn drum_a_runs_dry_before_the_morning_when_nobody_comes() {
    let (calendar, messages) = week(1);
    let mut night = levels(&messages);
    night.retain(|(at, _)| (calendar.at(4, 0, 0)..calendar.at(4, 7, 30)).contains(at));
    let mut last: Vec<f64> = night.iter().rev().take(31).map(|(_, mm)| *mm).collect();
    last.sort_by(f64::total_cmp);
    // The heel of 12 L stands about 50 mm high.
    assert!((40.0..60.0).contains(&last[15]), "{}", last[15]);
    assert!(night.first().unwrap().1 > 250.0);
}

#[test]
fn one_refill_of_drum_a_is_seen_by_its_level_and_by_nobody_else() {
    let (calendar, messages) = week(1);
    let afternoon = |at: &jiff::Timestamp| (calendar.at(4, 15, 0)..calendar.at(4, 16, 30)).contains(at);
    let mut seen = levels(&messages);
    seen.retain(|(at, _)| afternoon(at));
    assert!(seen.last().unwrap().1 - seen.first().unwrap().1 > 150.0);
    let logged = messages.iter().any(|message| {
        message.topic == LOG
            && afternoon(&message.received_at)
            && String::from_utf8_lossy(&message.payload).contains(r#""kind":"refill","at":"#)
            && String::from_utf8_lossy(&message.payload).contains(r#""drum":"a""#)
    });
    assert!(!logged);
}

#[test]
fn the_network_gap_ends_in_a_burst_of_old_readings() {
    let (calendar, messages) = week(1);
    let end = calendar.at(6, 15, 40);
    let in_gap = |message: &&Message| (calendar.at(6, 13, 11)..end).contains(&message.received_at);
    assert_eq!(messages.iter().filter(in_gap).filter(|message| message.topic != LOG).count(), 0);
    let burst = end..end + jiff::SignedDuration::from_secs(30);
    let count = messages.iter().filter(|message| burst.contains(&message.received_at)).count();
    assert!(count > 500, "{count}");
}
