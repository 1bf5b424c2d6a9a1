//! No slurry reaches the head tank: the pump has stopped, its line is plugged, or its tube has split.

use claymark_model::id::Id;
use claymark_model::units::LitresPerHour;
use claymark_notice::failure::Failure;

use super::Words;
use crate::caution::ELECTRICITY;
use crate::format;
use crate::names::{self, short};
use crate::notice::{Teller, fit};

pub(super) fn stopped(teller: Teller<'_>, failure: &Failure, pump: &Id, certain: bool) -> Words {
    let (name, since) = (names::pump(teller.site, pump), teller.clock.about(failure.since));
    let what = if certain { "has stopped" } else { "gives nothing" };
    let mut meaning =
        vec![format!("No slurry reaches the head tank since about {since}; the tanks begin to clear.")];
    if !certain {
        meaning.push(
            "The level can't tell yet whether the pump stands or the slurry goes elsewhere.".to_owned(),
        );
    }
    Words {
        subject: fit(|room| {
            format!("{} {what} since {since}: the tanks clear. Go and look.", short(&name, room))
        }),
        meaning,
        to_do: vec![
            format!("To do: look whether {name} turns; its plug and breaker, then tube, valve and line."),
            ELECTRICITY.to_owned(),
            "If it was stopped on purpose, write that down (claymark log pump_setting --rpm 0).".to_owned(),
            "Do not add clay: it is in the drum.".to_owned(),
        ],
    }
}

pub(super) fn plugged(teller: Teller<'_>, failure: &Failure, pump: &Id) -> Words {
    let (name, since) = (names::pump(teller.site, pump), teller.clock.about(failure.since));
    Words {
        subject: fit(|room| {
            format!("{}: its slurry line is plugged since {since}; the tanks clear. Go and look.", short(&name, room))
        }),
        meaning: vec![
            format!("{name} turns, but no slurry reaches the head tank since about {since}."),
            "The tanks begin to clear.".to_owned(),
        ],
        to_do: vec![
            "To do: stop the pump, find the plug from the drum on (intake, valve, tube, line), and flush it with water."
                .to_owned(),
            "A plugged line is under pressure: open it slowly, away from the face.".to_owned(),
            "Write it down (claymark log clog_cleared). Do not add clay: it is in the drum.".to_owned(),
        ],
    }
}

pub(super) fn split(teller: Teller<'_>, failure: &Failure, pump: &Id, lost: LitresPerHour) -> Words {
    let (name, since) = (names::pump(teller.site, pump), teller.clock.about(failure.since));
    let lost = format::draw(&teller.site.units, lost);
    let drum = failure.drum.as_ref().map(|state| teller.name_of(state)).unwrap_or_default();
    Words {
        subject: fit(|room| {
            format!("{}: tube split or off since {since}; {lost} of slurry is lost. Go now.", short(&name, room))
        }),
        meaning: vec![
            format!("{drum} loses {lost} as if {name} ran, but nothing reaches the head tank since about {since}."),
            "The slurry goes somewhere else, likely on the floor, and the tanks clear.".to_owned(),
        ],
        to_do: vec![
            "To do: stop the pump, look along the tube, put in a new one and write it down (claymark log tube_change)."
                .to_owned(),
            "Wet clay is slippery; keep it away from plugs.".to_owned(),
            ELECTRICITY.to_owned(),
        ],
    }
}
