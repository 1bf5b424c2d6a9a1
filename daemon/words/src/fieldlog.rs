//! What hands did, as a sentence: in the units of the site and by its clock.

use claymark_model::fieldlog::{Deed, Place};
use claymark_model::id::Id;
use claymark_model::site::{Quantity, Site};
use claymark_model::units::{Kilograms, Litres, Unit};
use jiff::Timestamp;

use crate::format::{self, Clock, number};
use crate::{names, typed};

/// "Mon 08:05, Aino: refill of Drum A with 150 L of water and 2.70 kg of clay."
#[must_use]
pub fn entry(site: &Site, seen_from: Timestamp, (deed, at, by): (&Deed, Timestamp, Option<&str>)) -> String {
    let by = by.map(|name| format!(", {}", typed::line(name))).unwrap_or_default();
    format!("{}{by}: {}.", Clock::new(site, seen_from).time(at), done(site, deed))
}

/// What was done, with its figures; those that nobody knows are left out.
#[expect(clippy::too_many_lines, reason = "an arm for each kind of deed")]
pub(crate) fn done(site: &Site, deed: &Deed) -> String {
    match deed {
        Deed::Refill { drum, water, clay } => refill(site, drum.as_ref(), *water, *clay),
        Deed::PumpSetting { pump, rpm } => {
            let to = match rpm {
                Some(rpm) if *rpm <= 0.0 => " switched off".to_owned(),
                Some(rpm) => format!(" set to {} rpm", figure(*rpm)),
                None => " set, nobody knows to what".to_owned(),
            };
            format!("{}{to}", pump_name(site, pump.as_ref()))
        }
        Deed::InUse { pump, drum } => {
            let drum = drum.as_ref().map_or_else(|| "a drum".to_owned(), |drum| names::drum(site, drum));
            format!("{} draws from {drum}", pump_name(site, pump.as_ref()))
        }
        Deed::FlowCheck { place, volume, seconds } => {
            let caught =
                volume.map(|volume| format!(", {} caught", bucket(site, volume))).unwrap_or_default();
            let within = seconds.map(|seconds| format!(" in {} s", figure(seconds))).unwrap_or_default();
            format!("flow check{}{caught}{within}", at(site, place.as_ref()))
        }
        Deed::GrabSample { place, quantity, value, unit } => {
            let what = quantity.as_deref().map(|word| match Quantity::parse(word) {
                Some(known) => names::quantity(known).to_owned(),
                None => typed::line(word),
            });
            let value = value.map(|value| format!(" {}", figure(value))).unwrap_or_default();
            let unit = unit.as_ref().map(|unit| format!(" {}", typed::line(unit))).unwrap_or_default();
            format!(
                "{} by hand{}:{value}{unit}",
                what.as_deref().unwrap_or("something"),
                at(site, place.as_ref())
            )
        }
        Deed::Cleaning { place, minutes } => {
            let minutes = minutes.map(|minutes| format!(", {} min", figure(minutes))).unwrap_or_default();
            format!("cleaning{}{minutes}", at(site, place.as_ref()))
        }
        Deed::Dip { drum, level, volume } => {
            let drum =
                drum.as_ref().map(|drum| format!(" of {}", names::drum(site, drum))).unwrap_or_default();
            let level = level.map(|level| format!(": {} mm", number(level.0, 0))).unwrap_or_default();
            let volume = volume.map(|volume| format!(": {}", fine_volume(site, volume))).unwrap_or_default();
            format!("level{drum} read by eye{level}{volume}")
        }
        Deed::Wipe { sensor } => {
            let sensor = sensor.as_ref().map_or_else(|| "sensor".to_owned(), |id| names::sensor(site, id));
            format!("{sensor} wiped")
        }
        Deed::TubeChange { pump } => format!("new tube in {}", pump_name(site, pump.as_ref())),
        Deed::ClogCleared { pump } => format!("clog cleared at {}", pump_name(site, pump.as_ref())),
        Deed::Delivery { bags, mass, lot } => delivery(site, *bags, *mass, lot.as_deref()),
        Deed::Fish { place, what, number } => {
            let number = number.map(|number| format!("{} ", figure(number))).unwrap_or_default();
            let what = what.as_ref().map(|what| format!(" {}", typed::line(what))).unwrap_or_default();
            format!("{number}fish{what}{}", at(site, place.as_ref()))
        }
        Deed::Tonight { person } => tonight(site, person.as_ref()),
        Deed::Shelve { notice, until, why } => format!(
            "notice {notice} shelved until {}: {}",
            until.to_zoned_datetime(site.time_zone.clone()).strftime("%a %H:%M"),
            typed::line(why)
        ),
        Deed::Note { text } => {
            let text = typed::line(text.as_deref().unwrap_or_default());
            match text.trim() {
                "" => "a note without a word".to_owned(),
                text => format!("note: {}", text.trim_end_matches('.')),
            }
        }
    }
}

/// "tonight is Kim's".
pub(crate) fn tonight(site: &Site, person: Option<&Id>) -> String {
    person.map_or_else(
        || "tonight is nobody's in particular".to_owned(),
        |id| format!("the night goes to {}", names::contact(site, id)),
    )
}

fn refill(site: &Site, drum: Option<&Id>, water: Option<Litres>, clay: Option<Kilograms>) -> String {
    let drum = drum.map_or_else(|| "a drum, which isn't said".to_owned(), |drum| names::drum(site, drum));
    let water = water.map(|water| format!("{} of water", fine_volume(site, water)));
    let clay = clay.map(|clay| match clay {
        Kilograms(none) if none <= 0.0 => "no clay".to_owned(),
        clay => format!("{} of clay", fine_mass(site, clay)),
    });
    let missing = match (&water, &clay) {
        (Some(_), Some(_)) => "",
        (Some(_), None) => "; how much clay isn't said",
        (None, Some(_)) => "; how much water isn't said",
        (None, None) => "; how much isn't said",
    };
    let figures: Vec<String> = water.into_iter().chain(clay).collect();
    let with = if figures.is_empty() { String::new() } else { format!(" with {}", figures.join(" and ")) };
    format!("refill of {drum}{with}{missing}")
}

fn delivery(site: &Site, bags: Option<f64>, mass: Option<Kilograms>, lot: Option<&str>) -> String {
    let bags = bags.map(|bags| format!(", {} bags", figure(bags))).unwrap_or_default();
    let mass = mass.map(|mass| format!(", {}", fine_mass(site, mass))).unwrap_or_default();
    let lot = lot.map(|lot| format!(", lot {}", typed::line(lot))).unwrap_or_default();
    format!("clay delivered{bags}{mass}{lot}")
}

fn pump_name(site: &Site, pump: Option<&Id>) -> String {
    pump.map_or_else(|| "the pump".to_owned(), |pump| names::pump(site, pump))
}

fn at(site: &Site, place: Option<&Place>) -> String {
    place.map(|place| format!(" at {}", names::place(site, place))).unwrap_or_default()
}

/// As it was typed, so that a slip shows: with no more than three decimals, and none that are nothing.
fn figure(value: f64) -> String {
    let text = number(value, 3);
    let plain = text.contains('.') && !text.contains('e');
    if plain { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

fn fine_volume(site: &Site, volume: Litres) -> String {
    format!("{} {}", figure(site.units.volume.from_base(volume.0)), site.units.volume)
}

fn fine_mass(site: &Site, mass: Kilograms) -> String {
    let step = site.units.mass.from_base(site.clay.scale_step.0);
    let fine = format!("{} {}", figure(site.units.mass.from_base(mass.0)), site.units.mass);
    // The scale's own decimals, where they tell all of it.
    let shown = format::mass(&site.units, mass, site.clay.scale_step);
    let told = site.units.mass.from_base(mass.0) / step;
    if (told - told.round()).abs() < 1e-6 { shown } else { fine }
}

/// Cylinder or bucket.
fn bucket(site: &Site, volume: Litres) -> String {
    if volume.0 < 1.0 {
        format!("{} mL", figure(Unit::Millilitre.from_base(volume.0)))
    } else {
        fine_volume(site, volume)
    }
}

#[cfg(test)]
mod tests {
    use claymark_model::units::{Millimetres, PeopleUnits};

    use super::*;
    use crate::notice::tests::room;

    fn told(site: &Site, deed: &Deed) -> String {
        let now: Timestamp = "2027-04-20T11:10:00Z".parse().unwrap();
        entry(site, now, (deed, "2027-04-20T11:05:00Z".parse().unwrap(), Some("Aino")))
    }

    #[test]
    fn a_refill_is_told_in_the_units_of_the_site_and_by_its_clock() {
        let mut site = room::site();
        let drum = Some(site.drums[0].id.clone());
        let (gallons, pounds) = (Unit::UsGallon.to_base(40.0), Unit::Pound.to_base(4.5));
        let filled =
            Deed::Refill { drum: drum.clone(), water: Some(Litres(gallons)), clay: Some(Kilograms(pounds)) };
        assert_eq!(
            told(&site, &filled),
            "14:05, Aino: refill of Drum A with 151.416 L of water and 2.041 kg of clay."
        );
        let half = Deed::Refill { drum, water: Some(Litres(150.0)), clay: None };
        assert_eq!(
            told(&site, &half),
            "14:05, Aino: refill of Drum A with 150 L of water; how much clay isn't said."
        );
        site.units = PeopleUnits { mass: Unit::Pound, volume: Unit::UsGallon, ..PeopleUnits::default() };
        assert_eq!(
            told(&site, &filled),
            "14:05, Aino: refill of Drum A with 40 US gal of water and 4.5 lb of clay."
        );
    }

    #[test]
    fn each_kind_of_entry_is_a_sentence() {
        let site = room::site();
        for (deed, expected) in [
            (
                Deed::FlowCheck {
                    place: Some(Place::Head),
                    volume: Some(Litres(0.025)),
                    seconds: Some(30.0),
                },
                "flow check at Head tank, 25 mL caught in 30 s.",
            ),
            (
                Deed::Dip { drum: None, level: Some(Millimetres(400.0)), volume: None },
                "level read by eye: 400 mm.",
            ),
            (Deed::PumpSetting { pump: None, rpm: Some(0.0) }, "the pump switched off."),
            (
                Deed::GrabSample {
                    place: None,
                    quantity: Some("oxygen".to_owned()),
                    value: Some(8.2),
                    unit: Some("mg/L".to_owned()),
                },
                "oxygen by hand: 8.2 mg/L.",
            ),
            (
                Deed::Delivery { bags: Some(40.0), mass: None, lot: Some("K-17".to_owned()) },
                "clay delivered, 40 bags, lot K-17.",
            ),
            (
                Deed::Fish { place: None, what: Some("counted".to_owned()), number: Some(12000.0) },
                "12000 fish counted.",
            ),
            (Deed::Note { text: Some("blower sounds rough".to_owned()) }, "note: blower sounds rough."),
            (
                Deed::Note { text: Some("\u{1b}[2Jall well\nask Kim".to_owned()) },
                "note: [U+001B escape][2Jall well ⏎ ask Kim.",
            ),
            (
                Deed::Delivery { bags: None, mass: None, lot: Some("K\u{202e}71".to_owned()) },
                "clay delivered, lot K[U+202E right-to-left override]71.",
            ),
        ] {
            let said = told(&site, &deed);
            assert!(said.ends_with(&format!("Aino: {expected}")), "{said}");
        }
    }
}
