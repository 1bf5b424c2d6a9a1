//! What the room needs in the days ahead: clay and slurry by the plan, the stock, the checks by hand.

use claymark_clay::stock::supply::{Stock, WaterApart, well_off};
use jiff::Timestamp;

use crate::knowledge::Knowledge;
use claymark_clay::ahead::{self, DayAhead, Today};
use claymark_clay::refill::aim::DrawnNow;
use claymark_clay::stock::weighed_of_late;
use claymark_clay::verify;
use claymark_clay::water::FlowBy;
use claymark_model::fieldlog::LogEntry;
use claymark_model::routine::Overdue;

impl Knowledge {
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
