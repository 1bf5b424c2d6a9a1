//! Simpler ways to forecast, from the same readings.
//!
//! In their favour they are told truly when a refill was done or the pump began to draw, so that none of them
//! fits a line across a refill; and they smooth nothing more than medians of five minutes, as anybody would.

use claymark_clay::gauge::Gauge;
use claymark_model::reading::Assessed;
use claymark_model::site::Site;

use super::case::SaidEnd;

/// What a peer knows of one drum.
pub struct DrumHistory {
    gauge: Gauge,
    heel: f64,
    /// Hours by the gauge's own clock and litres, in order of time.
    points: Vec<(f64, f64)>,
    /// Hours: since then it falls.
    since: f64,
    /// L/h that Holt's method had before the last refill.
    trend: f64,
}

impl DrumHistory {
    /// Of one drum of the site.
    ///
    /// # Panics
    /// When the site has no such drum or it has no level sensor.
    #[must_use]
    pub fn new(site: &Site, drum: usize) -> Self {
        let drum = site.drums.get(drum).expect("the season has this drum");
        let sensor = site.level_sensor(&drum.id).expect("every drum of a season has one");
        let gauge = Gauge::of(drum, sensor, &site.clay).expect("it tells a level");
        Self { gauge, heel: drum.heel.0, points: Vec::new(), since: 0.0, trend: 0.0 }
    }

    /// A reading of the drum's level sensor; `at` in hours of the season.
    pub fn reading(&mut self, at: f64, assessed: &Assessed) {
        let place = self.points.partition_point(|(t, _)| *t < at);
        let known = self.points.get(place).is_some_and(|(t, _)| (t - at).abs() < 1e-9);
        if !assessed.flag.usable() {
            if known {
                self.points.remove(place);
            }
            return;
        }
        if let Some(litres) = self.gauge.volume(assessed.reading.value).filter(|_| !known) {
            self.points.insert(place, (at, litres.0));
        }
    }

    /// It doesn't simply fall now: whatever was before counts no more.
    pub fn disturbed(&mut self, now: f64) {
        if now - self.since > 0.5
            && let Some((_, trend)) = self.holt(now)
        {
            self.trend = trend;
        }
        self.since = now;
    }

    /// A line through now and two hours ago.
    #[must_use]
    pub fn two_points(&self, now: f64) -> Option<SaidEnd> {
        let bins = self.bins(now, 2.0);
        let ((t0, v0), (t1, v1)) = (bins.first()?, bins.last()?);
        let slope = (v1 - v0) / (t1 - t0);
        (t1 - t0 > SHORTEST).then(|| self.line(v1 - slope * t1, slope))
    }

    /// Least squares over six hours.
    #[must_use]
    pub fn least_squares(&self, now: f64) -> Option<SaidEnd> {
        let bins = self.bins(now, 6.0);
        let ((t0, _), (t1, _)) = (bins.first()?, bins.last()?);
        let n = f64::from(u32::try_from(bins.len()).ok()?);
        let (mt, mv) = bins.iter().fold((0.0, 0.0), |(a, b), (t, v)| (a + t / n, b + v / n));
        let (stt, stv) =
            bins.iter().fold((0.0, 0.0), |(a, b), (t, v)| (a + (t - mt).powi(2), b + (t - mt) * (v - mv)));
        (t1 - t0 > SHORTEST).then(|| self.line(mv - stv / stt * mt, stv / stt))
    }

    /// The median slope of all pairs of six hours, and the median intercept.
    #[must_use]
    pub fn theil_sen(&self, now: f64) -> Option<SaidEnd> {
        let bins = self.bins(now, 6.0);
        let ((t0, _), (t1, _)) = (bins.first()?, bins.last()?);
        if t1 - t0 <= SHORTEST {
            return None;
        }
        let mut slopes: Vec<f64> = bins
            .iter()
            .enumerate()
            .flat_map(|(i, (t, v))| bins.iter().skip(i + 1).map(move |(u, w)| (w - v) / (u - t)))
            .collect();
        let slope = median(&mut slopes)?;
        let mut intercepts: Vec<f64> = bins.iter().map(|(t, v)| v - slope * t).collect();
        Some(self.line(median(&mut intercepts)?, slope))
    }

    /// Holt's double exponential smoothing; the trend is carried over a refill.
    #[must_use]
    pub fn holt_said(&self, now: f64) -> Option<SaidEnd> {
        let (level, trend) = self.holt(now)?;
        Some(self.line(level, trend))
    }

    /// Medians of five minutes since the refill, for the Kalman filter of the reference library.
    #[must_use]
    pub fn newest_bin(&self, now: f64) -> Option<f64> {
        let bins = self.bins(now, BIN);
        bins.last().filter(|(t, _)| -*t <= BIN).map(|(_, v)| *v)
    }

    /// Litres above the heel count.
    #[must_use]
    pub fn heel(&self) -> f64 {
        self.heel
    }

    fn holt(&self, now: f64) -> Option<(f64, f64)> {
        let bins = self.bins(now, 48.0);
        let (first, rest) = bins.split_first()?;
        let (mut at, mut level) = *first;
        let mut trend = self.trend;
        if trend >= 0.0 {
            let (t, v) = rest.get(rest.len().min(6).checked_sub(1)?)?;
            trend = (v - level) / (t - at);
        }
        for (t, v) in rest {
            let steps = (t - at) / BIN;
            let expected = level + trend * (t - at);
            let keeps = 1.0 - (1.0 - HOLT_LEVEL).powf(steps);
            let new = expected + keeps * (v - expected);
            let slope = (new - level) / (t - at);
            trend += (1.0 - (1.0 - HOLT_TREND).powf(steps)) * (slope - trend);
            (at, level) = (*t, new);
        }
        Some((level - trend * at, trend))
    }

    /// Medians of five minutes of the last `window` hours; times from now.
    fn bins(&self, now: f64, window: f64) -> Vec<(f64, f64)> {
        let from = self.since.max(now - window);
        let points = self.points.get(self.points.partition_point(|(t, _)| *t < from)..).unwrap_or(&[]);
        points
            .chunk_by(|(t, _), (u, _)| (t / BIN).floor() >= (u / BIN).floor())
            .filter_map(|chunk| {
                let mut litres: Vec<f64> = chunk.iter().map(|(_, v)| *v).collect();
                let (first, last) = (chunk.first()?, chunk.last()?);
                Some((f64::midpoint(first.0, last.0) - now, median(&mut litres)?))
            })
            .collect()
    }

    fn line(&self, volume: f64, slope: f64) -> SaidEnd {
        SaidEnd::without_spread(
            if slope < 0.0 { (volume - self.heel).max(0.0) / -slope } else { f64::MAX },
            volume,
        )
    }
}

/// The median; sorts in place.
pub fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    (middle < values.len()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Hours of a bin.
pub const BIN: f64 = 5.0 / 60.0;
/// Hours that a line needs.
const SHORTEST: f64 = 0.2;
/// Shares of a new value in level and trend, a bin: the best of a grid on the tuning seeds.
const HOLT_LEVEL: f64 = 0.15;
const HOLT_TREND: f64 = 0.02;
