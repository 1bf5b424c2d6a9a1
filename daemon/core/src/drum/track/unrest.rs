//! Times at which the level jumped up and down: nothing is concluded from them.

use super::{Track, View, WATCHED_HOURS};
use crate::drum::restless::restless_since;
use crate::drum::series::Point;

impl Track {
    /// Notes whether the level is restless at its end, and which points that spoils.
    pub(super) fn see_unrest(&mut self, view: &View<'_>, until: f64) {
        let recent: Vec<Point> = view.series.between(until - WATCHED_HOURS, until).collect();
        let again = self.unsettled(until);
        let since = restless_since(&recent, self.calm_scatter(view), view.facts.span(), again);
        let (Some(since), Some(newest)) = (since, recent.last()) else { return };
        // A refill that was read off a level in foam wasn't read at all: the log, or the calm after it, will tell.
        let in_foam = self.before.is_some_and(|before| since <= before.start);
        if let Some(earlier) = self.earlier.take_if(|_| in_foam) {
            *self = *earlier;
        }
        match self.foamed.last_mut() {
            Some((from, to)) if *to >= since - BREATHER_HOURS => (*from, *to) = (from.min(since), newest.t),
            Some(_) | None => self.foamed.push((since, newest.t)),
        }
    }

    /// Since when the level can't be read at `now` for unrest, hours since 1970: it jumps up and down, or has only
    /// just stopped to, or is still off its line.
    pub fn unrest(&self, now: f64) -> Option<f64> {
        let (from, to) = *self.foamed.last()?;
        let off = self.off_since.is_some_and(|off| off <= to + BREATHER_HOURS);
        (self.unsettled(now) || off).then_some(from)
    }

    /// Keeps what was known before a refill at `start`; of several within an hour, before the first.
    pub(super) fn remember(&mut self, start: f64) {
        let recent = |earlier: &Self| earlier.looked >= start - WATCHED_HOURS;
        if !self.earlier.as_deref().is_some_and(recent) {
            self.earlier = Some(Box::new(Self { earlier: None, ..self.clone() }));
        }
    }

    /// Scatter of a minute when the level is calm, L: unrest has crept into that of a stretch which began in foam.
    fn calm_scatter(&self, view: &View<'_>) -> f64 {
        let before = self.before.and_then(|before| before.scatter);
        let earlier = self.earlier.as_ref().and_then(|earlier| earlier.scatter);
        [before, earlier].into_iter().flatten().fold(self.usual_scatter(view), f64::min)
    }

    /// Whether the level is restless at `t`, or has only just stopped to be.
    pub(super) fn unsettled(&self, t: f64) -> bool {
        self.foamed.last().is_some_and(|(_, to)| t <= to + SETTLING_HOURS)
    }

    /// Whether the level was restless at `t`.
    pub(super) fn is_foamed(&self, t: f64) -> bool {
        self.foamed.iter().any(|(from, to)| (*from..=*to).contains(&t))
    }
}

/// h. Unrest that comes back within this is the same.
const BREATHER_HOURS: f64 = 0.5;
/// h. After unrest the level must be calm for so long before it tells anything.
const SETTLING_HOURS: f64 = 0.25;
