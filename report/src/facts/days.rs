//! How the tanks kept their band on each day: by the age of the fish, where there is a plan.

use jiff::civil::Date;

use claymark_model::id::Id;
use claymark_model::plan::FishDay;
use claymark_model::quality::thresholds::Span;
use claymark_model::site::{Place, Site};

use super::trace::Shares;
use super::water::{MeasuredWeek, PlaceWeek};
use crate::week::Week;

/// One day of all rearing tanks.
#[derive(Debug, Clone, PartialEq)]
pub struct BandDay {
    /// Which.
    pub date: Date,
    /// The batches that were there, and how old they were.
    pub fish: Vec<(Id, FishDay)>,
    /// What was wanted of the water from the head tank.
    pub band: Span,
    /// How the time of all turbidity sensors in rearing tanks divides.
    pub shares: Shares,
    /// The tank that was in its band for the least of the day, and for how many percent.
    pub least: Option<(String, f64)>,
}

/// The days of the week; none where no rearing tank's turbidity is measured.
#[must_use]
pub fn of(site: &Site, week: &Week, places: &[PlaceWeek]) -> Vec<BandDay> {
    let tanks: Vec<&PlaceWeek> =
        places.iter().filter(|place| place.place != Place::Head && !place.turbidity.is_empty()).collect();
    if tanks.is_empty() {
        return Vec::new();
    }
    let day = |day: &crate::week::Day| {
        let of_sensor = |measured: &MeasuredWeek| Shares::of(measured.trace.between(day.start, day.end));
        let inside = |place: &&PlaceWeek| {
            let worst = place.turbidity.iter().filter_map(|measured| {
                let shares = of_sensor(measured);
                shares.percent(shares.inside_s).filter(|_| shares.known_s() > 0.0)
            });
            worst.min_by(f64::total_cmp).map(|percent| (place.name.clone(), percent))
        };
        let all = tanks.iter().flat_map(|place| &place.turbidity).map(of_sensor);
        BandDay {
            date: day.date,
            fish: site.batches_on(day.date).map(|(batch, fish)| (batch.id.clone(), fish)).collect(),
            band: site.limits_on(&Place::Head, day.date).turbidity,
            shares: all.fold(Shares::default(), Shares::plus),
            least: tanks.iter().filter_map(inside).min_by(|a, b| a.1.total_cmp(&b.1)),
        }
    };
    week.days().iter().map(day).collect()
}
