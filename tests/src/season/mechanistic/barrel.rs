//! A drum that widens upwards, and what runs into and out of it.

use std::f64::consts::PI;

use crate::season::chance::Chance;
use crate::season::truth::{DrumMinute, TrueDeed};

/// A frustum of a cone with slurry in it.
pub struct Barrel {
    /// `a`, `b`.
    pub name: &'static str,
    /// Radius at the bottom, mm.
    bottom: f64,
    /// mm of radius gained in a mm of height.
    taper: f64,
    /// mm.
    pub height: f64,
    /// Litres at the full line.
    pub full: f64,
    /// Litres that the pump can't lift.
    pub heel: f64,
    /// Litres now.
    pub volume: f64,
    /// L/h from 100 L.
    pub leak: f64,
    /// What is being poured in.
    pub pour: Option<Pour>,
    /// Counts the fills.
    pub fill: u32,
    /// What was true, minute by minute.
    pub moments: Vec<DrumMinute>,
    /// What was done.
    pub deeds: Vec<TrueDeed>,
}

/// Slurry being poured in.
#[derive(Debug, Clone, Copy)]
pub struct Pour {
    /// Litres in a minute.
    pub per_minute: f64,
    /// Litres still to come.
    pub left: f64,
}

impl Barrel {
    /// One of many shapes, nearly full.
    pub fn new(name: &'static str, dice: &mut Chance) -> Self {
        let height = dice.between(780.0, 900.0);
        let bottom = dice.between(240.0, 285.0);
        let taper = dice.between(-5.0, 45.0) / height;
        let mut barrel = Self {
            name,
            bottom,
            taper,
            height,
            full: 0.0,
            heel: dice.between(8.0, 15.0).round(),
            volume: 0.0,
            leak: 0.0,
            pour: None,
            fill: 0,
            moments: Vec::new(),
            deeds: Vec::new(),
        };
        barrel.full = (barrel.litres(height * dice.between(0.86, 0.93)) / 5.0).floor() * 5.0;
        barrel.volume = barrel.full * dice.between(0.8, 1.0);
        barrel
    }

    /// Litres at a level.
    pub fn litres(&self, mm: f64) -> f64 {
        let top = self.bottom + self.taper * mm;
        PI * mm / 3.0 * (self.bottom.powi(2) + self.bottom * top + top.powi(2)) / CUBIC_MM_PER_LITRE
    }

    /// Level of so many litres, mm.
    pub fn level(&self, litres: f64) -> f64 {
        let mut mm = litres * CUBIC_MM_PER_LITRE / (PI * self.bottom.powi(2));
        for _ in 0..6 {
            let radius = self.bottom + self.taper * mm;
            mm -= (self.litres(mm) - litres) * CUBIC_MM_PER_LITRE / (PI * radius.powi(2));
        }
        mm
    }

    /// Litres to the brim.
    pub fn brim(&self) -> f64 {
        self.litres(self.height)
    }

    /// The table that somebody measured by pouring in bucket after bucket.
    pub fn strapping(&self, dice: &mut Chance) -> Vec<(f64, f64)> {
        let marks = dice.whole(9, 14);
        let wrong_by = 1.0 + 0.001 * dice.normal();
        let mut rows = vec![(0.0, 0.0)];
        for mark in 1..=marks {
            let mm = (self.height * f64::from(mark) / f64::from(marks)).round();
            rows.push((mm, self.litres(mm) * wrong_by + 0.1 * dice.normal()));
        }
        rows
    }

    /// One minute: `drawn` L/h go to the pump; what was asked for beyond the heel isn't there.
    pub fn minute(&mut self, drawn: f64) {
        let leaking = self.leak * (self.volume / 100.0).sqrt();
        let to_pump = (drawn * HOUR_PER_MINUTE).min((self.volume - self.heel).max(0.0));
        self.volume = (self.volume - to_pump - leaking * HOUR_PER_MINUTE).max(0.0);
        if let Some(pour) = &mut self.pour {
            let litres = pour.per_minute.min(pour.left);
            self.volume += litres;
            pour.left -= litres;
            if pour.left <= 0.0 {
                self.pour = None;
                self.fill += 1;
            }
        }
    }
}

const CUBIC_MM_PER_LITRE: f64 = 1e6;
const HOUR_PER_MINUTE: f64 = 1.0 / 60.0;
