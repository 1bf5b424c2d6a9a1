//! The clay on the floor and the next order, in words.

use claymark_clay::stock::order::{HeldBy, Order};
use claymark_clay::stock::supply::{MeasuredUse, Stock};
use claymark_model::routine::StockRules;
use claymark_model::site::Site;
use jiff::civil::Date;

use crate::format::{date, number};
use crate::{caution, format, planning};

/// Everything, for the command line and the report.
#[must_use]
pub fn sentences(site: &Site, stock: &Stock, today: Date) -> Vec<String> {
    let Some(rules) = &site.stock else { return Vec::new() };
    let mut lines = vec![on_hand(site, rules, stock), lasts(stock)];
    lines.extend(ordering(stock.outlook.order.as_ref(), today, stock.measured.is_some()));
    lines.extend(stock.water.iter().map(|water| planning::water_apart(site, water)));
    if let Some(measured) = &stock.measured {
        lines.push(used_otherwise(measured));
        lines.extend(ordering(measured.outlook.order.as_ref(), today, true));
        lines.push("Find out which is right, and mend it, before you count on either: the water, the plan, or what is written down.".to_owned());
    }
    lines
}

fn ordering(order: Option<&Order>, today: Date, by_that: bool) -> Vec<String> {
    match order {
        None if by_that => vec!["By that nothing need be ordered for as long as a year ahead.".to_owned()],
        None => vec!["Nothing need be ordered for as long as a year ahead.".to_owned()],
        Some(order) => vec![ask(order, today), why(order)],
    }
}

/// What scale or pump say, where the plan says something else.
fn used_otherwise(measured: &MeasuredUse) -> String {
    let by = match measured.days {
        Some(days) => format!("went into the drums a day, as it was weighed on the last {days} days"),
        None => "a day is what the pumps draw now, by the books of the drums".to_owned(),
    };
    let lasts = match (measured.outlook.days_left, measured.outlook.lasts_until) {
        (Some(days @ 1..), Some(until)) => format!("they last {days} days, until {}", date(until)),
        (Some(_), _) => "they are not enough for today".to_owned(),
        (None, _) => "they last for a year or longer".to_owned(),
    };
    format!(
        "BUT {} bags {by}; the plan says {} for today. If that goes on, {lasts}.",
        number(measured.bags_a_day, 2),
        number(measured.planned, 2)
    )
}

/// The whole page for the command line.
#[must_use]
pub fn page(site: &Site, stock: &Stock, today: Date) -> String {
    let mut lines = sentences(site, stock, today);
    lines.push(String::new());
    lines.push(caution::lifting(&site.units, site.clay.bag));
    lines.push(caution::NEW_CLAY.to_owned());
    lines.join("\n") + "\n"
}

/// "ORDER CLAY NOW: 40 bags. 9.8 are left, ... ".
#[must_use]
pub fn due(stock: &Stock, today: Date) -> Option<String> {
    next(stock, today, today)
}

/// "Order clay on Wed 28 Apr: 20 bags.", when that is by `last`.
#[must_use]
pub fn next(stock: &Stock, today: Date, last: Date) -> Option<String> {
    let order = stock.order_by(last)?;
    let left = number(stock.outlook.on_hand.bags, 0);
    let otherwise =
        stock.measured.iter().map(|measured| format!(" {}", used_otherwise(measured))).collect::<String>();
    Some(format!("{} {left} are on the dry floor. {}{otherwise}", ask(&order, today), lasts(stock)))
}

fn on_hand(site: &Site, rules: &StockRules, stock: &Stock) -> String {
    let here = &stock.outlook.on_hand;
    let mut line = format!(
        "On the dry floor are {} bags of {}: {} were counted on {}, {} came since and {} went into drums",
        number(here.bags, 1),
        format::bag(&site.units, site.clay.bag),
        number(rules.counted_bags, 0),
        date(rules.counted_on),
        number(here.came, 0),
        number(here.used + here.guessed, 1),
    );
    if here.guessed > 0.05 {
        line += &format!(
            ", {} of them reckoned at the target strength because nobody wrote down how much",
            number(here.guessed, 1)
        );
    }
    if here.on_order > 0.0 {
        line += &format!("; {} are on their way", number(here.on_order, 0));
    }
    line + "."
}

fn lasts(stock: &Stock) -> String {
    let by = if stock.by_plan { "by the plan" } else { "by what was used lately" };
    match (stock.outlook.days_left, stock.outlook.lasts_until) {
        (Some(0), _) => format!("They are not enough for today ({by})."),
        (Some(days), Some(until)) => {
            format!(
                "They last {days} days, until {} ({by}: {} bags a day while a delivery is on its way).",
                date(until),
                number(stock.outlook.use_a_day, 2)
            )
        }
        (Some(_) | None, _) if stock.measured.is_some() => {
            format!("They would last for a year or longer ({by}).")
        }
        (Some(_) | None, _) => format!("They last for a year or longer ({by})."),
    }
}

fn ask(order: &Order, today: Date) -> String {
    let when = if order.on <= today { "now".to_owned() } else { format!("on {}", date(order.on)) };
    if order.bags == 0 {
        return format!(
            "Clay should be ordered {when}, but not even a pallet fits on the dry floor: make room first."
        );
    }
    if order.on <= today {
        format!("ORDER CLAY NOW: {} bags.", order.bags)
    } else {
        format!("Order clay {when}: {} bags.", order.bags)
    }
}

fn why(order: &Order) -> String {
    let held = match order.held_by {
        None => "in whole pallets".to_owned(),
        Some(HeldBy::Floor) => "more doesn't fit on the dry floor".to_owned(),
        Some(HeldBy::OneLot) => "more of one lot would lie too long if it turned out bad".to_owned(),
        Some(HeldBy::PlanEnds) => "more won't be used before the fish leave".to_owned(),
        Some(HeldBy::NoRoom) => "no pallet fits".to_owned(),
    };
    format!(
        "An order is due when {} bags are left here and on their way, {} of them against days of heavier use and late \
         deliveries. Freight against keeping asks for {} bags at a time; {held}.",
        number(order.point, 1),
        number(order.safety, 1),
        number(order.economic, 0),
    )
}

#[cfg(test)]
mod tests {
    use claymark_clay::stock::OnHand;

    use super::*;
    use crate::notice::tests::room;
    use claymark_clay::stock::order::StockOutlook;

    #[test]
    fn stock_and_order_are_told_with_their_reasons() {
        let mut site = room::site();
        let rules = StockRules {
            counted_bags: 60.0,
            counted_on: "2027-04-01".parse().unwrap(),
            on_order: None,
            delivery_days: 10.0,
            delivery_sd_days: 2.0,
            freight: 180.0,
            bag_price: 14.0,
            holding_share_a_year: 0.25,
            pallet_bags: 40,
            floor_bags: 120,
            one_lot_days: 90.0,
            service: 0.95,
        };
        let today: Date = "2027-04-20".parse().unwrap();
        let mut told = String::new();
        for (bags, guessed, uses) in [(30.0, 1.2, 1.0), (12.0, 0.0, 1.0), (0.2, 0.0, 1.0), (60.0, 0.0, 0.0)] {
            let here = OnHand { bags, on_order: 0.0, came: 0.0, used: 60.0 - bags - guessed, guessed };
            let outlook = StockOutlook::of(&rules, today, here, &[uses], 0.1);
            site.stock = Some(rules.clone());
            let stock = Stock { outlook, by_plan: bags > 20.0, measured: None, water: None };
            told += &format!("==== {bags} bags\n{}\n", sentences(&site, &stock, today).join("\n"));
            told += &format!("evening: {:?}\n", due(&stock, today));
        }
        // The plan wants next to nothing, and the scale says a bag a day.
        let here = OnHand { bags: 6.0, on_order: 0.0, came: 0.0, used: 54.0, guessed: 0.0 };
        let measured = MeasuredUse {
            bags_a_day: 1.0,
            planned: 0.01,
            days: Some(5),
            outlook: StockOutlook::of(&rules, today, here, &[1.0], 0.1),
        };
        let outlook = StockOutlook::of(&rules, today, here, &[0.01], 0.0);
        let stock = Stock { outlook, by_plan: true, measured: Some(measured), water: None };
        told += &format!("==== otherwise\n{}\n", sentences(&site, &stock, today).join("\n"));
        told += &format!("evening: {:?}\n", due(&stock, today));
        insta::assert_snapshot!(told);
    }
}
