//! What the people of the invented hatchery do, and what of it they write down.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};

/// One thing done at one time.
#[derive(Debug, Clone, PartialEq)]
pub struct Act {
    /// When it begins.
    pub at: Timestamp,
    /// What.
    pub deed: Chore,
    /// Who writes it down; `None`: nobody does.
    pub by: Option<&'static str>,
}

/// What people do.
#[derive(Debug, Clone, PartialEq)]
pub enum Chore {
    /// Fills a drum up to so many litres, at the strength wanted, over about a quarter of an hour.
    Fill {
        /// 0, 1 or 2: A, B or C.
        drum: usize,
        /// Up to here.
        to_l: f64,
    },
    /// Sets a pump's speed.
    Set {
        /// 0 or 1.
        pump: usize,
        /// Revolutions per minute.
        rpm: f64,
    },
    /// Hangs the second pump's line into another drum.
    Use {
        /// 1 or 2.
        drum: usize,
    },
    /// Puts a new tube into a pump.
    NewTube {
        /// 0 or 1.
        pump: usize,
    },
    /// Brushes and siphons a rearing tank.
    Clean {
        /// Counted from 0.
        tank: usize,
    },
    /// Holds a hand meter into the head tank.
    Sample,
    /// Catches what a pump gives, with cylinder and watch.
    Catch {
        /// 0 or 1.
        pump: usize,
    },
    /// Opens a batch of clay that clouds so much more or less.
    NewBatch {
        /// Against the first batch.
        factor: f64,
    },
}

/// Who works when: the calendar of one story.
#[derive(Debug, Clone)]
pub struct Calendar {
    zone: TimeZone,
    first_day: Date,
}

impl Calendar {
    /// Begins on that day.
    #[must_use]
    pub fn new(zone: TimeZone, first_day: Date) -> Self {
        Self { zone, first_day }
    }

    /// The time that a clock on the wall shows on that day of the story, the first being 0.
    #[must_use]
    pub fn at(&self, day: i32, hour: i8, minute: i8) -> Timestamp {
        let date = self.first_day.checked_add(day.days()).unwrap_or(self.first_day);
        date.at(hour, minute, 0, 0)
            .to_zoned_datetime(self.zone.clone())
            .map_or(Timestamp::UNIX_EPOCH, |zoned| zoned.timestamp())
    }

    /// Hours since midnight on the wall.
    #[must_use]
    pub fn hour_of_day(&self, at: Timestamp) -> f64 {
        let wall = at.to_zoned_datetime(self.zone.clone());
        f64::from(wall.hour()) + f64::from(wall.minute()) / 60.0
    }

    /// What is done on a day on which nothing goes wrong.
    #[must_use]
    pub fn routine(&self, day: i32, second_drum: usize) -> Vec<Act> {
        let act = |hour, minute, deed, by| Act { at: self.at(day, hour, minute), deed, by: Some(by) };
        let tank = usize::try_from(day.rem_euclid(6)).unwrap_or(0);
        vec![
            act(6, 50, Chore::Sample, "technician"),
            act(7, 35, Chore::Fill { drum: 0, to_l: 168.0 }, "technician"),
            act(7, 55, Chore::Fill { drum: second_drum, to_l: 172.0 }, "technician"),
            act(8, 30, Chore::Clean { tank: 2 * tank }, "technician"),
            act(8, 50, Chore::Clean { tank: 2 * tank + 1 }, "technician"),
            act(13, 0, Chore::Catch { pump: 0 }, "lead"),
            act(13, 10, Chore::Catch { pump: 1 }, "lead"),
            act(15, 45, Chore::Fill { drum: 0, to_l: 168.0 }, "technician"),
            act(16, 5, Chore::Fill { drum: second_drum, to_l: 172.0 }, "technician"),
        ]
    }
}

/// How people take a warning at night.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NightResponse {
    /// Nobody wakes up.
    Sleeps,
    /// Somebody says "I'm on it" and is held up on the way.
    HeldUp,
    /// Somebody says so, goes there, mixes and fills.
    Comes {
        /// Who.
        by: &'static str,
        /// From the warning to pouring.
        pours_after: SignedDuration,
    },
}

impl NightResponse {
    /// From the warning to the answer: slow enough to be human.
    pub const ANSWERS_AFTER: SignedDuration = SignedDuration::from_mins(4);
    /// Drives there: fast enough to be in time.
    pub const DRIVES: Self = Self::Comes { by: NIGHT, pours_after: SignedDuration::from_mins(38) };
    /// Lives beside the barn.
    pub const RUNS: Self = Self::Comes { by: LEAD, pours_after: SignedDuration::from_mins(29) };
    /// Up to here, litres: enough for the rest of the night.
    pub const FILLS_TO_L: f64 = 130.0;
}

/// Who is called first at night.
pub const NIGHT: &str = "duty";
/// Who is called next.
pub const LEAD: &str = "lead";
