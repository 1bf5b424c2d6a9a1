//! The pump's tube wears, or the pump hangs in another drum.

use claymark_model::id::Id;
use claymark_notice::failure::Failure;

use super::Words;
use crate::format;
use crate::names::{self, short};
use crate::notice::{Teller, fit};

pub(super) fn wear(teller: Teller<'_>, failure: &Failure, pump: &Id, per_day: f64) -> Words {
    let name = names::pump(teller.site, pump);
    let share = format!("{} %", format::number(100.0 * per_day, 1));
    let since = teller.clock.time(failure.since);
    Words {
        subject: fit(|room| format!("{}: its tube wears, {share} less a day. Change it by day.", short(&name, room))),
        meaning: vec![format!("{name} delivers {share} less each day since {since}, and the clay falls with it.")],
        to_do: vec![
            "To do: catch a minute of its outflow against the dial, change the tube, write it down (claymark log tube_change)."
                .to_owned(),
            "Until then turn the pump up by what is missing; do not make the mix stronger for it.".to_owned(),
        ],
    }
}

pub(super) fn swapped(teller: Teller<'_>, failure: &Failure, pump: &Id, (from, to): (&Id, &Id)) -> Words {
    let (name, since) = (names::pump(teller.site, pump), teller.clock.about(failure.since));
    let (from, to) = (names::drum(teller.site, from), names::drum(teller.site, to));
    Words {
        subject: fit(|room| {
            format!("{} draws from {to} instead of {from} since {since}. Is that so?", short(&name, room))
        }),
        meaning: vec![format!("{from} stands and {to} falls since about {since}; nobody wrote it down.")],
        to_do: vec![
            "To do: if so, write it down (claymark log in_use); if not, look at the valves.".to_owned(),
        ],
    }
}
