//! From what gauges send to what arrives: through the real quality tests, in order of arrival.

use claymark_model::fieldlog::LogEntry;
use claymark_model::id::Id;
use claymark_model::quality::Assessor;
use claymark_model::reading::Reading;
use claymark_model::site::Site;
use jiff::{SignedDuration, Timestamp};

use super::{SeasonArrival, SeasonNews, start};

/// One value on its way.
#[derive(Debug, Clone, Copy)]
pub struct OnTheWire {
    /// By the device's own clock, seconds from the start of the season.
    pub own: f64,
    /// When it arrives, seconds from the start of the season.
    pub arrives: f64,
    /// mm.
    pub value: f64,
}

/// All that arrives, in order.
///
/// # Panics
/// When a gauge isn't in the site.
#[must_use]
pub fn arrivals(site: &Site, gauges: Vec<(Id, Vec<OnTheWire>)>, log: Vec<LogEntry>) -> Vec<SeasonArrival> {
    let mut heard = Vec::new();
    for (sensor, mut sent) in gauges {
        sent.sort_by(|a, b| a.arrives.total_cmp(&b.arrives));
        let mut assessor = Assessor::new(site.sensor(&sensor).expect("the site has this gauge"));
        for OnTheWire { own, arrives, value } in sent {
            let received_at = moment(arrives);
            let reading = Reading::new(sensor.clone(), moment(own), value);
            let given = assessor.assess(reading, received_at).into_iter();
            heard.extend(
                given.map(|assessed| SeasonArrival { at: received_at, news: SeasonNews::Reading(assessed) }),
            );
        }
    }
    heard.extend(
        log.into_iter().map(|entry| SeasonArrival { at: entry.received_at, news: SeasonNews::Log(entry) }),
    );
    heard.sort_by_key(|heard| heard.at);
    heard
}

/// Whole milliseconds, as the store keeps them.
fn moment(seconds: f64) -> Timestamp {
    start() + SignedDuration::from_secs_f64((seconds * 1000.0).round() / 1000.0)
}
