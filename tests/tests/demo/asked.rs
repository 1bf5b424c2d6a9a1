//! What can be asked of the demo's store: will a drum last, and what has happened.

use std::path::Path;

use serde_json::Value;

use super::{at, claymark, lines};

/// The answer of a command that reads the store.
fn asked(demo: &Path, command: &[&str]) -> String {
    let site = demo.join("site.toml");
    let site = site.to_str().unwrap();
    String::from_utf8(claymark(&[command, &["--config", site]].concat()).stdout).unwrap()
}

fn outlook(demo: &Path, at: &str, more: &[&str]) -> String {
    asked(demo, &[&["outlook", "--at", at], more].concat())
}

fn says(answer: &str, parts: &[&str]) {
    for part in parts {
        assert!(answer.contains(part), "'{part}' isn't in:\n{answer}");
    }
}

/// Times are those of the clocks in Helsinki.
pub fn whether_a_drum_lasts(demo: &Path) {
    // In use, at noon, and hands are there again at five.
    let noon = outlook(demo, "2027-04-20 12:00", &["--drum", "a", "--until", "tomorrow 07:30"]);
    says(&noon, &["As of Tue 20 Apr 12:00, until Wed 07:30 and 1 h beyond:\n\nDrum A: WILL NOT LAST.\n"]);
    says(&noon, &["Filled now and not again it won't last", "At 17:00 it must hold ", " or less ("]);
    says(&noon, &["Pump 1 was set to 76 rpm at Sat 08:05"]);
    // The fill of the evening lasts until seven, and not until half past twelve.
    let lasts = outlook(demo, "2027-04-20 17:00", &["--drum", "a", "--until", "tomorrow 07:00"]);
    says(&lasts, &["until Wed 07:00:\n\nDrum A: lasts.\n", "It lasts with "]);
    let beyond = outlook(demo, "2027-04-20 17:00", &["--drum", "a", "--until", "tomorrow 12:30"]);
    says(
        &beyond,
        &["until Wed 12:30:\n\nDrum A: WILL NOT LAST.\n", "Without a refill it lasts only with the pump at "],
    );
    // Idle.
    let idle = outlook(demo, "2027-04-20 17:00", &["--drum", "Drum C", "--until", "tomorrow 07:00"]);
    says(&idle, &["Drum C: NOT IN USE.\n", "Drawn from now on it would be dry about Wed "]);
    // After it ran out, before somebody came.
    let dry = outlook(demo, "2027-04-21 05:58", &["--drum", "a"]);
    says(
        &dry,
        &["Drum A: IS EMPTY.\n", "run empty at 05:5", "To fill it from 12 L now: ", "Full, it lasts: "],
    );
    // Silent since 13:09: by the pump, and it says so.
    let silent = outlook(demo, "2027-04-23 14:00", &["--drum", "b"]);
    says(&silent, &["This goes by the pump, not by the level, and is less sure.\n"]);
    says(&silent, &["Its level isn't believed since 13:09: the level sensor is silent.\n"]);
    // Before anything was known.
    let unknown = outlook(demo, "2027-04-17 07:05", &["--drum", "a"]);
    says(&unknown, &["Drum A: I DON'T KNOW.\n", "I don't know how much is in it or how long it lasts: "]);
}

/// The same arithmetic, told from the store: what differs is the hours before the last two days.
pub fn the_evening_says_the_same(demo: &Path) {
    let checks = lines(demo, "notices.ndjson");
    let checks: Vec<&Value> = checks.iter().filter(|notice| notice["kind"] == "evening-check").collect();
    for check in &checks {
        let (told, when) = (check["text"].as_str().unwrap(), at(check).to_string());
        let answer = outlook(demo, &when, &[]);
        let drums = |text: &str| -> Vec<String> {
            let heads = text.lines().filter(|line| line.starts_with("Drum "));
            heads.map(str::to_owned).collect()
        };
        assert_eq!(drums(told), drums(&answer), "{told}\n\n{answer}");
        for (said, again) in figures(told).iter().zip(figures(&answer)) {
            let off = (said.0 - again.0).abs();
            assert!(off <= 1.0, "{} L against {} L: {told}\n\n{answer}", said.0, again.0);
            assert!(
                (said.1 - again.1).abs() <= 0.5,
                "{} against {} L/h: {told}\n\n{answer}",
                said.1,
                again.1
            );
        }
        assert_eq!(figures(told).len(), 3, "{told}");
        // What was set long before is known as well.
        let set = |text: &str| text.matches(" was set to 76 rpm at ").count();
        assert_eq!(set(told), set(&answer), "{told}\n\n{answer}");
    }
    assert_eq!(checks.len(), 9);
}

/// Litres and L/h of each drum.
fn figures(text: &str) -> Vec<(f64, f64)> {
    let now = text.lines().filter_map(|line| line.strip_prefix("Now "));
    let figures = |line: &str| {
        let words: Vec<&str> = line.split_whitespace().collect();
        let before = |unit: &str| {
            let mut pairs = words.iter().zip(words.iter().skip(1));
            let (figure, _) = pairs.find(|(_, word)| word.trim_end_matches('.') == unit)?;
            figure.parse().ok()
        };
        Some((before("L")?, before("L/h")?))
    };
    now.filter_map(figures).collect()
}

/// The evidence of the week, in words.
pub fn what_happened(demo: &Path) {
    let monday = asked(demo, &["happened", "--since", "2027-04-17 08:00", "--at", "2027-04-26 07:59"]);
    for told in [
        "Drum A empties faster: its level falls by ",
        "Drum A ran empty: its level came down to the 12 L",
        "and nobody wrote it down, so its clay isn't known. Ask who filled it",
        "Drum B's level isn't believed from then on: the level ",
        "Drum C's level is believed again",
    ] {
        says(&monday, &[told]);
    }
    let night = ["happened", "--since", "2027-04-20 17:30", "--at", "2027-04-21 07:00", "--drum", "b"];
    says(&asked(demo, &night), &["Since Tue 17:30 nothing was seen to happen.\n"]);
}
