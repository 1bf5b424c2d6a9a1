//! The last hours of one sensor, for rules that look at more than the newest value.

use claymark_model::median::median;
use std::collections::{BTreeMap, VecDeque};

use jiff::{SignedDuration, Timestamp};

use claymark_clay::trend::{Side, Trend};
use claymark_model::id::Id;
use claymark_model::reading::Assessed;

/// A value and its time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TracePoint {
    /// Minutes since 1970.
    pub(crate) t: f64,
    /// In the sensor's base unit.
    pub(crate) v: f64,
}

/// The usable readings of the last [`KEPT`], in order of time.
#[derive(Debug, Clone, Default)]
pub(crate) struct Trace {
    points: VecDeque<TracePoint>,
}

impl Trace {
    /// Takes a reading; the same time again replaces it, and strikes it out when it isn't usable any more.
    pub(crate) fn take(&mut self, now: Timestamp, assessed: &Assessed) {
        let t = minutes(assessed.reading.at);
        let place = self.points.partition_point(|point| point.t < t);
        let known = self.points.get(place).is_some_and(|point| point.t <= t);
        match (known, assessed.flag.usable()) {
            (true, true) => {
                if let Some(point) = self.points.get_mut(place) {
                    point.v = assessed.reading.value;
                }
            }
            (true, false) => drop(self.points.remove(place)),
            (false, true) => self.points.insert(place, TracePoint { t, v: assessed.reading.value }),
            (false, false) => {}
        }
        let oldest = minutes(now - KEPT);
        while self.points.front().is_some_and(|point| point.t < oldest) {
            self.points.pop_front();
        }
    }

    /// The readings from one minute to another, both included.
    pub(crate) fn between(&self, from: f64, to: f64) -> Vec<TracePoint> {
        let first = self.points.partition_point(|point| point.t < from);
        self.points.iter().skip(first).take_while(|point| point.t <= to).copied().collect()
    }

    /// When it comes down to `limit`; see [`Trace::reaches`].
    pub(crate) fn falls_to(&self, limit: f64, since: Timestamp) -> Option<Timestamp> {
        self.reaches(limit, since, Side::Falling)
    }

    /// When it comes to `limit` on the trend of its last minutes, none of them from before `since`.
    pub(crate) fn reaches(&self, limit: f64, since: Timestamp, side: Side) -> Option<Timestamp> {
        let newest = self.points.back()?.t;
        let recent = self.between(minutes(since).max(newest - TREND_MINUTES), newest);
        let points: Vec<_> = recent.iter().map(|point| (timestamp(point.t), point.v)).collect();
        let trend = Trend::through(&points)?;
        trend.at.checked_add(trend.until(limit, side)?.likely?).ok()
    }
}

/// The traces of all sensors but the drums' levels, which their watches keep.
#[derive(Debug, Default)]
pub(crate) struct Traces(BTreeMap<Id, Trace>);

impl Traces {
    /// Takes a reading.
    pub(crate) fn take(&mut self, now: Timestamp, assessed: &Assessed) {
        match self.0.get_mut(&assessed.reading.sensor) {
            Some(trace) => trace.take(now, assessed),
            None => {
                let mut trace = Trace::default();
                trace.take(now, assessed);
                self.0.insert(assessed.reading.sensor.clone(), trace);
            }
        }
    }

    /// Of one sensor; `None` while it hasn't spoken.
    pub(crate) fn of(&self, sensor: &Id) -> Option<&Trace> {
        self.0.get(sensor)
    }
}

/// Whether readings reach up to that minute: a trace that has ended tells nothing of now.
pub(crate) fn speaks(points: &[TracePoint], until: f64) -> bool {
    points.last().is_some_and(|point| until - point.t <= STALE_MINUTES)
}

/// The middle value of some points.
pub(crate) fn middle(points: &[TracePoint]) -> Option<f64> {
    median(&mut points.iter().map(|point| point.v).collect::<Vec<_>>())
}

/// How far neighbours lie apart, as the standard deviation of one: trends and steps don't count.
///
/// The differences of independent normal values have √2 times their deviation, and half of them are
/// smaller than 0.6745 of that.
pub(crate) fn scatter(points: &[TracePoint]) -> Option<f64> {
    let apart = points.iter().zip(points.iter().skip(1)).map(|(a, b)| (b.v - a.v).abs());
    median(&mut apart.collect::<Vec<_>>()).map(|half| half / (0.6745 * std::f64::consts::SQRT_2))
}

/// Minutes since 1970.
pub(crate) fn minutes(at: Timestamp) -> f64 {
    at.duration_since(Timestamp::UNIX_EPOCH).as_secs_f64() / 60.0
}

/// The time of so many minutes since 1970, to the second.
pub(crate) fn timestamp(minutes: f64) -> Timestamp {
    let since = SignedDuration::try_from_secs_f64((minutes * 60.0).round()).unwrap_or_default();
    Timestamp::UNIX_EPOCH.checked_add(since).unwrap_or(Timestamp::MAX)
}

/// min.
const STALE_MINUTES: f64 = 5.0;
/// min. A trend of so long is carried on.
const TREND_MINUTES: f64 = 20.0;
/// Longer than any failure takes to show.
const KEPT: SignedDuration = SignedDuration::from_hours(12);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scatter_sees_noise_and_neither_a_trend_nor_a_step() {
        let noise = [0.3, -1.2, 0.9, -0.4, 1.6, -0.8, 0.1, -1.5, 1.1, 0.4, -0.6, 0.7];
        let points = |f: &dyn Fn(f64) -> f64| -> Vec<TracePoint> {
            (0..120)
                .zip(noise.iter().cycle())
                .map(|(i, n)| TracePoint { t: f64::from(i), v: n + f(f64::from(i)) })
                .collect()
        };
        let plain = scatter(&points(&|_| 50.0)).unwrap();
        assert!((0.6..1.8).contains(&plain), "{plain}");
        for bent in [points(&|t| 50.0 + 0.05 * t), points(&|t| if t < 60.0 { 50.0 } else { 90.0 })] {
            assert!((scatter(&bent).unwrap() - plain).abs() < 0.1 * plain);
        }
        assert_eq!(scatter(&points(&|_| 0.0)[..1]), None);
    }

    #[test]
    fn minutes_and_times_are_the_same() {
        let at: Timestamp = "2027-04-20T18:10:30Z".parse().unwrap();
        assert_eq!(timestamp(minutes(at)), at);
    }
}
