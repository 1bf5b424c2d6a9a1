//! Checks by hand against the sensors, in words.

use claymark_clay::oxygen::SUPERSATURATED;
use claymark_clay::verify::parts::Parts;
use claymark_clay::verify::{Catch, Comparison, Grade, Incomparable};
use claymark_model::routine::Overdue;
use claymark_model::site::{Sensor, Site};
use claymark_model::units::{LitresPerMinute, Percent, Unit};
use claymark_notice::caught::{CatchDoubt, Witness};
use jiff::Timestamp;

use crate::format::{Clock, duration, number};
use crate::{caution, format, names};

/// A sample by hand against one sensor.
#[must_use]
pub fn sample(site: &Site, sensor: &Sensor, compared: Result<Comparison, Incomparable>) -> Vec<String> {
    let name = names::sensor(site, &sensor.id);
    let unit = sensor.unit.base();
    match compared {
        Ok(compared) => comparison(&name, Shown::of(site, sensor), &compared),
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

/// A sensor's values as people read them; they are kept in its base unit.
#[derive(Clone, Copy)]
struct Shown {
    base: Unit,
    unit: Unit,
}

impl Shown {
    fn of(site: &Site, sensor: &Sensor) -> Self {
        let base = sensor.unit.base();
        Self { base, unit: if base == Unit::Celsius { site.units.temperature } else { base } }
    }

    fn value(self, value: f64) -> String {
        format!("{} {}", number(self.unit.from_base(value), self.decimals()), self.unit)
    }

    /// Of a difference: 1 °C apart are 1.8 °F apart, wherever both lie.
    fn apart(self, difference: f64) -> String {
        let shown = difference.abs() / self.unit.difference_to_base(1.0);
        format!("{} {}", number(shown, self.decimals()), self.unit)
    }

    fn is_nothing(self, difference: f64) -> bool {
        let least = if self.decimals() == 2 { 0.005 } else { 0.05 };
        difference.abs() < least
    }

    fn decimals(self) -> usize {
        if matches!(self.base, Unit::MilligramPerLitre | Unit::Celsius) { 2 } else { 1 }
    }
}

fn comparison(name: &str, shown: Shown, compared: &Comparison) -> Vec<String> {
    let value = |value: f64| shown.value(value);
    let apart = shown.apart(compared.correction);
    let side = if compared.correction > 0.0 { "below" } else { "above" };
    let mut lines = vec![format!(
        "By hand {}; the {name} showed {} then: {apart} {side} the hand value, up to {} is allowed.",
        value(compared.hand),
        value(compared.sensor),
        shown.apart(compared.allowed),
    )];
    let sign = if compared.correction > 0.0 { "adding" } else { "taking off" };
    lines.push(if compared.is_due() {
        due(shown, compared, &format!("{sign} {apart}"))
    } else {
        "They agree: nothing to do.".to_owned()
    });
    lines.push(SOURCE.to_owned());
    lines
}

fn due(shown: Shown, compared: &Comparison, change: &str) -> String {
    match compared.grade {
        Grade::Excellent | Grade::Good | Grade::Fair | Grade::Poor => format!(
            "They differ (rated {}). Wipe the sensor, log the wipe, and measure again by hand: what the wipe changes was dirt, what \
             stays is drift. Until then {change} would bring it to the hand value; Claymark changes no reading by itself.",
            word(compared.grade)
        ),
        Grade::Unusable => format!(
            "They differ by more than can be corrected ({} and more): don't go by this sensor. Measure once more by hand; if it \
             stays so, wipe, calibrate or replace the sensor.",
            shown.apart(compared.usable)
        ),
    }
}

/// The caution beside more oxygen in the water than it holds in balance with the air.
#[must_use]
pub fn supersaturated(percent: Percent) -> Option<String> {
    let told = || {
        format!(
            "By hand that is {} % of saturation, more than {} %. {}",
            number(percent.0, 0),
            number(SUPERSATURATED.0, 0),
            caution::TOTAL_GAS
        )
    };
    (percent > SUPERSATURATED).then(told)
}

/// "20 °F are -6.7 °C, and …": a hand value that no water shows; `bound` in base units.
#[must_use]
pub fn beyond_water(value: f64, unit: Unit, bound: f64) -> String {
    let (base, typed) = (unit.base(), format!("{} {unit}", number(value, 1)));
    let same =
        if base == unit { typed } else { format!("{typed} ({} {base})", number(unit.to_base(value), 1)) };
    let side = if unit.to_base(value) < bound { "less" } else { "more" };
    format!(
        "{same} can hardly be by hand: {side} than {} {base} is no water that fish live in",
        number(bound, 0)
    )
}

/// One line on a sample that was held against `sensor` at that time, seen from `now`; `None`: it couldn't be.
#[must_use]
pub fn difference(
    site: &Site,
    sensor: &Sensor,
    (now, at): (Timestamp, Timestamp),
    compared: Option<&Comparison>,
) -> String {
    let (name, at) = (names::sensor(site, &sensor.id), Clock::new(site, now).time(at));
    let Some(compared) = compared else {
        return format!("{name}, {at}: the hand value can't be compared with it.");
    };
    let shown = Shown::of(site, sensor);
    let side = if compared.correction > 0.0 { "below" } else { "above" };
    let apart = if shown.is_nothing(compared.correction) {
        "the same".to_owned()
    } else {
        format!("{} {side} the hand value", shown.apart(compared.correction))
    };
    format!(
        "{name}, {at}: by hand {}, it showed {}: {apart}, up to {} is allowed: {}.",
        shown.value(compared.hand),
        shown.value(compared.sensor),
        shown.apart(compared.allowed),
        word(compared.grade)
    )
}

/// Which part of what the sensor was off before it was wiped was dirt, and which is still there.
#[must_use]
pub fn parts(
    site: &Site,
    sensor: &Sensor,
    wiped_at: Timestamp,
    (parts, allowed): (Parts, f64),
) -> Vec<String> {
    let shown = Shown::of(site, sensor);
    let side = |part: f64| if part > 0.0 { "too low" } else { "too high" };
    let Parts { fouling, drift } = parts;
    let told = |part: f64, what: &str, none: &str| {
        if shown.is_nothing(part) {
            none.to_owned()
        } else {
            format!("{what} {} {}", shown.apart(part), side(part))
        }
    };
    let small = fouling.abs().max(drift.abs()) <= allowed;
    vec![
        format!(
            "Before it was wiped at {} {}; {}.",
            Clock::new(site, wiped_at).time(wiped_at),
            told(fouling, "dirt made it read", "dirt had changed nothing"),
            told(drift, "the sensor itself still reads", "the sensor itself reads right"),
        ),
        match () {
            () if small => "Both are no more than is allowed: nothing to do.",
            () if fouling.abs() >= drift.abs() => {
                "Dirt is the larger part: wipe it more often, before it comes so far again."
            }
            () => "The larger part is drift, which no wipe mends: calibrate the sensor, and measure again by hand.",
        }
        .to_owned(),
    ]
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
    let percent = number(100.0 * caught.sd.0 / caught.flow.0, 1);
    let unit = caught_in(caught.flow);
    let (flow, sd) = (in_unit(caught.flow, unit), in_unit(caught.sd, unit));
    let mut lines = vec![format!("That is {flow}, give or take {sd} ({percent} %).")];
    lines.extend(caught.catch_for_s.map(|seconds| {
        format!(
            "The catch was too short to see a few percent: catch for {} or longer next time.",
            duration(jiff::SignedDuration::from_secs_f64(seconds))
        )
    }));
    lines
}

/// The unit in which a catch is told: as bucket or cylinder show it.
fn caught_in(flow: LitresPerMinute) -> Unit {
    if flow.0 >= 1.0 { Unit::LitrePerMinute } else { Unit::MillilitrePerMinute }
}

fn in_unit(flow: LitresPerMinute, unit: Unit) -> String {
    let decimals = usize::from(unit == Unit::LitrePerMinute);
    format!("{} {unit}", number(unit.from_base(flow.0), decimals))
}

/// "51.0 L/min", as a bucket shows it, and in the unit of the site where that is another one.
fn bucket_flow(site: &Site, flow: LitresPerMinute) -> String {
    let (unit, own) = (caught_in(flow), site.units.flow);
    let shown = in_unit(flow, unit);
    if own == Unit::LitrePerMinute { shown } else { format!("{} ({shown})", format::flow(&site.units, flow)) }
}

/// "… can hardly be: by the plan 51.2 L/min flow there."
#[must_use]
pub fn against_catch(site: &Site, caught: LitresPerMinute, expected: LitresPerMinute, by: Witness) -> String {
    let flow = |flow| bucket_flow(site, flow);
    let told = match by {
        Witness::Sensor => format!("the flow sensor says {}", flow(expected)),
        Witness::Plan => format!("the rearing plan wants {}", flow(expected)),
        Witness::Turbidity => format!(
            "the clay that is fed makes the head tank as turbid as it should be in {}",
            flow(expected)
        ),
        Witness::Share => format!("an equal share of the water is {}", flow(expected)),
        Witness::PumpLimit => format!("at full speed the pump brings {} by its rating", flow(expected)),
    };
    format!("{} can hardly be: {told}", flow(caught))
}

/// The same of a catch that was written down, and what to do.
#[must_use]
pub fn catch_doubt(site: &Site, seen_from: Timestamp, doubt: &CatchDoubt) -> String {
    format!(
        "The flow check at {} of {} isn't counted on: {}. Was it millilitres for litres? Measure again, and write it down with \
         --replaces {}.",
        names::place(site, &doubt.place),
        Clock::new(site, seen_from).time(doubt.at),
        against_catch(site, doubt.caught, doubt.expected, doubt.by),
        doubt.key
    )
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

/// By what differences are judged.
pub const SOURCE: &str = "Judged by the criteria of USGS Techniques and Methods 1-D3 (2006); its figures are quoted from memory and weren't \
looked up again.";

#[cfg(test)]
mod tests {
    use claymark_model::routine::HandCheck;
    use claymark_model::site::Quantity;
    use claymark_model::units::Litres;

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

    #[test]
    fn a_temperature_is_told_in_the_unit_of_the_site_and_its_difference_as_a_difference() {
        let mut site = room::site();
        site.units.temperature = Unit::Fahrenheit;
        let mut sensor = site.sensors[2].clone();
        (sensor.quantity, sensor.unit) = (Quantity::Temperature, Unit::Celsius);
        // 20 °C are 68 °F; 0.6 °C apart are 1.08 °F, and 0.2 °C allowed are 0.36 °F.
        let compared = Comparison::of(Quantity::Temperature, 20.0, 19.4).unwrap();
        let told = sample(&site, &sensor, Ok(compared)).join("\n");
        assert!(
            told.contains("By hand 68.00 °F;") && told.contains("showed 66.92 °F then: 1.08 °F below"),
            "{told}"
        );
        assert!(told.contains("up to 0.36 °F is allowed") && told.contains("adding 1.08 °F"), "{told}");
    }

    #[test]
    fn dirt_and_drift_are_told_apart_with_what_to_do_about_the_larger() {
        let site = room::site();
        let sensor = site.sensors.iter().find(|sensor| sensor.quantity == Quantity::Turbidity).unwrap();
        let wiped = "2027-04-20T11:10:00Z".parse().unwrap();
        let told = |fouling, drift| parts(&site, sensor, wiped, (Parts { fouling, drift }, 3.1)).join(" ");
        for (fouling, drift, expected) in [
            (
                4.2,
                -0.8,
                "Before it was wiped at 14:10 dirt made it read 4.2 NTU too low; the sensor itself still reads 0.8 NTU too \
                 high. Dirt is the larger part: wipe it more often, before it comes so far again.",
            ),
            (
                0.01,
                -5.0,
                "Before it was wiped at 14:10 dirt had changed nothing; the sensor itself still reads 5.0 NTU too high. The \
                 larger part is drift, which no wipe mends: calibrate the sensor, and measure again by hand.",
            ),
            (
                -2.0,
                0.0,
                "Before it was wiped at 14:10 dirt made it read 2.0 NTU too high; the sensor itself reads right. Both are no \
                 more than is allowed: nothing to do.",
            ),
        ] {
            assert_eq!(told(fouling, drift), expected);
        }
    }
}
