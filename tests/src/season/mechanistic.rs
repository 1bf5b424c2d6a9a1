//! The first simulator: every part as a mechanism.
//!
//! - `barrel`: drums that widen upwards; - `pump`: tubes that wear, suction that tires as the level sinks, clogs;
//! - `crew`: people and what they write down; - `gauge`: level sensors; - `habits`: how often what happens.

mod barrel;
mod crew;
mod gauge;
mod habits;
mod pump;

use barrel::Barrel;
use crew::Crew;
use habits::{Habits, PumpHabits};
use pump::PeristalticPump;

use super::chance::Chance;
use super::layout::{self, DrumPlan, Mount, gauge_of, id};
use super::rooms::RoomKind;
use super::truth::{DeliveryCurve, Done, DrumMinute, TrueDeed, TrueDrum};
use super::{DAY, Season, Simulator, wire};

/// Drums and pumps.
struct Works {
    barrels: Vec<Barrel>,
    pumps: Vec<PeristalticPump>,
    /// Minute from which a tube is due to be changed, pump by pump.
    tubes_due: Vec<u32>,
    habits: PumpHabits,
    dice: Chance,
    /// Of each barrel, the curves that it has had.
    curves: Vec<Vec<DeliveryCurve>>,
    /// What the last curve of each barrel was made for.
    made_for: Vec<(f64, u32)>,
    tubes: Vec<u32>,
}

/// A season of so many days.
#[must_use]
pub fn season(kind: RoomKind, seed: u64, days: u32) -> Season {
    let habits = Habits::of(kind);
    let minutes = days * DAY;
    let mut dice = Chance::new(seed, &format!("mechanistic-{}-works", kind.name()));
    let mut works = Works::new(habits.pump, minutes, &mut dice);
    let smallest = works.barrels.iter().map(|b| b.full - b.heel).fold(f64::INFINITY, f64::min);
    let last = smallest / dice.between(12.0, 19.0);
    let plan = (last / dice.between(1.2, 1.8), last);
    let hands = Chance::new(seed, &format!("mechanistic-{}-crew", kind.name()));
    let mut crew = Crew::new(habits.crew, days, plan, hands);
    crew.begin(&mut works);
    for minute in 0..minutes {
        crew.minute(minute, &mut works);
        works.mishaps(minute);
        works.minute(minute);
    }
    let mut gauges = Vec::new();
    let mut plans = Vec::new();
    for (barrel, pump) in works.barrels.iter().zip(["p1", if works.pumps.len() == 1 { "p1" } else { "p2" }]) {
        let mut dice = Chance::new(seed, &format!("mechanistic-{}-gauge-{}", kind.name(), barrel.name));
        let height = (barrel.height + dice.between(60.0, 150.0)).round();
        let mount = match dice.whole(0, 99) {
            0..45 => Mount::Above(height),
            45..70 => Mount::Pressure,
            _ => Mount::Surface,
        };
        let strapping = barrel.strapping(&mut dice);
        let levels: Vec<f64> = barrel.moments.iter().map(|moment| barrel.level(moment.volume)).collect();
        gauges.push((gauge_of(barrel.name), gauge::sent(&levels, mount, &habits.gauge, &mut dice)));
        let (full, heel) = (barrel.full, barrel.heel);
        plans.push(DrumPlan { name: barrel.name, pump, full, heel, strapping, mount });
    }
    let site = layout::site(&plans);
    let heard = wire::arrivals(&site, gauges, crew.log);
    let drums = works.truth();
    Season { by: Simulator::Mechanistic, kind, seed, site, heard, drums, minutes }
}

impl Works {
    /// Two drums, on a pump each or on one that they share.
    fn new(habits: PumpHabits, minutes: u32, dice: &mut Chance) -> Self {
        let barrels = vec![Barrel::new("a", dice), Barrel::new("b", dice)];
        let mut pumps = vec![PeristalticPump::new("p1", &habits, minutes, dice)];
        if dice.happens(0.7) {
            let mut second = PeristalticPump::new("p2", &habits, minutes, dice);
            second.draws_from = 1;
            pumps.push(second);
        }
        let mut works = Self {
            curves: vec![Vec::new(); barrels.len()],
            made_for: vec![(-1.0, 0); barrels.len()],
            tubes_due: vec![0; pumps.len()],
            tubes: vec![0; pumps.len()],
            barrels,
            pumps,
            habits,
            dice: Chance::new(dice.whole(0, u32::MAX).into(), "works"),
        };
        for place in 0..works.pumps.len() {
            works.change_tube(0, place);
        }
        works
    }

    fn change_tube(&mut self, minute: u32, place: usize) {
        let (least, most) = self.habits.tube_days;
        let days = self.dice.between(least, most);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "some days")]
        let lasts = (days * f64::from(DAY)) as u32;
        if let Some(due) = self.tubes_due.get_mut(place) {
            *due = minute + lasts;
        }
        if let Some(count) = self.tubes.get_mut(place) {
            *count += 1;
        }
        if let Some(pump) = self.pumps.get_mut(place) {
            pump.new_tube(&self.habits, &mut self.dice);
        }
    }

    /// Clogs, leaks, valves in the night, pumps that stop.
    fn mishaps(&mut self, minute: u32) {
        let night = !(6 * 60..21 * 60).contains(&(minute % DAY));
        let per_minute = |a_day: f64| a_day / f64::from(DAY);
        for place in 0..self.pumps.len() {
            let before = self.gain(minute, place);
            let Some(pump) = self.pumps.get_mut(place) else { continue };
            if pump.clog.is_none() && self.dice.happens(per_minute(self.habits.clogs)) {
                pump.clogs(minute, &mut self.dice);
            }
            if !pump.stopped && self.dice.happens(per_minute(self.habits.stops)) {
                pump.stopped = true;
            }
            if night && self.dice.happens(self.habits.valves / NIGHT_MINUTES) {
                pump.valve = self.dice.between(0.65, 1.35);
                self.changed(minute, place, before, false);
            }
        }
        for barrel in &mut self.barrels {
            if barrel.leak <= 0.0 && self.dice.happens(per_minute(self.habits.leaks)) {
                barrel.leak = self.dice.between(0.3, 2.0);
            }
        }
    }

    fn minute(&mut self, minute: u32) {
        for (place, pump) in self.pumps.iter().enumerate() {
            let tube = self.tubes.get(place).copied().unwrap_or(0);
            let only = self.pumps.len() == 1;
            for (drum, barrel) in self.barrels.iter_mut().enumerate() {
                if !only && drum != place {
                    continue;
                }
                let (Some(curves), Some(made_for)) = (self.curves.get_mut(drum), self.made_for.get_mut(drum))
                else {
                    continue;
                };
                if (made_for.0 - pump.rpm).abs() > 1e-9 || made_for.1 != tube {
                    *made_for = (pump.rpm, tube);
                    curves.push(pump.curve(barrel));
                }
                let draws = pump.draws_from == drum;
                let gain = if draws { pump.gain(minute) } else { 0.0 };
                let curve = curves.len() - 1;
                let share = curves.last().map_or(1.0, |curve| curve.at(barrel.volume));
                let wander = pump.wander(minute);
                barrel.moments.push(DrumMinute {
                    volume: barrel.volume,
                    gain,
                    wander,
                    curve,
                    leak: barrel.leak,
                    drawn: gain > 0.0,
                    pouring: barrel.pour.is_some(),
                    fill: barrel.fill,
                });
                barrel.minute(gain * wander * share);
            }
        }
        for pump in &mut self.pumps {
            pump.minute();
        }
    }

    fn gain(&self, minute: u32, place: usize) -> f64 {
        self.pumps.get(place).map_or(0.0, |pump| pump.gain(minute))
    }

    /// Takes note of a change of the draw that is large enough to matter.
    fn changed(&mut self, minute: u32, place: usize, before: f64, logged: bool) {
        let after = self.gain(minute, place);
        let Some(pump) = self.pumps.get(place) else { return };
        let factor = after / before;
        if before > 0.0
            && after > 0.0
            && (factor - 1.0).abs() > NOTEWORTHY
            && let Some(barrel) = self.barrels.get_mut(pump.draws_from)
        {
            let what = Done::Changed(factor);
            barrel.deeds.push(TrueDeed { from: minute, to: minute, what, logged });
        }
    }

    /// The place of the pump that serves a drum.
    fn pump_of(&self, drum: usize) -> Option<usize> {
        if self.pumps.len() == 1 { Some(0) } else { (drum < self.pumps.len()).then_some(drum) }
    }

    /// The other drum on the same pump.
    fn other(&self, drum: usize) -> Option<usize> {
        (self.pumps.len() == 1).then_some(1 - drum.min(1))
    }

    fn truth(self) -> Vec<TrueDrum> {
        let drum = |(barrel, curves): (Barrel, Vec<DeliveryCurve>)| TrueDrum {
            id: id(barrel.name),
            heel: barrel.heel,
            full: barrel.full,
            moments: barrel.moments,
            curves,
            deeds: barrel.deeds,
        };
        self.barrels.into_iter().zip(self.curves).map(drum).collect()
    }
}

/// Share by which the draw must change to count as a change.
const NOTEWORTHY: f64 = 0.1;
/// From 21:00 to 06:00.
const NIGHT_MINUTES: f64 = 540.0;
