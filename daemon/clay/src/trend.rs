//! A trend that noise can't bend, and how long until it reaches a limit: heater, oxygen, demand.
//!
//! The slope is the median of the slopes of all pairs of points, its interval from the distribution of
//! Kendall's tau (Theil 1950; Sen, J. Am. Stat. Assoc. 63:1379, 1968; both from memory, checked against
//! `scipy.stats.theilslopes`). It bears three readings in ten being wrong.
//!
//! The trend is carried on straight. Water that cools towards the room, or whose oxygen is breathed while
//! some still flows in, slows down on its way: the limit is then reached later, never earlier.

use claymark_model::median::median;
use claymark_model::units::SECONDS_PER_HOUR;
use jiff::{SignedDuration, Timestamp};

/// A line through points in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// The time of the last point.
    pub at: Timestamp,
    /// The value on the line then.
    pub value: f64,
    /// Change in an hour.
    pub per_hour: f64,
    /// The least change that fits, with 95 % confidence.
    pub least: f64,
    /// The greatest change that fits, with 95 % confidence.
    pub most: f64,
}

/// When a limit is reached, counted from the trend's last point; `None`: not on this trend.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Until {
    /// On the steepest line that fits.
    pub earliest: SignedDuration,
    /// On the line.
    pub likely: Option<SignedDuration>,
    /// On the flattest line that fits.
    pub latest: Option<SignedDuration>,
}

/// From which side a limit is reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The value falls to it.
    Falling,
    /// The value rises to it.
    Rising,
}

impl Trend {
    /// Through `points`, in order of time; `None` with fewer than [`FEWEST`] of them or no time between them.
    ///
    /// Of many points [`MOST`] are taken, evenly: more would tell little and cost much.
    #[must_use]
    pub fn through(points: &[(Timestamp, f64)]) -> Option<Self> {
        let step = points.len().div_ceil(MOST).max(1);
        // From the end, so that the newest point is among them.
        let mut taken: Vec<_> = points.iter().rev().step_by(step).copied().collect();
        taken.reverse();
        let (at, _) = *taken.last()?;
        let hours = |time: Timestamp| time.duration_since(at).as_secs_f64() / SECONDS_PER_HOUR;
        let taken: Vec<(f64, f64)> = taken.into_iter().map(|(time, value)| (hours(time), value)).collect();
        if taken.len() < FEWEST {
            return None;
        }
        let mut slopes = pairwise(&taken);
        // The interval goes by ranks; the median alone leaves them in any order.
        slopes.sort_unstable_by(f64::total_cmp);
        let per_hour = median(&mut slopes.clone())?;
        let (least, most) = sen_interval(&slopes, taken.len())?;
        // The line goes through the median point, as Theil's does; at the last point hours are zero.
        let middle = |of: fn(&(f64, f64)) -> f64| median(&mut taken.iter().map(of).collect::<Vec<_>>());
        let value = middle(|point| point.1)? - per_hour * middle(|point| point.0)?;
        Some(Self { at, value, per_hour, least, most })
    }

    /// The value on the line at a time.
    #[must_use]
    pub fn value_at(&self, time: Timestamp) -> f64 {
        self.value + self.per_hour * time.duration_since(self.at).as_secs_f64() / SECONDS_PER_HOUR
    }

    /// When the value comes to `limit` from that side; `None` where no line that fits leads there. A limit that
    /// is already passed is reached at once.
    #[must_use]
    pub fn until(&self, limit: f64, side: Side) -> Option<Until> {
        let (steep, flat) = match side {
            Side::Falling => (self.least, self.most),
            Side::Rising => (self.most, self.least),
        };
        let after = |slope: f64| self.after(limit, side, slope);
        Some(Until { earliest: after(steep)?, likely: after(self.per_hour), latest: after(flat) })
    }

    /// Whether it goes that way beyond doubt: even the flattest line that fits does.
    #[must_use]
    pub fn goes(&self, side: Side) -> bool {
        match side {
            Side::Falling => self.most < 0.0,
            Side::Rising => self.least > 0.0,
        }
    }

    fn after(&self, limit: f64, side: Side, slope: f64) -> Option<SignedDuration> {
        let (gap, speed) = match side {
            Side::Falling => (self.value - limit, -slope),
            Side::Rising => (limit - self.value, slope),
        };
        if gap <= 0.0 {
            return Some(SignedDuration::ZERO);
        }
        let hours = gap / speed;
        // Beyond a year nothing is told of a trend of hours or days.
        (speed > 0.0 && hours < LONGEST_HOURS)
            .then(|| SignedDuration::try_from_secs_f64(hours * SECONDS_PER_HOUR).ok())
            .flatten()
    }
}

/// Of every two points that aren't at the same time.
fn pairwise(points: &[(f64, f64)]) -> Vec<f64> {
    let mut slopes = Vec::with_capacity(points.len() * points.len().saturating_sub(1) / 2);
    for (later, (x2, y2)) in points.iter().enumerate() {
        let earlier = points.iter().take(later).filter(|(x1, _)| x2 > x1);
        slopes.extend(earlier.map(|(x1, y1)| (y2 - y1) / (x2 - x1)));
    }
    slopes
}

/// Sen 1968: ranks about the middle by the normal approximation of Kendall's tau, without ties.
fn sen_interval(sorted: &[f64], points: usize) -> Option<(f64, f64)> {
    let (n, pairs) = (count(points), count(sorted.len()));
    let spread = Z_95 * (n * (n - 1.0) * (2.0 * n + 5.0) / 18.0).sqrt();
    let at = |rank: f64| {
        let last = sorted.len().checked_sub(1)?;
        (0..=last).find(|place| count(*place) >= rank.round()).or(Some(last))
    };
    let low = at((pairs - spread) / 2.0 - 1.0)?;
    let high = at((pairs + spread) / 2.0)?;
    Some((*sorted.get(low)?, *sorted.get(high)?))
}

#[expect(clippy::cast_precision_loss, clippy::as_conversions, reason = "at most some thousand pairs")]
fn count(number: usize) -> f64 {
    number as f64
}

/// With fewer points the interval says nothing.
pub const FEWEST: usize = 5;
/// With more points the slope hardly gets better.
pub const MOST: usize = 120;
const LONGEST_HOURS: f64 = 366.0 * 24.0;
/// The 97.5 % quantile of the normal distribution.
const Z_95: f64 = 1.959_963_984_540_054;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn minutes(values: &[f64], every: i64) -> Vec<(Timestamp, f64)> {
        let start: Timestamp = "2027-04-20T00:00:00Z".parse().unwrap();
        let at = |n: usize| start + SignedDuration::from_mins(every * i64::try_from(n).unwrap());
        values.iter().enumerate().map(|(n, value)| (at(n), *value)).collect()
    }

    #[test]
    fn the_line_is_theil_and_sens() {
        // Hours 0 to 5 (scipy.stats.theilslopes 1.17.1): slope -8, intercept 100,
        // 95 % interval of the slope -9 to -7.
        let trend = Trend::through(&minutes(&[100.0, 92.0, 85.0, 75.0, 69.0, 60.0], 60)).unwrap();
        assert!((trend.per_hour - -8.0).abs() < 1e-12, "{trend:?}");
        assert!((trend.value - 60.0).abs() < 1e-12, "at hour 5: 100 - 5 * 8");
        assert!((trend.least - -9.0).abs() < 1e-12 && (trend.most - -7.0).abs() < 1e-12, "{trend:?}");
        assert!(trend.goes(Side::Falling) && !trend.goes(Side::Rising));
        let until = trend.until(0.0, Side::Falling).unwrap();
        assert_eq!(until.likely, Some(SignedDuration::from_mins(450)), "60 / 8 h");
        assert!(until.earliest < until.likely.unwrap() && until.likely < until.latest);
    }

    #[test]
    fn the_interval_goes_by_the_ranks_of_slopes_however_they_come() {
        // scipy.stats.theilslopes 1.17.1.
        let points = minutes(&[20.0, 14.0, 19.0, 17.5, 30.0, 16.0, 13.0, 15.0, 11.0], 60);
        let trend = Trend::through(&points).unwrap();
        assert!((trend.per_hour - -4.9 / 6.0).abs() < 1e-12, "{trend:?}");
        assert!((trend.least - -1.5).abs() < 1e-12 && (trend.most - 1.0 / 6.0).abs() < 1e-12, "{trend:?}");
    }

    #[test]
    fn a_heater_that_failed_is_seen_through_noise_and_a_lifted_probe() {
        // 20 °C falling by 0.6 °C an hour, a reading a minute for half an hour, 0.03 °C of noise, and three
        // readings from a probe that was lifted out: 19 °C is 0.7 °C below the line's end, 70 min away.
        let noise = |n: usize| 0.03 * (f64::from(u32::try_from(n).unwrap()) * 2.399).sin();
        let mut values: Vec<f64> =
            (0..31).map(|n| 20.0 - 0.01 * f64::from(u32::try_from(n).unwrap()) + noise(n)).collect();
        for lifted in [7, 8, 9] {
            values[lifted] = 12.0;
        }
        let trend = Trend::through(&minutes(&values, 1)).unwrap();
        assert!((trend.per_hour - -0.6).abs() < 0.06, "{trend:?}");
        let until = trend.until(19.0, Side::Falling).unwrap();
        let likely = until.likely.unwrap().as_secs() / 60;
        assert!((62..=78).contains(&likely), "{likely} min");
        assert!(
            until.earliest.as_secs() / 60 <= 70 && until.latest.unwrap().as_secs() / 60 >= 70,
            "{until:?}"
        );
        assert_eq!(trend.until(25.0, Side::Rising), None, "it doesn't go there");
    }

    #[test]
    fn a_limit_that_is_passed_is_reached_at_once_and_a_flat_line_leads_nowhere() {
        let flat = Trend::through(&minutes(&[8.0; 12], 1)).unwrap();
        assert!(!flat.goes(Side::Falling) && !flat.goes(Side::Rising));
        assert_eq!(flat.until(6.0, Side::Falling), None);
        assert_eq!(flat.until(8.5, Side::Falling).unwrap().earliest, SignedDuration::ZERO);
        assert_eq!(Trend::through(&minutes(&[8.0; 4], 1)), None, "four points are too few");
        assert_eq!(Trend::through(&minutes(&[8.0; 9], 0)), None, "no time between them");
    }

    proptest! {
        #[test]
        fn a_faster_fall_or_a_nearer_limit_never_leaves_more_time(
            start in 5.0..25.0_f64, fall in 0.1..3.0_f64, faster in 1.0..4.0_f64, limit in 1.0..4.5_f64,
        ) {
            let values = |fall: f64| -> Vec<f64> {
                (0..20).map(|n| start - fall / 60.0 * f64::from(n)).collect()
            };
            let until = |fall: f64, limit: f64| {
                Trend::through(&minutes(&values(fall), 1)).unwrap().until(limit, Side::Falling).unwrap().likely
            };
            prop_assert!(until(fall * faster, limit) <= until(fall, limit));
            prop_assert!(until(fall, limit) <= until(fall, limit - 0.5));
        }
    }
}
