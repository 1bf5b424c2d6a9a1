//! Who comes three times a day, and what of it is written down.

use claymark_model::fieldlog::{Deed as Entry, LogEntry};
use claymark_model::units::Litres;
use jiff::SignedDuration;

use super::PumpLine;
use super::faults::Faults;
use crate::season::chance::Chance;
use crate::season::layout::id;
use crate::season::truth::{Done, TrueDeed};
use crate::season::{DAY, Season};

/// The people of one room.
pub struct Hands {
    faults: Faults,
    dice: Chance,
    /// Minutes of the visits to each drum still to come, soonest last.
    visits: Vec<(u32, usize)>,
    /// What was written down.
    pub log: Vec<LogEntry>,
}

impl Hands {
    /// Visits of a whole season.
    pub fn new(faults: &Faults, days: u32, mut dice: Chance) -> Self {
        let mut visits = Vec::new();
        for day in 0..days {
            for hour in [7.5, 12.5, 17.5] {
                let begin = f64::from(day * DAY) + hour * 60.0 + dice.between(-25.0, 25.0);
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "some minutes")]
                visits.extend((0..3).map(|drum| (begin as u32 + 5 * drum, drum as usize)));
            }
        }
        visits.sort_by_key(|visit| std::cmp::Reverse(*visit));
        Self { faults: *faults, dice, visits, log: Vec::new() }
    }

    /// The first entries of a season.
    pub fn begin(&mut self, lines: &[PumpLine]) {
        for (place, line) in lines.iter().enumerate() {
            self.write(3, 0, setting(place, line.rpm));
        }
    }

    /// Whatever is to be done in that minute.
    pub fn minute(&mut self, minute: u32, lines: &mut [PumpLine]) {
        while let Some((_, drum)) = self.visits.pop_if(|(at, _)| *at <= minute) {
            if let Some(line) = lines.get_mut(drum) {
                self.visit(minute, drum, line);
            }
        }
    }

    fn visit(&mut self, minute: u32, place: usize, line: &mut PumpLine) {
        self.mend(minute, line);
        if self.dice.happens(self.faults.settings / 3.0) {
            self.set(minute + 2, place, line);
        }
        let (room, span) = (line.full - line.volume, line.full - line.heel);
        let needs = self.dice.between(0.1, 0.5);
        if room > 12.0 && room / span > needs {
            self.fill(minute, line, room);
        }
    }

    fn mend(&mut self, minute: u32, line: &mut PumpLine) {
        if line.clogs > 0.0 && self.dice.happens(0.6) {
            let factor = 1.0 / line.open;
            (line.clogs, line.open) = (0.0, 1.0);
            line.changed(minute, factor, false);
        }
        if line.leak > 0.0 && self.dice.happens(0.8) {
            let factor = 1.0 / (1.0 + line.leak / line.gain().max(1.0));
            line.leak = 0.0;
            line.changed(minute, factor, false);
        }
    }

    fn set(&mut self, minute: u32, place: usize, line: &mut PumpLine) {
        let before = line.gain();
        // It goes back to where it was about as often as on.
        let usual = (line.full - line.heel) / 22.0 / (2.1 * 0.06);
        let wanted = 0.5 * (usual.ln() + line.rpm.ln()) + self.faults.setting_sd * self.dice.normal();
        line.rpm = wanted.exp().clamp(0.35 * usual, 2.5 * usual).round();
        let logged = self.dice.happens(self.faults.settings_written);
        if logged {
            let late = self.late();
            self.write(minute, late, setting(place, line.rpm));
        }
        line.changed(minute, line.gain() / before, logged);
    }

    fn fill(&mut self, minute: u32, line: &mut PumpLine, room: f64) {
        let share = if self.dice.happens(0.7) { 1.0 } else { self.dice.between(0.3, 0.9) };
        let (litres, takes) = (room * share, self.dice.whole(4, 14));
        line.pour = (litres / f64::from(takes), takes);
        let logged = self.dice.happens(self.faults.refills_written);
        if logged {
            let water = (litres * self.dice.around(1.0, 0.04) / 5.0).round() * 5.0;
            let water = (!self.dice.happens(0.1)).then_some(Litres(water));
            let late = self.late();
            self.write(minute + takes, late, Entry::Refill { drum: Some(id(line.name)), water, clay: None });
        }
        let (from, to) = (minute, minute + takes);
        line.deeds.push(TrueDeed { from, to, what: Done::Poured(litres), logged });
    }

    fn late(&mut self) -> u32 {
        if self.dice.happens(self.faults.late) { self.dice.whole(30, 240) } else { self.dice.whole(1, 10) }
    }

    fn write(&mut self, minute: u32, late: u32, deed: Entry) {
        let at = minute.saturating_sub(self.dice.whole(0, 5)).max(1);
        let key = format!("entry-{}", self.log.len());
        let received_at = Season::at(minute + late) + SignedDuration::from_secs(30);
        self.log.push(LogEntry { key, at: Season::at(at), received_at, by: None, replaces: None, deed });
    }
}

fn setting(place: usize, rpm: f64) -> Entry {
    Entry::PumpSetting { pump: Some(id(&format!("p{}", place + 1))), rpm: Some(rpm) }
}
