//! The tube has split or come off: the drum empties as fast as ever, or faster, and no clay arrives.
//!
//! Trap: a drum that is emptied for cleaning, which the log says.

use super::no_slurry::{is_over, no_slurry};
use super::{Found, Rule};
use crate::evidence::Evidence;
use claymark_model::units::LitresPerMinute;
use claymark_notice::Priority;
use claymark_notice::failure::{Fault, Sign};

pub(super) const RULE: Rule = Rule { find, tells: |fault| matches!(fault, Fault::TubeSplit { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let none = no_slurry(evidence).filter(|none| none.level_falls_on() >= FALLS_ON)?;
    let breakpoint = none.breakpoint?;
    let lost = LitresPerMinute(breakpoint.after.max(0.0)).per_hour();
    let mut signs = vec![none.clearing(), Sign::DrawUnchanged { drum: none.named(), draw: lost }];
    signs.extend(none.turns.map(|turns| Sign::Turns { turns }));
    signs.extend(none.fits_too());
    Some(Found {
        drum: Some(none.drum.record.drum.id.clone()),
        at_night: Priority::Now,
        stage: 1,
        ..Found::of(
            none.cause(),
            Fault::TubeSplit { pump: none.drum.record.drum.pump.clone(), lost },
            none.shift.since,
            signs,
        )
    })
}

/// Logarithm of the likelihood ratio from which the level surely goes on falling.
const FALLS_ON: f64 = 5.0;
