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
use crate::stock::order::Outlook;
use crate::stock::{OnHand, daily_sd, past_use};
use crate::verify::{self, Overdue};

/// How the clay on the floor is going to be used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Stock {
    /// How long it lasts, and when to order.
    pub outlook: Outlook,
    /// Whether the use ahead is that of the plan; else what was used lately goes on.
    pub by_plan: bool,
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
        let sd = daily_sd(site, ledger, today, uses.first().copied().unwrap_or(0.0));
        Some(Self { outlook: rules.outlook(today, on_hand, &uses, sd), by_plan })
    }
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

    /// The clay on the floor; `None`: the site file has no `[stock]`, or nothing is known of its use.
    #[must_use]
    pub fn stock(&self, now: Timestamp) -> Option<Stock> {
        Stock::of(&self.site, &self.ledger, (self.site.date_at(now), &self.today(now)))
    }

    /// The same, when an order should be made today or should have been made.
    pub(crate) fn order_due(&self, now: Timestamp) -> Option<Stock> {
        let today = self.site.date_at(now);
        self.stock(now).filter(|stock| stock.outlook.order.is_some_and(|order| order.on <= today))
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
