//! The pump has stopped. Trap: a planned stop, which one entry in the log explains.

use super::no_slurry::{is_over, no_slurry};
use super::{Found, Rule};
use crate::evidence::Evidence;
use claymark_notice::Priority;
use claymark_notice::failure::{Fault, Sign};

pub(super) const RULE: Rule =
    Rule { find, tells: |fault| matches!(fault, Fault::PumpStopped { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let none = no_slurry(evidence)?;
    if none.turns == Some(true) || none.level_falls_on() >= FALLS_ON {
        return None;
    }
    let pump = none.drum.record.drum.pump.clone();
    let mut signs = vec![none.clearing()];
    signs.extend(none.turns.map(|turns| Sign::Turns { turns }));
    signs.extend((none.level_falls_on() <= STANDS).then_some(Sign::LevelStands));
    signs.extend(none.fits_too());
    Some(Found {
        drum: Some(none.drum.record.drum.id.clone()),
        at_night: Priority::Now,
        ..Found::of(
            none.cause(),
            Fault::PumpStopped {
                pump,
                certain: none.turns == Some(false) || none.level_falls_on() <= STANDS,
            },
            none.shift.since,
            signs,
        )
    })
}

/// Logarithm of the likelihood ratio from which the level goes on falling.
const FALLS_ON: f64 = 3.0;
/// The same from which it stands.
const STANDS: f64 = -3.0;
