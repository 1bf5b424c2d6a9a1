//! Says of one drum when it comes down to a few marks, and watches for it.

use jiff::{SignedDuration, Timestamp};

use claymark_model::forecast::{Basis, EmptyAt, Forecast, Outlook};
use claymark_model::id::Id;
use claymark_model::skill::{Fate, Lead, MarkForecast};

use crate::hours::in_hours;
use claymark_model::units::{Litres, LitresPerHour};

/// What was said of one drum's marks and isn't settled yet.
///
/// [`Scorer::look`] whenever the drum was looked at, [`Scorer::interrupted`] when a refill or a change is known, then
/// [`Scorer::take`] what is new or settled.
#[derive(Debug, Clone, Default)]
pub(crate) struct Scorer {
    open: Vec<MarkForecast>,
    /// The last volume that was believed.
    believed: Option<(Timestamp, Litres)>,
    said_at: Option<Timestamp>,
    changed: Vec<MarkForecast>,
}

/// What is asked of the drum itself.
pub(crate) struct Scored<'a, F> {
    pub(crate) id: &'a Id,
    pub(crate) heel: Litres,
    /// When the level that is believed will have come down to a volume.
    pub(crate) passes: F,
}

impl Scorer {
    /// The drum was looked at; its forecast says what is believed, `drum.passes` when that comes down to a mark.
    pub(crate) fn look(
        &mut self,
        drum: &Scored<'_, impl Fn(Litres) -> Option<EmptyAt>>,
        forecast: &Forecast,
    ) {
        let now = forecast.at;
        self.open.retain(|said| now.duration_since(said.made_at) <= FORGOTTEN);
        let Outlook::Known { basis: Basis::Level, volume, draw, .. } = forecast.outlook else { return };
        if !forecast.in_use {
            return;
        }
        self.settle(now, volume);
        self.believed = Some((now, volume));
        if self.said_at.is_none_or(|said_at| slot(said_at) < slot(now)) {
            self.said_at = Some(now);
            let marks = Lead::ALL.into_iter().filter_map(|lead| say(drum, now, (volume, draw), lead));
            let said: Vec<MarkForecast> = marks.collect();
            self.changed.extend(said.iter().cloned());
            self.open.extend(said);
        }
    }

    /// A refill or a change of the draw at that time: what was said before can't be judged by what comes after.
    pub(crate) fn interrupted(&mut self, at: Timestamp) {
        self.decide(|said| (said.made_at < at).then_some(Fate::Dropped));
    }

    /// What had been said before a restart.
    pub(crate) fn recall(&mut self, said: MarkForecast) {
        self.said_at = self.said_at.max(Some(said.made_at));
        if said.fate == Fate::Open {
            self.open.push(said);
        }
    }

    /// What is new or settled since the last call.
    pub(crate) fn take(&mut self) -> Vec<MarkForecast> {
        std::mem::take(&mut self.changed)
    }

    fn settle(&mut self, now: Timestamp, volume: Litres) {
        let before = self.believed.filter(|(at, _)| now.duration_since(*at) <= LONGEST_STEP);
        self.decide(|said| {
            if said.mark < volume {
                return None;
            }
            // Between two looks it fell evenly; what was passed while nothing was believed can't be placed.
            let Some((at, held)) = before.filter(|(_, held)| *held > said.mark) else {
                return Some(Fate::Dropped);
            };
            let share = (held.0 - said.mark.0) / (held.0 - volume.0);
            let passed = at + SignedDuration::from_secs_f64(share * now.duration_since(at).as_secs_f64());
            // Kept in whole milliseconds, as in the store.
            Some(Fate::Came { at: Timestamp::from_millisecond(passed.as_millisecond()).unwrap_or(passed) })
        });
    }

    fn decide(&mut self, fate: impl Fn(&MarkForecast) -> Option<Fate>) {
        let changed = &mut self.changed;
        self.open.retain_mut(|said| {
            let Some(decided) = fate(said) else { return true };
            said.fate = decided;
            changed.push(said.clone());
            false
        });
    }
}

/// Of the mark that should be passed in the middle of that lead.
fn say(
    drum: &Scored<'_, impl Fn(Litres) -> Option<EmptyAt>>,
    now: Timestamp,
    (volume, draw): (Litres, LitresPerHour),
    lead: Lead,
) -> Option<MarkForecast> {
    let middle_h = in_hours(lead.begin() + lead.end()) / 2.0;
    let mark = Litres(((volume.0 - draw.0 * middle_h) / MARKS_L).floor() * MARKS_L);
    if mark < drum.heel || mark >= volume {
        return None;
    }
    let reached = (drum.passes)(mark)?;
    let said = Lead::of(reached.p50?.duration_since(now)) == Some(lead);
    let id = drum.id.clone();
    said.then_some(MarkForecast { drum: id, made_at: now, mark, lead, reached, fate: Fate::Open })
}

fn slot(at: Timestamp) -> i64 {
    at.as_second().div_euclid(SAID_EVERY_S)
}

/// Marks stand at whole multiples of this, as on a drum's side.
const MARKS_L: f64 = 5.0;
/// Once in each half hour, UTC; with four leads and [`FORGOTTEN`] at most 400 are open.
const SAID_EVERY_S: i64 = 1800;
/// A drum that stands still for two days has no news.
const FORGOTTEN: SignedDuration = SignedDuration::from_hours(48);
/// Between two looks that are further apart than this a mark's time isn't known.
const LONGEST_STEP: SignedDuration = SignedDuration::from_mins(15);
