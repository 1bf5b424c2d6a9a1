//! How the clay on the floor is going to be used.

use claymark_model::ledger::Ledger;
use claymark_model::site::Site;
use claymark_model::units::LitresPerMinute;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::order::{Order, StockOutlook};
use super::{OnHand, daily_sd, past_use, weighed_of_late};
use crate::ahead::{self, Today};
use crate::water::KnownFlow;

/// How the clay on the floor is going to be used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Stock {
    /// How long it lasts, and when to order.
    pub outlook: StockOutlook,
    /// Whether the use ahead is that of the plan; else what was used lately goes on.
    pub by_plan: bool,
    /// What is used by the scale or by the pumps, where that lies well off the plan.
    #[serde(default)]
    pub measured: Option<MeasuredUse>,
    /// The water by sensor or bucket, where that lies well off the plan.
    #[serde(default)]
    pub water: Option<WaterApart>,
}

/// Clay that is used otherwise than the plan says.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MeasuredUse {
    /// Bags a day.
    pub bags_a_day: f64,
    /// What the plan says for today.
    pub planned: f64,
    /// Days on which refills were weighed; `None`: it is what the pumps draw now, by the books of the drums.
    pub days: Option<u32>,
    /// How long the stock lasts if that goes on, and when to order.
    pub outlook: StockOutlook,
}

/// Water that flows otherwise than the plan says.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WaterApart {
    /// By the plan, through the head tank.
    pub planned: LitresPerMinute,
    /// By sensor or bucket.
    pub measured: KnownFlow,
}

impl Stock {
    /// By the plan from `today` on, else by what was used lately.
    /// `None`: the site file has no `[stock]`, or nothing is known of the use.
    #[must_use]
    pub fn of(site: &Site, ledger: &Ledger, (today, known): (Date, &Today)) -> Option<Self> {
        let rules = site.stock.as_ref()?;
        let on_hand = OnHand::of(site, ledger)?;
        let year = ahead::ahead(site, today, YEAR, known);
        let planned: Option<Vec<f64>> = year.iter().map(|day| day.needs.map(|needs| needs.bags)).collect();
        let by_plan = planned.is_some();
        let uses = planned.or_else(|| Some(vec![past_use(site, ledger, today)?]))?;
        let first = uses.first().copied().unwrap_or(0.0);
        let sd = daily_sd(site, ledger, today, first);
        let stock = Self {
            outlook: StockOutlook::of(rules, today, on_hand, &uses, sd),
            by_plan,
            measured: None,
            water: None,
        };
        let weighed = weighed_of_late(site, ledger, today);
        Some(weighed.map_or(stock, |(bags, days)| {
            stock.held_against((site, ledger, today), first, (bags, Some(days)))
        }))
    }

    /// With what is used by scale or pump, where that lies well off what is `planned` for today.
    #[must_use]
    pub fn held_against(
        self,
        (site, ledger, today): (&Site, &Ledger, Date),
        planned: f64,
        (bags_a_day, days): (f64, Option<u32>),
    ) -> Self {
        let off = self.by_plan && well_off(bags_a_day, planned);
        let Some(rules) = site.stock.as_ref().filter(|_| off) else { return self };
        let sd = daily_sd(site, ledger, today, bags_a_day);
        let outlook = StockOutlook::of(rules, today, self.outlook.on_hand, &[bags_a_day], sd);
        Self { measured: Some(MeasuredUse { bags_a_day, planned, days, outlook }), ..self }
    }

    /// The order that is to be made by that day: by the plan, else by what is measured.
    #[must_use]
    pub fn order_by(&self, last: Date) -> Option<Order> {
        let measured = || self.measured.and_then(|measured| measured.outlook.order_by(last));
        self.outlook.order_by(last).or_else(measured)
    }
}

/// Whether the measured figure says something else than the planned one (our own choice).
#[must_use]
pub fn well_off(measured: f64, planned: f64) -> bool {
    let more = measured > planned * WELL_OFF && measured > 0.0;
    more || measured < planned / WELL_OFF
}

const YEAR: i32 = 366;
/// Off by this factor is no matter of a day or of a scale.
const WELL_OFF: f64 = 1.3;
