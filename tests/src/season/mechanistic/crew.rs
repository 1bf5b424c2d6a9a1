//! People: they come at odd times, pour, turn knobs, and write down some of it.

use claymark_model::fieldlog::{Deed as Entry, LogEntry};
use claymark_model::units::{Kilograms, Litres};
use jiff::SignedDuration;

use super::Works;
use super::barrel::Pour;
use super::habits::CrewHabits;
use crate::season::chance::Chance;
use crate::season::layout::{MINERAL_DENSITY, RATED_ML_PER_REVOLUTION, TARGET_G_PER_L, id};
use crate::season::truth::{Done, TrueDeed};
use crate::season::{DAY, DAYS, Season};

/// The people of one room.
pub struct Crew {
    habits: CrewHabits,
    dice: Chance,
    /// Minutes of the visits still to come, soonest last.
    visits: Vec<u32>,
    /// A pump that stands while somebody pours, and what it will be set to again.
    paused: Vec<(usize, u32)>,
    /// L/h that the fish are to get, from the first day to the last.
    plan: (f64, f64),
    next_raise: u32,
    /// What was written down.
    pub log: Vec<LogEntry>,
}

impl Crew {
    /// Visits of a whole season; `plan` is the draw wanted on the first and on the last day, L/h.
    pub fn new(habits: CrewHabits, days: u32, plan: (f64, f64), mut dice: Chance) -> Self {
        let mut visits = Vec::new();
        let mut coming = dice.branch();
        for day in 0..days {
            for (hour, spread, share) in [(7.6, 20.0, 1.0), (12.5, 60.0, 0.7), (16.6, 20.0, 1.0)] {
                if coming.happens(share) {
                    visits.push(day * DAY + minutes(hour * 60.0 + coming.between(-spread, spread)));
                }
            }
        }
        visits.reverse();
        Self { habits, dice, visits, paused: Vec::new(), plan, next_raise: 0, log: Vec::new() }
    }

    /// Whatever is to be done in that minute.
    pub fn minute(&mut self, minute: u32, works: &mut Works) {
        let over: Vec<usize> =
            self.paused.iter().filter(|(_, until)| *until <= minute).map(|(pump, _)| *pump).collect();
        self.paused.retain(|(_, until)| *until > minute);
        for pump in over {
            if let Some(pump) = works.pumps.get_mut(pump) {
                pump.stopped = false;
            }
        }
        if self.visits.last() == Some(&minute) {
            self.visits.pop();
            self.visit(minute, works);
        }
    }

    /// The first entries of a season.
    pub fn begin(&mut self, works: &mut Works) {
        for place in 0..works.pumps.len() {
            self.set_speed(5, works, place, self.plan.0);
            self.write_change_over(5, works, place);
        }
    }

    fn visit(&mut self, minute: u32, works: &mut Works) {
        self.mend(minute, works);
        if minute >= self.next_raise {
            let day = f64::from(minute) / f64::from(DAY);
            let wanted = self.plan.0 + (self.plan.1 - self.plan.0) * day / f64::from(DAYS);
            for place in 0..works.pumps.len() {
                let wanted = wanted * self.dice.between(0.94, 1.06);
                self.set_speed(minute + 3, works, place, wanted);
            }
            self.next_raise = minute + minutes(self.dice.between(0.8, 3.5) * f64::from(DAY));
        }
        if self.dice.happens(self.habits.skips) {
            return;
        }
        for place in 0..works.barrels.len() {
            self.look_after(minute, works, place);
        }
    }

    /// Clogs, leaks, stopped pumps and odd valves are seen by those who come.
    fn mend(&mut self, minute: u32, works: &mut Works) {
        for place in 0..works.pumps.len() {
            let before = works.gain(minute, place);
            let Some(pump) = works.pumps.get_mut(place) else { continue };
            let name = id(pump.name);
            let paused = self.paused.iter().any(|(paused, _)| *paused == place);
            if pump.clog.is_some() && self.dice.happens(0.8) {
                pump.clog = None;
                self.write(minute, 0.7, Entry::ClogCleared { pump: Some(name.clone()) });
            }
            if pump.stopped && !paused {
                pump.stopped = false;
                let rpm = Some(pump.rpm);
                self.write(minute, 0.5, Entry::PumpSetting { pump: Some(name.clone()), rpm });
            }
            if (pump.valve - 1.0).abs() > 1e-9 && self.dice.happens(0.5) {
                pump.valve = 1.0;
            }
            if minute >= works.tubes_due.get(place).copied().unwrap_or(u32::MAX) {
                works.change_tube(minute, place);
                self.write(minute, 0.9, Entry::TubeChange { pump: Some(name) });
            }
            works.changed(minute, place, before, false);
        }
        for barrel in &mut works.barrels {
            if barrel.leak > 0.0 && self.dice.happens(0.6) {
                barrel.leak = 0.0;
            }
            if self.dice.happens(self.habits.takes_out) {
                barrel.volume =
                    (barrel.volume - self.dice.between(10.0, 40.0)).max(barrel.heel.min(barrel.volume));
            }
        }
    }

    /// Sets the pump so that it delivers so much by the label, as people reckon.
    fn set_speed(&mut self, minute: u32, works: &mut Works, place: usize, litres_per_hour: f64) {
        let before = works.gain(minute, place);
        let Some(pump) = works.pumps.get_mut(place) else { return };
        let rpm = (litres_per_hour * 1000.0 / 60.0 / RATED_ML_PER_REVOLUTION).round();
        pump.rpm = rpm;
        let wrong = self.dice.happens(self.habits.wrong_setting);
        let written = if wrong { (rpm * self.dice.between(0.6, 1.5)).round() } else { rpm };
        let entry = Entry::PumpSetting { pump: Some(id(pump.name)), rpm: Some(written) };
        let known = self.write(minute, 1.0 - self.habits.forgets_setting, entry);
        works.changed(minute, place, before, known && !wrong);
    }

    /// Looks whether a drum lasts until somebody comes again, and fills it if not.
    fn look_after(&mut self, minute: u32, works: &mut Works, place: usize) {
        let next = self.visits.last().copied().unwrap_or(minute + DAY / 2);
        let until = f64::from(next - minute) / 60.0 + self.dice.between(0.3, 4.0);
        let Some(pump) = works.pump_of(place) else { return };
        let drawn = works.pumps.get(pump).is_some_and(|pump| pump.draws_from == place);
        let Some(barrel) = works.barrels.get(place) else { return };
        let gain = works.gain(minute, pump);
        let left = (barrel.volume - barrel.heel) / gain.max(0.5) * self.dice.around(1.0, 0.1);
        let other = works.other(place);
        if drawn && left < until {
            let fuller = other.filter(|other| {
                works.barrels.get(*other).is_some_and(|other| other.volume > barrel.volume + 20.0)
            });
            match fuller {
                Some(other) => {
                    if let Some(pump) = works.pumps.get_mut(pump) {
                        pump.draws_from = other;
                    }
                    self.write_change_over(minute + 2, works, pump);
                }
                None => self.fill(minute, works, place, pump),
            }
        } else if !drawn && barrel.volume < 0.75 * barrel.full && self.dice.happens(0.7) {
            self.fill(minute, works, place, pump);
        }
    }

    fn fill(&mut self, minute: u32, works: &mut Works, place: usize, pump: usize) {
        let Some(barrel) = works.barrels.get_mut(place) else { return };
        let room = barrel.full + self.dice.between(-4.0, 2.0) - barrel.volume;
        let part = if self.dice.happens(self.habits.tops_up) { self.dice.between(0.25, 0.75) } else { 1.0 };
        let litres = room * part;
        if barrel.pour.is_some() || litres < 8.0 {
            return;
        }
        let takes = self.dice.whole(4, 20);
        barrel.pour = Some(Pour { per_minute: litres / f64::from(takes), left: litres });
        if self.dice.happens(self.habits.pauses_pump)
            && let Some(pumped) = works.pumps.get_mut(pump)
            && !pumped.stopped
        {
            pumped.stopped = true;
            self.paused.push((pump, minute + takes + self.dice.whole(0, 3)));
        }
        let logged = self.write_fill(minute + takes, barrel.name, litres);
        let (from, to) = (minute, minute + takes);
        barrel.deeds.push(TrueDeed { from, to, what: Done::Poured(litres), logged });
    }

    /// Says whether it was written down in time.
    fn write_fill(&mut self, minute: u32, drum: &str, litres: f64) -> bool {
        if self.dice.happens(self.habits.forgets_refill) {
            return false;
        }
        let wrong = self.dice.happens(self.habits.wrong_litres);
        let noted = litres * if wrong { self.dice.between(0.6, 1.4) } else { self.dice.around(1.0, 0.02) };
        let clay = noted * TARGET_G_PER_L / 1000.0;
        let water = Some(Litres((noted - clay / MINERAL_DENSITY).round()));
        let clay = Some(Kilograms((clay * 20.0).round() / 20.0));
        let blank = self.dice.happens(self.habits.no_litres);
        let (water, clay) = if blank { (None, None) } else { (water, clay) };
        let late = self.dice.happens(self.habits.logs_late);
        let heard = if late { self.dice.whole(30, 360) } else { self.dice.whole(0, 3) };
        let done = (minute + self.dice.whole(0, 4)).saturating_sub(2);
        self.push(done, done.max(minute) + heard, Entry::Refill { drum: Some(id(drum)), water, clay });
        !late && !wrong
    }

    fn write_change_over(&mut self, minute: u32, works: &Works, place: usize) {
        let Some(pump) = works.pumps.get(place) else { return };
        let Some(barrel) = works.barrels.get(pump.draws_from) else { return };
        if works.pumps.len() == works.barrels.len() {
            return;
        }
        let entry = Entry::InUse { pump: Some(id(pump.name)), drum: Some(id(barrel.name)) };
        self.write(minute, 1.0 - self.habits.forgets_change_over, entry);
    }

    /// Written down with that chance, within minutes; says whether it was.
    fn write(&mut self, minute: u32, share: f64, deed: Entry) -> bool {
        let written = self.dice.happens(share);
        if written {
            let heard = minute + self.dice.whole(0, 4);
            self.push(minute, heard, deed);
        }
        written
    }

    fn push(&mut self, at: u32, heard: u32, deed: Entry) {
        let key = format!("entry-{}", self.log.len());
        let received_at = Season::at(heard) + SignedDuration::from_secs(30);
        self.log.push(LogEntry { key, at: Season::at(at), received_at, by: None, replaces: None, deed });
    }
}

fn minutes(minutes: f64) -> u32 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "minutes of a season")]
    let whole = minutes.max(0.0) as u32;
    whole
}
