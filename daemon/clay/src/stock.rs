//! The clay on the dry floor: how long it lasts by the plan, when to order, and how much.
//!
//! The stock is walked forward day by day with what the plan will use, which changes with the fish. An order is
//! due on the first day on which what is here and on its way comes down to the reorder point
//! d·L + z √(L σ² + d² σL²): the use while a delivery is on its way, and a safety stock against days of heavier
//! use (σ) and late lorries (σL) (Heizer, Render and Munson, Operations Management, inventory chapter, from
//! memory; its cases are checked). The quantity is √(2 D F/h) (Harris 1913), in whole pallets, held down by the
//! dry floor and by how much of one lot anybody wants to be stuck with if it turns out bad.

pub mod order;
pub mod supply;

use jiff::ToSpan as _;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use claymark_model::fieldlog::Deed;
use claymark_model::id::Id;
use claymark_model::ledger::Ledger;
use claymark_model::site::Site;
use claymark_model::units::Kilograms;

/// What is here, by the count and what was written down since.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct OnHand {
    /// Bags on the dry floor; never below none.
    pub bags: f64,
    /// Bags on their way.
    pub on_order: f64,
    /// Bags that came since the count.
    pub came: f64,
    /// Bags that went into drums since the count, as written down.
    pub used: f64,
    /// Bags that went into drums without anybody writing down how much: reckoned at the target strength.
    pub guessed: f64,
}

impl OnHand {
    /// By the ledger; `None`: the site file has no `[stock]`.
    #[must_use]
    pub fn of(site: &Site, ledger: &Ledger) -> Option<Self> {
        let rules = site.stock.as_ref()?;
        let bags = |clay: Kilograms| clay.0 / site.clay.bag.0;
        let counted = |at| site.date_at(at) >= rules.counted_on;
        let (mut came, mut used, mut guessed) = (0.0, 0.0, 0.0);
        let mut on_order = rules.on_order.map_or(0.0, |order| order.bags);
        for entry in ledger.entries().filter(|entry| counted(entry.at)) {
            if let Deed::Refill { drum, water, clay } = &entry.deed {
                if let Some(clay) = clay.filter(|clay| can_be(site, drum.as_ref(), *clay)) {
                    used += bags(clay);
                } else if let Some(water) = water {
                    let target = drum.as_ref().and_then(|drum| site.drum(drum)).or(site.drums.first());
                    guessed += target.map_or(0.0, |drum| bags(drum.target.clay_in(*water)));
                }
            } else if let Deed::Delivery { bags: number, mass, .. } = &entry.deed {
                came += number.or(mass.map(bags)).unwrap_or(0.0);
                if rules.on_order.is_some_and(|order| site.date_at(entry.at) >= order.since) {
                    on_order = 0.0;
                }
            }
        }
        for refill in ledger.unlogged().filter(|refill| counted(refill.at)) {
            let target = site.drum(&refill.drum).map(|drum| drum.target);
            guessed += target.map_or(0.0, |target| bags(target.clay_in(refill.added)));
        }
        let bags = (rules.counted_bags + came - used - guessed).max(0.0);
        Some(Self { bags, on_order, came, used, guessed })
    }
}

/// A mass that no drum could hold as slurry that can be pumped is a slip, and no clay that was used.
fn can_be(site: &Site, drum: Option<&Id>, clay: Kilograms) -> bool {
    let named = drum.and_then(|id| site.drum(id));
    let brims = site.drums.iter().filter(|drum| named.is_none_or(|named| named.id == drum.id));
    let most = brims.map(|drum| site.clay.thickest.clay_in(drum.strapping.brim()).0).reduce(f64::max);
    most.is_none_or(|most| clay.0 <= most)
}

/// Bags that went into drums on each of the last [`LOOKED_BACK`] whole days, as far as the count reaches back.
fn daily_use(site: &Site, ledger: &Ledger, today: Date) -> Vec<f64> {
    let since = site.stock.as_ref().map_or(today, |rules| rules.counted_on);
    let day = |back: i64| today.checked_sub(back.days()).ok().filter(|day| *day >= since);
    let used_on = |date: Date| -> f64 {
        let refills = ledger.entries().filter(|entry| site.date_at(entry.at) == date);
        let clay = refills.filter_map(|entry| {
            let Deed::Refill { drum, clay, .. } = &entry.deed else { return None };
            clay.filter(|clay| can_be(site, drum.as_ref(), *clay))
        });
        clay.map(|clay| clay.0 / site.clay.bag.0).sum()
    };
    (1..=LOOKED_BACK).filter_map(day).map(used_on).collect()
}

/// Bags a day as they were written down lately; `None`: not for long enough.
#[must_use]
pub fn past_use(site: &Site, ledger: &Ledger, today: Date) -> Option<f64> {
    mean(&daily_use(site, ledger, today)).filter(|used| *used > 0.0)
}

/// Bags a day that were weighed in on the last days, [`LOOKED_BACK`] at most, and how many days; `None`: for less than
/// [`FEW_DAYS`]. Today isn't over and doesn't count.
#[must_use]
pub fn weighed_of_late(site: &Site, ledger: &Ledger, today: Date) -> Option<(f64, u32)> {
    let oldest = today.checked_sub(LOOKED_BACK.days()).ok()?;
    let weighed: Vec<(Date, f64)> = ledger
        .entries()
        .filter_map(|entry| {
            let Deed::Refill { drum, clay: Some(clay), .. } = &entry.deed else { return None };
            if !can_be(site, drum.as_ref(), *clay) {
                return None;
            }
            Some((site.date_at(entry.at), clay.0 / site.clay.bag.0))
        })
        .filter(|(date, _)| (oldest..today).contains(date))
        .collect();
    let first = weighed.iter().map(|(date, _)| *date).min()?;
    let days = u32::try_from(today.since(first).ok()?.get_days()).ok().filter(|days| *days >= FEW_DAYS)?;
    Some((weighed.iter().map(|(_, bags)| bags).sum::<f64>() / f64::from(days), days))
}

/// Standard deviation of a day's use, from what was written down lately; a fifth of `planned` until a week is known
/// (our own choice).
#[must_use]
pub fn daily_sd(site: &Site, ledger: &Ledger, today: Date, planned: f64) -> f64 {
    let used = daily_use(site, ledger, today);
    let off: Option<Vec<f64>> =
        mean(&used).map(|mean| used.iter().map(|used| (used - mean).powi(2)).collect());
    off.and_then(|off| mean(&off)).map_or(planned * UNKNOWN_SPREAD, f64::sqrt)
}

/// Of a week at least.
fn mean(values: &[f64]) -> Option<f64> {
    let number = u32::try_from(values.len()).ok().filter(|number| *number >= WEEK)?;
    Some(values.iter().sum::<f64>() / f64::from(number))
}

/// Days.
const LOOKED_BACK: i64 = 14;
const WEEK: u32 = 7;
/// Fewer days say little of the use of a day (our own choice).
const FEW_DAYS: u32 = 3;
const UNKNOWN_SPREAD: f64 = 0.2;

#[cfg(test)]
mod tests;
