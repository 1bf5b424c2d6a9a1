//! The clay of a refill was weighed or typed wrongly.

use claymark_model::units::GramsPerLitre;
use claymark_notice::failure::Failure;

use super::Words;
use crate::format;
use crate::names::short;
use crate::notice::{Teller, fit};

pub(super) fn words(teller: Teller<'_>, failure: &Failure, factor: f64, booked: GramsPerLitre) -> Words {
    let drum = failure.drum.as_ref().map(|state| teller.name_of(state)).unwrap_or_default();
    let at = teller.clock.time(failure.since);
    let times = format::number(factor, 1);
    let guess = match factor {
        factor if (1.85..=2.6).contains(&factor) => {
            "That is like kilograms weighed where pounds were meant (2.2), or twice the clay."
        }
        factor if (0.38..=0.55).contains(&factor) => {
            "That is like pounds weighed where kilograms were meant (0.45), or half the clay."
        }
        _ => "Weighed, typed or filled otherwise than written down.",
    };
    let to_do = if factor > 1.0 {
        "To do: turn the pump down by that factor now; then thin the drum with water as far as there is room."
    } else {
        "To do: look for clay on the bottom and for an empty bag first; only then add what is missing."
    };
    Words {
        subject: fit(|room| {
            format!("{}: {times} times the clay that was written down at {at}. Check the weighing.", short(&drum, room))
        }),
        meaning: vec![
            format!(
                "Since the refill of {at} the head tank shows {times} times what the books give ({} in the drum).",
                format::strength(&teller.site.units, booked)
            ),
            guess.to_owned(),
        ],
        to_do: vec![
            to_do.to_owned(),
            "Correct the entry if the figure was typed wrongly (claymark log refill, naming the entry it replaces).".to_owned(),
        ],
    }
}
