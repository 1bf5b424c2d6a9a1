//! What the room needs in the days ahead: clay and slurry by the plan, the stock, the checks by hand.

use jiff::Timestamp;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::fieldlog::LogEntry;
use crate::ledger::Ledger;
use crate::plan::ahead::{self, DayAhead, Today};
use crate::refill::aim::DrawnNow;
use crate::room::Room;
use crate::site::Site;
use crate::stock::order::{Order, Outlook};
use crate::stock::{OnHand, daily_sd, past_use, weighed_of_late};
use crate::units::LitresPerMinute;
use crate::verify::{self, Overdue};
use crate::water::{FlowBy, KnownFlow};

/// How the clay on the floor is going to be used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Stock {
    /// How long it lasts, and when to order.
    pub outlook: Outlook,
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
    pub outlook: Outlook,
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
        let stock =
            Self { outlook: rules.outlook(today, on_hand, &uses, sd), by_plan, measured: None, water: None };
        let weighed = weighed_of_late(site, ledger, today);
        Some(weighed.map_or(stock, |(bags, days)| {
            stock.held_against((site, ledger, today), first, (bags, Some(days)))
        }))
    }

    /// With what is used by scale or pump, where that lies well off what is `planned` for today.
    fn held_against(
        self,
        (site, ledger, today): (&Site, &Ledger, Date),
        planned: f64,
        (bags_a_day, days): (f64, Option<u32>),
    ) -> Self {
        let off = self.by_plan && well_off(bags_a_day, planned);
        let Some(rules) = site.stock.as_ref().filter(|_| off) else { return self };
        let sd = daily_sd(site, ledger, today, bags_a_day);
        let outlook = rules.outlook(today, self.outlook.on_hand, &[bags_a_day], sd);
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
fn well_off(measured: f64, planned: f64) -> bool {
    let more = measured > planned * WELL_OFF && measured > 0.0;
    more || measured < planned / WELL_OFF
}

impl Room {
    /// What the days from today on need by the plan.
    #[must_use]
    pub fn days_ahead(&self, now: Timestamp, days: i32) -> Vec<DayAhead> {
        ahead::ahead(&self.site, self.site.date_at(now), days, &self.today(now))
    }

    fn today(&self, now: Timestamp) -> Today {
        Today {
            clouding: self.clouding(),
            water: self.fresh_water(now).map(|fresh| fresh.flow),
            slurry: DrawnNow::new(&self.site, &self.forecasts(now)).in_all(),
        }
    }

    /// The water, where sensor or bucket says something else than the plan.
    #[must_use]
    pub fn water_apart(&self, now: Timestamp) -> Option<WaterApart> {
        let (planned, measured) = (self.site.plan_flow(now)?, self.fresh_water(now)?);
        let told = matches!(measured.by, FlowBy::Sensor | FlowBy::Check { .. });
        (told && well_off(measured.flow.0, planned.0)).then_some(WaterApart { planned, measured })
    }

    /// The clay on the floor; `None`: the site file has no `[stock]`, or nothing is known of its use.
    #[must_use]
    pub fn stock(&self, now: Timestamp) -> Option<Stock> {
        let (today, known) = (self.site.date_at(now), self.today(now));
        let stock = Stock::of(&self.site, &self.ledger, (today, &known))?;
        let pumped =
            self.clay_pumped(now).filter(|_| weighed_of_late(&self.site, &self.ledger, today).is_none());
        let planned = ahead::ahead(&self.site, today, 1, &known).first().and_then(|day| day.needs);
        let stock = match (pumped, planned) {
            (Some(clay), Some(planned)) => {
                let bags = clay.in_a_day().0 / self.site.clay.bag.0;
                stock.held_against((&self.site, &self.ledger, today), planned.bags, (bags, None))
            }
            (_, _) => stock,
        };
        Some(Stock { water: self.water_apart(now).filter(|_| stock.by_plan), ..stock })
    }

    /// The same, when an order should be made today or should have been made.
    pub(crate) fn order_due(&self, now: Timestamp) -> Option<Stock> {
        let today = self.site.date_at(now);
        self.stock(now).filter(|stock| stock.order_by(today).is_some())
    }

    /// Checks by hand that should have been made.
    #[must_use]
    pub fn overdue_checks(&self, now: Timestamp) -> Vec<Overdue> {
        verify::overdue(&self.site, &self.ledger, now)
    }

    /// What hands wrote down of clay and checks, in order of time.
    #[must_use]
    pub fn remembered(&self) -> Vec<&LogEntry> {
        let mut entries: Vec<&LogEntry> = self.ledger.entries().collect();
        entries.sort_by_key(|entry| entry.at);
        entries
    }
}

const YEAR: i32 = 366;
/// Off by this factor is no matter of a day or of a scale.
const WELL_OFF: f64 = 1.3;
