//! How much people are called, beside what they can bear.

use claymark_notice::figures::{AlarmFigures, FLOOD};

use crate::format::{self, number};

/// A line for each figure, with what is recommended beside it where somebody recommends something.
#[must_use]
pub fn figures(figures: &AlarmFigures) -> Vec<String> {
    let AlarmFigures { period, alarms, calls, waking, broken, flooded, most, standing, chattering } =
        *figures;
    vec![
        format!("In {}:", format::duration(period)),
        format!(
            "{alarms} {} raised or became worse: {} a day. At most 144 a day, one in ten minutes, can be handled (HSE, \
             Chemicals Information Sheet 6, 2000).",
            if alarms == 1 { "alarm was" } else { "alarms were" },
            number(figures.a_day(alarms), 1)
        ),
        format!(
            "{calls} calls went out for them, those included that were told again: {} a day.",
            number(figures.a_day(calls), 1)
        ),
        format!("{waking} of these calls woke somebody: {} a night.", number(figures.a_day(waking), 1)),
        format!(
            "{broken} {} kept.",
            if broken == 1 { "promise to come wasn't" } else { "promises to come weren't" }
        ),
        format!(
            "At most {most} {} came within ten minutes; more than {FLOOD} came in {} of the time, and it should be less than 1 %.",
            if most == 1 { "call" } else { "calls" },
            format::share(flooded)
        ),
        format!(
            "{standing} were still called for after a day; {chattering} came and went three times within an hour. Both should be none."
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::SignedDuration;

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
        let said = figures(&week).join("\n");
        assert!(said.contains("7 alarms were raised or became worse: 1.0 a day."), "{said}");
        assert!(
            said.contains("14 calls went out for them, those included that were told again: 2.0 a day."),
            "{said}"
        );
        assert!(
            said.contains("7 of these calls woke somebody: 1.0 a night.\n1 promise to come wasn't kept."),
            "{said}"
        );
    }
}
