//! Refills as a renewal process: the drum is filled when it has come down to a level drawn by lot.

use claymark_model::fieldlog::{Deed as Entry, LogEntry};
use claymark_model::units::{Kilograms, Litres};
use jiff::SignedDuration;

use super::moods::Mood;
use crate::season::Season;
use crate::season::chance::Chance;
use crate::season::layout::{MINERAL_DENSITY, TARGET_G_PER_L, id};

/// Who fills one drum.
pub struct DrumHands {
    dice: Chance,
    drum: &'static str,
    /// The share of the usable litres at which it is filled next.
    next_at: f64,
    /// Buckets of a refill that is under way: minute and litres, the next one last.
    buckets: Vec<(u32, f64)>,
    /// What was written down.
    pub log: Vec<LogEntry>,
}

/// A refill that has just begun.
pub struct Begun {
    /// Minute of the last bucket.
    pub until: u32,
    /// In all.
    pub litres: f64,
    /// It was written down in time and rightly.
    pub logged: bool,
}

impl DrumHands {
    /// Of one drum.
    pub fn new(drum: &'static str, mut dice: Chance) -> Self {
        let next_at = lot(&mut dice);
        Self { dice, drum, next_at, buckets: Vec::new(), log: Vec::new() }
    }

    /// Whether somebody is at it.
    pub fn pouring(&self) -> bool {
        !self.buckets.is_empty()
    }

    /// Litres that come in this minute.
    pub fn pour(&mut self, minute: u32) -> f64 {
        let mut litres = 0.0;
        while let Some((_, bucket)) = self.buckets.pop_if(|(at, _)| *at <= minute) {
            litres += bucket;
        }
        litres
    }

    /// Begins a refill when it is time; `share` of the usable litres is left, `room` litres fit in.
    pub fn maybe_fill(&mut self, minute: u32, share: f64, room: f64, mood: &Mood) -> Option<Begun> {
        // At night they come less, but they come.
        let awake = (6 * 60..22 * 60).contains(&(minute % (24 * 60)));
        let comes = if awake { 0.05 } else { 0.001 };
        if share > self.next_at || self.pouring() || room < 12.0 || !self.dice.happens(comes) {
            return None;
        }
        self.next_at = lot(&mut self.dice);
        let wanted = room * if self.dice.happens(0.6) { 1.0 } else { self.dice.between(0.2, 0.95) };
        let mut at = minute;
        let mut litres = 0.0;
        while litres < wanted {
            let bucket = self.dice.between(9.0, 22.0).min(wanted - litres + 0.5);
            at += self.dice.whole(0, 3);
            litres += bucket;
            self.buckets.push((at, bucket));
        }
        self.buckets.reverse();
        let logged = self.write_down(at, litres, mood);
        Some(Begun { until: at, litres, logged })
    }

    fn write_down(&mut self, minute: u32, litres: f64, mood: &Mood) -> bool {
        if !self.dice.happens(mood.written) {
            return false;
        }
        let badly = self.dice.happens(mood.badly);
        let (factor, late) = match (badly, self.dice.whole(0, 2)) {
            (true, 0) => (self.dice.around(1.0, 0.4), 0),
            (true, 1) => (1.0, self.dice.whole(20, 500)),
            (true, _) => (f64::NAN, 0),
            (false, _) => (self.dice.around(1.0, 0.015), self.dice.whole(0, 2)),
        };
        let noted = (litres * factor).round();
        let clay = noted * TARGET_G_PER_L / 1000.0;
        let (water, clay) = if noted.is_finite() {
            (Some(Litres(noted - clay / MINERAL_DENSITY)), Some(Kilograms(clay)))
        } else {
            (None, None)
        };
        self.push(minute, minute + 1 + late, Entry::Refill { drum: Some(id(self.drum)), water, clay });
        !badly
    }

    /// Writes an entry.
    pub fn push(&mut self, at: u32, heard: u32, deed: Entry) {
        let key = format!("{}-{}", self.drum, self.log.len());
        let received_at = Season::at(heard) + SignedDuration::from_secs(40);
        self.log.push(LogEntry { key, at: Season::at(at), received_at, by: None, replaces: None, deed });
    }
}

fn lot(dice: &mut Chance) -> f64 {
    dice.between(0.0, 1.0).powf(1.7) * 0.75
}
