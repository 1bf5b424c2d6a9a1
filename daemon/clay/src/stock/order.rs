//! When to order and how much: the walk through the days ahead, and the formulas.

use jiff::ToSpan as _;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF as _, Normal};

use super::OnHand;
use claymark_model::routine::StockRules;

/// How long the clay lasts and when to order, in bags.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StockOutlook {
    /// What is here.
    pub on_hand: OnHand,
    /// The last day on which the floor still gives a whole day's use; `None`: a year at least.
    pub lasts_until: Option<Date>,
    /// Days that it lasts, today included; `None`: a year at least.
    pub days_left: Option<u32>,
    /// Use a day while a delivery would be on its way, by the plan.
    pub use_a_day: f64,
    /// The next order; `None`: nothing need be ordered within a year.
    pub order: Option<Order>,
}

impl StockOutlook {
    /// From what is here and the bags that each day from `today` on will use; the last day's use goes on.
    ///
    /// `daily_sd` is the standard deviation of a day's use about its plan, bags.
    #[must_use]
    pub fn of(rules: &StockRules, today: Date, on_hand: OnHand, uses: &[f64], daily_sd: f64) -> Self {
        let walk = Walk { uses };
        let position = on_hand.bags + on_hand.on_order;
        let days_left = walk.days(on_hand.bags);
        let last = days_left.and_then(|days| today.checked_add((i64::from(days) - 1).days()).ok());
        let order = (0..LONGEST_DAYS).find_map(|day| {
            let day = f64::from(day);
            let (point, safety) = reorder_point(rules, &walk, day, daily_sd);
            let left = position - walk.used(0.0, day);
            let due = left <= point && walk.used(day, f64::from(LONGEST_DAYS)) > left;
            due.then_some((day, point, safety, left))
        });
        let order = order.and_then(|(day, point, safety, left)| {
            let (bags, economic, held_by) = quantity(rules, &walk, day, left);
            let on = today.checked_add(i64::from(whole(day)).days()).ok()?;
            Some(Order { on, point, safety, bags, economic, held_by })
        });
        let use_a_day = walk.used(0.0, rules.delivery_days) / rules.delivery_days;
        Self { on_hand, lasts_until: last, days_left, use_a_day, order }
    }

    /// The order, where it is to be made by that day.
    #[must_use]
    pub fn order_by(&self, last: Date) -> Option<Order> {
        self.order.filter(|order| order.on <= last)
    }
}

/// An order.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Order {
    /// When to order.
    pub on: Date,
    /// At so many bags, here and on their way.
    pub point: f64,
    /// Of these, against heavier days and late lorries.
    pub safety: f64,
    /// How many bags; 0 when not even a pallet fits.
    pub bags: u32,
    /// √(2 D F/h), before pallets, floor and lots.
    pub economic: f64,
    /// What held the number down.
    pub held_by: Option<HeldBy>,
}

/// What holds an order down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HeldBy {
    /// The dry floor takes no more.
    Floor,
    /// More of one lot would lie too long if it turned out bad.
    OneLot,
    /// More won't be used before the fish leave.
    PlanEnds,
    /// Not even a pallet fits on the dry floor.
    NoRoom,
}

/// With what will be used while an order of that day is on its way; and the safety stock in it.
fn reorder_point(rules: &StockRules, walk: &Walk<'_>, day: f64, daily_sd: f64) -> (f64, f64) {
    let due = day + rules.delivery_days;
    let meanwhile = walk.used(day, due);
    // What a late lorry costs is the use of the days on which it is late: by then the fish have grown.
    let late = (deviations(rules.service) * rules.delivery_sd_days).max(0.0);
    let daily = if late > 0.0 { walk.used(due, due + late) / late } else { 0.0 };
    let safety = safety_stock(daily, daily_sd, rules.delivery_days, rules.delivery_sd_days, rules.service);
    (meanwhile + safety, safety)
}

/// Bags, the economic quantity, and what held it down; `left` bags are there when the order is made.
fn quantity(rules: &StockRules, walk: &Walk<'_>, day: f64, left: f64) -> (u32, f64, Option<HeldBy>) {
    let end = f64::from(LONGEST_DAYS);
    let arrives = day + rules.delivery_days;
    let holding = rules.bag_price * rules.holding_share_a_year;
    // The use of the year ahead, by the plan: a season's fish use none when they have left.
    let demand = walk.used(0.0, end);
    let economic = economic_quantity(demand, rules.freight, holding);
    let pallet = f64::from(rules.pallet_bags);
    let best = whole_pallets(economic, pallet, |bags| yearly_cost(bags, demand, rules.freight, holding));
    let left_then = (left - walk.used(day, arrives)).max(0.0);
    let lot = (walk.used(arrives, arrives + rules.one_lot_days) / pallet).floor().max(1.0) * pallet;
    let needed = walk.used(arrives, end) - left_then;
    let to_the_end = (needed / pallet).ceil().max(1.0) * pallet;
    let floor = ((f64::from(rules.floor_bags) - left_then) / pallet).floor() * pallet;
    let caps = [(to_the_end, HeldBy::PlanEnds), (lot, HeldBy::OneLot), (floor, HeldBy::Floor)];
    let (bags, held_by) =
        caps.into_iter().fold(
            (best, None),
            |(bags, by), (cap, because)| {
                if cap < bags { (cap, Some(because)) } else { (bags, by) }
            },
        );
    if bags < pallet {
        return (0, economic, Some(HeldBy::NoRoom));
    }
    (whole(bags), economic, held_by)
}

/// √(2 D F/h): the quantity at which freight and keeping cost least together (Harris, Factory 10(2):135, 1913).
///
/// `demand` and `holding` are for the same span of time; `freight` is for one delivery.
#[must_use]
pub fn economic_quantity(demand: f64, freight: f64, holding: f64) -> f64 {
    (2.0 * demand * freight / holding).sqrt()
}

/// What freight and keeping cost in that span of time when `quantity` comes with each delivery.
#[must_use]
pub fn yearly_cost(quantity: f64, demand: f64, freight: f64, holding: f64) -> f64 {
    freight * demand / quantity + holding * quantity / 2.0
}

/// z √(L σ² + d² σL²); `lead` and `lead_sd` in days, the rest in what `daily` counts: the use on the days on which the
/// delivery may be late.
#[must_use]
pub fn safety_stock(daily: f64, daily_sd: f64, lead: f64, lead_sd: f64, service: f64) -> f64 {
    deviations(service) * (lead * daily_sd.powi(2) + (daily * lead_sd).powi(2)).sqrt()
}

/// z: so many standard deviations cover that share of deliveries.
fn deviations(service: f64) -> f64 {
    Normal::standard().inverse_cdf(service)
}

/// The cheaper of the two whole numbers of pallets about `economic`; at least one.
fn whole_pallets(economic: f64, pallet: f64, cost: impl Fn(f64) -> f64) -> f64 {
    let fewer = (economic / pallet).floor().max(1.0) * pallet;
    let more = (economic / pallet).ceil().max(1.0) * pallet;
    if cost(more) < cost(fewer) { more } else { fewer }
}

/// The plan's use, day by day from today, counted from 0; days may be broken.
struct Walk<'a> {
    uses: &'a [f64],
}

impl Walk<'_> {
    fn day(&self) -> impl Iterator<Item = (f64, f64)> {
        let last = self.uses.last().copied().unwrap_or(0.0);
        let uses = self.uses.iter().copied().chain(std::iter::repeat(last));
        (0..LONGEST_DAYS + REACH_DAYS).map(f64::from).zip(uses)
    }

    /// Used between two times, days from this morning.
    fn used(&self, start: f64, end: f64) -> f64 {
        let share = |morning: f64| (end.min(morning + 1.0) - start.max(morning)).clamp(0.0, 1.0);
        self.day().map(|(morning, bags)| share(morning) * bags).sum()
    }

    /// For how many whole days `bags` are enough; `None`: a year at least.
    fn days(&self, bags: f64) -> Option<u32> {
        let mut left = bags;
        self.day().take_while(|(morning, _)| *morning < f64::from(LONGEST_DAYS)).find_map(
            |(morning, used)| {
                left -= used;
                (left < -1e-9).then(|| whole(morning))
            },
        )
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::as_conversions,
    reason = "a number of days or of bags on one floor, not below zero"
)]
fn whole(number: f64) -> u32 {
    number.round() as u32
}

/// So far ahead orders are looked for.
const LONGEST_DAYS: i32 = 365;
/// So much further reach delivery and lot of the last of them.
const REACH_DAYS: i32 = 365;
