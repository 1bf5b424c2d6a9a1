//! How the invented room behaves: what is true, whatever the instruments say.
//!
//! Nothing outside the demo may use it. It knows more than any estimator is told: drums that aren't quite as
//! their strapping tables say, pumps that give less as the level falls and as the tube wears, clay that clouds
//! the water a little more or less with each batch. Figures are invented, or common practice without source.
//!
//! - [`drum`]: shape, slurry and pump of one drum; [`water`]: head tank and rearing tanks.

pub mod drum;
pub mod water;

use self::drum::{InventedDrum, InventedPump};
use self::water::InventedWater;

/// Everything wet in the room.
#[derive(Debug, Clone)]
pub struct InventedRoom {
    /// A, B and C.
    pub drums: [InventedDrum; 3],
    /// The first draws from drum A, the second from B or C.
    pub pumps: [InventedPump; 2],
    /// Head tank and rearing tanks.
    pub water: InventedWater,
}

impl InventedRoom {
    /// The room as it stands on the first morning: just refilled.
    #[must_use]
    pub fn on_the_first_morning() -> Self {
        Self {
            drums: [
                // The inside of a tapered drum, slightly wider than its strapping table says.
                InventedDrum::filled(
                    drum::DrumShape { bottom_mm: 553.0, top_mm: 549.0, height_mm: 850.0 },
                    168.0,
                    18.2,
                ),
                InventedDrum::filled(
                    drum::DrumShape { bottom_mm: 505.0, top_mm: 583.0, height_mm: 860.0 },
                    172.0,
                    17.8,
                ),
                InventedDrum::filled(
                    drum::DrumShape { bottom_mm: 502.0, top_mm: 578.0, height_mm: 860.0 },
                    170.0,
                    18.0,
                ),
            ],
            pumps: [InventedPump::new(0, 2.06, USUAL_RPM), InventedPump::new(1, 1.99, USUAL_RPM)],
            water: InventedWater::at_rest(64.0),
        }
    }

    /// Sets a pump's speed.
    pub fn set_rpm(&mut self, pump: usize, rpm: f64) {
        if let Some(pump) = self.pumps.get_mut(pump) {
            pump.rpm = rpm;
        }
    }

    /// Hangs the second pump's line into `drum`.
    pub fn use_drum(&mut self, drum: usize) {
        let [_, second] = &mut self.pumps;
        second.drum = drum;
    }

    /// Puts a new tube into a pump.
    pub fn change_tube(&mut self, pump: usize) {
        if let Some(pump) = self.pumps.get_mut(pump) {
            pump.change_tube();
        }
    }

    /// Brushes a tank.
    pub fn clean(&mut self, tank: usize) {
        if let Some(tank) = self.water.tank_mut(tank) {
            tank.stir_up();
        }
    }

    /// What a pump gives now.
    #[must_use]
    pub fn pump_ml_per_min(&self, pump: usize) -> f64 {
        let pump = self.pumps.get(pump);
        let drum = pump.and_then(|pump| self.drums.get(pump.drum));
        pump.zip(drum).filter(|(_, drum)| !drum.is_dry()).map_or(0.0, |(pump, drum)| pump.ml_per_min(drum))
    }

    /// Lets `seconds` pass.
    pub fn step(&mut self, seconds: f64, hour_of_day: f64) {
        let mut clay_g = 0.0;
        for pump in &mut self.pumps {
            if let Some(drum) = self.drums.get_mut(pump.drum) {
                clay_g += pump.draw(drum, seconds);
            }
        }
        self.water.step(seconds, clay_g, hour_of_day);
    }
}

/// The speed at which both pumps usually run.
pub const USUAL_RPM: f64 = 76.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_drum_lasts_the_night_and_a_faster_pump_empties_it_before_the_morning() {
        let hours_to_dry = |rpm: f64| {
            let mut room = InventedRoom::on_the_first_morning();
            room.pumps[0].rpm = rpm;
            let mut hours = 0.0;
            while !room.drums[0].is_dry() {
                room.step(10.0, 12.0);
                hours += 10.0 / 3600.0;
            }
            hours
        };
        assert!((17.5..19.0).contains(&hours_to_dry(USUAL_RPM)), "{}", hours_to_dry(USUAL_RPM));
        assert!((12.5..14.5).contains(&hours_to_dry(100.0)), "{}", hours_to_dry(100.0));
    }

    #[test]
    fn the_water_is_as_cloudy_as_the_clay_that_goes_in() {
        let mut room = InventedRoom::on_the_first_morning();
        for _ in 0..6 * 60 * 6 {
            room.step(10.0, 12.0);
        }
        let head = room.water.head_ntu();
        assert!((50.0..80.0).contains(&head), "{head}");
        assert!((room.water.tanks()[5].ntu() - head).abs() < 5.0);
        room.pumps[0].rpm = 0.0;
        for _ in 0..6 * 60 * 4 {
            room.step(10.0, 12.0);
        }
        assert!(room.water.tanks()[5].ntu() < 45.0);
    }

    #[test]
    fn fish_that_grow_take_more_oxygen_and_always_have_enough() {
        let mut room = InventedRoom::on_the_first_morning();
        let mut at_noon = Vec::new();
        for day in 0..40 {
            for tenth_minute in 0..144 {
                room.step(600.0, f64::from(tenth_minute) / 6.0);
                assert!(room.water.tanks().iter().all(|tank| tank.oxygen_mg_l() > 6.5), "day {day}");
                if tenth_minute == 72 {
                    at_noon.push(room.water.tanks()[3].oxygen_mg_l());
                }
            }
        }
        assert!(at_noon[..13].windows(2).all(|two| two[1] < two[0]), "{at_noon:?}");
        assert!(at_noon[0] - at_noon[8] > 0.3, "{at_noon:?}");
    }

    #[test]
    fn slurry_is_neither_made_nor_lost() {
        let mut room = InventedRoom::on_the_first_morning();
        let before: f64 = room.drums.iter().map(drum::InventedDrum::clay_g).sum();
        let mut drawn = 0.0;
        for _ in 0..3600 {
            let mut pump = room.pumps[0].clone();
            drawn += pump.draw(&mut room.drums[0], 10.0);
        }
        let after: f64 = room.drums.iter().map(drum::InventedDrum::clay_g).sum();
        assert!((before - after - drawn).abs() < 1e-6);
    }
}
