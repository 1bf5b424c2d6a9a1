//! Will a drum last until a time, and what would make it last: one arithmetic for the evening message, the night's
//! warnings and `claymark outlook`.
//!
//! A drum *lasts* when the earliest time that it is empty, p05, is at or after what is wanted. Whether it would last
//! with more in it or with a slower pump is asked of the drum's own forecast ([`Prospect::empty_if`]), so that the
//! pump's curve and how sure the forecast is count here as they do there. More slurry and a slower pump both only
//! make the earliest time later, so the least litres and the fastest speed are found by halving.

use claymark_drum::{Prospect, WhatIf};
use claymark_model::forecast::EmptyAt;
use claymark_model::site::Drum;
use claymark_model::units::Litres;
use claymark_notice::content::Visit;
use jiff::{SignedDuration, Timestamp};

/// One drum, and until when it must last.
pub(crate) struct Question<'a> {
    /// What lies ahead of it at `now`, reckoned once: halving asks it a dozen times. `None` when nothing is known.
    pub(crate) ahead: Option<&'a Prospect>,
    pub(crate) drum: &'a Drum,
    pub(crate) now: Timestamp,
    pub(crate) visit: &'a Visit,
}

impl Question<'_> {
    /// When it is empty with that much in it and the pump at that share of its speed.
    pub(crate) fn empty_if(&self, volume: Option<Litres>, draw_share: f64) -> Option<EmptyAt> {
        self.ahead?.empty_if(WhatIf { volume, draw_share })
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
            let reached = self.ahead.and_then(|ahead| ahead.reaches(held - Litres(f64::from(left))));
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

/// The last from `holds` on for which it holds, where from some place on up to `fails` it doesn't any more.
fn last_that_holds(mut holds: u32, mut fails: u32, test: impl Fn(u32) -> bool) -> u32 {
    while holds + 1 < fails {
        let middle = u32::midpoint(holds, fails);
        if test(middle) { holds = middle } else { fails = middle }
    }
    holds
}

/// No drum is larger than a thousand of them.
const MOST_LITRES: u32 = 1000;
