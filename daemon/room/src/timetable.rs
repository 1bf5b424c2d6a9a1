//! When the room speaks, looks round, and gives its forecasts.

use jiff::{SignedDuration, Timestamp};

/// All of it.
#[derive(Debug, Default)]
pub(crate) struct Timetable {
    /// Since when the room speaks.
    pub(crate) live: Option<Timestamp>,
    looked_at: Option<Timestamp>,
    /// When something is due beside forecasts, evening check and silence, as of the last look.
    pub(crate) warnings: Option<Timestamp>,
    pub(crate) next_forecasts: Timestamp,
    forecasts_at: Option<Timestamp>,
    /// A refill was written down since forecasts and sheets were last given.
    refilled: bool,
}

/// What is to be given of forecasts and refill sheets.
pub(crate) enum Issue {
    Nothing,
    /// What stands beside a drum mustn't advise for ten minutes more what was just poured.
    Sheets,
    All,
}

impl Timetable {
    pub(crate) fn go_live(&mut self, now: Timestamp) {
        self.next_forecasts = at_or_after(now);
        self.refilled = false;
        self.live = Some(now);
    }

    /// The clock was set. Sensors that seem silent only for that get a moment to speak.
    pub(crate) fn clock_stepped(&mut self, at: Timestamp) {
        self.live = self.live.map(|live| live.max(at));
    }

    /// Whether the last look is long enough ago that a reading is worth one.
    pub(crate) fn is_time_to_look(&self, now: Timestamp) -> bool {
        self.looked_at.is_none_or(|looked_at| now >= looked_at + LOOK_EVERY)
    }

    pub(crate) fn looked(&mut self, now: Timestamp, warnings: Option<Timestamp>) {
        self.looked_at = Some(now);
        self.warnings = warnings;
    }

    /// A refill was written down, or one may have been taken back.
    pub(crate) fn refilled(&mut self, refilled: bool) {
        self.refilled |= refilled;
    }

    /// What a round gives; of forecasts, what was due by `due`.
    pub(crate) fn issue(&mut self, now: Timestamp, due: Timestamp) -> Issue {
        if self.next_forecasts <= due {
            self.next_forecasts = at_or_after(due + SignedDuration::from_nanos(1));
            return self.issue_all(now);
        }
        match (std::mem::take(&mut self.refilled), self.forecasts_at == Some(now)) {
            (false, _) => Issue::Nothing,
            (true, true) => Issue::Sheets,
            (true, false) => self.issue_all(now),
        }
    }

    /// What goes with a notice: the forecasts that it goes by, if they weren't given just now.
    pub(crate) fn issue_all(&mut self, now: Timestamp) -> Issue {
        if self.forecasts_at == Some(now) {
            return Issue::Nothing;
        }
        self.forecasts_at = Some(now);
        self.refilled = false;
        Issue::All
    }
}

/// The first multiple of ten minutes, UTC, at or after `now`.
fn at_or_after(now: Timestamp) -> Timestamp {
    let past = now.as_nanosecond().rem_euclid(FORECAST_EVERY.as_nanos());
    let rest = if past == 0 { 0 } else { FORECAST_EVERY.as_nanos() - past };
    now + SignedDuration::from_nanos_i128(rest)
}

/// Forecasts are published at each multiple of this, UTC.
const FORECAST_EVERY: SignedDuration = SignedDuration::from_mins(10);

/// Readings come in every few seconds; looking at all drums once a minute is soon enough.
const LOOK_EVERY: SignedDuration = SignedDuration::from_mins(1);
