//! `[stock]`: the bags on the dry floor, and how clay is bought.

use toml::Spanned;

use claymark_model::routine::{OnOrder, StockRules};

use super::table::Table;
use super::value;

/// Reads it; `None`: it isn't there, or has a mistake.
pub(super) fn stock(file: &Table<'_>) -> Option<StockRules> {
    let table = file.table("stock")?;
    let rules = rules(&table);
    table.finish();
    rules
}

fn rules(table: &Table<'_>) -> Option<StockRules> {
    let counted = table.need("counted_bags", "18, counted on the dry floor", value::not_negative);
    let counted_on = table.need("counted_on", "2027-04-12, on the morning of this day", value::date);
    let delivery = table.need("delivery", "\"12 days\", from order to delivery", value::duration);
    let spread = table.maybe("delivery_spread", value::duration);
    let freight = table.need("freight", "180, of one delivery", value::positive);
    let price = table.need("bag_price", "14, in the same currency", value::positive);
    let pallet = table.need("pallet_bags", "40, the bags on a pallet", value::whole(1, 10_000));
    let floor = table.need("floor_bags", "120, what the dry floor holds", value::whole(1, 1_000_000));
    if let (Some(pallet), Some(floor)) = (&pallet, &floor)
        && floor.get_ref() < pallet.get_ref()
    {
        let what = "floor_bags: not even one pallet fits on the dry floor";
        table.findings.mistake(
            floor.span(),
            what,
            "Write how many bags the dry floor holds, or mend pallet_bags.",
        );
    }
    let holding = table.or("holding_share_a_year", HOLDING_SHARE, share);
    let lot = table.maybe("one_lot", value::duration);
    let service = table.or("in_time", IN_TIME, share);
    let on_order = on_order(table);
    Some(StockRules {
        counted_bags: counted?.into_inner(),
        counted_on: counted_on?.into_inner(),
        on_order,
        delivery_days: days(&delivery?),
        delivery_sd_days: spread.as_ref().map_or(0.0, days),
        freight: freight?.into_inner(),
        bag_price: price?.into_inner(),
        holding_share_a_year: holding,
        pallet_bags: pallet?.into_inner(),
        floor_bags: floor?.into_inner(),
        one_lot_days: lot.as_ref().map_or(ONE_LOT_DAYS, days),
        service,
    })
}

fn on_order(table: &Table<'_>) -> Option<OnOrder> {
    let bags = table.maybe("ordered_bags", value::positive);
    let since = table.maybe("ordered_on", value::date);
    match (bags, since) {
        (Some(bags), Some(since)) => Some(OnOrder { bags: bags.into_inner(), since: since.into_inner() }),
        (Some(bags), None) => {
            let remedy = "Add ordered_on = DATE: a delivery that is written down since then was this order.";
            table.findings.mistake(bags.span(), "ordered_bags: the day of the order is missing", remedy);
            None
        }
        (None, Some(since)) => {
            let remedy = "Add ordered_bags, or take ordered_on out.";
            table.findings.mistake(since.span(), "ordered_on: how many bags were ordered is missing", remedy);
            None
        }
        (None, None) => None,
    }
}

fn days(duration: &Spanned<jiff::SignedDuration>) -> f64 {
    duration.get_ref().as_secs_f64() / DAY_S
}

/// More than nothing, less than all.
fn share(value: &toml::de::DeValue<'_>) -> Result<f64, value::Wrong> {
    match value::number(value)? {
        good if good > 0.0 && good < 1.0 => Ok(good),
        bad => value::wrong(format!("{bad} isn't between 0 and 1"), "Write a share, for instance 0.95."),
    }
}

const DAY_S: f64 = 86_400.0;
/// Money, room, and bags that go damp or tear (common practice, no source).
const HOLDING_SHARE: f64 = 0.25;
/// Of 20 deliveries 19 before the floor is empty.
const IN_TIME: f64 = 0.95;
/// A season: a lot that turns out bad shouldn't outlast it.
const ONE_LOT_DAYS: f64 = 90.0;
