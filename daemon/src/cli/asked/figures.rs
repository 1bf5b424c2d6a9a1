//! Figures that can't be, and figures that can hardly be by themselves, whatever else is known of the room.

use claymark_clay::bounds::{self, Unlikely};
use claymark_clay::verify::Saturation;
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::site::Site;
use claymark_words::bounds as words;
use jiff::{SignedDuration, Timestamp};

use super::SURE;
use crate::cli::CommandFailure;
use crate::say::Signature;

/// Refuses what can't be meant; no `--sure` makes it possible.
pub(in crate::cli) fn possible(
    site: &Site,
    deed: &Deed,
    signature: &Signature,
) -> Result<(), CommandFailure> {
    let Signature { key, at, by, replaces, .. } = signature.clone();
    let entry = LogEntry { key, at, received_at: at, by, replaces, deed: deed.clone() };
    bounds::entry(&entry).map_err(|why| CommandFailure::Wrong {
        what: words::impossible(site, &why),
        remedy: "Look at the figure and its unit, and write the unit with it; leave it out if nobody knows."
            .to_owned(),
    })
}

/// Refuses what can hardly be, with a way out.
pub(in crate::cli) fn likely(
    site: &Site,
    deed: &Deed,
    (at, now): (Timestamp, Timestamp),
    full: Saturation,
) -> Result<(), CommandFailure> {
    let ago = now.duration_since(at).max(SignedDuration::ZERO);
    bounds::unlikely(site, deed, (ago, full)).map_or(Ok(()), |why| {
        Err(CommandFailure::Wrong { what: words::unlikely(site, &why), remedy: remedy(&why) })
    })
}

fn remedy(why: &Unlikely) -> String {
    let look = match why {
        Unlikely::Figure { .. } | Unlikely::OverBrim { .. } | Unlikely::TooThick { .. } => {
            "Look at the figure and its unit, and write the unit with it: \"150 L\", \"40 US gal\", \"4.5 lb\"."
        }
        Unlikely::TooFast { .. } => {
            "Read the dial again; if the pump is another one now, correct max_rpm in the site file."
        }
        Unlikely::NoWater { .. } => {
            "Look at the meter's figure and its unit: --value \"8.0 mg/L\", --value \"68 °F\"."
        }
        Unlikely::NothingDelivered => {
            "Write how many bags came, or leave the figure out if nobody counted; nothing need be written if none came."
        }
        Unlikely::NothingWritten => "Write what there is to say: claymark log note \"blower sounds rough\".",
        Unlikely::LongAgo { .. } => "Look at the day: --at \"2027-04-20 14:30\".",
    };
    format!("{look} {SURE}")
}

#[cfg(test)]
mod tests {
    use claymark_model::units::MilligramsPerLitre;

    use super::*;

    #[test]
    fn a_slip_of_the_hand_is_asked_about_before_the_sensor_is_blamed() {
        let site = crate::cli::tests::example().site;
        let asked = |quantity: &str, value, unit: &str| {
            let (quantity, unit) = (Some(quantity.to_owned()), Some(unit.to_owned()));
            let deed = Deed::GrabSample { place: None, quantity, value: Some(value), unit };
            let now = Timestamp::UNIX_EPOCH;
            likely(&site, &deed, (now, now), Some(MilligramsPerLitre(9.09)))
                .map_err(|failure| failure.text(false))
        };
        let words = asked("temperature", 20.0, "°F").unwrap_err();
        assert!(
            words.starts_with(
                "20.0 °F (-6.7 °C) can hardly be by hand: less than 0 °C is no water that fish live in.\n"
            ),
            "{words}"
        );
        let words = asked("oxygen", 800.0, "mg/L").unwrap_err();
        assert!(words.contains("more than 27 mg/L is no water") && words.contains("add --sure"), "{words}");
        assert_eq!(asked("oxygen", 8.0, "mg/L"), Ok(()));
    }
}
