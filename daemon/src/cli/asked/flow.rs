//! A catch with bucket and watch that nothing else bears out: millilitres for litres.

use claymark_model::site::Site;
use claymark_model::units::LitresPerMinute;
use claymark_notice::caught::Witness;
use claymark_words::checks;

use super::SURE;
use crate::cli::CommandFailure;

/// The question, as a refusal with a way out.
pub(super) fn asked(
    site: &Site,
    caught: LitresPerMinute,
    (expected, by): (LitresPerMinute, Witness),
) -> CommandFailure {
    CommandFailure::Wrong {
        what: format!("{}.", checks::against_catch(site, caught, expected, by)),
        remedy: format!("Write the volume with its unit: --volume \"25 L\", or the time in seconds. {SURE}"),
    }
}
