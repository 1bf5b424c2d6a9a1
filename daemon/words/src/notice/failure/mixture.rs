//! The clay itself: lumps, and a lot that clouds otherwise.

use claymark_clay::Yield;
use claymark_model::site::Drum;
use claymark_notice::failure::Failure;

use super::Words;
use crate::names::{self, short};
use crate::notice::{Teller, fit};
use crate::{format, typed};

pub(super) fn lumps(teller: Teller<'_>, failure: &Failure) -> Words {
    let drum = failure.drum.as_ref().map(|state| teller.name_of(state)).unwrap_or_default();
    let at = teller.clock.time(failure.since);
    Words {
        subject: fit(|room| {
            format!("{}: the clay of {at} went in as lumps; turbidity comes up late.", short(&drum, room))
        }),
        meaning: vec![
            format!(
                "After the refill of {at} turbidity was too low, and it rises by itself as lumps dissolve."
            ),
            "Lumps that don't dissolve lie on the bottom and plug the intake.".to_owned(),
        ],
        to_do: vec![
            "To do: stir the drum's bottom; next time pre-mix for a minute until it is smooth.".to_owned(),
            "Do not add clay for the low reading: it is in the drum.".to_owned(),
        ],
    }
}

pub(super) fn yields(
    teller: Teller<'_>,
    failure: &Failure,
    (from, to): (&Yield, &Yield),
    lot: Option<&str>,
) -> Words {
    let since = teller.clock.about(failure.since);
    let share = format::share(to.ntu_per_mg_l / from.ntu_per_mg_l);
    let lot = lot.map(|lot| format!(" Lot {} was delivered before.", typed::line(lot))).unwrap_or_default();
    Words {
        subject: format!("This clay clouds {share} as much as before since {since}. Mixes must change."),
        meaning: vec![
            format!(
                "A mg/L of clay gives {} NTU since about {since}, before {} (± {}).{lot}",
                format::number(to.ntu_per_mg_l, 2),
                format::number(from.ntu_per_mg_l, 2),
                format::number(to.sd, 2)
            ),
            "That is another lot, harder water, or clay that clumps together.".to_owned(),
            counted_with(teller, from, to),
        ],
        to_do: vec![
            "To do: look at line, head tank and probes for dirt first; then try the lot in a bucket beside the old one.".to_owned(),
            "Try new clay on few fish first: some clays harm gills.".to_owned(),
        ],
    }
}

/// What becomes of the mixes: where the plan says no band the drums keep their target, and the people must move it.
pub(in crate::notice) fn counted_with(teller: Teller<'_>, from: &Yield, to: &Yield) -> String {
    let site = teller.site;
    if !site.batches.is_empty() {
        return "Where the plan has a band, the refill sheets count with it from now on.".to_owned();
    }
    // Clay for the same turbidity above the background: x is as (NTU/yield)^(1/exponent).
    let factor = (from.ntu_per_mg_l / to.ntu_per_mg_l).powf(to.exponent.recip());
    let holds = |drum: &Drum| {
        let strength = |strength| format::strength(&site.units, strength);
        format!(
            "{} instead of {} for {}",
            strength(drum.target * factor),
            strength(drum.target),
            names::drum(site, &drum.id)
        )
    };
    let drums: Vec<String> = site.drums.iter().map(holds).collect();
    format!(
        "The refill sheets keep to the target strength of the site file, as no fish are planned there. What would cloud the \
         water as before, with the pumps as they are: {}. Change the target there, or set the pumps by claymark dose.",
        names::list(&drums)
    )
}
