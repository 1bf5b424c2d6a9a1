//! A drum's air has failed and its clay settles.

use claymark_model::units::GramsPerLitre;
use claymark_notice::failure::Failure;

use super::Words;
use crate::format;
use crate::names::short;
use crate::notice::{Teller, fit};

pub(super) fn words(teller: Teller<'_>, failure: &Failure, left: f64, book: GramsPerLitre) -> Words {
    let drum = failure.drum.as_ref().map(|state| teller.name_of(state)).unwrap_or_default();
    let since = teller.clock.about(failure.since);
    let left = format::share(left);
    let book = format::strength(&teller.site.units, book);
    Words {
        subject: fit(|room| {
            format!("{}: air off since {since}, the clay settles; {left} of it comes. Do not add clay.", short(&drum, room))
        }),
        meaning: vec![
            format!("Turbidity sags smoothly since about {since} while {drum} is drawn as before."),
            format!("By the books {drum} holds {book}; only {left} of that reaches the head tank: it settles."),
        ],
        to_do: vec![
            "To do: look at the drum's air first (blower, hose, diffuser), then at tube, valve and probe.".to_owned(),
            "When the air is back, stir the bottom up slowly and watch turbidity: all the clay comes at once.".to_owned(),
            "Do not add clay: it is in the drum.".to_owned(),
        ],
    }
}
