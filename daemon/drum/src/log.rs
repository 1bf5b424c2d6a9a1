//! What hands did to this drum or its pump, as far as the field log tells.

use jiff::Timestamp;

use super::facts::Facts;
use super::hours::hours;
use super::state::Belief;
use super::tuning::{DIP_SD, KEPT_LOG_HOURS};
use claymark_model::fieldlog::{Deed, LogEntry, Place};
use claymark_model::id::Id;

/// The entries that matter, in order of arrival.
#[derive(Debug, Clone, Default)]
pub(super) struct Hands {
    entries: Vec<Hand>,
}

/// One entry.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Hand {
    /// When it was done, hours since 1970.
    pub at: f64,
    pub act: Act,
    /// Of the entry.
    pub key: String,
}

/// What was done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Act {
    /// Slurry was added.
    Refill { figures: Figures },
    /// Somebody refilled a drum and didn't write which.
    RefillSomewhere,
    /// The pump's speed, rpm.
    Pump { rpm: f64 },
    /// The pump draws from this drum, or from another.
    InUse { here: bool },
    /// The drum was read by eye.
    Dip { volume: Belief },
    /// A new tube, or a clog was cleared.
    Serviced,
    /// The level sensor was wiped.
    Wiped,
    /// Another sensor says that the draw changed by this (ln).
    Hinted { by: Belief },
    /// The pump was caught into a cylinder.
    Caught { l_per_h: f64 },
}

/// What somebody wrote down of a refill.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Figures {
    /// Litres that came in, where the water is known.
    pub added: Option<f64>,
    /// Litres.
    pub water: Option<f64>,
    /// Kilograms.
    pub clay: Option<f64>,
}

impl Figures {
    /// All figures stand there, and are the same.
    fn are(&self, others: &Self) -> bool {
        let same = |one: Option<f64>, other: Option<f64>| {
            one.zip(other).is_some_and(|(one, other)| (one - other).abs() < SAME_FIGURE)
        };
        same(self.water, others.water) && same(self.clay, others.clay)
    }
}

impl Hands {
    /// Takes an entry if it concerns this drum; since when what is known of it has changed, hours since 1970.
    pub fn log(&mut self, facts: &Facts, entry: &LogEntry) -> Option<f64> {
        let replaced = entry.replaces.as_ref().and_then(|replaced| {
            let place = self.entries.iter().position(|hand| hand.key == *replaced)?;
            Some(self.entries.remove(place).at)
        });
        let known = self.entries.iter().any(|hand| hand.key == entry.key);
        let added = act(facts, &entry.deed).filter(|_| !known).map(|act| {
            let at = hours(entry.at);
            self.entries.push(Hand { at, act, key: entry.key.clone() });
            at
        });
        match (replaced, added) {
            (Some(replaced), Some(added)) => Some(replaced.min(added)),
            (one, other) => one.or(other),
        }
    }

    /// Takes a hint that the draw changed then by that (ln); false where there is one already.
    pub fn hint(&mut self, at: f64, by: Belief) -> bool {
        let same =
            |hand: &Hand| matches!(hand.act, Act::Hinted { .. }) && (hand.at - at).abs() < SAME_HINT_HOURS;
        let known = self.entries.iter().any(same);
        if !known {
            self.entries.push(Hand { at, act: Act::Hinted { by }, key: String::new() });
        }
        !known
    }

    /// Forgets what is too old, but for what still stood then: the next setting is a share of it.
    pub fn prune(&mut self, now: Timestamp) {
        let oldest = hours(now) - KEPT_LOG_HOURS;
        let standing = [
            self.last(oldest, rpm_of),
            self.last(oldest, |act| rpm_of(act).filter(|rpm| *rpm > 0.0)),
            self.last(oldest, here_of),
        ]
        .map(|hand| hand.map(|hand| hand.key.clone()));
        self.entries.retain(|hand| hand.at >= oldest || standing.contains(&Some(hand.key.clone())));
    }

    /// How many refills somebody wrote down within `apart` hours of `t`.
    pub fn refills_about(&self, t: f64, apart: f64) -> usize {
        let refill = |act: &Act| matches!(act, Act::Refill { .. } | Act::RefillSomewhere);
        self.entries.iter().filter(|hand| refill(&hand.act) && (hand.at - t).abs() <= apart).count()
    }

    /// Whether the same refill had been written down within minutes: people write again what they think was lost.
    pub fn is_again(&self, entry: &Hand) -> bool {
        let Act::Refill { figures } = entry.act else { return false };
        self.entries.iter().take_while(|earlier| earlier.key != entry.key).any(|earlier| {
            (earlier.at - entry.at).abs() <= AGAIN_HOURS
                && matches!(earlier.act, Act::Refill { figures: same } if same.are(&figures))
        })
    }

    /// Litres that were written down within `apart` hours of `t`, up to `last`; `None` where one lacks its figures.
    pub fn litres_about(&self, t: f64, apart: f64, last: &Hand) -> Option<f64> {
        let near = |hand: &&Hand| (hand.at - t).abs() <= apart && hand.at <= last.at && !self.is_again(hand);
        let litres =
            |hand: &Hand| if let Act::Refill { figures } = hand.act { Some(figures.added) } else { None };
        self.entries.iter().filter(near).filter_map(litres).sum()
    }

    /// The last refill of this drum that was written down by `t`.
    pub fn last_refill(&self, t: f64) -> Option<(&Hand, Figures)> {
        let hand = self.last(t, |act| matches!(act, Act::Refill { .. }).then_some(()))?;
        if let Act::Refill { figures } = hand.act { Some((hand, figures)) } else { None }
    }

    /// The speed at which the pump stood before this entry.
    pub fn rpm_before(&self, entry: &Hand) -> Option<f64> {
        let earlier = self.entries.iter().filter(|hand| hand.at < entry.at && rpm_of(&hand.act).is_some());
        earlier.max_by(|a, b| a.at.total_cmp(&b.at)).and_then(|hand| rpm_of(&hand.act))
    }

    /// The last speed before this entry at which the pump ran.
    pub fn running_rpm_before(&self, entry: &Hand) -> Option<f64> {
        let running = |hand: &&Hand| hand.at < entry.at && rpm_of(&hand.act).is_some_and(|rpm| rpm > 0.0);
        let earlier = self.entries.iter().filter(running);
        earlier.max_by(|a, b| a.at.total_cmp(&b.at)).and_then(|hand| rpm_of(&hand.act))
    }

    /// Entries done after `from` and by `to`, in the order in which they were done.
    pub fn between(&self, from: f64, to: f64) -> Vec<&Hand> {
        let mut done: Vec<_> = self.entries.iter().filter(|hand| hand.at > from && hand.at <= to).collect();
        done.sort_by(|a, b| a.at.total_cmp(&b.at));
        done
    }

    /// The speed that was last set by `t`.
    pub fn rpm(&self, t: f64) -> Option<f64> {
        self.last(t, rpm_of).and_then(|hand| rpm_of(&hand.act))
    }

    /// Whether the pump was last said to draw from here.
    pub fn here(&self, t: f64) -> Option<bool> {
        self.last(t, here_of).and_then(|hand| here_of(&hand.act))
    }

    /// The first time the drum was read by eye.
    pub fn first_dip(&self, t: f64) -> Option<(f64, Belief)> {
        let dip = |act: &Act| if let Act::Dip { volume } = act { Some(*volume) } else { None };
        let read = self.entries.iter().filter(|hand| hand.at <= t && dip(&hand.act).is_some());
        read.min_by(|a, b| a.at.total_cmp(&b.at)).and_then(|hand| Some((hand.at, dip(&hand.act)?)))
    }

    /// When the drum was last read by eye.
    pub fn last_dip(&self, t: f64) -> Option<f64> {
        self.last(t, |act| matches!(act, Act::Dip { .. }).then_some(())).map(|hand| hand.at)
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
            let (water, clay) = (water.map(|water| water.0), clay.map(|clay| clay.0));
            let displaced = clay.map_or(0.0, |clay| clay / facts.mineral_density);
            let added = water.map(|water| water + displaced);
            Some(Act::Refill { figures: Figures { added, water, clay } })
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
        Deed::TubeChange { pump } | Deed::ClogCleared { pump } if ours(pump) => Some(Act::Serviced),
        Deed::Wipe { sensor: Some(sensor) } => {
            facts.gauge.as_ref().is_some_and(|gauge| gauge.sensor == *sensor).then_some(Act::Wiped)
        }
        Deed::FlowCheck { place: Some(Place::Pump(pump)), volume: Some(volume), seconds: Some(seconds) }
            if *pump == facts.pump && *seconds > 0.0 =>
        {
            Some(Act::Caught { l_per_h: facts.share * volume.0 * SECONDS_PER_HOUR / seconds })
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

/// h. The same figures so close together are one refill (our own choice): nobody mixes and pours twice in that time.
const AGAIN_HOURS: f64 = 0.25;
/// L or kg. Figures no further apart are the same.
const SAME_FIGURE: f64 = 1e-6;
/// h. Hints so close together are one.
const SAME_HINT_HOURS: f64 = 5.0 / 60.0;
const SECONDS_PER_HOUR: f64 = 3600.0;
