//! Times as people type them for what will be: `--until`, `--there-by`, in a reply.

use claymark_model::forecast::HORIZON;
use jiff::Timestamp;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;

/// Why a text is no time ahead.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotAhead {
    /// It can't be read.
    NoTime,
    /// It lies behind.
    Past,
    /// Forecasts don't reach so far.
    TooFar,
}

/// RFC 3339, a local date and time, a local time of day: then its next one, or "tomorrow 07:00".
pub fn ahead(typed: &str, now: Timestamp, zone: &TimeZone) -> Result<Timestamp, NotAhead> {
    match typed.parse::<Timestamp>().ok().or_else(|| local(typed, now, zone)) {
        Some(at) if at > now && at <= now + HORIZON => Ok(at),
        Some(at) if at > now => Err(NotAhead::TooFar),
        Some(_) => Err(NotAhead::Past),
        None => Err(NotAhead::NoTime),
    }
}

fn local(typed: &str, now: Timestamp, zone: &TimeZone) -> Option<Timestamp> {
    let today = now.to_zoned_datetime(zone.clone()).date();
    let on =
        |day: Date, time: Time| Some(day.to_datetime(time).to_zoned_datetime(zone.clone()).ok()?.timestamp());
    if let Some(time) = typed.strip_prefix("tomorrow") {
        return on(today.tomorrow().ok()?, time.trim().parse().ok()?);
    }
    if let (false, Ok(time)) = (typed.contains('-'), typed.parse::<Time>()) {
        return [today, today.tomorrow().ok()?]
            .into_iter()
            .filter_map(|day| on(day, time))
            .find(|at| *at > now);
    }
    let civil: DateTime = typed.parse().ok()?;
    on(civil.date(), civil.time())
}
