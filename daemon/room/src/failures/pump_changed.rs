//! The pump or a valve was changed and nobody wrote it down: draw and clay change together, at one minute.
//!
//! Traps: froth that dies after a fill bends the level alone; of two drums that are joined each loses half.

use jiff::{SignedDuration, Timestamp};

use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::breakpoint::Breakpoint;
use crate::evidence::drum::DrumSight;
use crate::evidence::feed::Feed;
use crate::evidence::journal::NOTED;
use crate::evidence::water::{Explained, is_quick};
use claymark_drum::WhatIf;
use claymark_model::fieldlog::Deed;
use claymark_model::forecast::EmptyAt;
use claymark_model::happening::DrawShare;
use claymark_model::site::Place;
use claymark_model::units::{Litres, LitresPerMinute};
use claymark_notice::Priority;
use claymark_notice::content::Verdict;
use claymark_notice::failure::{Failure, Fault, PumpChanged, Sign};

pub(super) const RULE: Rule = Rule { find, tells: |fault| matches!(fault, Fault::PumpChanged(_)), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let explained = evidence.head.as_ref()?.explained().filter(|explained| is_quick(&explained.slurry))?;
    let feeds = evidence.feeds(explained.slurry.since);
    let mut found: Vec<(f64, Found)> =
        feeds.iter().filter_map(|feed| of_feed(evidence, feed, &explained)).collect();
    found.sort_by(|one, other| other.0.total_cmp(&one.0));
    found.into_iter().next().map(|(_, found)| found)
}

/// With how much likelier it is than that nothing was done to that pump.
fn of_feed(evidence: &Evidence<'_>, feed: &Feed<'_, '_>, explained: &Explained) -> Option<(f64, Found)> {
    let (drum, shift) = (feed.drum, explained.slurry);
    let factor = feed.by_pump.alone(explained.slurry_factor);
    let factor_sd = feed.by_pump.doubt(explained.factor_sd);
    let breakpoint = drum.breakpoint(evidence.now, shift.since)?;
    let share = breakpoint.share();
    let likelier = -breakpoint.speaks_for_the_same(factor) - explained.speaks_for_water;
    let needed = if evidence.away { LIKELIER + NOBODY_THERE } else { LIKELIER };
    let changed = breakpoint.sigmas() >= SIGMAS && likelier >= needed;
    let apart = (share - factor).abs();
    let agree = apart <= AGREE * factor.max(1.0) + 2.0 * factor_sd.hypot(breakpoint.sd / breakpoint.before);
    let noticeable = (share - 1.0).abs() >= LEAST_CHANGE && share > STOPPED;
    let noted = evidence.journal.has(shift.since, NOTED, |deed| drum.sets_pump(deed));
    let poured = drum.was_poured(shift.since, POURED);
    if !(changed && agree && noticeable) || noted || poured {
        return None;
    }
    let doubt = factor_sd.hypot(YIELD_SHARE * factor);
    let both = drum.hinge_with(evidence.now, shift.since, &breakpoint, (factor, doubt))?;
    let (from, to) = (LitresPerMinute(both.before).per_hour(), LitresPerMinute(both.after).per_hour());
    let ends = ends(evidence, drum, shift.since, (&both, doubt / factor));
    // Half an hour of the head tank tells the new draw to a percent: while there is time, that is waited for.
    let rough = factor_sd > SURE_SHARE * factor;
    let pressing = ends.is_none_or(|ends| ends.p05.is_some_and(|p05| p05 <= evidence.now + PRESSING));
    if rough && !pressing {
        return None;
    }
    let verdict = match (ends, evidence.next_visit) {
        (Some(ends), Some(visit)) => Verdict::of(&ends, &visit),
        (None, _) | (_, None) => Verdict::Unknown,
    };
    let pump = drum.record.drum.pump.clone();
    let by_clay = Some(DrawShare { share: factor, sd: doubt });
    let found = Found {
        drum: Some(drum.record.drum.id.clone()),
        at_night: if verdict == Verdict::Lasts { Priority::Morning } else { Priority::Now },
        ..Found::of(
            format!("pump:{pump}"),
            Fault::PumpChanged(PumpChanged { pump, from, to, by_clay, ends, verdict }),
            shift.since,
            vec![Sign::DrawChanged { from, to }, shift.sign(Place::Head)],
        )
    };
    Some((likelier, found))
}

/// When it is empty at the new draw, by what was believed before it; after a restart by what is believed now.
fn ends(
    evidence: &Evidence<'_>,
    drum: &DrumSight<'_>,
    since: Timestamp,
    (both, doubt): (&Breakpoint, f64),
) -> Option<EmptyAt> {
    let holds = Litres(both.volume);
    if let Some(believed) = drum.believed_before(since) {
        return believed.changed(evidence.now, holds, both.share(), doubt);
    }
    // Against the draw that `empty_if` goes by, not the mean of all that the forecast thinks possible.
    let expected = drum.record.watch.expected_draw(evidence.now)?.draw;
    let draw_share = LitresPerMinute(both.after).per_hour().0 / expected.0;
    drum.record.watch.empty_if(evidence.now, WhatIf { volume: Some(holds), draw_share })
}

/// Somebody wrote down what was asked for.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let Fault::PumpChanged(PumpChanged { pump, .. }) = &failure.fault else { return false };
    let said =
        |deed: &Deed| matches!(deed, Deed::PumpSetting { .. }) && deed.pump().is_none_or(|of| of == pump);
    evidence.journal.has_between(failure.since - NOTED, evidence.now, said)
}

/// Standard deviations that the draw must have changed by.
const SIGMAS: f64 = 3.5;
/// Logarithm of how much likelier a changed draw must be than the same one.
const LIKELIER: f64 = 5.0;
/// By so much more while nobody is there who could have turned it up: water fails by itself (common practice, no source).
const NOBODY_THERE: f64 = 2.0;
/// How far draw and clay may lie apart, as a share.
const AGREE: f64 = 0.15;
/// Clay in water goes with slurry to this share while nothing else changes (common practice, no source).
const YIELD_SHARE: f64 = 0.01;
/// How well the new draw is to be known before it is told, as a share.
const SURE_SHARE: f64 = 0.01;
/// A drum that may be empty so soon is told of at once.
const PRESSING: SignedDuration = SignedDuration::from_hours(4);
const LEAST_CHANGE: f64 = 0.12;
/// Below this share the pump has stopped, which is another failure.
const STOPPED: f64 = 0.25;
/// What follows a refill so soon belongs to it.
const POURED: SignedDuration = SignedDuration::from_mins(20);
