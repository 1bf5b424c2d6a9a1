//! The water: too much of it, or too cold.

use claymark_model::site::Place;
use claymark_model::units::Celsius;
use claymark_notice::failure::Failure;
use jiff::Timestamp;

use super::Words;
use crate::caution::ELECTRICITY;
use crate::format;
use crate::notice::Teller;

pub(super) fn too_much(teller: Teller<'_>, failure: &Failure, share: f64, overflows: bool) -> Words {
    let since = teller.clock.about(failure.since);
    let times = format::number(share, 1);
    let over = if overflows { "; it runs over" } else { "" };
    let mut meaning =
        vec![format!("The head tank gets {times} times its fresh water since about {since}, and thins out.")];
    if overflows {
        meaning
            .push("The tanks take no more than before, so it runs over, clay and heat with it.".to_owned());
    }
    Words {
        subject: format!("Too much fresh water since {since}: {times} times{over}. Not too little clay."),
        meaning,
        to_do: vec![
            "To do: look at the float valve and at any supplement valve; was one opened on purpose? Then write a note.".to_owned(),
            "Do not add clay to the drum for this; watch the temperature.".to_owned(),
        ],
    }
}

pub(super) fn heater(
    teller: Teller<'_>,
    failure: &Failure,
    temperature: f64,
    (limit_at, steady): (Option<Timestamp>, bool),
) -> Words {
    let since = teller.clock.about(failure.since);
    let least = teller.site.limits_at(&Place::Head, teller.at).temperature_c.min();
    let now =
        head_tank(teller, temperature, (least, temperature < least, moves(steady, "falling")), limit_at);
    Words {
        subject: format!("Heater off since {since}: {now}. Look at the heater."),
        meaning: vec![
            format!(
                "The head tank {} since about {since}; the tanks follow within hours.",
                if steady { "is colder" } else { "cools" }
            ),
            "Larvae bear cold better than a quick change.".to_owned(),
        ],
        to_do: vec![
            "To do: look at the heater, its breaker, its flow switch, the boiler.".to_owned(),
            ELECTRICITY.to_owned(),
            "If it can't be mended soon, slow the fresh water as far as oxygen allows; warm up slowly afterwards.".to_owned(),
        ],
    }
}

pub(super) fn heats_on(
    teller: Teller<'_>,
    failure: &Failure,
    temperature: f64,
    (limit_at, steady): (Option<Timestamp>, bool),
) -> Words {
    let since = teller.clock.about(failure.since);
    let most = teller.site.limits_at(&Place::Head, teller.at).temperature_c.max();
    let now = head_tank(teller, temperature, (most, temperature > most, moves(steady, "rising")), limit_at);
    Words {
        subject: format!("Heater stays on since {since}: {now}. Look at the heater."),
        meaning: vec![
            format!(
                "The head tank {} since about {since}; the tanks follow within hours.",
                if steady { "is warmer" } else { "warms up" }
            ),
            "Warm water holds less oxygen, and the fish use more of it.".to_owned(),
        ],
        to_do: vec![
            "To do: look at the heater's thermostat and relay; switch it off at the wall if it doesn't obey."
                .to_owned(),
            ELECTRICITY.to_owned(),
            "Watch oxygen in the tanks; cool by and by, with more fresh water from the cold side.".to_owned(),
        ],
    }
}

fn moves(steady: bool, way: &str) -> &str {
    if steady { "steady" } else { way }
}

/// "head tank 18.2 °C and falling, 18.0 °C about 01:12", or that it is past that limit.
fn head_tank(
    teller: Teller<'_>,
    temperature: f64,
    (limit, is_past, way): (f64, bool, &str),
    limit_at: Option<Timestamp>,
) -> String {
    let told = |celsius| format::temperature(&teller.site.units, Celsius(celsius));
    let then = match limit_at {
        _ if is_past => format!(", past {}", told(limit)),
        Some(at) => format!(", {} about {}", told(limit), teller.clock.about(at)),
        None => String::new(),
    };
    format!("head tank {} and {way}{then}", told(temperature))
}
