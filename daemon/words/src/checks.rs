//! Checks by hand against the sensors, in words.

use claymark_core::oxygen::SUPERSATURATED;
use claymark_core::site::{Sensor, Site};
use claymark_core::units::{LitresPerMinute, Unit};
use claymark_core::verify::{Catch, Comparison, Grade, Incomparable, Overdue};
use jiff::Timestamp;

use crate::format::{Clock, duration, number};
use crate::{caution, names};

/// A sample by hand against one sensor.
#[must_use]
pub fn sample(site: &Site, sensor: &Sensor, compared: Result<Comparison, Incomparable>) -> Vec<String> {
    let name = names::sensor(site, &sensor.id);
    let unit = sensor.unit.base();
    match compared {
        Ok(compared) => comparison(&name, unit, &compared),
        Err(Incomparable::OtherUnit) => vec![format!(
            "The {name} is told in {unit}: the hand value can't be compared with it. NTU and FNU aren't the same, nor are mg/L \
             and percent."
        )],
        Err(Incomparable::Silent) => {
            vec![format!("The {name} had no usable reading about that time: nothing to compare with.")]
        }
        Err(Incomparable::NoCriterion) => {
            vec![format!("How far the {name} may lie from a hand value isn't published: judge it yourself.")]
        }
    }
}

fn comparison(name: &str, unit: Unit, compared: &Comparison) -> Vec<String> {
    let value = |value: f64| format!("{} {unit}", number(value, decimals(unit)));
    let apart = value(compared.correction.abs());
    let side = if compared.correction > 0.0 { "below" } else { "above" };
    let mut lines = vec![format!(
        "By hand {}; the {name} showed {} then: {apart} {side} the hand value, up to {} is allowed.",
        value(compared.hand),
        value(compared.sensor),
        value(compared.allowed),
    )];
    let sign = if compared.correction > 0.0 { "adding" } else { "taking off" };
    lines.push(match compared.grade {
        Grade::Excellent => "They agree: nothing to do.".to_owned(),
        Grade::Good | Grade::Fair | Grade::Poor => format!(
            "They differ ({}). Wipe the sensor, log the wipe, and measure again by hand: what the wipe changes was dirt, what stays is \
             drift. Until then {sign} {apart} would bring it to the hand value; Claymark changes no reading by itself.",
            word(compared.grade)
        ),
        Grade::Unusable => format!(
            "They differ by more than can be corrected ({} and more): don't go by this sensor. Measure once more by hand; if it \
             stays so, wipe, calibrate or replace the sensor.",
            value(compared.usable)
        ),
    });
    lines.push(SOURCE.to_owned());
    if unit == Unit::Percent && compared.hand > SUPERSATURATED.0 {
        lines.push(format!(
            "That is more than {} % of saturation. {}",
            number(SUPERSATURATED.0, 0),
            caution::TOTAL_GAS
        ));
    }
    lines
}

fn word(grade: Grade) -> &'static str {
    match grade {
        Grade::Excellent => "excellent",
        Grade::Good => "still good",
        Grade::Fair => "fair",
        Grade::Poor => "poor",
        Grade::Unusable => "not usable",
    }
}

/// A catch with cylinder or bucket and watch.
#[must_use]
pub fn catch(caught: &Catch) -> Vec<String> {
    let (big, flow) = (caught.flow.0 >= 1.0, caught.flow);
    let told = |flow: LitresPerMinute| {
        if big {
            format!("{} L/min", number(flow.0, 1))
        } else {
            format!("{} mL/min", number(Unit::MillilitrePerMinute.from_base(flow.0), 0))
        }
    };
    let percent = number(100.0 * caught.sd.0 / flow.0, 1);
    let mut lines = vec![format!("That is {}, give or take {} ({percent} %).", told(flow), told(caught.sd))];
    lines.extend(caught.catch_for_s.map(|seconds| {
        format!(
            "The catch was too short to see a few percent: catch for {} or longer next time.",
            duration(jiff::SignedDuration::from_secs_f64(seconds))
        )
    }));
    lines
}

/// Overdue checks, one a line.
#[must_use]
pub fn overdue(site: &Site, checks: &[Overdue], now: Timestamp) -> Vec<String> {
    let clock = Clock::new(site, now);
    checks
        .iter()
        .map(|late| {
            let what =
                format!("{} at {}", names::quantity(late.check.what), names::place(site, &late.check.place));
            let every = duration(late.check.every);
            match late.last {
                Some(last) => format!("{what}: last {}, wanted every {every}.", clock.time(last)),
                None => format!("{what}: never written down, wanted every {every}."),
            }
        })
        .collect()
}

fn decimals(unit: Unit) -> usize {
    if matches!(unit, Unit::MilligramPerLitre | Unit::Celsius) { 2 } else { 1 }
}

const SOURCE: &str = "Judged by the criteria of USGS Techniques and Methods 1-D3 (2006); its figures are quoted from memory and weren't \
looked up again.";

#[cfg(test)]
mod tests {
    use claymark_core::site::Quantity;
    use claymark_core::units::Litres;
    use claymark_core::verify::HandCheck;

    use super::*;
    use crate::notice::tests::room;

    #[test]
    fn a_sample_is_told_with_what_to_do_and_never_corrected_silently() {
        let site = room::site();
        let sensor = site.sensors.iter().find(|sensor| sensor.quantity == Quantity::Turbidity).unwrap();
        let mut told = String::new();
        for (hand, read) in [(62.0, 63.0), (62.0, 58.0), (62.0, 66.0), (62.0, 90.0)] {
            let compared = Comparison::of(Quantity::Turbidity, hand, read);
            told += &sample(&site, sensor, Ok(compared.unwrap())).join("\n");
            told += "\n\n";
        }
        for why in [Incomparable::OtherUnit, Incomparable::Silent, Incomparable::NoCriterion] {
            told += &sample(&site, sensor, Err(why)).join("\n");
            told += "\n";
        }
        for (litres, seconds) in [(0.5, 143.5), (0.07, 20.0), (18.0, 20.0)] {
            told += &catch(&Catch::of(Litres(litres), seconds).unwrap()).join("\n");
            told += "\n";
        }
        let every = jiff::SignedDuration::from_hours(24);
        let check = |what| HandCheck { what, place: sensor.place.clone(), every };
        let late = [
            Overdue { check: check(Quantity::Oxygen), last: None },
            Overdue {
                check: check(Quantity::Turbidity),
                last: Some("2027-04-18T04:00:00Z".parse().unwrap()),
            },
        ];
        told += &overdue(&site, &late, "2027-04-20T14:00:00Z".parse().unwrap()).join("\n");
        insta::assert_snapshot!(told);
    }
}
