//! Why a figure or a text can't be meant, or can hardly be: whole sentences, in the units of the site.

use claymark_clay::bounds::{Figure, Impossible, Unlikely};
use claymark_model::site::{Quantity, Site};
use claymark_model::units::Unit;

use crate::format::{self, number};
use crate::{checks, names, refill};

/// "1.0e308 L can't be the water of a refill: 0 to 100000 L can."
#[must_use]
pub fn impossible(site: &Site, impossible: &Impossible) -> String {
    match impossible {
        Impossible::Figure { figure, found, bounds } => {
            let name = named(*figure);
            match found {
                Some(found) => format!(
                    "{} can't be {name}: {} to {} can.",
                    shown(site, *figure, *found),
                    bare(site, *figure, bounds.least),
                    shown(site, *figure, bounds.most)
                ),
                None => format!(
                    "What was written is more than a number can hold: {name} is {} to {}.",
                    bare(site, *figure, bounds.least),
                    shown(site, *figure, bounds.most)
                ),
            }
        }
        Impossible::Text { key, chars, most } => {
            format!("'{key}' has {chars} characters, and at most {most} are taken.")
        }
        Impossible::NoticeNumber { found } => {
            format!("{found} can't be the number of a notice: they count up from 1, one by one.")
        }
    }
}

/// "1500 L don't fit into Drum A, which holds 190 L up to its brim."
#[must_use]
pub fn unlikely(site: &Site, unlikely: &Unlikely) -> String {
    match unlikely {
        Unlikely::Figure { figure, found, bounds } => format!(
            "{} can hardly be {}: {} to {} is usual.",
            shown(site, *figure, *found),
            named(*figure),
            bare(site, *figure, bounds.least),
            shown(site, *figure, bounds.most)
        ),
        Unlikely::OverBrim { drum, volume, brim } => format!(
            "{} don't fit into {}, which holds {} up to its brim.",
            format::volume(&site.units, *volume),
            names::drum(site, drum),
            format::volume(&site.units, *brim)
        ),
        Unlikely::TooFast { pump, rpm, most } => format!(
            "{rpm} rpm are more than {} can turn: {most} rpm by the site file.",
            names::pump(site, pump)
        ),
        Unlikely::TooThick { clay, expected, gives } => format!(
            "{} of clay can hardly be: {}. {}.",
            format::mass(&site.units, *clay, site.clay.scale_step),
            refill::expected(site, *expected),
            refill::too_thick(site, *gives)
        ),
        Unlikely::NoWater { value, unit, bound } => {
            format!("{}.", checks::beyond_water(*value, *unit, *bound))
        }
        Unlikely::NothingDelivered => "Nothing at all is no delivery.".to_owned(),
        Unlikely::NothingWritten => "A note without a word says nothing.".to_owned(),
        Unlikely::LongAgo { days } => format!("It was done {days} days before it was written down."),
    }
}

fn named(figure: Figure) -> String {
    match figure {
        Figure::Water => "the water of a refill",
        Figure::Clay => "the clay of a refill",
        Figure::Speed => "a pump's speed",
        Figure::Caught => "the water of a flow check",
        Figure::CatchTime => "the time of a flow check",
        Figure::Flow => "the flow of a flow check, volume by time",
        Figure::CleaningTime => "the time of a cleaning",
        Figure::Level => "a level read by eye",
        Figure::Volume => "a volume read by eye",
        Figure::Bags => "the bags of a delivery",
        Figure::Delivered => "the clay of a delivery",
        Figure::Fish => "a number of fish",
        Figure::Measured(quantity) => return format!("a measured {}", names::quantity(quantity)),
        Figure::Value => "a measured value",
    }
    .to_owned()
}

/// In the unit of people, with it.
fn shown(site: &Site, figure: Figure, value: f64) -> String {
    match unit(site, figure) {
        ShownAs::Unit(unit) => format!("{} {unit}", amount(unit.from_base(value))),
        ShownAs::Word("") => amount(value),
        ShownAs::Word(word) => format!("{} {word}", amount(value)),
    }
}

/// The same without the unit.
fn bare(site: &Site, figure: Figure, value: f64) -> String {
    match unit(site, figure) {
        ShownAs::Unit(unit) => amount(unit.from_base(value)),
        ShownAs::Word(_) => amount(value),
    }
}

enum ShownAs {
    Unit(Unit),
    Word(&'static str),
}

fn unit(site: &Site, figure: Figure) -> ShownAs {
    match figure {
        Figure::Water | Figure::Caught | Figure::Volume => ShownAs::Unit(site.units.volume),
        Figure::Clay | Figure::Delivered => ShownAs::Unit(site.units.mass),
        Figure::Flow => ShownAs::Unit(site.units.flow),
        Figure::Level => ShownAs::Unit(Unit::Millimetre),
        Figure::Speed => ShownAs::Word("rpm"),
        Figure::CatchTime => ShownAs::Word("s"),
        Figure::CleaningTime => ShownAs::Word("min"),
        Figure::Bags => ShownAs::Word("bags"),
        Figure::Fish => ShownAs::Word("fish"),
        Figure::Value => ShownAs::Word(""),
        Figure::Measured(quantity) => ShownAs::Unit(match quantity {
            Quantity::Level | Quantity::Distance => Unit::Millimetre,
            Quantity::Volume => Unit::Litre,
            Quantity::Turbidity => Unit::Ntu,
            Quantity::Temperature => Unit::Celsius,
            Quantity::Oxygen => Unit::MilligramPerLitre,
            Quantity::OxygenSaturation | Quantity::Running => Unit::Percent,
            Quantity::Flow | Quantity::AirFlow => Unit::LitrePerMinute,
            Quantity::AirPressure => Unit::Hectopascal,
        }),
    }
}

/// With three decimals at most, and by its power of ten where nobody would count the digits.
fn amount(value: f64) -> String {
    let size = value.abs();
    if size >= 1e10 || (size > 0.0 && size < 0.001) {
        return format!("{value:.1e}");
    }
    let text = number(value, 3);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use claymark_clay::bounds;
    use claymark_model::fieldlog::Deed;
    use claymark_model::site::Place;
    use claymark_model::units::{Kilograms, Litres, PeopleUnits};
    use jiff::SignedDuration;

    use super::*;
    use crate::notice::tests::room::site;

    #[test]
    fn what_cannot_be_is_told_with_what_can() {
        let mut site = site();
        let catch = |litres, seconds| Deed::FlowCheck {
            place: Some(Place::Head),
            volume: Some(Litres(litres)),
            seconds: Some(seconds),
        };
        let told = |site: &Site, deed: &Deed| impossible(site, &bounds::deed(deed).unwrap_err());
        for (deed, words) in [
            (catch(1e305, 1e-300), "1.0e305 L can't be the water of a flow check: 0 to 10000 L can."),
            (catch(0.5, 1e-300), "1.0e-300 s can't be the time of a flow check: 0.05 to 86400 s can."),
            (
                catch(10_000.0, 0.1),
                "6000000 L/min can't be the flow of a flow check, volume by time: 0 to 100000 L/min can.",
            ),
            (
                Deed::Refill { drum: None, water: Some(Litres(f64::INFINITY)), clay: None },
                "What was written is more than a number can hold: the water of a refill is 0 to 100000 L.",
            ),
            (
                Deed::Note { text: Some("x".repeat(65_536)) },
                "'text' has 65536 characters, and at most 2000 are taken.",
            ),
        ] {
            assert_eq!(told(&site, &deed), words);
        }
        site.units = PeopleUnits { mass: Unit::Pound, ..PeopleUnits::default() };
        let clay = Deed::Refill { drum: None, water: None, clay: Some(Kilograms(1e5)) };
        assert_eq!(told(&site, &clay), "220462.262 lb can't be the clay of a refill: 0 to 22046.226 lb can.");
    }

    #[test]
    fn what_can_hardly_be_is_told_with_what_is_usual() {
        let site = site();
        let told = |deed: &Deed| {
            bounds::unlikely(&site, deed, (SignedDuration::ZERO, None)).map(|why| unlikely(&site, &why))
        };
        let drum = Some(site.drums[0].id.clone());
        let over = told(&Deed::Refill { drum, water: Some(Litres(1500.0)), clay: None }).unwrap();
        assert!(over.starts_with("1500 L don't fit into Drum A, which holds "), "{over}");
        let quick =
            told(&Deed::FlowCheck { place: None, volume: Some(Litres(0.1)), seconds: Some(0.5) }).unwrap();
        assert_eq!(quick, "0.5 s can hardly be the time of a flow check: 1 to 7200 s is usual.");
        assert_eq!(
            told(&Deed::Note { text: Some(" ".to_owned()) }).unwrap(),
            "A note without a word says nothing."
        );
        assert_eq!(told(&Deed::Note { text: Some("fed".to_owned()) }), None);
        let late = bounds::unlikely(
            &site,
            &Deed::TubeChange { pump: None },
            (SignedDuration::from_hours(24 * 365), None),
        );
        assert_eq!(unlikely(&site, &late.unwrap()), "It was done 365 days before it was written down.");
    }
}
