//! The oxygen that the fish take up, in plain words.

use claymark_clay::oxygen::demand::{DemandTrend, PerKilogram};
use claymark_clay::trend::{Side, Trend};
use claymark_model::units::{Kilograms, Unit};
use jiff::SignedDuration;

use super::Mark;
use crate::format::{self, number};

/// How the water through the tanks is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Water {
    /// A sensor at each tank.
    Tanks,
    /// The head tank's sensor, shared out.
    Head,
    /// The plan.
    Plan,
}

/// What lacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lacking {
    /// An oxygen sensor in a rearing tank.
    TankOxygen,
    /// One in the head tank.
    HeadOxygen,
    /// The flow.
    Flow,
}

/// Why nothing can be said, and what would help.
#[must_use]
pub fn lacks(lacking: Lacking) -> (Mark, String) {
    let says = match lacking {
        Lacking::TankOxygen => "no rearing tank has an oxygen sensor in mg/L.",
        Lacking::HeadOxygen => {
            "no oxygen sensor (mg/L) stands in the head tank, so nobody knows what the tanks were given."
        }
        Lacking::Flow => {
            "no sensor tells the flow at the head tank or at every tank, and the plan has no exchanges_per_h."
        }
    };
    (Mark::Unknown, format!("How much oxygen the fish take up isn't known: {says}"))
}

/// "44 g".
#[must_use]
pub fn grams(mass: Kilograms) -> String {
    format!("{} g", number(Unit::Gram.from_base(mass.0), 0))
}

/// Grams of oxygen a day for each kilogram of fish, without the unit.
#[must_use]
pub fn each(kilograms_per_kilogram: f64) -> String {
    number(Unit::Gram.from_base(kilograms_per_kilogram), 1)
}

/// What the days amount to. `most` is what the water could bring on the last day.
#[must_use]
pub fn trend(
    trend: Option<&DemandTrend>,
    biomass: Option<(Kilograms, Kilograms)>,
    most: Option<Kilograms>,
) -> Vec<(Mark, String)> {
    let Some(trend) = trend else {
        let says = "Fewer than five whole days are known: too few to tell a trend.";
        return vec![(Mark::Unknown, says.to_owned())];
    };
    let mut lines = vec![over_days(&trend.taken)];
    lines.push(match (trend.with_the_fish(), biomass) {
        (Some(per_kilogram), Some((first, last))) => against_biomass(per_kilogram, first, last),
        (_, _) => (
            Mark::Unknown,
            "What the fish weigh isn't said for every day: with biomass in the rows of the plan the demand of each \
             kilogram would stand here, too."
                .to_owned(),
        ),
    });
    lines.extend(most.and_then(|most| reserve(trend, most)));
    lines
}

fn over_days(taken: &Trend) -> (Mark, String) {
    let a_day = |per_hour: f64| number(Unit::Gram.from_base(per_hour * HOURS_A_DAY), 1);
    let (least, most) = (a_day(taken.least), a_day(taken.most));
    let now = format!("about {} a day at the end", grams(Kilograms(taken.value)));
    if taken.goes(Side::Rising) {
        let more = a_day(taken.per_hour);
        let says = format!(
            "The demand for oxygen rises by {more} g from day to day (95 % sure: {least} to {most} g), {now}."
        );
        (Mark::Good, says)
    } else if taken.goes(Side::Falling) {
        let (less, least, most) = (a_day(-taken.per_hour), a_day(-taken.most), a_day(-taken.least));
        let says = format!(
            "The demand for oxygen falls by {less} g from day to day (95 % sure: {least} to {most} g), {now}. Fish that \
             grow need more: look at feeding and losses."
        );
        (Mark::Look, says)
    } else {
        let says = format!(
            "The demand for oxygen neither rose nor fell beyond doubt (95 % sure: between {least} and {most} g more from day \
             to day), {now}."
        );
        (Mark::Good, says)
    }
}

fn against_biomass(per_kilogram: PerKilogram, first: Kilograms, last: Kilograms) -> (Mark, String) {
    let kilograms = |mass: Kilograms| number(mass.0, 1);
    let (first, last) = (kilograms(first), kilograms(last));
    let grew = format!("By the plan the fish weighed {first} kg at first and {last} kg at the end");
    match per_kilogram {
        PerKilogram::Keeps => (
            Mark::Good,
            format!("{grew}, and each kilogram took up about the same: the demand goes with the fish."),
        ),
        PerKilogram::Rises => (
            Mark::Look,
            format!(
                "{grew}, but each kilogram took up more from day to day. Dirt and feed on the floor breathe too, or there are \
                 more fish than planned: clean, and weigh a sample."
            ),
        ),
        PerKilogram::Falls => (
            Mark::Look,
            format!(
                "{grew}, and each kilogram took up less from day to day. Larger fish breathe a little less for each \
                 kilogram; otherwise there are fewer than planned: count losses, and weigh a sample."
            ),
        ),
    }
}

/// How long the water at this flow is enough.
fn reserve(trend: &DemandTrend, most: Kilograms) -> Option<(Mark, String)> {
    if most.0 <= 0.0 {
        return None;
    }
    let share = format::share(trend.taken.value / most.0);
    let now = format!(
        "At this flow the water brings {} a day down to the least that the fish want; they take {share} of it",
        grams(most)
    );
    let until = trend.reaches(most).and_then(|until| until.likely);
    Some(match until {
        Some(until) if until <= SOON => (
            Mark::Look,
            format!(
                "{now}. On this trend it is all taken in about {}: plan more flow or oxygen before.",
                format::duration(until)
            ),
        ),
        Some(until) => {
            (Mark::Good, format!("{now}, and on this trend all of it in about {}.", format::duration(until)))
        }
        None => (Mark::Good, format!("{now}.")),
    })
}

/// The picture in words: what was taken up on the first and on the last day that is known.
#[must_use]
pub fn picture(ends: Option<(Kilograms, Kilograms)>, trend: Option<&DemandTrend>) -> String {
    let Some((first, last)) = ends else {
        return "Oxygen that the fish took up, day by day: nothing is known.".to_owned();
    };
    let goes = match trend.map(|trend| &trend.taken) {
        None => "too few days for a trend",
        Some(taken) if taken.goes(Side::Rising) => "the trend rises",
        Some(taken) if taken.goes(Side::Falling) => "the trend falls",
        Some(_) => "no trend beyond doubt",
    };
    format!(
        "Oxygen that the fish took up, day by day: {} on the first day that is known, {} on the last; {goes}.",
        grams(first),
        grams(last)
    )
}

/// What the marks of the picture mean.
#[must_use]
pub fn legend(with_weight: bool) -> String {
    let weight = if with_weight {
        " Open diamonds: what it would have been, had each kilogram of fish (by the plan) taken up as much as on the middle \
         day; dots that climb away from them are a demand that rises faster than the fish."
    } else {
        ""
    };
    format!(
        "Dots: oxygen taken up in a day. Line: its trend.{weight} Hatched: not known. Dashes, where they are near: all that the water brings."
    )
}

/// The unit of the picture.
pub const UNIT: &str = "g";
/// Beside the line of what the water brings.
pub const MOST: &str = "brought";

/// Under the table.
#[must_use]
pub fn means(measured: usize, tanks: usize, water: Water) -> String {
    let water = match water {
        Water::Tanks => "each tank's own flow sensor",
        Water::Head => "the head tank's flow sensor, shared out as the plan has it, else by volume",
        Water::Plan => "the plan's exchanges",
    };
    format!(
        "Oxygen taken up: flow times (oxygen in the head tank less oxygen in the tank), means of a day, all {measured} \
         measured of {tanks} tanks together; the flow by {water}. Where tanks are aerated it is the least that was taken \
         up; dirt and bacteria are counted with the fish."
    )
}

/// Two weeks are enough to change a plan.
const SOON: SignedDuration = SignedDuration::from_hours(14 * 24);
const HOURS_A_DAY: f64 = 24.0;

#[cfg(test)]
mod tests {
    use claymark_clay::oxygen::demand::Demand;
    use jiff::Timestamp;

    use super::*;

    fn days(first: f64, more: f64, biomass: Option<f64>) -> DemandTrend {
        let noon: Timestamp = "2027-04-19T09:00:00Z".parse().unwrap();
        let day = |n: u8| Demand {
            at: noon + SignedDuration::from_hours(24 * i64::from(n)),
            taken: Kilograms(first + more * f64::from(n)),
            biomass: biomass.map(|weight| Kilograms(weight * (first + more * f64::from(n)) / first)),
        };
        DemandTrend::through(&(0..7).map(day).collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn demand_is_told_with_its_trend_the_fish_and_what_the_water_still_brings() {
        let mut told = String::new();
        let weights = Some((Kilograms(2.0), Kilograms(3.6)));
        for (first, more, biomass, most) in [
            (0.030, 0.004, Some(2.0), 0.170),
            (0.030, 0.004, Some(2.0), 0.070),
            (0.030, 0.004, None, 0.170),
            (0.054, -0.004, Some(2.0), 0.170),
            (0.054, 0.0, Some(2.0), 0.170),
        ] {
            let lines = trend(
                Some(&days(first, more, biomass)),
                weights.filter(|_| biomass.is_some()),
                Some(Kilograms(most)),
            );
            for (mark, line) in lines {
                told += &format!("{} {line}\n", mark.shape());
            }
            told.push('\n');
        }
        for (mark, line) in trend(None, None, None) {
            told += &format!("{} {line}\n", mark.shape());
        }
        insta::assert_snapshot!(told);
        for lacking in [Lacking::TankOxygen, Lacking::HeadOxygen, Lacking::Flow] {
            assert!(lacks(lacking).1.contains("isn't known: no "), "{lacking:?}");
        }
    }
}
