//! The dice: seeded streams, so that a change in one part of a simulator doesn't stir the others.

use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Exp1, StandardNormal, StudentT};

/// One stream of chance.
pub struct Chance(StdRng);

impl Chance {
    /// The stream of that name for that seed.
    #[must_use]
    pub fn new(seed: u64, stream: &str) -> Self {
        let name = stream.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
        });
        Self(StdRng::seed_from_u64(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ name))
    }

    /// A stream of its own, so that however much is taken from it, nothing else is stirred.
    #[must_use]
    pub fn branch(&mut self) -> Self {
        Self(StdRng::seed_from_u64(self.0.random()))
    }

    /// Evenly between two numbers.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    /// Evenly between two whole numbers, both included.
    pub fn whole(&mut self, low: u32, high: u32) -> u32 {
        self.0.random_range(low..=high)
    }

    /// Whether something happens that happens so often.
    pub fn happens(&mut self, share: f64) -> bool {
        self.0.random::<f64>() < share
    }

    /// Standard normal.
    pub fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// Positive, with that median and a spread of `sigma` in its logarithm.
    pub fn around(&mut self, median: f64, sigma: f64) -> f64 {
        median * (sigma * self.normal()).exp()
    }

    /// A waiting time with that mean.
    pub fn waiting(&mut self, mean: f64) -> f64 {
        let unit: f64 = Exp1.sample(&mut self.0);
        mean * unit
    }

    /// Student's t: heavy tails.
    ///
    /// # Panics
    /// When `freedom` isn't positive.
    pub fn student(&mut self, freedom: f64) -> f64 {
        StudentT::new(freedom).expect("freedom is positive").sample(&mut self.0)
    }
}
