//! Figures far from what the fish are to have today are asked about before anything is advised by them.

use jiff::Timestamp;

use claymark_model::id::Id;
use claymark_model::site::{Place, Site};
use claymark_model::units::{GramsPerLitre, Turbidity};
use claymark_words::{format, names};

use super::CommandFailure;

/// A strength that was typed, against the one that the drum is to have.
pub(super) fn strength(
    site: &Site,
    drum: &Id,
    typed: GramsPerLitre,
    usual: Option<GramsPerLitre>,
) -> Result<(), CommandFailure> {
    let Some(usual) = usual.filter(|usual| usual.0 > 0.0) else { return Ok(()) };
    let share = typed.0 / usual.0;
    if (1.0 / FAR..=FAR).contains(&share) {
        return Ok(());
    }
    Err(CommandFailure::Wrong {
        what: format!(
            "{} is {} what {} is to have today, {}.",
            format::strength(&site.units, typed),
            times(share),
            names::drum(site, drum),
            format::strength(&site.units, usual)
        ),
        remedy: SURE.to_owned(),
    })
}

/// A turbidity that was typed, against the fish's band of today in the head tank.
pub(super) fn turbidity(site: &Site, now: Timestamp, typed: Turbidity) -> Result<(), CommandFailure> {
    let band = site.limits_at(&Place::Head, now).turbidity;
    // Water that is clearer than without clay no lever makes, and that is said where the levers are.
    let possible = typed.0 > site.clay.background_ntu;
    if !possible || (band.min() / FAR..=band.max() * FAR).contains(&typed.0) {
        return Ok(());
    }
    let (least, most) = (Turbidity(band.min()), Turbidity(band.max()));
    Err(CommandFailure::Wrong {
        what: format!(
            "{} is far from what the fish want today, {} to {}.",
            names::turbidity(site, typed),
            names::turbidity(site, least),
            names::turbidity(site, most)
        ),
        remedy: SURE.to_owned(),
    })
}

fn times(share: f64) -> String {
    if share < 1.0 {
        format!("a {}th of", format::number(1.0 / share, 0))
    } else {
        format!("{} times", format::number(share, 1))
    }
}

/// Nobody changes the water by more in one step on purpose (our own choice).
const FAR: f64 = 1.6;

const SURE: &str = "Look at the figure and its unit. If it is meant, add --sure.";
