//! What hands did to this drum or its pump, as far as the field log tells.

use jiff::Timestamp;

use super::facts::Facts;
use super::fit::Belief;
use super::hours::hours;
use super::tuning::{DIP_SD, KEPT_LOG_HOURS};
use crate::fieldlog::{Deed, LogEntry};
use crate::id::Id;

/// The entries that matter, in order of arrival.
#[derive(Debug, Clone, Default)]
pub(super) struct Hands {
    entries: Vec<Hand>,
    next: u64,
}

/// One entry.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Hand {
    /// Counts up in order of arrival.
    pub number: u64,
    /// When it was done, hours since 1970.
    pub at: f64,
    pub act: Act,
    key: String,
}

/// What was done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Act {
    /// Slurry was added; litres where the figures say.
    Refill { added: Option<f64> },
    /// Somebody refilled a drum and didn't write which.
    RefillSomewhere,
    /// The pump's speed, rpm.
    Pump { rpm: f64 },
    /// The pump draws from this drum, or from another.
    InUse { here: bool },
    /// The drum was read by eye.
    Dip { volume: Belief },
}

impl Hands {
    /// Takes an entry if it concerns this drum.
    pub fn log(&mut self, facts: &Facts, entry: &LogEntry) {
        if let Some(replaced) = &entry.replaces {
            self.entries.retain(|hand| hand.key != *replaced);
        }
        let known = self.entries.iter().any(|hand| hand.key == entry.key);
        if let Some(act) = act(facts, &entry.deed).filter(|_| !known) {
            self.entries.push(Hand { number: self.next, at: hours(entry.at), act, key: entry.key.clone() });
            self.next += 1;
        }
    }

    /// Forgets what is too old.
    pub fn prune(&mut self, now: Timestamp) {
        let oldest = hours(now) - KEPT_LOG_HOURS;
        let standing = [
            self.last(hours(now), rpm_of).map(|h| h.number),
            self.last(hours(now), here_of).map(|h| h.number),
        ];
        self.entries.retain(|hand| hand.at >= oldest || standing.contains(&Some(hand.number)));
    }

    /// Entries that arrived with this number or later; one that lies ahead of `now` holds up the rest.
    pub fn from(&self, number: u64, now: f64) -> impl Iterator<Item = &Hand> {
        self.entries.iter().filter(move |hand| hand.number >= number).take_while(move |hand| hand.at <= now)
    }

    /// How many refills somebody wrote down within `apart` hours of `t`.
    pub fn refills_about(&self, t: f64, apart: f64) -> usize {
        let refill = |act: &Act| matches!(act, Act::Refill { .. } | Act::RefillSomewhere);
        self.entries.iter().filter(|hand| refill(&hand.act) && (hand.at - t).abs() <= apart).count()
    }

    /// The speed at which the pump stood before this entry.
    pub fn rpm_before(&self, entry: &Hand) -> Option<f64> {
        let earlier = self.entries.iter().filter(|hand| hand.at < entry.at && rpm_of(&hand.act).is_some());
        earlier.max_by(|a, b| a.at.total_cmp(&b.at)).and_then(|hand| rpm_of(&hand.act))
    }

    /// Entries done in that time, in the order in which they were done.
    pub fn between(&self, from: f64, to: f64) -> Vec<&Hand> {
        let mut done: Vec<_> = self.entries.iter().filter(|hand| (from..=to).contains(&hand.at)).collect();
        done.sort_by(|a, b| a.at.total_cmp(&b.at));
        done
    }

    /// The speed that was last set by `t`.
    pub fn rpm(&self, t: f64) -> Option<f64> {
        self.last(t, rpm_of).and_then(|hand| rpm_of(&hand.act))
    }

    /// The last speed by `t` at which the pump ran.
    pub fn running_rpm(&self, t: f64) -> Option<f64> {
        let running = |act: &Act| rpm_of(act).filter(|rpm| *rpm > 0.0);
        self.last(t, running).and_then(|hand| running(&hand.act))
    }

    /// Whether the pump was last said to draw from here.
    pub fn here(&self, t: f64) -> Option<bool> {
        self.last(t, here_of).and_then(|hand| here_of(&hand.act))
    }

    /// The last time the drum was read by eye.
    pub fn dip(&self, t: f64) -> Option<(f64, Belief)> {
        let dip = |act: &Act| if let Act::Dip { volume } = act { Some(*volume) } else { None };
        self.last(t, dip).and_then(|hand| Some((hand.at, dip(&hand.act)?)))
    }

    fn last<T>(&self, t: f64, wanted: impl Fn(&Act) -> Option<T>) -> Option<&Hand> {
        let done = self.entries.iter().filter(|hand| hand.at <= t && wanted(&hand.act).is_some());
        done.max_by(|a, b| a.at.total_cmp(&b.at))
    }
}

fn rpm_of(act: &Act) -> Option<f64> {
    if let Act::Pump { rpm } = act { Some(*rpm) } else { None }
}

fn here_of(act: &Act) -> Option<bool> {
    if let Act::InUse { here } = act { Some(*here) } else { None }
}

fn act(facts: &Facts, deed: &Deed) -> Option<Act> {
    let this = |drum: &Option<Id>| drum.as_ref().map_or(facts.only, |drum| *drum == facts.drum);
    let ours = |pump: &Option<Id>| pump.as_ref().map_or(facts.only_pump, |pump| *pump == facts.pump);
    match deed {
        Deed::Refill { drum, water, clay } if this(drum) => {
            let clay = clay.map_or(0.0, |clay| clay.0 / facts.mineral_density);
            Some(Act::Refill { added: water.map(|water| water.0 + clay) })
        }
        Deed::Refill { drum: None, .. } => Some(Act::RefillSomewhere),
        Deed::PumpSetting { pump, rpm } if ours(pump) => rpm.map(|rpm| Act::Pump { rpm }),
        Deed::InUse { drum: Some(drum), pump } => {
            let here = *drum == facts.drum;
            (here || ours(pump)).then_some(Act::InUse { here })
        }
        Deed::Dip { drum, level, volume } if this(drum) => {
            let litres = volume.map(|litres| litres.0).or_else(|| facts.at_level(level.as_ref()?.0));
            litres.map(|mean| Act::Dip { volume: Belief { mean, sd: DIP_SD * facts.span() } })
        }
        Deed::Refill { .. }
        | Deed::PumpSetting { .. }
        | Deed::InUse { .. }
        | Deed::FlowCheck { .. }
        | Deed::GrabSample { .. }
        | Deed::Cleaning { .. }
        | Deed::Dip { .. }
        | Deed::Wipe { .. }
        | Deed::TubeChange { .. }
        | Deed::ClogCleared { .. }
        | Deed::Delivery { .. }
        | Deed::Fish { .. }
        | Deed::Note { .. } => None,
    }
}
