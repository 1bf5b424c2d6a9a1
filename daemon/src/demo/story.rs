//! The story of the demo: nine ordinary days on which things go wrong as they do.
//!
//! Day 0 is the first day. The full week that the report shows begins on day 2.

use jiff::{SignedDuration, Timestamp};

use super::physics::USUAL_RPM;
use super::staff::{Act, Calendar, Chore, LEAD, NIGHT, NightResponse};

/// What happens, and when.
#[derive(Debug, Clone)]
pub struct Story {
    calendar: Calendar,
}

impl Story {
    /// On that calendar.
    #[must_use]
    pub fn new(calendar: Calendar) -> Self {
        Self { calendar }
    }

    /// The calendar.
    #[must_use]
    pub fn calendar(&self) -> &Calendar {
        &self.calendar
    }

    /// What people do on that day, in order of time.
    #[must_use]
    pub fn day(&self, day: i32) -> Vec<Act> {
        let second_drum = if day > DRUM_C_TAKES_OVER { 2 } else { 1 };
        let mut acts = self.calendar.routine(day, second_drum);
        let at = |hour, minute| self.calendar.at(day, hour, minute);
        let mut add = |at, deed, by| acts.push(Act { at, deed, by });
        if (WEANING + 1..=WEANED).contains(&day) {
            for pump in 0..2 {
                let rpm = (USUAL_RPM * share_of_clay(day)).round();
                add(at(7, 40), Chore::Set { pump, rpm }, Some("lead"));
            }
        }
        match day {
            0 => {
                for pump in 0..2 {
                    add(at(8, 5), Chore::Set { pump, rpm: USUAL_RPM }, Some("lead"));
                }
                add(at(8, 6), Chore::Use { drum: 1 }, Some("lead"));
            }
            // The last person out turns the first pump up and writes nothing down; who is woken is held up.
            RUNS_DRY => {
                add(at(17, 55), Chore::Set { pump: 0, rpm: 100.0 }, None);
                for act in acts.iter_mut().filter(|act| act.at == at(15, 45)) {
                    act.at = at(15, 10);
                }
            }
            DAY_AFTER => {
                add(at(7, 33), Chore::Set { pump: 0, rpm: USUAL_RPM }, Some("lead"));
                // The afternoon refill of drum A isn't written down.
                for act in acts.iter_mut().filter(|act| act.at == at(15, 45)) {
                    act.by = None;
                }
            }
            // "Looks full": drum B gets too little before the night.
            SOMEBODY_COMES => {
                for act in acts.iter_mut().filter(|act| act.at == at(16, 5)) {
                    act.deed = Chore::Fill { drum: 1, to_l: 120.0 };
                }
            }
            GAP => add(at(9, 20), Chore::NewTube { pump: 0 }, Some("technician")),
            FOAMS => add(at(7, 30), Chore::NewBatch { factor: 0.94 }, None),
            DRUM_C_TAKES_OVER => add(at(7, 50), Chore::Use { drum: 2 }, Some("technician")),
            _ordinary => {}
        }
        if day == DRUM_C_TAKES_OVER {
            for act in &mut acts {
                if let Chore::Fill { drum, .. } = &mut act.deed
                    && *drum == 1
                {
                    *drum = 2;
                }
            }
        }
        acts.sort_by_key(|act| act.at);
        acts
    }

    /// Foam stands on drum B.
    #[must_use]
    pub fn foams(&self, at: Timestamp) -> bool {
        (self.calendar.at(FOAMS, 8, 10)..self.calendar.at(FOAMS, 10, 40)).contains(&at)
    }

    /// The barn's network is down; what carries its own time is sent later in one burst.
    #[must_use]
    pub fn network_gap(&self) -> std::ops::Range<Timestamp> {
        self.calendar.at(GAP, 13, 10)..self.calendar.at(GAP, 15, 40)
    }

    /// How the warning of `at` is taken, the `nth` of its cause, or told because a promise wasn't kept.
    #[must_use]
    pub fn response(&self, at: Timestamp, nth: u32, broken: bool) -> NightResponse {
        let night = |day| (self.calendar.at(day, 17, 30)..self.calendar.at(day + 1, 7, 0)).contains(&at);
        if night(RUNS_DRY) && broken {
            NightResponse::RUNS
        } else if night(RUNS_DRY) && nth >= 3 {
            NightResponse::HeldUp
        } else if night(SOMEBODY_COMES) {
            NightResponse::DRIVES
        } else {
            NightResponse::Sleeps
        }
    }

    /// Who says that the night is theirs, and how soon after they were asked. One evening nobody does until the next person
    /// is asked.
    #[must_use]
    pub fn takes_the_night(
        &self,
        asked: Timestamp,
        asked_again: bool,
    ) -> Option<(&'static str, SignedDuration)> {
        let forgets = self.calendar.at(FORGOTTEN, 16, 0)..self.calendar.at(FORGOTTEN + 1, 7, 0);
        match (asked_again, forgets.contains(&asked)) {
            (false, false) => Some((NIGHT, SignedDuration::from_mins(11))),
            (false, true) => None,
            (true, _) => Some((LEAD, SignedDuration::from_mins(6))),
        }
    }

    /// Payloads that nobody can use, with their topics.
    #[must_use]
    pub fn nonsense(&self) -> Vec<(Timestamp, &'static str, Vec<u8>)> {
        let at = |minute| self.calendar.at(NONSENSE, 10, minute);
        vec![
            (at(12), "alder-bend/drum/b/distance", b"nan".to_vec()),
            (at(13), "alder-bend/drum/a/level", br#"{"v":"ERR 3","t":null}"#.to_vec()),
            (at(14), "alder-bend/tank/t4", vec![0xFF, 0xFE, 0x00, 0x41]),
            (at(15), "alder-bend/test", b"hello".to_vec()),
        ]
    }

    /// From then on for a minute, drum A's messages arrive twice.
    #[must_use]
    pub fn stutters(&self, at: Timestamp) -> bool {
        (self.calendar.at(NONSENSE, 11, 0)..self.calendar.at(NONSENSE, 11, 3)).contains(&at)
    }
}

/// Of the clay that the fish had before their weaning, by the day of the story: 63 NTU above the water's own, then
/// 5.25 NTU less each day.
#[must_use]
pub fn share_of_clay(day: i32) -> f64 {
    1.0 - 5.25 / 63.0 * f64::from(day.clamp(WEANING, WEANED) - WEANING)
}

/// As the site file's plan has it.
const WEANING: i32 = 5;
const WEANED: i32 = 15;
const FORGOTTEN: i32 = 1;
const NONSENSE: i32 = 2;
const RUNS_DRY: i32 = 3;
const DAY_AFTER: i32 = 4;
const SOMEBODY_COMES: i32 = 5;
const GAP: i32 = 6;
const FOAMS: i32 = 7;
const DRUM_C_TAKES_OVER: i32 = 8;
