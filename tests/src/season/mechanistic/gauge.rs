//! A level sensor: ripple, foam, rounding, drift, silence, bursts, and a clock of its own.

use std::f64::consts::TAU;

use super::habits::GaugeHabits;
use crate::season::DAY;
use crate::season::chance::Chance;
use crate::season::layout::{Mount, TARGET_G_PER_L};
use crate::season::wire::OnTheWire;

/// What it sends through a season, given the true level in mm of each minute.
pub fn sent(levels: &[f64], mount: Mount, habits: &GaugeHabits, dice: &mut Chance) -> Vec<OnTheWire> {
    let mut gauge = GaugeAtWork::new(habits, mount, dice);
    let mut sent = Vec::with_capacity(levels.len());
    for (minute, level) in (0..).zip(levels) {
        let value = mount.shows(gauge.shows(minute, *level, dice), gauge.strength);
        let value = (value / gauge.rounds_to).round() * gauge.rounds_to;
        let value = gauge.sticks(minute, value, dice);
        if let Some(one) = gauge.sends(minute, value, dice) {
            sent.push(one);
            if dice.happens(habits.doubled) {
                sent.push(OnTheWire { arrives: one.arrives + dice.between(0.1, 20.0), ..one });
            }
        }
    }
    sent
}

struct GaugeAtWork<'a> {
    habits: &'a GaugeHabits,
    ripple: f64,
    ripple_now: f64,
    keeps: f64,
    rounds_to: f64,
    drift: f64,
    phase: f64,
    /// It was never mounted quite right, mm.
    offset: f64,
    moved_by: f64,
    moved_until: u32,
    clock: f64,
    sees_foam: f64,
    /// g/L that the slurry truly has.
    strength: f64,
    foam: Foam,
    stuck_until: u32,
    stuck_at: f64,
    silent_until: u32,
    outage_until: u32,
}

#[derive(Default)]
struct Foam {
    until: u32,
    height: f64,
    stands: f64,
    restless: f64,
}

impl<'a> GaugeAtWork<'a> {
    fn new(habits: &'a GaugeHabits, mount: Mount, dice: &mut Chance) -> Self {
        let lasts = dice.between(habits.ripple_lasts.0, habits.ripple_lasts.1);
        let pick = dice.whole(0, 2) as usize;
        Self {
            habits,
            ripple: dice.between(habits.ripple.0, habits.ripple.1),
            ripple_now: 0.0,
            keeps: (-60.0 / lasts).exp(),
            rounds_to: habits.steps.get(pick).copied().unwrap_or(1.0),
            drift: dice.between(habits.drift.0, habits.drift.1),
            phase: dice.between(0.0, 1.0),
            offset: 0.4 * dice.normal(),
            moved_by: 0.0,
            moved_until: 0,
            clock: dice.between(-50.0, 15.0),
            sees_foam: mount.sees_foam(),
            strength: TARGET_G_PER_L * (1.0 + 0.05 * dice.normal()),
            foam: Foam::default(),
            stuck_until: 0,
            stuck_at: 0.0,
            silent_until: 0,
            outage_until: 0,
        }
    }

    /// mm over the bottom that it believes.
    fn shows(&mut self, minute: u32, level: f64, dice: &mut Chance) -> f64 {
        self.ripple_now = self.ripple_now * self.keeps
            + (1.0 - self.keeps * self.keeps).sqrt() * self.ripple * dice.normal();
        let day = f64::from(minute) / f64::from(DAY) + self.phase;
        let drift = self.drift * ((TAU * day).sin() + 0.4 * (2.0 * TAU * day).sin());
        let foam = self.sees_foam * self.foam(minute, dice);
        if minute >= self.moved_until {
            self.moved_by = 0.0;
            if dice.happens(self.habits.moved / f64::from(DAY)) {
                self.moved_by = dice.between(6.0, 20.0) * if dice.happens(0.5) { 1.0 } else { -1.0 };
                self.moved_until = minute + dice.whole(300, 1500);
            }
        }
        (level + self.ripple_now + drift + foam + self.offset + self.moved_by).max(0.0)
    }

    /// Now and then it shows the same value for a while.
    fn sticks(&mut self, minute: u32, value: f64, dice: &mut Chance) -> f64 {
        if minute >= self.stuck_until && dice.happens(self.habits.stuck / f64::from(DAY)) {
            self.stuck_until = minute + dice.whole(10, 100);
            self.stuck_at = value;
        }
        if minute < self.stuck_until { self.stuck_at } else { value }
    }

    /// Foam rises within minutes, stands, and falls in on itself.
    fn foam(&mut self, minute: u32, dice: &mut Chance) -> f64 {
        if minute >= self.foam.until && dice.happens(self.habits.foam / f64::from(DAY)) {
            let minutes = dice.around(self.habits.foam_lasts, 0.9).clamp(2.0, 240.0);
            self.foam.stands = dice.between(self.habits.foam_height.0, self.habits.foam_height.1);
            self.foam.restless = dice.between(0.1, 0.4);
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "2 to 240")]
            let minutes = minutes as u32;
            self.foam.until = minute + minutes;
        }
        let wanted = if minute < self.foam.until { self.foam.stands } else { 0.0 };
        let speed = if wanted > self.foam.height { 0.6 } else { 0.2 };
        self.foam.height += (wanted - self.foam.height) * speed;
        self.foam.height * (1.0 + self.foam.restless * dice.normal())
    }

    /// The value on its way, if it is sent and not lost.
    fn sends(&mut self, minute: u32, value: f64, dice: &mut Chance) -> Option<OnTheWire> {
        let per_minute = |a_day: f64| a_day / f64::from(DAY);
        if minute >= self.silent_until && dice.happens(per_minute(self.habits.silent)) {
            self.silent_until = minute + dice.whole(20, 300);
        }
        if minute >= self.outage_until && dice.happens(per_minute(self.habits.outages)) {
            self.outage_until = minute + dice.whole(10, 240);
        }
        if minute < self.silent_until {
            return None;
        }
        let nonsense = dice.happens(self.habits.nonsense);
        let value = if nonsense { dice.between(0.0, 1000.0).round() } else { value };
        let now = f64::from(minute) * 60.0 + 5.0;
        let on_the_way = dice.between(0.05, 2.0);
        let arrives = if minute < self.outage_until {
            f64::from(self.outage_until) * 60.0 + dice.between(0.0, 30.0)
        } else {
            now + on_the_way
        };
        Some(OnTheWire { own: now + self.clock, arrives, value })
    }
}
