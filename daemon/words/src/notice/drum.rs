//! What is known of one drum, in lines: how much is in it, how fast it falls, and what agrees with what.

use claymark_model::forecast::{Basis, EmptyAt, Outlook};
use claymark_notice::content::{DrumState, PumpState};

use jiff::{SignedDuration, Timestamp};

use crate::notice::Teller;
use crate::{doubt, drying, format, names};

impl Teller<'_> {
    pub(super) fn name_of(&self, state: &DrumState) -> String {
        names::drum(self.site, &state.drum)
    }

    /// "dry about 02:45, earliest 02:20".
    pub(super) fn dry(&self, empty_at: &EmptyAt) -> String {
        drying::dry(self.clock, self.at, empty_at)
    }

    /// "Dry about 02:45 (earliest 02:20, latest 03:30)."
    pub(super) fn dry_line(&self, empty_at: &EmptyAt) -> String {
        if self.is_empty(empty_at) {
            return "It is empty: below the pump's intake.".to_owned();
        }
        let clock = self.clock.together(&[empty_at.p05, empty_at.p50, empty_at.p95]);
        let Some(p50) = empty_at.p50 else {
            let earliest = empty_at.p05.map(|p05| format!(", earliest {}", clock.by(p05)));
            return format!("Not dry within 3 days{}.", earliest.unwrap_or_default());
        };
        let earliest = empty_at.p05.map_or("unknown".to_owned(), |p05| clock.by(p05));
        let latest = empty_at.p95.map_or("later than 3 days".to_owned(), |p95| clock.about(p95));
        format!("Dry about {} (earliest {earliest}, latest {latest}).", clock.about(p50))
    }

    pub(super) fn is_empty(&self, empty_at: &EmptyAt) -> bool {
        drying::is_empty(self.at, empty_at)
    }

    /// Litres, draw, what they go by, and what agrees with what.
    pub(super) fn known(&self, state: &DrumState) -> Vec<String> {
        let mut lines = self.now(state);
        lines.extend(self.level(state));
        lines.extend(self.agreement(state));
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
        let drawn = match state.ran_empty {
            Some(at) => format!("run empty at {}", self.clock.time(at)),
            None if state.forecast.in_use => format!("drawn at {draw}{since}"),
            None => format!("not being drawn; switched on now it would lose {draw}"),
        };
        let mut lines = vec![format!("Now {} in it, {drawn}.", format::volume(units, *volume))];
        if *basis == Basis::Pump {
            lines.push("This goes by the pump, not by the level, and is less sure.".to_owned());
        }
        lines
    }

    fn unknown(&self, state: &DrumState) -> Vec<String> {
        let Outlook::Unknown { why } = &state.forecast.outlook else { return Vec::new() };
        vec![format!("I don't know how much is in it or how long it lasts: {}.", doubt::unknown(why))]
    }

    /// The level sensor, when there is something to say about it.
    fn level(&self, state: &DrumState) -> Option<String> {
        if let Some(doubt) = &state.doubt {
            return Some(format!(
                "Its level isn't believed since {}: {}.",
                self.clock.time(doubt.since),
                doubt::doubted(&doubt.why)
            ));
        }
        let level = self.site.level_sensor(&state.drum)?;
        match state.level_heard {
            None => Some("Its level sensor has never been heard.".to_owned()),
            Some(heard) if heard + level.thresholds.gap < self.at => {
                Some(format!("Its level sensor last spoke at {}.", self.clock.time(heard)))
            }
            Some(_) => None,
        }
    }

    /// Since when the draw is another, and off the rating by something, where neither a refill nor the setting at `set`
    /// brought that.
    fn changed_since(state: &DrumState, set: Timestamp, share: f64) -> Option<Timestamp> {
        let refilled = state.last_refill.map(|refill| refill.at);
        let brought = |since: &Timestamp| {
            [Some(set), refilled].into_iter().flatten().any(|at| since.duration_since(at) <= BROUGHT_WITHIN)
        };
        state.draw_since.filter(|since| (share - 1.0).abs() > SAME && !brought(since))
    }

    /// The level against the pump as it was written down: two signs that agree are worth more than one.
    fn agreement(&self, state: &DrumState) -> Option<String> {
        let Outlook::Known { basis: Basis::Level, .. } = state.forecast.outlook else { return None };
        if !state.forecast.in_use || state.ran_empty.is_some() {
            return None;
        }
        let (Some(set), Some(rated), Some(drawn)) = (state.pump.set, state.pump.rated, state.pump.drawn)
        else {
            return Some("Only the level says so: nobody wrote down the pump's speed.".to_owned());
        };
        let units = &self.site.units;
        let written = format!(
            "{} was set to {} rpm at {}, by its rating {}",
            names::pump(self.site, &state.pump.pump),
            format::number(set.rpm, 0),
            self.clock.time(set.at),
            format::draw(units, rated)
        );
        let leave = format::draw(units, drawn);
        Some(match state.pump.delivers() {
            Some(share) if PumpState::agrees(share) => match Self::changed_since(state, set.at, share) {
                None => format!("Level and pump agree: {written}."),
                // People were told of a change: that it lies within what a rating may be off by is no agreement.
                Some(since) => {
                    format!("{written}; {leave} leave since {}.", self.clock.time(since))
                }
            },
            Some(share) if share > 1.0 => format!(
                "Level and log don't agree: {written}, but {leave} leave, {} times as fast. \
                 Look at the pump's speed and the valves.",
                format::number(share, 1)
            ),
            Some(_) => format!(
                "Level and log don't agree: {written}, but only {leave} leave. Look for a clog or a worn tube."
            ),
            None => format!("Level and log don't agree: {written}, but {leave} leave."),
        })
    }
}

/// A draw that is another so soon after a refill or a setting is another by it. Our own choice: people write down by the
/// quarter of an hour.
const BROUGHT_WITHIN: SignedDuration = SignedDuration::from_mins(60);

/// So near to its rating a pump does what was written down, whatever it did before. Our own choice.
const SAME: f64 = 0.1;
