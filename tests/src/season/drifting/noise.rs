//! A level sensor's errors, by other laws than in the first simulator.

use std::f64::consts::TAU;

use super::moods::Mood;
use crate::season::DAY;
use crate::season::chance::Chance;
use crate::season::layout::{Mount, TARGET_G_PER_L};
use crate::season::wire::OnTheWire;

/// What it sends, given the true level of each minute.
pub fn sent(levels: &[f64], mount: Mount, mood: &Mood, dice: &mut Chance) -> Vec<OnTheWire> {
    let mut noise = Noise::new(mood, mount, dice);
    let mut sent = Vec::with_capacity(levels.len());
    for (minute, level) in (0..).zip(levels) {
        let shown = noise.shows(minute, *level, dice);
        let value = mount.shows(shown, noise.strength);
        let value = noise.holds(value);
        if let Some(arrives) = noise.arrives(minute, dice) {
            let own = f64::from(minute) * 60.0 + 5.0 + noise.clock;
            sent.push(OnTheWire { own, arrives, value });
        }
    }
    sent
}

struct Noise<'a> {
    mood: &'a Mood,
    /// mm and minutes: the surface rocks, seen once a minute.
    rocks: (f64, f64),
    /// mm.
    wandered: f64,
    /// mm: a heater goes on and off, and the sensor with it.
    heater: f64,
    heater_on: bool,
    foamy: bool,
    foam: f64,
    held: f64,
    sees_foam: f64,
    /// g/L that the slurry truly has.
    strength: f64,
    gap_until: u32,
    lost: bool,
    clock: f64,
}

impl<'a> Noise<'a> {
    fn new(mood: &'a Mood, mount: Mount, dice: &mut Chance) -> Self {
        Self {
            mood,
            rocks: (mood.noise * dice.between(0.2, 0.9), dice.between(2.2, 13.0)),
            wandered: 0.3 * dice.normal(),
            heater: mood.wanders * dice.between(-0.5, 0.5),
            heater_on: false,
            foamy: false,
            foam: 0.0,
            held: f64::NAN,
            sees_foam: mount.sees_foam(),
            strength: TARGET_G_PER_L + 0.8 * dice.student(5.0).clamp(-4.0, 4.0),
            gap_until: 0,
            lost: false,
            clock: dice.between(-30.0, 40.0),
        }
    }

    fn shows(&mut self, minute: u32, level: f64, dice: &mut Chance) -> f64 {
        let root_minute = (1.0 / f64::from(DAY)).sqrt();
        // It wanders, and is pulled back within two days.
        self.wandered += self.mood.wanders * root_minute * dice.normal() - self.wandered / 2900.0;
        if dice.happens(1.0 / 200.0) {
            self.heater_on = !self.heater_on;
        }
        let heater = if self.heater_on { self.heater } else { 0.0 };
        let rocking = self.rocks.0 * (TAU * f64::from(minute) / self.rocks.1).sin();
        let noise = 0.5 * self.mood.noise * dice.student(3.0).clamp(-12.0, 12.0);
        (level + self.wandered + heater + rocking + noise + self.sees_foam * self.spell(dice)).max(0.0)
    }

    /// It shows a new value only when it differs enough, as cheap sensors do.
    fn holds(&mut self, value: f64) -> f64 {
        let still = (value - self.held).abs() <= 0.6 * self.mood.grain;
        if !still {
            self.held = (value / self.mood.grain).round() * self.mood.grain;
        }
        self.held
    }

    /// Foam comes and goes as a coin is tossed, and creeps while it stands.
    fn spell(&mut self, dice: &mut Chance) -> f64 {
        if self.foamy {
            self.foam = (self.foam + 1.5 * dice.normal()).max(0.0);
            self.foamy = !dice.happens(1.0 / 12.0);
        } else if dice.happens(self.mood.spells.0 / f64::from(DAY)) {
            self.foamy = true;
            self.foam = dice.waiting(self.mood.spells.1).min(90.0);
        }
        let left = if self.foamy { self.foam } else { self.foam * 0.7 };
        self.foam = left;
        left
    }

    /// When it arrives; many short gaps, few long ones, and half of them only delay.
    fn arrives(&mut self, minute: u32, dice: &mut Chance) -> Option<f64> {
        if minute >= self.gap_until && dice.happens(self.mood.gaps / f64::from(DAY)) {
            let minutes = dice.around(12.0, 1.3).clamp(2.0, 260.0);
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "2 to 260")]
            let minutes = minutes as u32;
            self.gap_until = minute + minutes;
            self.lost = dice.happens(0.5);
        }
        let at_once = f64::from(minute) * 60.0 + 5.0 + dice.between(0.1, 3.0);
        if minute >= self.gap_until {
            Some(at_once)
        } else {
            (!self.lost).then(|| f64::from(self.gap_until) * 60.0 + dice.between(0.0, 90.0))
        }
    }
}
