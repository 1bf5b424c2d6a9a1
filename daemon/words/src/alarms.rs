//! How much people are called, beside what they can bear.

use claymark_notice::figures::{AlarmFigures, FLOOD};
use jiff::SignedDuration;

use crate::format::{self, number};

/// One figure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlarmLine {
    /// What is counted.
    pub what: &'static str,
    /// How often, and how often a day where a day or more is counted.
    pub found: String,
    /// What is recommended, where somebody recommends something.
    pub wanted: String,
}

/// All figures, each by itself.
#[must_use]
pub fn lines(figures: &AlarmFigures) -> Vec<AlarmLine> {
    let rate = |count: usize, each: &str| {
        let rate = || format!(" ({} {each})", number(figures.a_day(count), 1));
        // Of a few hours nobody knows what a day would be.
        format!("{count}{}", if figures.period >= A_DAY { rate() } else { String::new() })
    };
    let line = |what, found, wanted: &str| AlarmLine { what, found, wanted: wanted.to_owned() };
    let none = "should be none";
    vec![
        line(
            "Alarms that were raised or became worse",
            rate(figures.alarms, "a day"),
            &bearable(figures.period),
        ),
        line("Calls for them, those included that were told again", rate(figures.calls, "a day"), ""),
        line("Calls that woke somebody", rate(figures.waking, "a night"), ""),
        line("Promises to come that weren't kept", figures.broken.to_string(), none),
        line(
            "Most calls within ten minutes",
            figures.most.to_string(),
            &format!("more than {FLOOD} are a flood"),
        ),
        line("Share of the time in flood", format::share(figures.flooded), "should be under 1 %"),
        line("Causes still called for after a day", figures.standing.to_string(), none),
        line("Causes that came and went three times within an hour", figures.chattering.to_string(), none),
    ]
}

/// The same as text, a line for each.
#[must_use]
pub fn figures(figures: &AlarmFigures) -> Vec<String> {
    let told = lines(figures).into_iter().map(|AlarmLine { what, found, wanted }| {
        let wanted = if wanted.is_empty() { wanted } else { format!("; {wanted}") };
        format!("{what}: {found}{wanted}.")
    });
    std::iter::once(format!("In {}:", format::duration(figures.period))).chain(told).collect()
}

/// One in ten minutes, told for as long as is counted.
fn bearable(period: SignedDuration) -> String {
    let most = |period: SignedDuration| period.as_secs() / TEN_MINUTES.as_secs();
    let in_time = if period >= A_DAY {
        format!("{} a day", most(A_DAY))
    } else {
        format!("{} in that time", most(period))
    };
    format!(
        "at most one in ten minutes, {in_time}, can be handled (HSE, Chemicals Information Sheet 6, 2000)"
    )
}

const A_DAY: SignedDuration = SignedDuration::from_hours(24);
const TEN_MINUTES: SignedDuration = SignedDuration::from_mins(10);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_week_in_words() {
        let week = AlarmFigures {
            period: SignedDuration::from_hours(168),
            alarms: 7,
            calls: 14,
            waking: 7,
            broken: 1,
            flooded: 0.0,
            most: 2,
            standing: 0,
            chattering: 0,
        };
        assert_eq!(
            figures(&week),
            [
                "In 7 days:",
                "Alarms that were raised or became worse: 7 (1.0 a day); at most one in ten minutes, 144 a day, can be handled \
                 (HSE, Chemicals Information Sheet 6, 2000).",
                "Calls for them, those included that were told again: 14 (2.0 a day).",
                "Calls that woke somebody: 7 (1.0 a night).",
                "Promises to come that weren't kept: 1; should be none.",
                "Most calls within ten minutes: 2; more than 10 are a flood.",
                "Share of the time in flood: 0 %; should be under 1 %.",
                "Causes still called for after a day: 0; should be none.",
                "Causes that came and went three times within an hour: 0; should be none.",
            ]
        );
        let said = figures(&AlarmFigures { period: SignedDuration::from_hours(5), ..week });
        assert_eq!(
            said[..3],
            [
                "In 5 h:",
                "Alarms that were raised or became worse: 7; at most one in ten minutes, 30 in that time, can be handled (HSE, \
                 Chemicals Information Sheet 6, 2000).",
                "Calls for them, those included that were told again: 14.",
            ],
            "a rate of a part of a day says nothing"
        );
    }
}
