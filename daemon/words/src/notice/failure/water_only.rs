//! Water was poured into a drum without clay.

use claymark_model::site::Place;
use claymark_notice::failure::{Failure, WaterOnly};

use super::Words;
use crate::caution::HANDLING;
use crate::format;
use crate::names::short;
use crate::notice::{Teller, fit};

pub(super) fn words(teller: Teller<'_>, failure: &Failure, poured: &WaterOnly) -> Words {
    let units = &teller.site.units;
    let drum = failure.drum.as_ref().map(|state| teller.name_of(state)).unwrap_or_default();
    let at = teller.clock.time(failure.since);
    let clay = format::mass(units, poured.clay, teller.site.clay.scale_step);
    let goes_to = teller.turbidity(&Place::Head, poured.goes_to);
    let (added, holds) = (format::volume(units, poured.added), format::volume(units, poured.holds));
    let subject = if poured.due {
        fit(|room| {
            format!("{} holds {holds} of thin slurry: add {clay} of clay and stir.", short(&drum, room))
        })
    } else {
        fit(|room| {
            format!(
                "{}: {added} of water in at {at}. Where is the clay? Turbidity falls to {goes_to}.",
                short(&drum, room)
            )
        })
    };
    let mut to_do = vec![format!(
        "To do: add {clay} of clay, mixed in a bucket of its own slurry first, and stir; it holds {holds} now."
    )];
    if !poured.due {
        to_do.push("If the clay went in, write it down with its mass (claymark log refill).".to_owned());
    }
    to_do.push(
        "Until then the pump can be set higher, but the drum then lasts no longer than before.".to_owned(),
    );
    to_do.push(HANDLING.to_owned());
    Words {
        subject,
        meaning: vec![
            format!(
                "{added} went into {drum} at {at}, and no clay is written down: {} became {}.",
                format::strength(units, poured.was),
                format::strength(units, poured.is)
            ),
            format!("It lasts longer now, and that is no good news: the head tank goes to about {goes_to}."),
        ],
        to_do,
    }
}
