//! An hourly line on draw and clay, kept for two weeks: what wears, wears over days.

use jiff::{SignedDuration, Timestamp};

use super::trace::{minutes, timestamp};

/// One line an hour.
#[derive(Debug, Default)]
pub(crate) struct Days {
    lines: Vec<DayLine>,
}

#[derive(Debug, Clone, Copy)]
struct DayLine {
    at: Timestamp,
    /// L/h.
    draw: f64,
    /// NTU above the background in the head tank.
    clay: f64,
}

/// A fall by a share a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Decline {
    pub(crate) per_day: f64,
    pub(crate) sd: f64,
    pub(crate) since: Timestamp,
}

impl Days {
    /// Takes note, once an hour.
    pub(crate) fn note(&mut self, at: Timestamp, draw: f64, clay: f64) {
        if draw > 0.0 && clay > 0.0 && self.lines.last().is_none_or(|last| last.at + EVERY <= at) {
            self.lines.retain(|line| line.at >= at - KEPT);
            self.lines.push(DayLine { at, draw, clay });
        }
    }

    /// How draw and clay declined since a time; `None` of less than two days.
    pub(crate) fn declines(&self, since: Option<Timestamp>) -> Option<(Decline, Decline)> {
        let lines: Vec<&DayLine> =
            self.lines.iter().filter(|line| since.is_none_or(|since| line.at >= since)).collect();
        let (first, last) = (lines.first()?, lines.last()?);
        if last.at.duration_since(first.at) < LEAST_SPAN || lines.len() < LEAST_LINES {
            return None;
        }
        Some((decline(&lines, |line| line.draw)?, decline(&lines, |line| line.clay)?))
    }
}

/// Least squares of the logarithm over days. Neighbouring hours hang together, so the deviation is doubled.
fn decline(lines: &[&DayLine], of: fn(&DayLine) -> f64) -> Option<Decline> {
    let days = |line: &DayLine| minutes(line.at) / (24.0 * 60.0);
    let n = f64::from(u32::try_from(lines.len()).ok()?);
    let mean = |of: &dyn Fn(&DayLine) -> f64| lines.iter().map(|line| of(line)).sum::<f64>() / n;
    let (mt, my) = (mean(&days), mean(&|line| of(line).ln()));
    let tt: f64 = lines.iter().map(|line| (days(line) - mt).powi(2)).sum();
    let ty: f64 = lines.iter().map(|line| (days(line) - mt) * (of(line).ln() - my)).sum();
    let slope = ty / tt;
    let rest: f64 = lines.iter().map(|line| (of(line).ln() - my - slope * (days(line) - mt)).powi(2)).sum();
    let since = timestamp(minutes(lines.first()?.at));
    (tt > 0.0).then(|| Decline { per_day: -slope, sd: 2.0 * (rest / (n - 2.0) / tt).sqrt(), since })
}

const EVERY: SignedDuration = SignedDuration::from_hours(1);
const KEPT: SignedDuration = SignedDuration::from_hours(14 * 24);
const LEAST_SPAN: SignedDuration = SignedDuration::from_hours(48);
const LEAST_LINES: usize = 30;

#[cfg(test)]
mod tests {
    use super::*;

    fn days(wear: f64, hours: i32) -> Days {
        let start: Timestamp = "2027-04-20T00:00:00Z".parse().unwrap();
        let mut days = Days::default();
        for hour in 0..hours {
            let left = (-wear * f64::from(hour) / 24.0).exp();
            let noise = 1.0 + 0.01 * f64::from(hour * 7919 % 13 - 6) / 6.0;
            days.note(
                start + SignedDuration::from_hours(hour.into()),
                12.5 * left * noise,
                63.0 * left / noise,
            );
        }
        days
    }

    #[test]
    fn a_few_percent_a_day_show_after_two_days_and_none_shows_none() {
        let (draw, clay) = days(0.03, 72).declines(None).unwrap();
        assert!((draw.per_day - 0.03).abs() < 3.0 * draw.sd && draw.per_day > 5.0 * draw.sd, "{draw:?}");
        assert!((clay.per_day - 0.03).abs() < 0.005, "{clay:?}");
        let (draw, _) = days(0.0, 72).declines(None).unwrap();
        assert!(draw.per_day.abs() < 3.0 * draw.sd, "{draw:?}");
        assert_eq!(days(0.03, 40).declines(None), None);
    }
}
