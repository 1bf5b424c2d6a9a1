//! The oxygen that the fish take up, in plain words.

use claymark_clay::oxygen::breathing;
use claymark_clay::oxygen::demand::{Demand, DemandTrend, PerKilogram};
use claymark_clay::oxygen::reserve::{Lasts, Reserve};
use claymark_clay::trend::{Side, Trend};
use claymark_model::units::{Kilograms, Unit};
use jiff::civil::Date;

use super::{Mark, counted};
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

/// What the days amount to, from the first to the last that is known.
#[must_use]
pub fn trend(
    trend: Option<&DemandTrend>,
    ends: Option<(Demand, Demand)>,
    reserve: Option<&Reserve>,
) -> Vec<(Mark, String)> {
    let (Some(trend), Some((first, last))) = (trend, ends) else {
        let says = "Fewer than five whole days are known: too few to tell a trend.";
        return vec![(Mark::Unknown, says.to_owned())];
    };
    let mut lines = vec![over_days(&trend.taken, last.taken)];
    lines.push(match (trend.with_the_fish(), first.biomass.zip(last.biomass)) {
        (Some(per_kilogram), Some((first, last))) => against_biomass(per_kilogram, first, last),
        (_, _) => (
            Mark::Unknown,
            "What the fish weigh isn't said for every day: with biomass in the rows of the plan the demand of each \
             kilogram would stand here, too."
                .to_owned(),
        ),
    });
    lines.extend(trend.per_kilogram.and_then(|each| no_fish(each.value)));
    lines.extend(reserve.map(lasts));
    lines
}

fn over_days(taken: &Trend, last: Kilograms) -> (Mark, String) {
    let a_day = |per_hour: f64| number(Unit::Gram.from_base(per_hour * HOURS_A_DAY), 1);
    let (least, most) = (a_day(taken.least), a_day(taken.most));
    let now = format!("to {} on the last", grams(last));
    if taken.goes(Side::Rising) {
        let more = a_day(taken.per_hour);
        let says = format!(
            "The demand for oxygen rose by {more} g from day to day (95 % sure: {least} to {most} g), {now}."
        );
        (Mark::Good, says)
    } else if taken.goes(Side::Falling) {
        let (less, least, most) = (a_day(-taken.per_hour), a_day(-taken.most), a_day(-taken.least));
        let says = format!(
            "The demand for oxygen fell by {less} g from day to day (95 % sure: {least} to {most} g), {now}. Fish that \
             grow need more: look at feeding and losses."
        );
        (Mark::Look, says)
    } else {
        let says = format!(
            "The demand for oxygen neither rose nor fell beyond doubt (95 % sure: between {least} and {most} g more from day \
             to day); on the last day it was {}.",
            grams(last)
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

/// A demand that fish of no size have.
fn no_fish(each_kilogram: f64) -> Option<(Mark, String)> {
    (!breathing::can_be(each_kilogram)).then(|| {
        let says = format!(
            "Fish don't take up {} g a day for each kilogram, whatever their size: check the flow, the oxygen sensors and what \
             the plan says that the fish weigh.",
            each(each_kilogram)
        );
        (Mark::Look, says)
    })
}

/// How long the water at this flow is enough.
fn lasts(reserve: &Reserve) -> (Mark, String) {
    let share = |taken| format::share(reserve.share(taken));
    let now = format!(
        "At the last day's flow the water brings {} a day down to the least that the fish want; they took {} of it",
        grams(reserve.most),
        share(reserve.taken)
    );
    let on = |date: Date| date.strftime("%A %-d %B").to_string();
    match reserve.lasts {
        Lasts::Until { date, days, by_plan } => {
            let as_now = if by_plan { "If the fish grow as planned" } else { "If it goes on like this" };
            let when = format!("on {}, in {}", on(date), counted(days, "day", "days"));
            let says = format!("{now}. {as_now}, they take all of it {when}");
            if days <= SOON_DAYS {
                (Mark::Look, format!("{says}: plan more flow or oxygen before."))
            } else {
                (Mark::Good, format!("{says}."))
            }
        }
        Lasts::FishLeave { date, taken } => {
            let says = format!(
                "{now}. It is enough until the fish leave on {}: they take {} then.",
                on(date),
                share(taken)
            );
            (Mark::Good, says)
        }
        Lasts::PlanEnds { date, taken } => (
            Mark::Good,
            format!(
                "{now}. By the plan it is {} on {}, the last day for which it says what the fish weigh.",
                share(taken),
                on(date)
            ),
        ),
        Lasts::NoEnd => (Mark::Good, format!("{now}.")),
    }
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
         up; dirt and bacteria are counted with the fish.{}",
        at_rest()
    )
}

/// What a measured demand may be held against.
fn at_rest() -> String {
    let of = |fish_g: f64| breathing::at_rest(fish_g).map(each);
    let figures = (of(0.005), of(0.1), of(1.0));
    let (Some(tiny), Some(small), Some(large)) = figures else { return String::new() };
    format!(
        " For comparison, sea bream at rest at 20 °C took up {tiny} g a kilogram and day at 5 mg each, {small} g at 0.1 g and \
         {large} g at 1 g (Oikawa and others 1991); fed fish take up more."
    )
}

/// Two weeks are enough to change a plan.
const SOON_DAYS: usize = 14;
const HOURS_A_DAY: f64 = 24.0;

#[cfg(test)]
mod tests {
    use claymark_clay::oxygen::reserve::ComingDay;
    use jiff::{SignedDuration, Timestamp, ToSpan as _};

    use super::*;

    /// A week of days, `first` kilograms on the first and `more` of it each day.
    fn week(first: f64, more: f64, biomass: Option<f64>) -> Vec<Demand> {
        let day = |n: i32| Demand {
            at: noon(n),
            taken: Kilograms(first * more.powi(n)),
            biomass: biomass.map(|weight| Kilograms(weight * more.powi(n))),
        };
        (0..7).map(day).collect()
    }

    fn noon(n: i32) -> Timestamp {
        "2027-04-19T09:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_hours(24) * n
    }

    #[test]
    fn demand_is_told_with_its_trend_the_fish_and_what_the_water_still_brings() {
        let mut told = String::new();
        for (first, more, biomass, most, leave) in [
            (0.030, 1.08, Some(2.0), 0.170, 99),
            (0.030, 1.08, Some(2.0), 0.090, 99),
            (0.030, 1.08, Some(2.0), 0.170, 21),
            (0.030, 1.08, Some(2.0), 1.700, 99),
            (0.030, 1.08, None, 0.170, 99),
            (0.054, 0.92, Some(2.0), 0.170, 99),
            (0.054, 1.0, Some(2.0), 0.170, 99),
            (0.0007, 1.0, Some(2.0), 0.170, 99),
        ] {
            let days = week(first, more, biomass);
            let through = DemandTrend::through(&days).unwrap();
            let coming = |n: i32| ComingDay {
                date: "2027-04-19".parse::<Date>().unwrap() + n.days(),
                at: noon(n),
                fish: n < leave,
                biomass: biomass.map(|weight| Kilograms(weight * more.powi(n))),
            };
            let coming: Vec<ComingDay> = (7..37).map(coming).collect();
            let reserve = Reserve::of(&days[6], &through, Kilograms(most), &coming);
            for (mark, line) in trend(Some(&through), Some((days[0], days[6])), reserve.as_ref()) {
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
