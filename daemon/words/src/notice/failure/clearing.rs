//! The water clears by and by.

use claymark_model::site::Place;
use claymark_notice::failure::Limited;
use jiff::Timestamp;

use super::Words;
use crate::names::{self, short};
use crate::notice::{Teller, fit};

pub(super) fn words(
    teller: Teller<'_>,
    (place, is, least): (&Place, f64, f64),
    (limit_at, danger_at): (Option<Timestamp>, Option<Timestamp>),
) -> Words {
    let name = names::place(teller.site, place);
    let amount = |value| teller.amount(place, Limited::Turbidity, value);
    let limit = match limit_at {
        Some(at) => format!("{} about {}", amount(least), teller.clock.about(at)),
        None => format!("below {}", amount(least)),
    };
    let mut meaning =
        vec![format!("The water clears by and by; the fish of today want at least {}.", amount(least))];
    meaning.extend(danger_at.filter(|at| *at > teller.at).map(|at| {
        format!("If it goes on like this they are in danger from about {} on.", teller.clock.about(at))
    }));
    Words {
        subject: fit(|room| {
            format!("{} clears: {}, {limit}. Look at pump, tube and drum air.", short(&name, room), amount(is))
        }),
        meaning,
        to_do: vec![
            "To do: pump, tube, valve and drum air; then a sample with the handheld meter. Carry the meter and a spare tube."
                .to_owned(),
            "Do not add clay before you know that the drum's own clay comes out of it.".to_owned(),
        ],
    }
}
