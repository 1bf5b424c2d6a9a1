//! The line through the minutes since the last refill or change: robust, and honest about its doubt.
//!
//! Bayesian weighted least squares of V = v - q x + b x²/2 on block medians: data with Tukey's bisquare
//! weights (tighter above than below, since foam reads high), and what was known before as extra rows
//! (volume and draw carried over the last change, curvature from earlier fills). Residuals of neighbouring
//! blocks hang together (aeration, foam), so the variance is multiplied by (1+r)/(1-r) with r their lag-1
//! correlation, the effective sample size of an AR(1) series (Bayley and Hammersley, J. R. Stat. Soc. Suppl.
//! 8:184, 1946, from memory), r corrected for its bias (1+4r)/n (Kendall, Biometrika 41:403, 1954, from
//! memory).

use super::line::{Line, Sym3};
use super::series::Point;
use super::stats::{NORMAL_PER_MAD, count, densest, median, robust_slope};
use super::tuning::{
    BISQUARE_ABOVE, BISQUARE_BELOW, BLOCKS, CARRIED_FREEDOM, DATA_ONLY_HOURS, DATA_ONLY_POINTS,
    FORGETTING_HOURS, LEAST_SCATTER_SHARE, OVERRULING_HOURS, PRIOR_CONFLICT, SCATTER_PRIOR_POINTS,
    SCATTER_SHARE, VOLUME_FLOOR_SHARE,
};

/// A number with its standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Belief {
    pub mean: f64,
    pub sd: f64,
}

/// What was known before the first point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Before {
    /// When the stretch of unchanged drawing began, hours since 1970.
    pub start: f64,
    /// Volume then, where it is continuous over the change.
    pub volume: Option<Belief>,
    /// Outflow then.
    pub draw: Option<Belief>,
    /// By which share the draw falls from the full drum to the heel.
    pub fading: Belief,
    /// Usual scatter of a minute, L, where it has been seen.
    pub scatter: Option<f64>,
    /// Litres from the heel to the full line.
    pub span: f64,
}

/// A fitted line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fit {
    /// Where the line starts: the newest point used, hours since 1970.
    pub at: f64,
    /// The line.
    pub line: Line,
    /// Standard deviation of single minutes, foam apart, L.
    pub scatter: f64,
    /// From the first point to the last, hours.
    pub spans: f64,
}

impl Fit {
    /// Expected volume at `t`.
    pub fn volume(&self, t: f64) -> f64 {
        self.line.mean(t - self.at)
    }

    /// The standard deviation of the draw.
    pub fn draw_sd(&self) -> f64 {
        self.line.covariance.qq.max(0.0).sqrt()
    }
}

/// Fits the points, oldest first; `None` when they and what was known before don't tell a draw.
pub(super) fn fit(points: &[Point], before: &Before) -> Option<Fit> {
    let (first, last) = (points.first()?, points.last()?);
    let spans = last.t - first.t;
    let alone = points.len() >= DATA_ONLY_POINTS && spans >= DATA_ONLY_HOURS;
    let slope = if alone { slope_of(points) } else { None };
    let guess = before.draw.map(|draw| draw.mean).or(slope)?;
    let scatter = scatter_of(points, guess, before);
    let blocks = blocks(points, last.t);
    let (known, spread) = solve(&blocks, last.t, before, guess, scatter)?;
    let alone = before
        .draw
        .zip(slope)
        .filter(|(draw, slope)| spans >= OVERRULING_HOURS && (slope - draw.mean).abs() > draw.sd);
    let line = alone.map_or(Some(known), |(draw, slope)| {
        let without = Before { draw: None, ..*before };
        let (data, data_spread) = solve(&blocks, last.t, &without, slope, scatter)?;
        let here = draw_at_start(&data, before.start - last.t);
        let conflict = (here.mean - draw.mean).abs() > PRIOR_CONFLICT * here.sd.hypot(draw.sd);
        // Foam can bend a slope, but then its line doesn't lie better among the points.
        Some(if conflict && data_spread <= spread { data } else { known })
    })?;
    Some(Fit { at: last.t, line, scatter, spans })
}

/// The fall of `points`, L/h.
pub(super) fn slope_of(points: &[Point]) -> Option<f64> {
    let pairs: Vec<_> = points.iter().map(|point| (point.t, point.v)).collect();
    robust_slope(&pairs).map(|slope| -slope)
}

/// A robust standard deviation of what points below the crowd miss it by: foam stands above.
pub(super) fn scatter_below(residuals: &mut [f64]) -> Option<f64> {
    let middle = densest(residuals)?;
    scatter_under(residuals, middle)
}

/// The same, of what points below `middle` miss it by.
fn scatter_under(residuals: &[f64], middle: f64) -> Option<f64> {
    let mut below: Vec<f64> = residuals.iter().map(|r| middle - r).filter(|gap| *gap >= 0.0).collect();
    median(&mut below).map(|mad| mad * NORMAL_PER_MAD)
}

fn scatter_of(points: &[Point], slope: f64, before: &Before) -> f64 {
    let recent = points.get(points.len().saturating_sub(SCATTER_POINTS)..).unwrap_or(points);
    let t0 = recent.first().map_or(0.0, |point| point.t);
    let local = slope_of(recent).filter(|_| recent.len() >= DATA_ONLY_POINTS).unwrap_or(slope);
    let mut residuals: Vec<f64> = recent.iter().map(|point| point.v + local * (point.t - t0)).collect();
    let seen = scatter_below(&mut residuals).unwrap_or(0.0);
    let usual = before.scatter.unwrap_or(SCATTER_SHARE * before.span);
    blend(seen, count(recent.len()), usual).max(LEAST_SCATTER_SHARE * before.span)
}

/// Root of the mean square of what is seen in `n` points and what is usual.
fn blend(seen: f64, n: f64, usual: f64) -> f64 {
    let squares = n * seen * seen + SCATTER_PRIOR_POINTS * usual * usual;
    (squares / (n + SCATTER_PRIOR_POINTS)).sqrt()
}

/// A block of minutes, `x` hours from the newest point.
struct Block {
    x: f64,
    v: f64,
    minutes: f64,
}

fn blocks(points: &[Point], newest: f64) -> Vec<Block> {
    let size = points.len().div_ceil(BLOCKS).max(1);
    // Counted from the newest, so that the last block is whole.
    let block = |chunk: &[Point]| {
        let mut v: Vec<f64> = chunk.iter().map(|point| point.v).collect();
        let mut t: Vec<f64> = chunk.iter().map(|point| point.t - newest).collect();
        Some(Block { x: median(&mut t)?, v: median(&mut v)?, minutes: count(chunk.len()) })
    };
    let mut blocks: Vec<Block> = points.rchunks(size).filter_map(block).collect();
    blocks.reverse();
    blocks
}

/// Iteratively reweighted least squares, starting from the slope `guess`: the line, and the spread of blocks about it.
fn solve(blocks: &[Block], newest: f64, before: &Before, guess: f64, scatter: f64) -> Option<(Line, f64)> {
    let n = count(blocks.len());
    let curve = Belief {
        mean: before.fading.mean * guess * guess / before.span,
        sd: before.fading.sd * guess * guess / before.span,
    };
    let statements = statements(before, curve, before.start - newest);
    let floor = VOLUME_FLOOR_SHARE * before.span;
    let bare = Line { v: 0.0, q: guess, b: curve.mean, covariance: Sym3::default(), freedom: 3.0, floor };
    let mut offsets = residuals(blocks, &bare);
    let minutes: f64 = blocks.iter().map(|block| block.minutes).sum();
    let usual = scatter / (minutes / n).sqrt();
    let mut sigma = blend(scatter_below(&mut offsets)?, n, usual);
    let mut line = Line { v: densest(&mut offsets)?, ..bare };
    let mut inflation = 1.0;
    for _ in 0..ROUNDS {
        let off = residuals(blocks, &line);
        let weights: Vec<f64> = off.iter().map(|r| bisquare(r / sigma)).collect();
        inflation = inflation_of(&off, &weights);
        line = solved(blocks, &weights, sigma * sigma * inflation, &statements, line)?;
        sigma = blend(scatter_under(&residuals(blocks, &line), 0.0)?, n, usual);
    }
    let carried = if before.draw.is_some() { CARRIED_FREEDOM } else { 0.0 };
    line.freedom = (n / inflation + carried - 2.0).max(3.0);
    Some((line, sigma))
}

fn residuals(blocks: &[Block], line: &Line) -> Vec<f64> {
    blocks.iter().map(|block| block.v - line.mean(block.x)).collect()
}

/// What was known before, as a row of coefficients and the value that they should give.
struct Statement {
    row: [f64; 3],
    is: Belief,
}

fn statements(before: &Before, curve: Belief, start: f64) -> Vec<Statement> {
    let volume = before.volume.map(|is| Statement { row: Line::row(start), is });
    let draw = before.draw.map(|is| Statement { row: [0.0, 1.0, -start], is });
    [volume, draw, Some(Statement { row: [0.0, 0.0, 1.0], is: curve })].into_iter().flatten().collect()
}

fn solved(
    blocks: &[Block],
    weights: &[f64],
    variance: f64,
    statements: &[Statement],
    old: Line,
) -> Option<Line> {
    let mut precision = Sym3::default();
    let mut sides = [0.0; 3];
    let mut add = |row: [f64; 3], value: f64, weight: f64| {
        precision.add(row, weight);
        for (side, coefficient) in sides.iter_mut().zip(row) {
            *side += weight * coefficient * value;
        }
    };
    for (block, weight) in blocks.iter().zip(weights) {
        let fresh = (block.x / FORGETTING_HOURS).exp();
        add(Line::row(block.x), block.v, weight * fresh / variance);
    }
    for Statement { row, is } in statements {
        add(*row, is.mean, 1.0 / (is.sd * is.sd));
    }
    let covariance = precision.inverse()?;
    let [v, q, b] = covariance.times(sides);
    Some(Line { v, q, b, covariance, ..old })
}

/// Tukey's weight of a residual in standard deviations.
fn bisquare(r: f64) -> f64 {
    let limit = if r > 0.0 { BISQUARE_ABOVE } else { BISQUARE_BELOW };
    let rest = (1.0 - (r / limit).powi(2)).max(0.0);
    rest * rest
}

/// (1+r)/(1-r) for the lag-1 correlation of the residuals that count.
fn inflation_of(residuals: &[f64], weights: &[f64]) -> f64 {
    let n: f64 = weights.iter().sum();
    if n < LEAST_FOR_CORRELATION {
        return correlated(USUAL_CORRELATION);
    }
    let weighted: Vec<f64> = residuals.iter().zip(weights).map(|(r, w)| r * w).collect();
    let squares: f64 = weighted.iter().map(|r| r * r).sum();
    let products: f64 = weighted.iter().zip(weighted.iter().skip(1)).map(|(a, b)| a * b).sum();
    let r = if squares > 0.0 { products / squares } else { 0.0 };
    correlated((r + (1.0 + 4.0 * r) / n).clamp(0.0, MOST_CORRELATION))
}

fn correlated(r: f64) -> f64 {
    (1.0 + r) / (1.0 - r)
}

fn draw_at_start(line: &Line, start: f64) -> Belief {
    let row = [0.0, 1.0, -start];
    Belief { mean: line.q - line.b * start, sd: line.covariance.form(row, row).max(0.0).sqrt() }
}

/// The newest minutes from which the scatter of a minute is taken.
const SCATTER_POINTS: usize = 60;
const ROUNDS: usize = 5;
/// With fewer weighted blocks the lag-1 correlation can't be told.
const LEAST_FOR_CORRELATION: f64 = 10.0;
const USUAL_CORRELATION: f64 = 0.3;
const MOST_CORRELATION: f64 = 0.9;
