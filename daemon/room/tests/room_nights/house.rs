//! The site of the invented room, and the plan of its fish.

use claymark_invented as invented;
use claymark_model::plan::{Batch, Plan, Ramp, Row};
use claymark_model::quality::thresholds::Span;
use claymark_model::site::Site;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::night::id;

pub const LITRES_PER_MM: f64 = 0.24;

/// Two drums, each with a pump of its own, and three people.
pub fn site(zone: &TimeZone) -> Site {
    Site {
        time_zone: zone.clone(),
        water: invented::water((50.0, 80.0), (15.0, 22.0), 6.0),
        pumps: vec![invented::pump("p1"), invented::pump("p2")],
        drums: vec![invented::drum("a", "p1"), invented::drum("b", "p2")],
        contacts: ["ann", "kim", "lee"].map(|name| invented::contact(name, name)).into(),
        ..invented::site()
    }
}

pub fn ramp(fish_day: i32, date: Date) -> Batch {
    let row =
        |day, low, high| Row { day, turbidity: Some(Span::new(low, high).expect("rises")), ..Row::default() };
    Batch {
        id: id("spring"),
        name: "Spring".to_owned(),
        stocked: date,
        dph_at_stocking: fish_day,
        day_at_stocking: fish_day,
        ended: None,
        tanks: vec![id("t1")],
        plan: Plan::new(Ramp::Linear, vec![row(30, 50.0, 80.0), row(40, 4.0, 6.0)]).expect("two rows"),
    }
}
