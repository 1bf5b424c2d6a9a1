//! The yield of this lot of clay in this water, estimated while the room runs.
//!
//! The head tank answers what is fed as a stirred tank does, so y = N - Nb is held against the fed clay x in
//! mg/L *after* it has gone through the tank's own time constant: x' = x' + (x - x')(1 - exp(-Δt/τ)). Then
//! y = κ x', by recursive least squares through the origin with forgetting (Åström and Wittenmark, Adaptive
//! Control, on recursive least squares; from memory). A new lot of clay starts anew. Times near changes,
//! cleanings and faults are left out by whoever feeds it.
//!
//! Whether turbidity goes with x itself or with a power of it is asked by least squares on logarithms; the
//! power is taken only where the feed has varied enough to tell and one lies far outside its doubt.

use jiff::{SignedDuration, Timestamp};

use super::Yield;
use claymark_model::units::{Litres, LitresPerMinute, MilligramsPerLitre, Turbidity};

/// Watches the yield.
#[derive(Debug, Clone, Default)]
pub struct YieldWatch {
    /// The clay in the head tank by the feed, and when.
    filtered: Option<(Timestamp, f64)>,
    /// When the lot that is fed now was first fed.
    since: Option<Timestamp>,
    /// Everything since then, slowly forgotten.
    lot: Sums,
    /// The last hours alone.
    recent: Sums,
    /// For the exponent: logarithms, the last days.
    pairs: Vec<(f64, f64)>,
    /// Since when the recent hours lie off the lot.
    off_since: Option<Timestamp>,
    /// What had been learned before a restart.
    recalled: Option<Yield>,
    changes: Vec<YieldChange>,
}

/// What is fed and what is seen at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// When.
    pub at: Timestamp,
    /// Clay in the water that the feed would give at last.
    pub fed: MilligramsPerLitre,
    /// Fresh water through the head tank.
    pub water: LitresPerMinute,
    /// The head tank's turbidity above its background, the median of some minutes.
    pub above: Turbidity,
}

/// The yield is another than before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct YieldChange {
    /// Since about when.
    pub since: Timestamp,
    /// Before.
    pub from: Yield,
    /// Since then.
    pub to: Yield,
}

/// Sums of a regression through the origin, older samples counting less.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    weight: f64,
    xx: f64,
    xy: f64,
    yy: f64,
    at: Option<Timestamp>,
}

impl YieldWatch {
    /// Takes a sample; samples are some minutes apart, in order.
    pub fn take(&mut self, head_tank: Litres, sample: &Sample) {
        let pace = head_tank.0 / sample.water.0.max(f64::EPSILON);
        let Some(x) = self.filter(sample, pace) else { return };
        let y = sample.above.0;
        if x < LEAST_FED || y <= 0.0 {
            return;
        }
        let since = *self.since.get_or_insert(sample.at);
        self.recent.add(sample.at, (x, y), RECENT);
        if self.recent.weight >= RECENT_SAMPLES && self.is_off(sample.at) {
            self.take_change(since);
        } else if self.off_since.is_none() {
            self.lot.add(sample.at, (x, y), LOT);
            self.pairs.push((x.ln(), y.ln()));
            self.pairs.drain(..self.pairs.len().saturating_sub(PAIRS));
        }
    }

    /// What is fed was interrupted or disturbed: the tank must settle before anything counts.
    pub fn interrupt(&mut self) {
        self.filtered = None;
    }

    /// What had been learned before a restart: it stands until the lot has told as much again.
    pub fn recall(&mut self, learned: Yield) {
        self.recalled = Some(learned);
    }

    /// From now on another lot is fed.
    pub fn new_lot(&mut self) {
        *self = Self { changes: std::mem::take(&mut self.changes), ..Self::default() };
    }

    /// What the data say by now; `None`: too little.
    #[must_use]
    pub fn estimate(&self) -> Option<Yield> {
        let linear = self.lot.slope(self.since)?;
        let Some(power) = log_log(&self.pairs).filter(LogLog::needs_a_power) else { return Some(linear) };
        Some(Yield {
            ntu_per_mg_l: power.factor,
            sd: power.factor * power.factor_sd,
            exponent: power.exponent,
            ..linear
        })
    }

    /// The same, once it stands on the better part of a day; where it agrees with what was recalled, since then.
    #[must_use]
    pub fn settled(&self) -> Option<Yield> {
        let own = self.estimate().filter(|_| self.lot.weight >= SETTLED_SAMPLES)?;
        let agrees = |before: &Yield| own.lies_by(before, SIGMAS);
        let before = self.recalled.filter(agrees).and_then(|before| before.since);
        Some(Yield { since: before.into_iter().chain(own.since).min(), ..own })
    }

    /// What others may count on: what has settled, until then what was recalled.
    #[must_use]
    pub fn counted_on(&self) -> Option<Yield> {
        self.settled().or(self.recalled)
    }

    /// What changed since the last call.
    pub fn take_changes(&mut self) -> Vec<YieldChange> {
        std::mem::take(&mut self.changes)
    }

    /// The fed clay as the head tank has it by now; `None` until it has had the time to settle.
    fn filter(&mut self, sample: &Sample, pace: f64) -> Option<f64> {
        let target = sample.fed.0;
        let Some((at, held)) = self.filtered else {
            // Unknown what the tank held before: counted from three time constants on.
            let settled = SignedDuration::try_from_secs_f64(SETTLED * pace * 60.0).ok()?;
            self.filtered = Some((sample.at + settled, target));
            return None;
        };
        if sample.at < at {
            return None;
        }
        let gone = sample.at.duration_since(at).as_secs_f64() / 60.0;
        let held = held + (target - held) * (1.0 - (-gone / pace).exp());
        self.filtered = Some((sample.at, held));
        Some(held)
    }

    /// Whether the last hours have lain off the lot for long enough.
    fn is_off(&mut self, now: Timestamp) -> bool {
        let (Some(lot), Some(recent)) = (self.lot.slope(None), self.recent.slope(None)) else { return false };
        let apart = (recent.ntu_per_mg_l - lot.ntu_per_mg_l).abs();
        let doubt = recent.sd.hypot(lot.sd).max(LEAST_CHANGE * lot.ntu_per_mg_l / SIGMAS);
        if apart < SIGMAS * doubt {
            self.off_since = None;
            return false;
        }
        let since = *self.off_since.get_or_insert(now);
        now >= since + OFF_FOR
    }

    fn take_change(&mut self, before: Timestamp) {
        let (Some(since), Some(from)) = (self.off_since, self.lot.slope(Some(before))) else { return };
        if let Some(to) = self.recent.slope(Some(since)) {
            self.changes.push(YieldChange { since, from, to });
        }
        self.lot = self.recent;
        self.recalled = None;
        self.since = Some(since);
        self.pairs.clear();
        self.off_since = None;
    }
}

impl Sums {
    fn add(&mut self, at: Timestamp, (x, y): (f64, f64), forgetting: SignedDuration) {
        let gone = self.at.map_or(0.0, |last| at.duration_since(last).as_secs_f64());
        let keep = (-gone / forgetting.as_secs_f64()).exp();
        *self = Self {
            weight: self.weight * keep + 1.0,
            xx: self.xx * keep + x * x,
            xy: self.xy * keep + x * y,
            yy: self.yy * keep + y * y,
            at: Some(at),
        };
    }

    /// Slope through the origin; its deviation is never below what weighing and catching are worth.
    fn slope(&self, since: Option<Timestamp>) -> Option<Yield> {
        if self.weight < LEAST_SAMPLES || self.xx <= 0.0 {
            return None;
        }
        let slope = self.xy / self.xx;
        let rest = (self.yy - slope * self.xy).max(0.0) / (self.weight - 1.0);
        let sd = (rest / self.xx).sqrt().max(LEAST_DOUBT * slope);
        Some(Yield { ntu_per_mg_l: slope, sd, since, exponent: 1.0 })
    }
}

/// y = factor · x^exponent, fitted to logarithms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogLog {
    /// The value at x = 1.
    pub factor: f64,
    /// Its relative standard deviation.
    pub factor_sd: f64,
    /// The power.
    pub exponent: f64,
    /// Its standard deviation.
    pub exponent_sd: f64,
    /// Mean of the residuals' antilogarithms: what turns the typical value into the mean (Duan 1983; from memory).
    pub smearing: f64,
    /// Spread of ln x, as a standard deviation.
    spread: f64,
}

impl LogLog {
    /// The typical value at `x`.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        self.factor * x.powf(self.exponent)
    }

    /// The mean value at `x`.
    #[must_use]
    pub fn mean_at(&self, x: f64) -> f64 {
        self.smearing * self.at(x)
    }

    /// Whether one lies outside the exponent's doubt, told by a feed that varied enough.
    #[must_use]
    pub fn needs_a_power(&self) -> bool {
        let off = (self.exponent - 1.0).abs();
        self.spread >= LEAST_SPREAD && off >= POWER_SIGMAS * self.exponent_sd && off >= LEAST_POWER
    }
}

/// Ordinary least squares of ln y on ln x; `None` of fewer than three points or of one x.
#[must_use]
pub fn log_log(pairs: &[(f64, f64)]) -> Option<LogLog> {
    let n = u32::try_from(pairs.len()).ok().filter(|n| *n >= 3).map(f64::from)?;
    let mean = |of: fn(&(f64, f64)) -> f64| pairs.iter().map(of).sum::<f64>() / n;
    let (mx, my) = (mean(|pair| pair.0), mean(|pair| pair.1));
    let xx: f64 = pairs.iter().map(|(x, _)| (x - mx).powi(2)).sum();
    let xy: f64 = pairs.iter().map(|(x, y)| (x - mx) * (y - my)).sum();
    if xx <= f64::EPSILON {
        return None;
    }
    let exponent = xy / xx;
    let ln_factor = my - exponent * mx;
    let rests = || pairs.iter().map(|(x, y)| y - ln_factor - exponent * x);
    let variance = rests().map(|rest| rest * rest).sum::<f64>() / (n - 2.0);
    Some(LogLog {
        factor: ln_factor.exp(),
        factor_sd: (variance * (1.0 / n + mx * mx / xx)).sqrt(),
        exponent,
        exponent_sd: (variance / xx).sqrt(),
        smearing: rests().map(f64::exp).sum::<f64>() / n,
        spread: (xx / n).sqrt(),
    })
}

/// mg/L. Of less clay than this the background's wobble is most.
const LEAST_FED: f64 = 5.0;
/// Time constants after which a tank of unknown history has settled to 95 %.
const SETTLED: f64 = 3.0;
/// A lot lasts for weeks; what is older than some days counts little.
const LOT: SignedDuration = SignedDuration::from_hours(72);
/// The recent hours.
const RECENT: SignedDuration = SignedDuration::from_hours(2);
/// Samples needed for an estimate, and for one of the recent hours.
const LEAST_SAMPLES: f64 = 6.0;
/// See [`LEAST_SAMPLES`].
const RECENT_SAMPLES: f64 = 8.0;
/// Samples, of ten minutes, that others may count on.
const SETTLED_SAMPLES: f64 = 60.0;
/// Share. Scales, buckets and watches are no better (common practice, no source).
const LEAST_DOUBT: f64 = 0.02;
/// Standard deviations, and share, that a changed yield must differ by.
const SIGMAS: f64 = 4.0;
/// See [`SIGMAS`].
const LEAST_CHANGE: f64 = 0.12;
/// A yield that is off for so long has changed.
const OFF_FOR: SignedDuration = SignedDuration::from_hours(3);
/// Pairs of logarithms that are kept.
const PAIRS: usize = 1000;
/// Of ln x: the feed has varied by a quarter either way.
const LEAST_SPREAD: f64 = 0.2;
/// Standard deviations by which the exponent must differ from one, and by how much at least.
const POWER_SIGMAS: f64 = 4.0;
/// See [`POWER_SIGMAS`].
const LEAST_POWER: f64 = 0.03;

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minutes: i64) -> Timestamp {
        "2027-04-20T00:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_mins(minutes)
    }

    /// Ten-minute samples of a head tank of 450 L at 50 L/min whose feed steps about; noise ±2 %.
    fn run(watch: &mut YieldWatch, hours: std::ops::Range<i64>, cloud: impl Fn(f64) -> f64) {
        let mut held = 75.0;
        for step in hours.start * 6..hours.end * 6 {
            let fed = [60.0, 90.0, 75.0, 110.0, 50.0][usize::try_from(step / 18 % 5).unwrap()];
            held += (fed - held) * (1.0 - (-10.0_f64 / 9.0).exp());
            let noise = 1.0 + 0.02 * f64::from(i32::try_from(step * 7919 % 13).unwrap() - 6) / 6.0;
            let sample = Sample {
                at: at(step * 10),
                fed: MilligramsPerLitre(fed),
                water: LitresPerMinute(50.0),
                above: Turbidity(cloud(held) * noise),
            };
            watch.take(Litres(450.0), &sample);
        }
    }

    #[test]
    fn made_data_give_back_their_factor_and_exponent() {
        let pairs: Vec<_> = [10.0_f64, 25.0, 50.0, 100.0, 200.0, 1000.0]
            .map(|x| (x.ln(), (1.7 * x.powf(0.95)).ln()))
            .to_vec();
        let fit = log_log(&pairs).unwrap();
        assert!((fit.factor - 1.7).abs() < 1e-4 && (fit.exponent - 0.95).abs() < 1e-4, "{fit:?}");
        assert!((fit.smearing - 1.0).abs() < 1e-9 && fit.needs_a_power());
        assert_eq!(log_log(&pairs[..2]), None);
    }

    #[test]
    fn a_published_regression_of_sediment_on_turbidity_comes_out() {
        // USGS National Real-Time Water Quality, model information of station 03374100, parameter 99409 (as listed at
        // nrtwq.usgs.gov/explore/modelinfo; method: Rasmussen and others 2009, USGS TM 3-C4): 13 measurements,
        // log10 SSC = 0.3302 + 0.9682 log10 T, standard errors 0.1071 and 0.0606, mean squared error 0.006416,
        // smearing 1.015. Thirteen points that have these sums are made, and the fit must tell all six figures.
        let (intercept, slope, intercept_sd, slope_sd, mse) =
            (0.3302_f64, 0.9682_f64, 0.1071_f64, 0.0606_f64, 0.006_416_01_f64);
        let spread = mse / slope_sd.powi(2);
        let mean = ((intercept_sd.powi(2) / mse - 1.0 / 13.0) * spread).sqrt();
        let (mut pairs, unit) = (Vec::new(), (spread / 182.0).sqrt());
        // 1, -2, 1 at either end and in the middle are residuals without mean and slope.
        for (n, rest) in
            [1.0, -2.0, 1.0, 0.0, 0.0, 1.0, -2.0, 1.0, 0.0, 0.0, 1.0, -2.0, 1.0].into_iter().enumerate()
        {
            let x = mean + (f64::from(u8::try_from(n).unwrap()) - 6.0) * unit;
            let y = intercept + slope * x + rest * (mse * 11.0 / 18.0).sqrt();
            pairs.push((x * std::f64::consts::LN_10, y * std::f64::consts::LN_10));
        }
        let fit = log_log(&pairs).unwrap();
        assert!(
            (fit.factor.log10() - intercept).abs() < 1e-9 && (fit.exponent - slope).abs() < 1e-9,
            "{fit:?}"
        );
        assert!((fit.exponent_sd - slope_sd).abs() < 1e-9, "{fit:?}");
        assert!((fit.factor_sd / std::f64::consts::LN_10 - intercept_sd).abs() < 1e-9, "{fit:?}");
        // Smearing depends on the residuals themselves, not only on their squares.
        assert!((fit.smearing - 1.015).abs() < 0.002, "{fit:?}");
        assert!((fit.at(50.0) - 94.437).abs() < 1e-3 && fit.mean_at(50.0) > fit.at(50.0), "{fit:?}");
    }

    #[test]
    fn a_straight_yield_is_found_within_its_doubt_and_asks_for_no_power() {
        let mut watch = YieldWatch::default();
        run(&mut watch, 0..48, |x| 0.85 * x);
        let found = watch.estimate().unwrap();
        assert!((found.ntu_per_mg_l - 0.85).abs() < 2.0 * found.sd && found.sd < 0.03, "{found:?}");
        assert!((found.exponent - 1.0).abs() < 1e-12 && watch.take_changes().is_empty());
    }

    #[test]
    fn a_bent_yield_asks_for_its_power() {
        let mut watch = YieldWatch::default();
        run(&mut watch, 0..72, |x| 1.7 * x.powf(0.9));
        let found = watch.estimate().unwrap();
        assert!((found.exponent - 0.9).abs() < 0.03, "{found:?}");
    }

    #[test]
    fn a_new_lot_that_clouds_less_is_noticed_within_hours_with_its_time() {
        let mut watch = YieldWatch::default();
        run(&mut watch, 0..48, |x| 0.85 * x);
        run(&mut watch, 48..60, |x| 0.62 * x);
        let changes = watch.take_changes();
        let [change] = changes.as_slice() else { panic!("{changes:?}") };
        assert!((at(48 * 60)..at(52 * 60)).contains(&change.since), "{change:?}");
        assert!((change.from.ntu_per_mg_l - 0.85).abs() < 0.03, "{change:?}");
        assert!((change.to.ntu_per_mg_l - 0.62).abs() < 0.06, "{change:?}");
        let now = watch.estimate().unwrap();
        assert!((now.ntu_per_mg_l - 0.62).abs() < 0.05 && now.since == Some(change.since), "{now:?}");
    }

    #[test]
    fn a_short_disturbance_is_no_change_and_a_new_lot_starts_anew() {
        let mut watch = YieldWatch::default();
        run(&mut watch, 0..30, |x| 0.85 * x);
        run(&mut watch, 30..31, |x| 0.5 * x);
        run(&mut watch, 31..48, |x| 0.85 * x);
        assert_eq!(watch.take_changes(), []);
        watch.new_lot();
        assert_eq!(watch.estimate(), None);
    }
}
