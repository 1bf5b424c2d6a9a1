//! The pump's tube wears: draw and clay fall together by a few percent a day, and a catch is below the dial.
//!
//! Trap: flow raised, then the clay falls at the same draw.

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::days::Decline;
use claymark_model::fieldlog::Deed;
use claymark_model::units::LitresPerMinute;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule = Rule { find, tells: |fault| matches!(fault, Fault::TubeWear { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let feeds = evidence.feeds(evidence.now);
    let [feed] = &feeds[..] else { return None };
    let drum = feed.drum;
    let set = evidence.journal.last(evidence.now, |deed| drum.sets_pump(deed)).map(|entry| entry.at);
    let (draw, clay) = evidence.days.declines(set)?;
    let together = clay.per_day >= 0.4 * draw.per_day && clay.per_day <= 2.5 * draw.per_day;
    if !(is_wear(&draw) && is_wear(&clay) && together) {
        return None;
    }
    let pump = drum.record.drum.pump.clone();
    let mut signs = vec![Sign::Declines { draw_per_day: draw.per_day, clay_per_day: clay.per_day }];
    signs.extend(caught_below(evidence, &pump));
    Some(Found {
        drum: Some(drum.record.drum.id.clone()),
        ..Found::of(
            format!("wear:{pump}"),
            Fault::TubeWear { pump, per_day: draw.per_day },
            draw.since,
            signs,
        )
    })
}

fn is_wear(decline: &Decline) -> bool {
    (LEAST..=MOST).contains(&decline.per_day) && decline.per_day >= SIGMAS * decline.sd
}

/// The last catch at the pump against its dial, where it is below.
fn caught_below(evidence: &Evidence<'_>, pump: &claymark_model::id::Id) -> Option<Sign> {
    let here = Some(claymark_model::site::Place::Pump(pump.clone()));
    let at_pump = |deed: &Deed| matches!(deed, Deed::FlowCheck { place, .. } if *place == here);
    let entry = evidence.journal.last(evidence.now, at_pump)?;
    let Deed::FlowCheck { volume, seconds, .. } = &entry.deed else { return None };
    let caught = LitresPerMinute::caught((*volume)?, (*seconds)?)?.per_hour();
    let dial =
        evidence.journal.last(entry.at, |deed| matches!(deed, Deed::PumpSetting { rpm: Some(_), .. }))?;
    let Deed::PumpSetting { rpm: Some(rpm), .. } = &dial.deed else { return None };
    let rated = evidence.site.pump(pump)?.rated(*rpm)?;
    (caught.0 < 0.95 * rated.0).then_some(Sign::Catch { caught, rated })
}

/// A new tube, or the pump set anew.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    evidence.journal.between(failure.since, evidence.now).any(|entry| {
        matches!(entry.deed, Deed::TubeChange { .. } | Deed::PumpSetting { .. })
            && entry.at > evidence.now - jiff::SignedDuration::from_hours(12)
    })
}

/// Share a day that a tube wears at least, to be told, and at most.
const LEAST: f64 = 0.015;
/// See [`LEAST`].
const MOST: f64 = 0.15;
const SIGMAS: f64 = 5.0;
