//! What is known of one drum, in lines: how much is in it, how fast it falls, and what agrees with what.

use claymark_core::forecast::{Basis, EmptyAt, Outlook};
use claymark_core::notice::content::{DrumState, PumpState};
use claymark_core::units::LitresPerHour;

use crate::format;
use crate::names;
use crate::notice::Teller;

impl Teller<'_> {
    pub(super) fn name_of(&self, state: &DrumState) -> String {
        names::drum(self.site, &state.drum)
    }

    /// "dry about 02:45, earliest 02:20".
    pub(super) fn dry(&self, empty_at: &EmptyAt) -> String {
        if self.is_empty(empty_at) {
            return "empty now".to_owned();
        }
        match (empty_at.p50, empty_at.p05) {
            (Some(p50), Some(p05)) => {
                format!("dry about {}, earliest {}", self.clock.about(p50), self.clock.by(p05))
            }
            (Some(p50), None) => format!("dry about {}", self.clock.about(p50)),
            (None, Some(p05)) => format!("dry in more than 3 days, earliest {}", self.clock.by(p05)),
            (None, None) => "not dry within 3 days".to_owned(),
        }
    }

    /// "Dry about 02:45 (earliest 02:20, latest 03:30)."
    pub(super) fn dry_line(&self, empty_at: &EmptyAt) -> String {
        if self.is_empty(empty_at) {
            return "It is empty: down to what the pump can't lift.".to_owned();
        }
        let Some(p50) = empty_at.p50 else {
            let earliest = empty_at.p05.map(|p05| format!(", earliest {}", self.clock.by(p05)));
            return format!("Not dry within 3 days{}.", earliest.unwrap_or_default());
        };
        let earliest = empty_at.p05.map_or("unknown".to_owned(), |p05| self.clock.by(p05));
        let latest = empty_at.p95.map_or("later than 3 days".to_owned(), |p95| self.clock.about(p95));
        format!("Dry about {} (earliest {earliest}, latest {latest}).", self.clock.about(p50))
    }

    pub(super) fn is_empty(&self, empty_at: &EmptyAt) -> bool {
        empty_at.p50.is_some_and(|p50| p50 <= self.notice.at)
    }

    /// Litres, draw, what they go by, and what agrees with what.
    pub(super) fn known(&self, state: &DrumState) -> Vec<String> {
        let mut lines = self.now(state);
        lines.extend(self.level(state));
        lines.extend(self.pump(&state.pump));
        lines.extend(state.last_refill.filter(|refill| !refill.logged).map(|refill| {
            format!(
                "A refill of about {} was seen at {}; nobody wrote it down.",
                format::volume(&self.site.units, refill.added),
                self.clock.time(refill.at)
            )
        }));
        lines
    }

    fn now(&self, state: &DrumState) -> Vec<String> {
        let Outlook::Known { volume, draw, basis, .. } = &state.forecast.outlook else {
            return self.unknown(state);
        };
        let units = &self.site.units;
        let draw = format::draw(units, *draw);
        let since =
            state.draw_since.map(|since| format!(" since {}", self.clock.time(since))).unwrap_or_default();
        let drawn = if state.forecast.in_use {
            format!("drawn at {draw}{since}")
        } else {
            format!("not being drawn; switched on now it would lose {draw}")
        };
        let mut lines = vec![format!("Now {} in it, {drawn}.", format::volume(units, *volume))];
        if *basis == Basis::Pump {
            lines.push("This goes by the pump, not by the level, and is less sure.".to_owned());
        }
        lines
    }

    fn unknown(&self, state: &DrumState) -> Vec<String> {
        let Outlook::Unknown { why } = &state.forecast.outlook else { return Vec::new() };
        vec![format!("I don't know how much is in it or how long it lasts: {why}.")]
    }

    /// The level sensor, when there is something to say about it.
    fn level(&self, state: &DrumState) -> Option<String> {
        if let Some(doubt) = &state.doubt {
            return Some(format!(
                "Its level isn't believed since {}: {}.",
                self.clock.time(doubt.since),
                doubt.why
            ));
        }
        let level = self.site.level_sensor(&state.drum)?;
        match state.level_heard {
            None => Some("Its level sensor has never been heard.".to_owned()),
            Some(heard) if heard + level.thresholds.gap < self.notice.at => {
                Some(format!("Its level sensor last spoke at {}.", self.clock.time(heard)))
            }
            Some(_) => None,
        }
    }

    /// The pump's rating against the data.
    fn pump(&self, pump: &PumpState) -> Option<String> {
        let (set, rated, drawn) = (pump.set?, pump.rated?, pump.drawn?);
        let units = &self.site.units;
        let written = format!(
            "{} was set to {} rpm at {}",
            names::pump(self.site, &pump.pump),
            format::number(set.rpm, 0),
            self.clock.time(set.at)
        );
        let by_rating = format!("by its rating {}", format::draw(units, rated));
        Some(match share(drawn, rated) {
            Some(share) if (1.0 - SAME..=1.0 + SAME).contains(&share) => {
                format!("The pump agrees: {written}, {by_rating}.")
            }
            Some(share) if share > 1.0 => format!(
                "The log doesn't agree: {written}, {by_rating}, but {} leave: {} times as fast. Look at the pump's speed and the valves.",
                format::draw(units, drawn),
                format::number(share, 1)
            ),
            Some(_) => format!(
                "The log doesn't agree: {written}, {by_rating}, but only {} leave. Look for a clog or a worn tube.",
                format::draw(units, drawn)
            ),
            None => format!("The log doesn't agree: {written}, but {} leave.", format::draw(units, drawn)),
        })
    }
}

/// The speed that is `share` of the one written down, where the data agree with that.
pub(super) fn rpm_at(pump: &PumpState, share_of_present: f64) -> Option<f64> {
    let (set, rated, drawn) = (pump.set?, pump.rated?, pump.drawn?);
    let agrees = share(drawn, rated).is_some_and(|share| (1.0 - SAME..=1.0 + SAME).contains(&share));
    agrees.then(|| (set.rpm * share_of_present).floor()).filter(|rpm| *rpm >= 1.0)
}

fn share(drawn: LitresPerHour, rated: LitresPerHour) -> Option<f64> {
    (rated.0 > 0.0).then(|| drawn.0 / rated.0)
}

/// A rating is no calibration, and tubes wear: within 15 % it is the same (common practice, no source).
const SAME: f64 = 0.15;
