//! What people did to this drum or its pump, as far as the field log tells.

use jiff::Timestamp;

use super::facts::Facts;
use super::hours::{SECONDS_PER_HOUR, hours, minutes};
use super::state::Gaussian;
use super::tuning::{DIP_SD, KEPT_LOG_HOURS};
use claymark_model::fieldlog::{Deed, LogEntry, Place};
use claymark_model::id::Id;

/// The entries that matter, in order of arrival.
#[derive(Debug, Clone, Default)]
pub(super) struct DrumLog {
    entries: Vec<DrumEntry>,
}

/// One entry.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct DrumEntry {
    /// When it was done, hours since 1970.
    pub at: f64,
    pub action: Action,
    /// Of the entry.
    pub key: String,
}

/// What was done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Action {
    /// Slurry was added.
    Refill { figures: Figures },
    /// Somebody refilled a drum and didn't write which.
    RefillSomewhere,
    /// The pump's speed, rpm.
    Pump { rpm: f64 },
    /// The pump draws from this drum, or from another.
    InUse { here: bool },
    /// The drum was read by eye.
    Dip { volume: Gaussian },
    /// A new tube, or a clog was cleared.
    Serviced,
    /// The level sensor was wiped.
    Wiped,
    /// Another sensor says that the draw changed by this (ln).
    Hinted { by: Gaussian },
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

impl DrumLog {
    /// Takes an entry if it concerns this drum; since when what is known of it has changed, hours since 1970.
    pub fn take(&mut self, facts: &Facts, entry: &LogEntry) -> Option<f64> {
        let replaced = entry.replaces.as_ref().and_then(|replaced| {
            let place = self.entries.iter().position(|kept| kept.key == *replaced)?;
            Some(self.entries.remove(place).at)
        });
        let known = self.entries.iter().any(|kept| kept.key == entry.key);
        let added = action(facts, &entry.deed).filter(|_| !known).map(|action| {
            let at = hours(entry.at);
            self.entries.push(DrumEntry { at, action, key: entry.key.clone() });
            at
        });
        match (replaced, added) {
            (Some(replaced), Some(added)) => Some(replaced.min(added)),
            (one, other) => one.or(other),
        }
    }

    /// Takes a hint that the draw changed then by that (ln); false where there is one already.
    pub fn hint(&mut self, at: f64, by: Gaussian) -> bool {
        let same = |kept: &DrumEntry| {
            matches!(kept.action, Action::Hinted { .. }) && (kept.at - at).abs() < SAME_HINT_HOURS
        };
        let known = self.entries.iter().any(same);
        if !known {
            self.entries.push(DrumEntry { at, action: Action::Hinted { by }, key: String::new() });
        }
        !known
    }

    /// Forgets what is too old, but for what still stood then: the next setting is a share of it.
    pub fn prune(&mut self, now: Timestamp) {
        let oldest = hours(now) - KEPT_LOG_HOURS;
        let standing = [
            self.last(oldest, rpm_of),
            self.last(oldest, |action| rpm_of(action).filter(|rpm| *rpm > 0.0)),
            self.last(oldest, here_of),
        ]
        .map(|kept| kept.map(|kept| kept.key.clone()));
        self.entries.retain(|kept| kept.at >= oldest || standing.contains(&Some(kept.key.clone())));
    }

    /// How many refills somebody wrote down within `apart` hours of `t`.
    pub fn refills_about(&self, t: f64, apart: f64) -> usize {
        let refill = |action: &Action| matches!(action, Action::Refill { .. } | Action::RefillSomewhere);
        self.entries.iter().filter(|kept| refill(&kept.action) && (kept.at - t).abs() <= apart).count()
    }

    /// Whether the same refill had been written down within minutes: people write again what they think was lost.
    pub fn is_again(&self, entry: &DrumEntry) -> bool {
        let Action::Refill { figures } = entry.action else { return false };
        self.entries.iter().take_while(|earlier| earlier.key != entry.key).any(|earlier| {
            (earlier.at - entry.at).abs() <= AGAIN_HOURS
                && matches!(earlier.action, Action::Refill { figures: same } if same.are(&figures))
        })
    }

    /// Litres that were written down within `apart` hours of `t`, up to `last`; `None` where one lacks its figures.
    pub fn litres_about(&self, t: f64, apart: f64, last: &DrumEntry) -> Option<f64> {
        let near =
            |kept: &&DrumEntry| (kept.at - t).abs() <= apart && kept.at <= last.at && !self.is_again(kept);
        let litres = |kept: &DrumEntry| {
            if let Action::Refill { figures } = kept.action { Some(figures.added) } else { None }
        };
        self.entries.iter().filter(near).filter_map(litres).sum()
    }

    /// The last refill of this drum that was written down by `t`.
    pub fn last_refill(&self, t: f64) -> Option<(&DrumEntry, Figures)> {
        let kept = self.last(t, |action| matches!(action, Action::Refill { .. }).then_some(()))?;
        if let Action::Refill { figures } = kept.action { Some((kept, figures)) } else { None }
    }

    /// The speed at which the pump stood before this entry.
    pub fn rpm_before(&self, entry: &DrumEntry) -> Option<f64> {
        let earlier = self.entries.iter().filter(|kept| kept.at < entry.at && rpm_of(&kept.action).is_some());
        earlier.max_by(|a, b| a.at.total_cmp(&b.at)).and_then(|kept| rpm_of(&kept.action))
    }

    /// The last speed before this entry at which the pump ran.
    pub fn running_rpm_before(&self, entry: &DrumEntry) -> Option<f64> {
        let running =
            |kept: &&DrumEntry| kept.at < entry.at && rpm_of(&kept.action).is_some_and(|rpm| rpm > 0.0);
        let earlier = self.entries.iter().filter(running);
        earlier.max_by(|a, b| a.at.total_cmp(&b.at)).and_then(|kept| rpm_of(&kept.action))
    }

    /// Entries done after `from` and by `to`, in the order in which they were done.
    pub fn between(&self, from: f64, to: f64) -> Vec<&DrumEntry> {
        let mut done: Vec<_> = self.entries.iter().filter(|kept| kept.at > from && kept.at <= to).collect();
        done.sort_by(|a, b| a.at.total_cmp(&b.at));
        done
    }

    /// The speed that was last set by `t`.
    pub fn rpm(&self, t: f64) -> Option<f64> {
        self.last(t, rpm_of).and_then(|kept| rpm_of(&kept.action))
    }

    /// Whether the pump was last said to draw from here.
    pub fn here(&self, t: f64) -> Option<bool> {
        self.last(t, here_of).and_then(|kept| here_of(&kept.action))
    }

    /// The first time the drum was read by eye.
    pub fn first_dip(&self, t: f64) -> Option<(f64, Gaussian)> {
        let dip = |action: &Action| if let Action::Dip { volume } = action { Some(*volume) } else { None };
        let read = self.entries.iter().filter(|kept| kept.at <= t && dip(&kept.action).is_some());
        read.min_by(|a, b| a.at.total_cmp(&b.at)).and_then(|kept| Some((kept.at, dip(&kept.action)?)))
    }

    /// When the drum was last read by eye.
    pub fn last_dip(&self, t: f64) -> Option<f64> {
        self.last(t, |action| matches!(action, Action::Dip { .. }).then_some(())).map(|kept| kept.at)
    }

    fn last<T>(&self, t: f64, wanted: impl Fn(&Action) -> Option<T>) -> Option<&DrumEntry> {
        let done = self.entries.iter().filter(|kept| kept.at <= t && wanted(&kept.action).is_some());
        done.max_by(|a, b| a.at.total_cmp(&b.at))
    }
}

fn rpm_of(action: &Action) -> Option<f64> {
    if let Action::Pump { rpm } = action { Some(*rpm) } else { None }
}

fn here_of(action: &Action) -> Option<bool> {
    if let Action::InUse { here } = action { Some(*here) } else { None }
}

fn action(facts: &Facts, deed: &Deed) -> Option<Action> {
    let this = |drum: &Option<Id>| drum.as_ref().map_or(facts.only, |drum| *drum == facts.drum);
    let ours = |pump: &Option<Id>| pump.as_ref().map_or(facts.only_pump, |pump| *pump == facts.pump);
    match deed {
        Deed::Refill { drum, water, clay } if this(drum) => {
            let (water, clay) = (water.map(|water| water.0), clay.map(|clay| clay.0));
            let displaced = clay.map_or(0.0, |clay| clay / facts.mineral_density);
            let added = water.map(|water| water + displaced);
            Some(Action::Refill { figures: Figures { added, water, clay } })
        }
        Deed::Refill { drum: None, .. } => Some(Action::RefillSomewhere),
        Deed::PumpSetting { pump, rpm } if ours(pump) => rpm.map(|rpm| Action::Pump { rpm }),
        Deed::InUse { drum: Some(drum), pump } => {
            let here = *drum == facts.drum;
            (here || ours(pump)).then_some(Action::InUse { here })
        }
        Deed::Dip { drum, level, volume } if this(drum) => {
            let litres = volume.map(|litres| litres.0).or_else(|| facts.at_level(level.as_ref()?.0));
            litres.map(|mean| Action::Dip { volume: Gaussian { mean, sd: DIP_SD * facts.span() } })
        }
        Deed::TubeChange { pump } | Deed::ClogCleared { pump } if ours(pump) => Some(Action::Serviced),
        Deed::Wipe { sensor: Some(sensor) } => {
            facts.gauge.as_ref().is_some_and(|gauge| gauge.sensor == *sensor).then_some(Action::Wiped)
        }
        Deed::FlowCheck { place: Some(Place::Pump(pump)), volume: Some(volume), seconds: Some(seconds) }
            if *pump == facts.pump && *seconds > 0.0 =>
        {
            Some(Action::Caught { l_per_h: facts.share * volume.0 * SECONDS_PER_HOUR / seconds })
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
        | Deed::Tonight { .. }
        | Deed::Shelve { .. }
        | Deed::Note { .. } => None,
    }
}

/// h. The same figures so close together are one refill (our own choice): nobody mixes and pours twice in that time.
const AGAIN_HOURS: f64 = 0.25;
/// L or kg. Figures no further apart are the same.
const SAME_FIGURE: f64 = 1e-6;
/// h. Hints so close together are one.
const SAME_HINT_HOURS: f64 = minutes(5.0);
