//! Will a drum last until a time, and what would make it last: one arithmetic for the evening message, the night's
//! warnings and `claymark outlook`.
//!
//! A drum *lasts* when the earliest time that it is empty, p05, is at or after what is wanted. Whether it would last
//! with more in it or with a slower pump is asked of the drum's own forecast ([`DrumWatch::empty_if`]), so that the
//! pump's curve and how sure the forecast is count here as they do there. More slurry and a slower pump both only
//! make the earliest time later, so the least litres and the fastest speed are found by halving.

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::drum::{DrumWatch, WhatIf};
use crate::forecast::{EmptyAt, Outlook};
use crate::notice::content::{PumpState, Verdict, Visit};
use crate::refill::Refill;
use crate::site::{Drum, Pump};
use crate::units::{Litres, Turbidity};

/// A slower pump, with which a drum lasts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Slower {
    /// Of the present speed, whole percents, rounded down.
    pub share: f64,
    /// The speed, rounded down; `None` where the present one isn't written down, or what leaves the drum denies it.
    pub rpm: Option<f64>,
    /// The pump's slowest speed, rpm, where it would have to run slower: clay settles in the line.
    pub below: Option<f64>,
    /// What the head tank then gets.
    pub clearer: Option<Clearer>,
}

/// Less slurry makes the water clearer.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Clearer {
    /// Of the head tank as the pump runs now.
    pub from: Turbidity,
    /// Of the head tank with the slower pump, once it has settled down.
    pub to: Turbidity,
}

/// Less than full that lasts all the same.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Enough {
    /// When so much must be there.
    pub at: Timestamp,
    /// So much must be there, whole litres.
    pub litres: Litres,
    /// What will be there without a refill, by the likely course; what is there, when it must be there now.
    pub holds: Option<Litres>,
    /// What to add then, the target strength kept; `None` where what is in it isn't known, or is enough.
    pub refill: Option<Refill>,
}

/// One drum, and until when it must last.
pub(crate) struct Question<'a> {
    pub(crate) watch: &'a DrumWatch,
    pub(crate) drum: &'a Drum,
    pub(crate) now: Timestamp,
    pub(crate) visit: &'a Visit,
}

impl Question<'_> {
    /// When it is empty with that much in it and the pump at that share of its speed.
    pub(crate) fn empty_if(&self, volume: Option<Litres>, draw_share: f64) -> Option<EmptyAt> {
        self.watch.empty_if(self.now, WhatIf { volume, draw_share })
    }

    /// The fastest share of the present speed at which it lasts with that much in it, or as it is.
    ///
    /// `None` when it lasts at its present speed, or when no speed helps.
    pub(crate) fn slower(&self, volume: Option<Litres>) -> Option<f64> {
        let lasts = |percent: u32| self.lasts(volume, f64::from(percent) / 100.0, SignedDuration::ZERO);
        if !lasts(1) || lasts(100) {
            return None;
        }
        let last = last_that_holds(1, 100, lasts);
        Some(f64::from(last) / 100.0)
    }

    /// The least whole litres that must be in it at `from` for it to last as the pump goes; `None` when even full it
    /// doesn't, or when no draw is known.
    pub(crate) fn litres(&self, from: Timestamp) -> Option<Litres> {
        let later = from.duration_since(self.now);
        let full = self.drum.full.0.floor();
        // Counted down from full: the most that can be missing.
        let lasts = |missing: u32| self.lasts(Some(Litres(full - f64::from(missing))), 1.0, later);
        let room = (0..=MOST_LITRES).take_while(|missing| f64::from(*missing) <= full).last()?;
        if !lasts(0) {
            return None;
        }
        let missing = if lasts(room) { room } else { last_that_holds(0, room, lasts) };
        Some(Litres(full - f64::from(missing)))
    }

    /// What it will likely hold at `at`, as the pump goes and if nobody refills it; `held` is what it holds now.
    pub(crate) fn holds(&self, held: Litres, at: Timestamp) -> Litres {
        let there_by = |left: u32| {
            let reached = self.watch.reaches(self.now, held - Litres(f64::from(left)));
            reached.and_then(|reached| reached.p50).is_some_and(|likely| likely <= at)
        };
        let above_heel =
            (0..=MOST_LITRES).take_while(|gone| f64::from(*gone) <= (held - self.drum.heel).0).last();
        let most = above_heel.unwrap_or(0);
        let gone = match most {
            0 => 0,
            _ if there_by(most) => most,
            _ if !there_by(1) => 0,
            _ => last_that_holds(1, most, there_by),
        };
        held - Litres(f64::from(gone))
    }

    /// Whether it lasts when the wait begins only `later`.
    fn lasts(&self, volume: Option<Litres>, draw_share: f64, later: SignedDuration) -> bool {
        let wanted = self.visit.lasts_until() - later;
        let earliest = self.empty_if(volume, draw_share);
        earliest.is_some_and(|ends| ends.p05.is_none_or(|p05| p05 >= wanted))
    }
}

impl Slower {
    /// That share of what is known of the pump.
    pub(crate) fn of(share: f64, state: &PumpState, pump: Option<&Pump>) -> Self {
        let rpm = state.rpm_at(share);
        let below = rpm.zip(pump.and_then(|pump| pump.min_rpm)).filter(|(rpm, slowest)| rpm < slowest);
        Self { share, rpm, below: below.map(|(_, slowest)| slowest), clearer: None }
    }
}

impl Visit {
    /// Until when a drum must last.
    #[must_use]
    pub fn lasts_until(&self) -> Timestamp {
        self.at + self.margin
    }
}

impl Verdict {
    /// Of a drum that is empty at `empty_at`; later than the horizon lasts.
    #[must_use]
    pub fn of(empty_at: &EmptyAt, visit: &Visit) -> Self {
        let lasts = |time: Option<Timestamp>| time.is_none_or(|time| time >= visit.lasts_until());
        if lasts(empty_at.p05) {
            Self::Lasts
        } else if lasts(empty_at.p50) {
            Self::MayNotLast
        } else {
            Self::WillNotLast
        }
    }

    /// Of an outlook.
    #[must_use]
    pub fn of_outlook(outlook: &Outlook, visit: &Visit) -> Self {
        match outlook {
            Outlook::Known { empty_at, .. } => Self::of(empty_at, visit),
            Outlook::Unknown { .. } => Self::Unknown,
        }
    }
}

impl PumpState {
    /// What leaves its drums, as a share of what its rating says at the speed that was written down.
    #[must_use]
    pub fn delivers(&self) -> Option<f64> {
        let (rated, drawn) = (self.rated?, self.drawn?);
        (rated.0 > 0.0).then(|| drawn.0 / rated.0)
    }

    /// Whether a share of the rating is as good as the rating.
    #[must_use]
    pub fn agrees(share: f64) -> bool {
        (SLOWEST..=FASTEST).contains(&share)
    }

    /// The speed that is `share` of the one written down, rounded down, where the data agree with that.
    #[must_use]
    pub fn rpm_at(&self, share: f64) -> Option<f64> {
        let agree = self.delivers().is_some_and(Self::agrees);
        self.set.filter(|_| agree).map(|set| (set.rpm * share).floor()).filter(|rpm| *rpm >= 1.0)
    }
}

/// The last from `holds` on for which it holds, where from some place on up to `fails` it doesn't any more.
fn last_that_holds(mut holds: u32, mut fails: u32, test: impl Fn(u32) -> bool) -> u32 {
    while holds + 1 < fails {
        let middle = u32::midpoint(holds, fails);
        if test(middle) { holds = middle } else { fails = middle }
    }
    holds
}

/// A rating is no calibration, and tubes wear, so a quarter less is the same; more than the rating isn't wear,
/// and it is what empties a drum too soon (common practice, no source).
const SLOWEST: f64 = 0.75;
/// See [`SLOWEST`].
const FASTEST: f64 = 1.15;
/// No drum is larger than a thousand of them.
const MOST_LITRES: u32 = 1000;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::id::Id;
    use crate::notice::content::PumpSetting;
    use crate::site::Draws;
    use crate::units::LitresPerHour;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn visit() -> Visit {
        Visit { at: at("2027-04-21T04:30:00Z"), margin: SignedDuration::from_hours(1) }
    }

    fn empty_at(p05: Option<&str>, p50: Option<&str>) -> EmptyAt {
        let (p05, p50) = (p05.map(at), p50.map(at));
        EmptyAt { p05, p25: p05, p50, p75: p50, p95: None }
    }

    #[test]
    fn lasting_is_judged_by_the_earliest_and_the_likely_time_against_visit_and_margin() {
        for (p05, p50, verdict) in [
            (Some("2027-04-21T05:30:00Z"), Some("2027-04-21T09:00:00Z"), Verdict::Lasts),
            (Some("2027-04-21T05:29:59Z"), Some("2027-04-21T05:30:00Z"), Verdict::MayNotLast),
            (Some("2027-04-21T04:29:59Z"), Some("2027-04-21T05:29:59Z"), Verdict::WillNotLast),
            (Some("2027-04-21T01:00:00Z"), None, Verdict::MayNotLast),
            (None, None, Verdict::Lasts),
        ] {
            assert_eq!(Verdict::of(&empty_at(p05, p50), &visit()), verdict, "{p05:?} {p50:?}");
        }
    }

    #[test]
    fn a_speed_is_told_only_where_what_leaves_agrees_with_it_and_its_slowest_is_minded() {
        let id = |text| Id::new(text).unwrap();
        let state = |drawn| PumpState {
            pump: id("p1"),
            set: Some(PumpSetting { rpm: 75.0, at: at("2027-04-20T04:00:00Z") }),
            rated: Some(LitresPerHour(9.45)),
            drawn: Some(LitresPerHour(drawn)),
        };
        let pump = |min_rpm| Pump {
            id: id("p1"),
            name: "Pump 1".to_owned(),
            ml_per_min_per_rpm: Some(2.1),
            max_rpm: Some(100.0),
            min_rpm,
            draws: Draws::One,
        };
        // 75 rpm · 0.52 = 39 rpm.
        let slower = |drawn, min_rpm| Slower::of(0.52, &state(drawn), Some(&pump(min_rpm)));
        assert_eq!((slower(9.4, None).rpm, slower(9.4, None).below), (Some(39.0), None));
        assert_eq!(slower(9.4, Some(39.0)).below, None);
        assert_eq!(slower(9.4, Some(40.0)).below, Some(40.0));
        assert_eq!(slower(17.0, Some(40.0)).rpm, None, "it isn't true that it runs at 75 rpm");
    }
}
