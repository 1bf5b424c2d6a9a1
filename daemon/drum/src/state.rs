//! The state of one drum at one minute: an extended Kalman filter over a state vector of eleven numbers.
//!
//! | number | meaning | unit |
//! |---|---|---|
//! | V | volume, heel included | L |
//! | a | ln of the draw at the full line, at the present setting | ln L/h |
//! | β₁, β₂ | how the draw falls with the level | – |
//! | r | what the level reads too much by ripple | L |
//! | f | what it reads too much by foam that stands on it; 0 unless a hypothesis says so | L |
//! | d | how fast `a` falls by and by, as the tube wears | 1/h |
//! | c₁, s₁, c₂, s₂ | what the level reads too much by the time of day, as sensor and slurry warm and cool | L |
//!
//! With u = (full − V) / (full − heel) the draw is q(V) = exp(a − β₁ u − β₂ u²), and dV/dt = −q(V) while the
//! pump draws and the volume is above the heel, else 0, and da/dt = −d. Logarithms keep the draw positive, and make wear, a
//! new setting and a clog shifts of `a` alone; β₁ and β₂ belong to drum and pump, are learned over many fills
//! and carried over refills, and so are d and the daily swing. With ω = 2π/24 h a minute reads
//!
//! y = V + c₁ cos ωt + s₁ sin ωt + c₂ cos 2ωt + s₂ sin 2ωt + r + f + e.
//!
//! Prediction and update are those of the extended Kalman filter (Jazwinski, Stochastic Processes and
//! Filtering Theory, 1970, chapter 8, from memory). Only five numbers move in a prediction, so it mixes their rows and
//! columns of the covariance alone; the update takes away a symmetric product, so the covariance stays symmetric.

#![expect(clippy::indexing_slicing, reason = "constant places in matrices of fixed size")]

use nalgebra::{SMatrix, SVector};

use super::facts::Facts;
use super::hours::MINUTES_PER_HOUR;
use super::tuning::{
    CURVE_PRIOR, CURVE_PROCESS_NOISE, CURVE_SD, DAILY_PROCESS_NOISE, DAILY_SHARE, DRAW_PROCESS_NOISE,
    DRIFT_PROCESS_NOISE, DRIFT_SD, FIRST_DRAW_HOURS, FIRST_DRAW_SD, FROTH_STANDS_HOURS, LONGEST_STEP,
    VOLUME_PROCESS_NOISE,
};

/// The state vector, in the order of the table above.
type StateVector = SVector<f64, COUNT>;
/// Factors of a sum over the state vector: an observation row, or a gradient.
pub(super) type StateRow = SVector<f64, COUNT>;
type Covariance = SMatrix<f64, COUNT, COUNT>;

const COUNT: usize = 11;
const V: usize = 0;
const A: usize = 1;
const B1: usize = 2;
const B2: usize = 3;
const R: usize = 4;
const F: usize = 5;
const D: usize = 6;
const C1: usize = 7;
const S1: usize = 8;
const C2: usize = 9;
const S2: usize = 10;

/// The observation row of a reading at `t` (h since 1970): which of the state it is the sum of, with their factors.
pub(super) fn observation_row(t: f64) -> StateRow {
    let (s1, c1) = (t * std::f64::consts::TAU / 24.0).sin_cos();
    let mut row = StateRow::zeros();
    (row[V], row[R], row[F]) = (1.0, 1.0, 1.0);
    (row[C1], row[S1], row[C2], row[S2]) = (c1, s1, c1 * c1 - s1 * s1, 2.0 * s1 * c1);
    row
}

/// A number that is known so well: its mean and standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Gaussian {
    pub mean: f64,
    pub sd: f64,
}

/// Heel, full line and what lies between, L.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DrumSize {
    pub heel: f64,
    pub full: f64,
    pub span: f64,
    pub brim: f64,
}

impl DrumSize {
    /// Of a drum.
    pub fn of(facts: &Facts) -> Self {
        Self { heel: facts.heel, full: facts.full, span: facts.span(), brim: facts.brim() }
    }

    /// How far below the full line, 0 to 1 at the heel; a little beyond both.
    pub fn depth(&self, volume: f64) -> f64 {
        ((self.full - volume) / self.span).clamp(-0.3, 1.1)
    }
}

/// How restless the level is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ripple {
    /// Standard deviation of the part that lasts, L.
    pub lasting: f64,
    /// Of the part that is new each minute, L.
    pub fresh: f64,
    /// Correlation of the lasting part from one minute to the next.
    pub per_minute: f64,
}

/// Mean of the state vector, and its covariance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct State {
    mean: StateVector,
    cov: Covariance,
}

impl State {
    /// At a first reading of `volume` with `draw` (ln L/h), where something is known of it.
    pub fn first(size: &DrumSize, volume: Gaussian, draw: Option<Gaussian>) -> Self {
        let usual = Gaussian { mean: (size.span / FIRST_DRAW_HOURS).ln(), sd: FIRST_DRAW_SD };
        let draw = draw.unwrap_or(usual);
        let mut mean = StateVector::zeros();
        (mean[V], mean[A], mean[B1], mean[B2]) = (volume.mean, draw.mean, CURVE_PRIOR.0, CURVE_PRIOR.1);
        let mut sd = StateVector::zeros();
        (sd[V], sd[A], sd[B1], sd[B2], sd[R]) = (volume.sd, draw.sd, CURVE_SD.0, CURVE_SD.1, volume.sd);
        sd[D] = DRIFT_SD;
        let (day, half) = (DAILY_SHARE.0 * size.span, DAILY_SHARE.1 * size.span);
        (sd[C1], sd[S1], sd[C2], sd[S2]) = (day, day, half, half);
        Self { mean, cov: Covariance::from_diagonal(&sd.component_mul(&sd)) }
    }

    /// Litres.
    pub fn volume(&self) -> Gaussian {
        Gaussian { mean: self.mean[V], sd: self.cov[(V, V)].max(0.0).sqrt() }
    }

    /// Ln of the draw at the full line.
    pub fn log_draw(&self) -> Gaussian {
        Gaussian { mean: self.mean[A], sd: self.cov[(A, A)].max(0.0).sqrt() }
    }

    /// L/h at `volume` if the pump draws, and the standard deviation of its logarithm.
    pub fn draw_at(&self, size: &DrumSize, volume: f64) -> Gaussian {
        let row = log_draw_row(size.depth(volume));
        Gaussian { mean: row.dot(&self.mean).exp(), sd: self.variance_along(&row).sqrt() }
    }

    /// The row of the volume.
    pub fn volume_row() -> StateRow {
        StateRow::ith(V, 1.0)
    }

    /// row · mean of the state vector.
    pub fn along(&self, row: &StateRow) -> f64 {
        row.dot(&self.mean)
    }

    /// Variance of row · state vector.
    pub fn variance_along(&self, row: &StateRow) -> f64 {
        (self.cov * row).dot(row).max(0.0)
    }

    /// Goes on by `hours`, with the pump drawing or not.
    pub fn predict(&mut self, size: &DrumSize, hours: f64, draws: bool, ripple: &Ripple, froth_sd: f64) {
        let mut left = hours;
        while left > 0.0 {
            let step = left.min(LONGEST_STEP);
            self.predict_step(size, step, draws, ripple, froth_sd);
            left -= step;
        }
    }

    fn predict_step(&mut self, size: &DrumSize, hours: f64, draws: bool, ripple: &Ripple, froth_sd: f64) {
        let volume = self.mean[V];
        let u = size.depth(volume);
        let over = volume - size.heel;
        let q = if draws && over > 0.0 { log_draw_row(u).dot(&self.mean).exp() } else { 0.0 };
        let drawn = (q * hours).min(over.max(0.0));
        let steepness = (self.mean[B1] + 2.0 * self.mean[B2] * u) / size.span;
        let kept = ripple.per_minute.powf(hours * MINUTES_PER_HOUR);
        let stays = (-hours / FROTH_STANDS_HOURS).exp();
        self.mean[V] = volume - drawn * (1.0 - drawn * steepness / 2.0);
        self.mean[A] -= hours * self.mean[D];
        self.mean[R] *= kept;
        self.mean[F] *= stays;
        // Rows and columns other than these stay as they are.
        let of_volume = [(A, -drawn), (B1, drawn * u), (B2, drawn * u * u)];
        self.mix(V, 1.0 - drawn * steepness, &of_volume);
        self.mix(A, 1.0, &[(D, -hours)]);
        self.mix(R, kept, &[]);
        self.mix(F, stays, &[]);
        // Process noise.
        self.cov[(V, V)] += VOLUME_PROCESS_NOISE.powi(2) * size.span.powi(2) * hours;
        self.cov[(A, A)] += DRAW_PROCESS_NOISE.powi(2) * hours;
        self.cov[(B1, B1)] += CURVE_PROCESS_NOISE.powi(2) * hours;
        self.cov[(B2, B2)] += CURVE_PROCESS_NOISE.powi(2) * hours;
        self.cov[(R, R)] += ripple.lasting.powi(2) * (1.0 - kept * kept);
        self.cov[(F, F)] += froth_sd.powi(2) * (1.0 - stays * stays);
        self.cov[(D, D)] += DRIFT_PROCESS_NOISE.powi(2) * hours;
        let daily = (DAILY_PROCESS_NOISE * size.span).powi(2) * hours;
        for place in [C1, S1, C2, S2] {
            self.cov[(place, place)] += daily;
        }
    }

    /// That number of the state becomes `share` of itself and so much of others: its row and column of the covariance.
    fn mix(&mut self, place: usize, share: f64, others: &[(usize, f64)]) {
        let mut column = self.cov.column(place) * share;
        for (other, factor) in others {
            column.axpy(*factor, &self.cov.column(*other), 1.0);
        }
        let own =
            others.iter().fold(share * column[place], |sum, (other, factor)| sum + factor * column[*other]);
        column[place] = own;
        self.cov.set_column(place, &column);
        self.cov.set_row(place, &column.transpose());
    }

    /// What the level reads without ripple and foam, L.
    pub fn level(&self, row: &StateRow) -> f64 {
        self.mean[V] + self.daily(row)
    }

    /// What it reads too much at that time of the day, L.
    pub fn daily(&self, row: &StateRow) -> f64 {
        [C1, S1, C2, S2].into_iter().map(|place| row[place] * self.mean[place]).sum()
    }

    /// What a minute is expected to read, and the variance of the innovation.
    pub fn expected(&self, row: &StateRow, ripple: &Ripple) -> (f64, f64) {
        (row.dot(&self.mean), self.variance_along(row) + ripple.fresh.powi(2))
    }

    /// Takes a minute that counts with `weight` (above 0, at most 1).
    pub fn update(&mut self, row: &StateRow, reads: f64, weight: f64, ripple: &Ripple) {
        let noise = ripple.fresh.powi(2) / weight + (1.0 - weight) / weight * ripple.lasting.powi(2);
        self.update_with(row, reads, noise);
    }

    /// Takes a volume that was found otherwise.
    pub fn observe_volume(&mut self, volume: Gaussian) {
        self.update_with(&StateRow::ith(V, 1.0), volume.mean, volume.sd.powi(2));
    }

    /// Takes a draw at the full line (ln L/h) that was found otherwise.
    pub fn observe_log_draw(&mut self, draw: Gaussian) {
        self.update_with(&StateRow::ith(A, 1.0), draw.mean, draw.sd.powi(2));
    }

    /// The Kalman update by one observation with that variance of its noise.
    fn update_with(&mut self, row: &StateRow, value: f64, noise: f64) {
        let crossed = self.cov * row;
        let variance = crossed.dot(row) + noise;
        let innovation = value - row.dot(&self.mean);
        self.mean += crossed * (innovation / variance);
        self.cov.ger(-1.0 / variance, &crossed, &crossed, 1.0);
    }

    /// The volume is another from here on, and nothing else is.
    pub fn set_volume(&mut self, volume: Gaussian, ripple: &Ripple) {
        for place in [V, R, F] {
            self.cov.fill_row(place, 0.0);
            self.cov.fill_column(place, 0.0);
        }
        self.mean[V] = volume.mean;
        self.mean[R] = 0.0;
        self.mean[F] = 0.0;
        self.cov[(V, V)] = volume.sd.powi(2);
        self.cov[(R, R)] = ripple.lasting.powi(2);
    }

    /// Foam stands on the level by so much.
    pub fn set_froth(&mut self, litres: Gaussian) {
        self.mean[F] = litres.mean;
        self.cov.fill_row(F, 0.0);
        self.cov.fill_column(F, 0.0);
        self.cov[(F, F)] = litres.sd.powi(2);
    }

    /// How high foam stands, L.
    pub fn froth_height(&self) -> f64 {
        self.mean[F]
    }

    /// What was taken for foam is of the volume.
    pub fn froth_was_volume(&mut self) {
        let mut moved = Covariance::identity();
        moved[(V, F)] = 1.0;
        moved[(F, F)] = 0.0;
        self.mean[V] += self.mean[F];
        self.mean[F] = 0.0;
        self.cov = moved * self.cov * moved.transpose();
    }

    /// Litres were added (or taken out), this sure.
    pub fn add_volume(&mut self, added: Gaussian) {
        self.mean[V] += added.mean;
        self.cov[(V, V)] += added.sd.powi(2);
    }

    /// The draw is another by this share (ln), this sure.
    pub fn shift_draw(&mut self, by: Gaussian) {
        self.mean[A] += by.mean;
        self.cov[(A, A)] += by.sd.powi(2);
    }
}

/// Of which of the state ln q is the sum at that depth.
pub(super) fn log_draw_row(u: f64) -> StateRow {
    let mut row = StateRow::zeros();
    (row[A], row[B1], row[B2]) = (1.0, -u, -u * u);
    row
}
