//! A probe that reads wrong: fouled, out of the water, or full of bubbles.

use claymark_model::id::Id;
use claymark_notice::failure::Failure;

use super::Words;
use crate::format;
use crate::names::{self, short};
use crate::notice::{Teller, fit};

pub(super) fn fouled(teller: Teller<'_>, failure: &Failure, sensor: &Id, by: f64) -> Words {
    let name = names::sensor(teller.site, sensor);
    let by = format::number(by, 0);
    let since = teller.clock.about(failure.since);
    Words {
        subject: fit(|room| {
            format!("The {} reads about {by} too high: it is fouled. Wipe it.", short(&name, room))
        }),
        meaning: vec![format!(
            "The {name} climbs since before {since} while its neighbours stay: the probe, not the water."
        )],
        to_do: vec![
            "To do: wipe it and write that down (claymark log wipe); it should step back at once.".to_owned(),
            "Do not change pump or clay by this probe.".to_owned(),
        ],
    }
}

pub(super) fn out(teller: Teller<'_>, failure: &Failure, sensor: &Id) -> Words {
    let place = teller.site.sensors.iter().find(|known| known.id == *sensor).map(|known| &known.place);
    let at = place.map_or_else(|| sensor.to_string(), |place| names::place(teller.site, place));
    let name = format!("turbidity probe of {at}");
    let since = teller.clock.about(failure.since);
    Words {
        subject: fit(|room| {
            format!("The {} is out of the water or broken since {since}. Look at the probe.", short(&name, room))
        }),
        meaning: vec![
            format!("The reading of the {name} fell to nothing at about {since}, faster than any water clears: the probe, not the clay."),
            "The forecasts of the drums go by their levels and still stand. Until it is back, nothing is told by this \
             probe: a pump that stops shows in the level only, and later."
                .to_owned(),
        ],
        to_do: vec![
            "To do: see that it hangs in the water, then its cable and plug; wipe it, put it back, and compare it with a \
             handheld meter if it still reads nothing."
                .to_owned(),
            "Write it down (claymark log wipe). Do not change pump or clay by this probe.".to_owned(),
        ],
    }
}

pub(super) fn bubbles(teller: Teller<'_>, failure: &Failure, sensor: &Id) -> Words {
    let name = names::sensor(teller.site, sensor);
    let since = teller.clock.about(failure.since);
    Words {
        subject: fit(|room| format!("The {} sees bubbles since {since}; its middle is believed.", short(&name, room))),
        meaning: vec!["Readings reach up in spikes, but their middle stays: bubbles, not clay.".to_owned()],
        to_do: vec!["To do: look at the water level over the probe and at air that is drawn in; move the probe if need be.".to_owned()],
    }
}
