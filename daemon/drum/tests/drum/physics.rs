//! Drums as they might really be: what the estimator is tested on, and doesn't know.
//!
//! All figures are invented. A drum is a frustum that widens upwards; the pump delivers less as the level
//! sinks and its delivery wanders; air ripples the level (an AR(1) process); foam stands on it for minutes;
//! the sensor rounds, drops out and now and then reads nonsense.

use std::f64::consts::PI;

use claymark_model::id::Id;
use claymark_model::quality::Flag;
use claymark_model::reading::{Assessed, Reading, TestFlags};
use jiff::{SignedDuration, Timestamp};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

/// A drum with a pump and a sensor.
pub struct PumpedDrum {
    pub rng: StdRng,
    pub now: Timestamp,
    /// True litres.
    pub volume: f64,
    /// L/h from a full drum.
    pub pump: f64,
    /// Share by which delivery falls from 800 mm to nothing.
    pub fading: f64,
    /// Delivery wanders by this share per root hour.
    pub wander: f64,
    /// mm.
    pub ripple: f64,
    /// s.
    pub ripple_lasts: f64,
    /// Bursts an hour.
    pub foam: f64,
    /// mm.
    pub rounding: f64,
    /// Share of readings that are nonsense.
    pub nonsense: f64,
    pub every: i64,
    /// When it last ran empty.
    pub emptied: Option<Timestamp>,
    wandered: f64,
    ripple_now: f64,
    foam_until: Timestamp,
    foam_height: f64,
}

impl PumpedDrum {
    pub fn new(seed: u64, start: Timestamp, volume: f64) -> Self {
        Self {
            rng: StdRng::seed_from_u64(seed),
            now: start,
            volume,
            pump: 9.4,
            fading: 0.1,
            wander: 0.004,
            ripple: 2.0,
            ripple_lasts: 40.0,
            foam: 0.4,
            rounding: 1.0,
            nonsense: 0.002,
            every: 30,
            emptied: None,
            wandered: 1.0,
            ripple_now: 0.0,
            foam_until: start,
            foam_height: 0.0,
        }
    }

    /// L/h now.
    pub fn draw(&self) -> f64 {
        if self.volume <= HEEL {
            0.0
        } else {
            self.pump * self.wandered * (1.0 - self.fading * (1.0 - height(self.volume) / 800.0))
        }
    }

    /// Goes on by one interval and reads the level, mm.
    pub fn step(&mut self) -> f64 {
        let s = f64::from(u32::try_from(self.every).unwrap());
        let hours = s / 3600.0;
        self.wandered *= 1.0 + self.wander * hours.sqrt() * self.normal();
        let drawn = self.draw() * hours;
        let (over, moment) = (self.volume - HEEL, SignedDuration::from_secs(self.every));
        if over > 0.0 && drawn >= over {
            self.emptied = Some(self.now + moment.mul_f64(over / drawn));
        }
        self.volume = (self.volume - drawn).max(HEEL.min(self.volume));
        self.now += moment;
        let keeps = (-s / self.ripple_lasts).exp();
        self.ripple_now =
            self.ripple_now * keeps + (1.0 - keeps * keeps).sqrt() * self.ripple * self.normal();
        if self.now >= self.foam_until && self.rng.random::<f64>() < self.foam * hours {
            self.foam_until = self.now + SignedDuration::from_secs(self.rng.random_range(120..900));
            self.foam_height = self.rng.random_range(15.0..50.0);
        }
        let foam =
            if self.now < self.foam_until { self.foam_height * self.rng.random_range(0.5..1.2) } else { 0.0 };
        let level = height(self.volume) + self.ripple_now + foam;
        let level =
            if self.rng.random::<f64>() < self.nonsense { self.rng.random_range(0.0..800.0) } else { level };
        if self.rounding > 0.0 { (level / self.rounding).round() * self.rounding } else { level }
    }

    /// When it will truly be empty, if nothing is changed and the delivery doesn't wander.
    pub fn hours_left(&self) -> f64 {
        let mut volume = self.volume;
        let mut hours = 0.0;
        while volume > HEEL && hours < 500.0 {
            let draw = self.pump * self.wandered * (1.0 - self.fading * (1.0 - height(volume) / 800.0));
            volume -= draw * 0.01;
            hours += 0.01;
        }
        hours
    }

    pub fn normal(&mut self) -> f64 {
        let (u, v): (f64, f64) = (self.rng.random(), self.rng.random());
        (-2.0 * (1.0 - u).ln()).sqrt() * (2.0 * PI * v).cos()
    }
}

pub const HEEL: f64 = 12.0;

/// Litres at `h` mm: a frustum of 250 mm radius at the bottom and 290 mm at 800 mm.
pub fn litres(h: f64) -> f64 {
    let r = 250.0 + 40.0 * h / 800.0;
    PI * h / 3.0 * (250.0 * 250.0 + 250.0 * r + r * r) / 1e6
}

/// Level at so many litres, mm.
pub fn height(volume: f64) -> f64 {
    // V = π h (r1² + r1 k h + k² h²/3) with k = 0.05; Newton from the straight drum.
    let mut h = volume * 1e6 / (PI * 270.0 * 270.0);
    for _ in 0..4 {
        let area = PI * (250.0 + 0.05 * h).powi(2) / 1e6;
        h -= (litres(h) - volume) / area;
    }
    h
}

pub fn reading(sensor: &str, at: Timestamp, received_at: Timestamp, value: f64, flag: Flag) -> Assessed {
    let reading = Reading::new(Id::new(sensor).unwrap(), at, value);
    Assessed { reading, received_at, tests: TestFlags::NOT_EVALUATED, flag }
}
