//! A peristaltic pump with its tube and its line.

use super::barrel::Barrel;
use super::habits::PumpHabits;
use crate::season::DAY;
use crate::season::chance::Chance;
use crate::season::layout::RATED_ML_PER_REVOLUTION;
use crate::season::truth::DeliveryCurve;

/// One pump.
pub struct PeristalticPump {
    /// `p1`, `p2`.
    pub name: &'static str,
    /// Speed that people set.
    pub rpm: f64,
    /// It stands, whatever was set.
    pub stopped: bool,
    /// Place of the drum that it draws from.
    pub draws_from: usize,
    /// What a valve that returns a part of the flow leaves.
    pub valve: f64,
    /// What is stuck in the line.
    pub clog: Option<Clog>,
    /// The tube.
    tube: Tube,
    /// Delivery of this pump against its label.
    true_to_label: f64,
    /// Minute by minute, for the whole season: the pump's own wandering.
    wander: Vec<f64>,
}

/// A clog that grows.
#[derive(Debug, Clone, Copy)]
pub struct Clog {
    since: u32,
    /// Share of the flow that it takes in the end.
    takes: f64,
    /// Minutes to 63 % of that.
    grows_in: f64,
}

/// The tube that is in the pump.
struct Tube {
    /// Hours run.
    hours: f64,
    /// Share that it loses while it settles, in the first hours.
    settles: f64,
    /// Share lost in a hundred hours after that.
    wears: f64,
    /// Share of delivery lost from full to empty.
    fading: f64,
    /// How that is bent over the level.
    bend: f64,
    /// Share lost in the last centimetres, where air comes in.
    gulps: f64,
}

impl PeristalticPump {
    /// A pump with a fresh tube.
    pub fn new(name: &'static str, habits: &PumpHabits, minutes: u32, dice: &mut Chance) -> Self {
        Self {
            name,
            rpm: 0.0,
            stopped: false,
            draws_from: 0,
            valve: 1.0,
            clog: None,
            tube: Tube::new(habits, dice),
            true_to_label: dice.between(0.86, 1.08),
            wander: wander(habits, minutes, dice),
        }
    }

    /// A new tube.
    pub fn new_tube(&mut self, habits: &PumpHabits, dice: &mut Chance) {
        let fading = self.tube.fading;
        self.tube = Tube::new(habits, dice);
        // Suction lift stays where it was; the tube gives a little of its own.
        self.tube.fading = fading * dice.between(0.85, 1.15);
        self.true_to_label *= dice.between(0.97, 1.03);
    }

    /// Something begins to stick in the line.
    pub fn clogs(&mut self, minute: u32, dice: &mut Chance) {
        let (takes, grows_in) = (dice.between(0.15, 0.7), dice.between(40.0, 300.0));
        self.clog = Some(Clog { since: minute, takes, grows_in });
    }

    /// Delivery against volume from that drum, as it is now.
    pub fn curve(&self, barrel: &Barrel) -> DeliveryCurve {
        let Tube { fading, bend, gulps, .. } = self.tube;
        // Faster rollers leave the tube less time to fill.
        let fading = fading * (0.6 + self.rpm / 150.0).min(1.8);
        let (full, heel) = (barrel.level(barrel.full), barrel.level(barrel.heel));
        DeliveryCurve::new(barrel.brim(), |litres| {
            let level = barrel.level(litres);
            let sunk = ((full - level) / full).max(0.0);
            let air = gulps * (-(level - heel).max(0.0) / 25.0).exp();
            1.0 - fading * sunk.powf(bend) - air
        })
    }

    /// L/h that it would deliver where its curve is 1, its wandering left out.
    pub fn gain(&self, minute: u32) -> f64 {
        if self.stopped {
            return 0.0;
        }
        let clog = self.clog.map_or(0.0, |clog| clog.share(minute));
        let label = RATED_ML_PER_REVOLUTION * self.rpm * 60.0 / 1000.0;
        label * self.true_to_label * self.tube.left() * self.valve * (1.0 - clog)
    }

    /// The wandering in that minute.
    pub fn wander(&self, minute: u32) -> f64 {
        self.wander.get(minute as usize).copied().unwrap_or(1.0)
    }

    /// One minute passes.
    pub fn minute(&mut self) {
        if self.rpm > 0.0 && !self.stopped {
            self.tube.hours += 1.0 / 60.0;
        }
    }
}

impl Clog {
    fn share(&self, minute: u32) -> f64 {
        let age = f64::from(minute.saturating_sub(self.since));
        self.takes * (1.0 - (-age / self.grows_in).exp())
    }
}

impl Tube {
    fn new(habits: &PumpHabits, dice: &mut Chance) -> Self {
        let (least, most) = habits.wear;
        let lost = dice.between(least, most);
        let days = f64::midpoint(habits.tube_days.0, habits.tube_days.1);
        Self {
            hours: 0.0,
            settles: lost * dice.between(0.2, 0.5),
            wears: lost * dice.between(0.5, 0.8) / (days * 24.0) * 100.0,
            fading: dice.between(habits.fading.0, habits.fading.1),
            bend: dice.between(0.6, 2.0),
            gulps: dice.between(0.0, 0.06),
        }
    }

    fn left(&self) -> f64 {
        1.0 - self.settles * (1.0 - (-self.hours / 12.0).exp()) - self.wears * self.hours / 100.0
    }
}

/// A slow wandering that comes back to 1, and a swing with the day's temperature.
fn wander(habits: &PumpHabits, minutes: u32, dice: &mut Chance) -> Vec<f64> {
    let mut dice = dice.branch();
    let spread = dice.between(habits.wander.0, habits.wander.1);
    let back_in = dice.between(3.0, 12.0) * 60.0;
    let keeps = (-1.0 / back_in).exp();
    let swing = dice.between(0.0, 0.008);
    let phase = dice.between(0.0, 1.0);
    let mut now = spread * dice.normal();
    // Beyond the end of the season too: what is frozen on its last day runs on.
    (0..minutes + 3 * DAY)
        .map(|minute| {
            now = now * keeps + spread * (1.0 - keeps * keeps).sqrt() * dice.normal();
            let day = f64::from(minute) / f64::from(DAY) + phase;
            1.0 + now + swing * (std::f64::consts::TAU * day).sin()
        })
        .collect()
}
