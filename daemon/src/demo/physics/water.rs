//! The water: a stirred head tank and, behind it, stirred rearing tanks.

use std::f64::consts::TAU;

/// Head tank and rearing tanks.
#[derive(Debug, Clone)]
pub struct InventedWater {
    head_ntu: f64,
    ntu_per_mg_l: f64,
    tanks: Vec<InventedTank>,
    head_temperature_c: f64,
    fish_kg: f64,
}

/// A rearing tank.
#[derive(Debug, Clone)]
pub struct InventedTank {
    flow_l_per_min: f64,
    sinks_per_min: f64,
    ntu: f64,
    temperature_c: f64,
    oxygen_mg_l: f64,
}

impl InventedTank {
    /// Turbidity.
    #[must_use]
    pub fn ntu(&self) -> f64 {
        self.ntu
    }

    /// Temperature.
    #[must_use]
    pub fn temperature_c(&self) -> f64 {
        self.temperature_c
    }

    /// Dissolved oxygen.
    #[must_use]
    pub fn oxygen_mg_l(&self) -> f64 {
        self.oxygen_mg_l
    }

    /// Someone brushes the walls and siphons: what lay on the floor swims.
    pub fn stir_up(&mut self) {
        self.ntu += 18.0;
    }
}

impl InventedWater {
    /// As it is after hours of steady feeding.
    #[must_use]
    pub fn at_rest(ntu: f64) -> Self {
        let tank = |index: u32| InventedTank {
            flow_l_per_min: FRESH_L_PER_MIN / f64::from(TANKS) * (0.94 + 0.01 * f64::from(index)),
            sinks_per_min: 0.000_4 + 0.000_02 * f64::from(index),
            ntu: ntu - 2.0,
            temperature_c: 19.9,
            oxygen_mg_l: 8.4,
        };
        Self {
            head_ntu: ntu,
            ntu_per_mg_l: 0.48,
            tanks: (0..TANKS).map(tank).collect(),
            head_temperature_c: 20.0,
            fish_kg: FISH_KG,
        }
    }

    /// Turbidity of the head tank.
    #[must_use]
    pub fn head_ntu(&self) -> f64 {
        self.head_ntu
    }

    /// Temperature of the head tank.
    #[must_use]
    pub fn head_temperature_c(&self) -> f64 {
        self.head_temperature_c
    }

    /// Dissolved oxygen in the head tank.
    #[must_use]
    pub fn head_oxygen_mg_l(&self) -> f64 {
        HEAD_OXYGEN_MG_L
    }

    /// Water through the head tank.
    #[must_use]
    pub fn flow_l_per_min(&self) -> f64 {
        FRESH_L_PER_MIN
    }

    /// The rearing tanks.
    #[must_use]
    pub fn tanks(&self) -> &[InventedTank] {
        &self.tanks
    }

    /// One of them.
    pub fn tank_mut(&mut self, index: usize) -> Option<&mut InventedTank> {
        self.tanks.get_mut(index)
    }

    /// Each batch of clay clouds a little more or less.
    pub fn new_batch(&mut self, factor: f64) {
        self.ntu_per_mg_l = 0.48 * factor;
    }

    pub(super) fn step(&mut self, seconds: f64, clay_g: f64, hour_of_day: f64) {
        let minutes = seconds / 60.0;
        let fed_mg_l = clay_g * 1000.0 / (FRESH_L_PER_MIN * minutes);
        let fed_ntu = BACKGROUND_NTU + fed_mg_l * self.ntu_per_mg_l;
        let day = |peak_hour: f64| ((hour_of_day - peak_hour) / 24.0 * TAU).cos();
        self.head_ntu = toward(self.head_ntu, fed_ntu, minutes, HEAD_L / FRESH_L_PER_MIN);
        self.head_temperature_c = toward(self.head_temperature_c, 20.0 + 0.25 * day(16.0), minutes, 40.0);
        self.fish_kg = (self.fish_kg * (GROWTH_PER_DAY * minutes / MINUTES_PER_DAY).exp()).min(GROWN_KG);
        // Fish breathe more the more there are, and when they are fed, from seven to nineteen o'clock.
        let fed = if (7.0..19.0).contains(&hour_of_day) { 2.0 } else { 1.0 };
        let breathed = fed * self.fish_kg * BREATHED_MG_L_PER_KG;
        for tank in &mut self.tanks {
            let residence = TANK_L / tank.flow_l_per_min;
            let settled = self.head_ntu / (1.0 + tank.sinks_per_min * residence);
            tank.ntu = toward(tank.ntu, settled, minutes, residence);
            let room_c = self.head_temperature_c - 0.15 + 0.1 * day(15.0);
            tank.temperature_c = toward(tank.temperature_c, room_c, minutes, residence);
            tank.oxygen_mg_l =
                toward(tank.oxygen_mg_l, HEAD_OXYGEN_MG_L - breathed, minutes, residence / 2.0);
        }
    }
}

/// A stirred tank closes in on what flows in, exactly for any step (residence in minutes).
fn toward(now: f64, inflow: f64, minutes: f64, residence: f64) -> f64 {
    inflow + (now - inflow) * (-minutes / residence).exp()
}

const TANKS: u32 = 12;
const FRESH_L_PER_MIN: f64 = 40.0;
const HEAD_L: f64 = 450.0;
const TANK_L: f64 = 280.0;
const BACKGROUND_NTU: f64 = 2.0;
const HEAD_OXYGEN_MG_L: f64 = 8.95;
/// All fish together on the first morning.
const FISH_KG: f64 = 2.0;
const GROWTH_PER_DAY: f64 = 0.08;
/// Then some are moved to tanks of their own.
const GROWN_KG: f64 = 6.5;
/// What a kilogram of them takes out of each litre that flows through, while they aren't fed.
const BREATHED_MG_L_PER_KG: f64 = 0.15;
const MINUTES_PER_DAY: f64 = 1440.0;
