//! Less fresh water comes into the head tank.

use claymark_notice::failure::Failure;

use super::Words;
use crate::format;
use crate::notice::Teller;

pub(super) fn words(teller: Teller<'_>, failure: &Failure, share: f64) -> Words {
    let since = teller.clock.about(failure.since);
    let left = format::share(share.clamp(0.0, 1.0));
    Words {
        subject: format!("Fresh water low since {since}: about {left} of it comes in. Not too much clay."),
        meaning: vec![
            format!("The head tank seems to get only about {left} of its fresh water since about {since}."),
            "Its turbidity rises because the same slurry meets less water; the tanks get less water and less oxygen."
                .to_owned(),
        ],
        to_do: vec![
            "To do: look at the fresh-water supply: pump, filter, valve, heater, level in the reservoir.".to_owned(),
            format!("Watch oxygen in the tanks; until the water is back, set the slurry pump to {left} of its speed."),
            "Do not thin or empty the drum: its strength is as it was.".to_owned(),
        ],
    }
}
