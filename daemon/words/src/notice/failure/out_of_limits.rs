//! Water outside what the fish want, for no reason that shows.

use claymark_model::site::Place;
use claymark_notice::failure::{Failure, Limited};
use jiff::Timestamp;

use super::Words;
use crate::names::{self, short};
use crate::notice::{Teller, fit};

pub(super) fn words(
    teller: Teller<'_>,
    (place, of, [is, least, most]): (&Place, Limited, [f64; 3]),
    failure: &Failure,
) -> Words {
    let name = names::place(teller.site, place);
    let amount = |value| teller.amount(place, of, value);
    if (least..=most).contains(&is) {
        return Words {
            subject: fit(|room| {
                let band = format!("{} to {}", amount(least), amount(most));
                format!(
                    "{}: {}, inside {band} again. See that it stays there.",
                    short(&name, room),
                    amount(is)
                )
            }),
            meaning: vec!["It was outside; what brought it there may not be mended.".to_owned()],
            to_do: vec![
                "To do: take a sample with the handheld meter; look at what was told before.".to_owned(),
            ],
        };
    }
    let side = if is > most { format!("above {}", amount(most)) } else { format!("below {}", amount(least)) };
    let wanted = if of == Limited::OxygenSaturation {
        format!("Above {} the gas in the water should be looked at.", amount(most))
    } else {
        format!("The fish of today want {} to {}.", amount(least), amount(most))
    };
    let (cause, signs) = match (failure.origins.as_slice(), failure.comes_of.as_slice()) {
        ([first, ..], _) => (format!("Likely: {}.", super::origin(first)), None),
        ([], [first, ..]) => (format!("It likely comes of what notice {first} told."), None),
        ([], []) => (
            "The cause doesn't show.".to_owned(),
            Some("The signs fit none of the failures that Claymark can tell apart.".to_owned()),
        ),
    };
    Words {
        subject: fit(|room| format!("{}: {}, {side}. {cause}", short(&name, room), amount(is))),
        meaning: std::iter::once(wanted).chain(signs).collect(),
        to_do: to_do(of, is > most),
    }
}

/// Where it was so when the watch began: then the limit itself is asked about.
pub(super) fn all_along(
    teller: Teller<'_>,
    (place, of, [is, least, most]): (&Place, Limited, [f64; 3]),
    since: Timestamp,
) -> Words {
    let name = names::place(teller.site, place);
    let amount = |value| teller.amount(place, of, value);
    let side = if is > most { format!("above {}", amount(most)) } else { format!("below {}", amount(least)) };
    let since = teller.clock.time(since);
    Words {
        subject: fit(|room| {
            format!("{}: {}, {side}, since the watch began. Is the limit right?", short(&name, room), amount(is))
        }),
        meaning: vec![
            format!(
                "By the site file the fish of today want {} to {}; Claymark has never seen that, and has looked since {since}.",
                amount(least),
                amount(most)
            ),
            "It stays where it is: either the limit isn't that of these fish, or they have been outside it all along."
                .to_owned(),
        ],
        to_do: vec![
            "To do: measure by hand. If the fish are meant to live so, correct the limit in the site file ([water], or \
             their plan)."
                .to_owned(),
            "At night nobody is called for it again, unless it goes farther out; it stands in the evening message."
                .to_owned(),
        ],
    }
}

fn to_do(of: Limited, above: bool) -> Vec<String> {
    let lines: &[&str] = match (of, above) {
        (Limited::Temperature, true) => &[
            "To do: measure with another thermometer; then heater, thermostat, and the room's own heat.",
            "Warm water holds less oxygen: watch it. Change the temperature slowly.",
        ],
        (Limited::Temperature, false) => &[
            "To do: measure with another thermometer; then heater, breaker and flow switch.",
            "Larvae bear cold better than a quick change: warm up slowly.",
        ],
        (Limited::OxygenSaturation, _) => &[
            "To do: look at the probe: one that is out of the water or badly calibrated reads too high.",
            "Then look for air that is sucked in before a pump, for cold water that was heated in a closed pipe, for \
             too much oxygen; let the water trickle or bubble before it reaches the fish.",
            "An oxygen probe doesn't show nitrogen: have the total gas pressure measured.",
        ],
        (Limited::Turbidity, true) => &[
            "To do: take a sample with the handheld meter, to see whether the probe is right.",
            "Then fresh water, pump setting and the last refill; `claymark dose` says which setting brings it back.",
        ],
        (Limited::Turbidity, false) => &[
            "To do: take a sample with the handheld meter, to see whether the probe is right.",
            "Then tube, valve, drum air and the last refill; `claymark dose` says which setting brings it back.",
            "Do not add clay before you know that the drum's own clay comes out of it.",
        ],
    };
    lines.iter().map(|line| (*line).to_owned()).collect()
}
