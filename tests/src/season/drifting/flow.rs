//! The draw as a process: a base that jumps and tires, and a logarithm that comes back to it.

use super::moods::Mood;
use crate::season::DAY;
use crate::season::chance::Chance;
use crate::season::truth::DeliveryCurve;

/// One draw.
pub struct Flow {
    /// L/h where the curve is 1.
    pub base: f64,
    /// What people believe that they have set, rpm.
    pub rpm: f64,
    /// Minute by minute, about 1.
    wander: Vec<f64>,
    /// Shares at the corners of the curve, from empty to full.
    corners: [f64; 5],
    tires: f64,
}

impl Flow {
    /// A draw for so many minutes.
    pub fn new(mood: &Mood, minutes: u32, base: f64, dice: &mut Chance) -> Self {
        let mut corners = [1.0; 5];
        let mut share = 1.0;
        for corner in corners.iter_mut().rev() {
            *corner = share;
            // Most of the sag lies anywhere, often in one corner.
            share -= mood.sag * dice.between(0.0, 1.0).powi(2) * 0.45;
        }
        Self {
            base,
            rpm: (base / dice.between(0.105, 0.14)).round(),
            wander: wander(mood, minutes, dice),
            corners,
            tires: (-1.0 / (60.0 * mood.tires_in)).exp(),
        }
    }

    /// The wandering in that minute.
    pub fn wander(&self, minute: u32) -> f64 {
        self.wander.get(minute as usize).copied().unwrap_or(1.0)
    }

    /// One minute passes.
    pub fn minute(&mut self) {
        self.base *= self.tires;
    }

    /// Delivery against volume: straight between five corners.
    pub fn curve(&self, brim: f64, full: f64) -> DeliveryCurve {
        DeliveryCurve::new(brim, |litres| {
            let place = (litres / full).clamp(0.0, 1.0) * 4.0;
            let below = self.corners.iter().zip(0u32..).filter(|(_, i)| f64::from(*i) <= place);
            let low = below.last().map_or((1.0, 0), |(share, i)| (*share, i));
            let high = self.corners.get(low.1 as usize + 1).copied().unwrap_or(low.0);
            low.0 + (high - low.0) * (place - f64::from(low.1))
        })
    }
}

/// The exponential of a process that is pulled back to zero and kicked with heavy tails.
fn wander(mood: &Mood, minutes: u32, dice: &mut Chance) -> Vec<f64> {
    let mut dice = dice.branch();
    let pull = 1.0 / (dice.between(1.5, 20.0) * 60.0);
    // The variance of Student's t with 3 degrees is 3.
    let kick = mood.spread * (2.0 * pull / 3.0).sqrt();
    let mut now = 0.0;
    (0..minutes + 3 * DAY)
        .map(|_| {
            now += -pull * now + kick * dice.student(3.0).clamp(-25.0, 25.0);
            f64::exp(now)
        })
        .collect()
}
