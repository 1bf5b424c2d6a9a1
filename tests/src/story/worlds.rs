//! Rooms of other sizes, people of other hours, failures of other kinds, sizes and speeds: each drawn from a seed, so that
//! what holds in them holds for what nobody thought of. All invented.

use jiff::{SignedDuration, Timestamp};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

use super::people::Habit;
use super::physics::Truth;
use super::script::{Instruments, ScriptedStory, at};
use super::{rooms, site_file};

/// A room with what happens in it.
pub struct DrawnWorld {
    /// To be told.
    pub story: ScriptedStory,
    /// Its site file.
    pub site: String,
    /// What fails when, for people.
    pub what: String,
    /// How people take calls.
    pub habit: Habit,
    /// What whoever comes does.
    pub mends: Box<dyn Fn(&mut ScriptedStory)>,
}

/// One thing that fails: a figure of the room goes somewhere.
#[derive(Debug, Clone, Copy)]
enum DrawnTrouble {
    Oxygen(f64),
    Blower { oxygen: f64 },
    FreshWater(f64),
    Pump(f64),
    Delivered(f64),
    Warmth(f64),
    Drained(f64),
    Strength(f64),
    Everything,
}

impl DrawnWorld {
    /// So many days with two or three troubles.
    ///
    /// # Panics
    /// Never: one of the habits is drawn.
    #[must_use]
    pub fn troubled(seed: u64, days: i64) -> Self {
        let mut chance = StdRng::seed_from_u64(70_000 + seed);
        let mut world = Self::quiet_by(&mut chance, seed, days);
        world.habit = *Habit::ALL.get(chance.random_range(0..Habit::ALL.len())).expect("within the list");
        let count = chance.random_range(1..=3);
        let hours = 24 * days - 12;
        let troubles: Vec<DrawnTrouble> = (0..count)
            .map(|_| {
                let from = at("08:00") + SignedDuration::from_mins(chance.random_range(6 * 60..hours * 60));
                let trouble = DrawnTrouble::drawn(&mut chance);
                // Most things break at once, some by and by.
                let minutes = if chance.random_bool(0.4) { chance.random_range(20..360) } else { 1 };
                trouble.happens(&mut world.story, from, minutes);
                let clock = from.strftime("%d. %H:%M");
                world.what += &format!("{trouble:?} from {clock} over {minutes} min; ");
                trouble
            })
            .collect();
        let well = world.story.truth().clone();
        world.mends = Box::new(move |story| {
            let (well, troubles) = (well.clone(), troubles.clone());
            story.hands(move |truth, instruments| {
                troubles.iter().for_each(|trouble| trouble.mend(truth, instruments, &well));
            });
        });
        world
    }

    /// So many days in which people fill, late or early, and write it down, nearly always.
    #[must_use]
    pub fn quiet(seed: u64, days: i64) -> Self {
        Self::quiet_by(&mut StdRng::seed_from_u64(80_000 + seed), seed, days)
    }

    fn quiet_by(chance: &mut StdRng, seed: u64, days: i64) -> Self {
        let mut truth = Truth::full();
        truth.fresh = chance.random_range(30.0..75.0);
        truth.pump = 209.0 * truth.fresh / 51.2;
        let tank = chance.random_range(150.0..500.0_f64).round();
        truth.tanks_l = 16.0 * tank;
        truth.head_l = chance.random_range(200.0..900.0_f64).round();
        truth.warm_l = truth.head_l * chance.random_range(1.0..8.0);
        truth.oxygen_minutes = chance.random_range(6.0..60.0);
        let site = world_site(chance, tank, truth.head_l);
        let what = format!(
            "{:.0} L/min, tanks of {tank} L, head tank {} L, oxygen in {:.0} min; ",
            truth.fresh, truth.head_l, truth.oxygen_minutes
        );
        let (turbidity_noise, level_noise) = (chance.random_range(0.5..3.0), chance.random_range(0.3..2.5));
        // Filled before it presses: 90 of the 163 L above the heel.
        let hours_a_fill = 90.0 / (truth.pump * 0.06);
        let flows = (truth.fresh, truth.pump);
        let mut story = ScriptedStory::noted("08:00", seed, flows, truth);
        story.hands(|_, instruments| {
            (instruments.turbidity_noise, instruments.level_noise) = (turbidity_noise, level_noise);
        });
        let mut hour = chance.random_range(3.0..hours_a_fill);
        #[expect(clippy::cast_precision_loss, reason = "days are few")]
        while hour < 24.0 * days as f64 {
            let when = at("08:00") + SignedDuration::from_secs_f64(hour * 3600.0);
            let noted =
                (!chance.random_bool(0.05)).then(|| SignedDuration::from_mins(chance.random_range(0..20)));
            story.filled(when, chance.random_range(165.0..178.0), noted);
            hour += hours_a_fill * chance.random_range(0.8..1.2);
        }
        Self { story, site, what, habit: Habit::Sleeps, mends: Box::new(|_| {}) }
    }
}

/// A room of that size, with one of the sets of instruments.
fn world_site(chance: &mut StdRng, tank: f64, head: f64) -> String {
    let room = match chance.random_range(0..5) {
        0 => rooms::with_meters(),
        1 => rooms::with_battery(),
        2 => rooms::with_contact(),
        _ => site_file(&[], ""),
    };
    room.replace("volume_l = 280", &format!("volume_l = {tank}"))
        .replace("volume_l = 450", &format!("volume_l = {head}"))
}

impl DrawnTrouble {
    fn drawn(chance: &mut StdRng) -> Self {
        let other_than_one = |chance: &mut StdRng, low: f64, high: f64| {
            if chance.random_bool(0.5) {
                chance.random_range(0.0..low)
            } else {
                chance.random_range(high..4.0)
            }
        };
        match chance.random_range(0..9) {
            0 => Self::Oxygen(chance.random_range(2.0..7.5)),
            1 => Self::Blower { oxygen: chance.random_range(2.0..7.0) },
            2 => Self::FreshWater(other_than_one(chance, 0.8, 1.4).max(0.05)),
            3 => Self::Pump(other_than_one(chance, 0.7, 1.4)),
            4 => Self::Delivered(chance.random_range(0.0..0.7)),
            5 => Self::Warmth(if chance.random_bool(0.5) {
                chance.random_range(8.0..18.5)
            } else {
                chance.random_range(21.5..30.0)
            }),
            6 => Self::Drained(chance.random_range(12.0..80.0)),
            7 => Self::Strength(other_than_one(chance, 0.7, 1.5).max(0.05)),
            _ => Self::Everything,
        }
    }

    /// Over so many minutes.
    fn happens(self, story: &mut ScriptedStory, from: Timestamp, minutes: i64) {
        let steps = (minutes / 10).max(1);
        for step in 0..steps {
            #[expect(clippy::cast_precision_loss, reason = "steps are few")]
            let (left, all) = ((steps - step) as f64, steps as f64);
            let when = from + SignedDuration::from_mins(10 * step);
            story.at(when, move |truth, instruments| self.goes(truth, instruments, left, all));
        }
    }

    /// One step of so many, of which so many are left.
    fn goes(self, truth: &mut Truth, instruments: &mut Instruments, left: f64, all: f64) {
        let toward = |is: &mut f64, to: f64| *is += (to - *is) / left;
        let factor = |is: &mut f64, by: f64| *is *= by.max(0.001).powf(1.0 / all);
        match self {
            Self::Oxygen(to) => toward(&mut truth.oxygen_goal, to),
            Self::Blower { oxygen } => {
                toward(&mut truth.oxygen_goal, oxygen);
                truth.settling.get_or_insert(0.0);
            }
            Self::FreshWater(by) => factor(&mut truth.fresh, by),
            Self::Pump(by) => factor(&mut truth.pump, by),
            Self::Delivered(to) => toward(&mut truth.delivered, to),
            Self::Warmth(to) => toward(&mut truth.incoming, to),
            Self::Drained(to) => {
                let to = to.min(truth.a.litres);
                toward(&mut truth.a.litres, to);
            }
            Self::Strength(by) => factor(&mut truth.a.strength, by),
            Self::Everything => {
                truth.pump = 0.0;
                instruments.turns = false;
                toward(&mut truth.oxygen_goal, 3.0);
                toward(&mut truth.incoming, 14.0);
                truth.settling.get_or_insert(0.0);
            }
        }
    }

    fn mend(self, truth: &mut Truth, instruments: &mut Instruments, well: &Truth) {
        match self {
            Self::Oxygen(_) => truth.oxygen_goal = well.oxygen_goal,
            Self::Blower { .. } => (truth.oxygen_goal, truth.settling) = (well.oxygen_goal, None),
            Self::FreshWater(_) => truth.fresh = well.fresh,
            Self::Pump(_) => truth.pump = well.pump,
            Self::Delivered(_) => truth.delivered = well.delivered,
            Self::Warmth(_) => truth.incoming = well.incoming,
            Self::Drained(_) => truth.fill_a(truth.a.litres.max(170.0)),
            Self::Strength(_) => truth.a.strength = well.a.strength,
            Self::Everything => {
                (truth.pump, truth.settling) = (well.pump, None);
                (truth.oxygen_goal, truth.incoming) = (well.oxygen_goal, well.incoming);
                instruments.turns = true;
            }
        }
    }
}
