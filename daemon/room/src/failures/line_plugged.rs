//! The slurry line is plugged: the pump turns, and nothing comes. Traps: foam that holds the level steady, a
//! stuck level; in both the head tank stays cloudy.

use jiff::SignedDuration;

use super::no_slurry::{is_over, no_slurry};
use super::{Found, Rule};
use crate::evidence::Evidence;
use claymark_notice::Priority;
use claymark_notice::failure::{Fault, Sign};

pub(super) const RULE: Rule =
    Rule { find, tells: |fault| matches!(fault, Fault::LinePlugged { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let none = no_slurry(evidence).filter(|none| none.turns == Some(true))?;
    let waited = evidence.now.duration_since(none.shift.since) >= WAITED;
    if !(waited && none.level_falls_on() < FALLS_ON) {
        return None;
    }
    let mut signs = vec![none.clearing(), Sign::Turns { turns: true }];
    signs.extend((none.level_falls_on() <= STANDS).then_some(Sign::LevelStands));
    Some(Found {
        drum: Some(none.drum.record.drum.id.clone()),
        at_night: Priority::Now,
        ..Found::of(
            none.cause(),
            Fault::LinePlugged { pump: none.drum.record.drum.pump.clone() },
            none.shift.since,
            signs,
        )
    })
}

/// The level needs some minutes to tell a plug from a tube that has come off.
const WAITED: SignedDuration = SignedDuration::from_mins(8);
const FALLS_ON: f64 = 1.0;
const STANDS: f64 = -3.0;
