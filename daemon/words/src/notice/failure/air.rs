//! Oxygen that falls, and power that has gone.

use claymark_model::site::Place;
use claymark_notice::failure::{Failure, Sign};
use jiff::Timestamp;

use super::Words;
use crate::caution::{ELECTRICITY, PURE_OXYGEN};
use crate::format;
use crate::names::{self, short};
use crate::notice::{Teller, fit};

pub(super) fn oxygen(
    teller: Teller<'_>,
    failure: &Failure,
    place: &Place,
    (oxygen, limit_at): (f64, Option<Timestamp>),
) -> Words {
    let since = teller.clock.about(failure.since);
    let name = names::place(teller.site, place);
    let least_mg_l = teller.site.limits_at(place, teller.at).oxygen_min_mg_l;
    let (now, least) = (format::number(oxygen, 1), format::number(least_mg_l, 1));
    let limit = match limit_at {
        _ if oxygen < least_mg_l => format!(", below {least}"),
        Some(at) => format!(" and falling, {least} about {}", teller.clock.about(at)),
        None => String::new(),
    };
    let others = failure.signs.len().saturating_sub(1);
    let others = match others {
        0 => String::new(),
        1 => " (and one place more)".to_owned(),
        more => format!(" (and {more} places more)"),
    };
    let falls =
        failure.signs.iter().any(|sign| matches!(sign, Sign::OxygenFalls { place: of, .. } if of == place));
    let how = if falls { "on its way down" } else { "too low" };
    Words {
        subject: fit(|room| format!("Oxygen in {}{others}: {now} mg/L{limit}. Go now.", short(&name, room))),
        meaning: vec![format!(
            "Oxygen in {name} is {now} mg/L, since about {since} {how}; the fish need at least {least} mg/L."
        )],
        to_do: vec![
            "To do: air and oxygen first: blower, stones, oxygen supply, then flow. Stop feeding.".to_owned(),
            "If the fish look well, look at the probe: a dry or dirty one lies.".to_owned(),
            PURE_OXYGEN.to_owned(),
        ],
    }
}

pub(super) fn power(teller: Teller<'_>, failure: &Failure) -> Words {
    let since = teller.clock.about(failure.since);
    Words {
        subject: format!("Power cut since {since}: pumps, blower and heater are off. Oxygen first. Go now."),
        meaning: vec![
            format!(
                "Everything on the mains fell silent at about {since}; what runs on batteries speaks on."
            ),
            "Blower, slurry pump, heater and water pumps stand still, as far as they have no generator."
                .to_owned(),
        ],
        to_do: vec![
            "To do: oxygen first (bottles, generator), then water, then heat, then clay.".to_owned(),
            ELECTRICITY.to_owned(),
            "When power is back, stir the drums up slowly: the clay has settled. Do not add clay.".to_owned(),
        ],
    }
}
