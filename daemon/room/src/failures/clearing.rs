//! The water clears by and by: no step that a rule could date, but each half hour is clearer than the one before, and by and by
//! it is clearer than the fish want.
//!
//! Trap: one step, after which the water stays, though the tanks follow it by and by; and water that somebody works on.

use claymark_model::units::SECONDS_PER_HOUR;
use jiff::{SignedDuration, Timestamp};

use super::out_of_limits::{at_work, is_dry, is_stopped};
use super::{Found, Rule};
use crate::evidence::Evidence;
use crate::evidence::trace::{Trace, middle, minutes};
use crate::evidence::water::Turbid;
use claymark_notice::Priority;
use claymark_notice::failure::{Failure, Fault, Sign};

pub(super) const RULE: Rule = Rule { find, tells: |fault| matches!(fault, Fault::Clearing { .. }), is_over };

fn find(evidence: &Evidence<'_>) -> Option<Found> {
    let mut all: Vec<Clears<'_>> = waters(evidence).filter_map(|water| Clears::of(evidence, water)).collect();
    // Below what the fish want, or soon.
    all.sort_by_key(|clears| (clears.at(clears.least), clears.at(clears.hard)));
    let first = all.first().filter(|first| first.is_soon(evidence.now))?;
    // What the tanks alone do is what a step in the head tank comes to there.
    let head = evidence.head.as_ref().filter(|head| head.out.is_none());
    if head.is_some_and(|head| !all.iter().any(|clears| clears.water.sensor.id == head.sensor.id)) {
        return None;
    }
    if at_work(evidence) || is_dry(evidence) || is_stopped(evidence) {
        return None;
    }
    let sure = all.len() > 1 || waters(evidence).filter(|water| water.out.is_none()).count() == 1;
    let fault = Fault::Clearing {
        place: first.water.sensor.place.clone(),
        is: first.is,
        least: first.least,
        limit_at: first.at(first.least).filter(|at| *at > evidence.now),
        danger_at: first.at(first.hard),
    };
    let signs = all.iter().map(Clears::sign).collect();
    let at_night = if sure { Priority::Now } else { Priority::Soon };
    Some(Found { at_night, ..Found::of("clearing", fault, evidence.now - first.lasted, signs) })
}

fn waters<'e, 'a>(evidence: &'e Evidence<'a>) -> impl Iterator<Item = &'e Turbid<'a>> {
    evidence.head.iter().chain(&evidence.tanks)
}

/// Water that clears by and by.
struct Clears<'e> {
    water: &'e Turbid<'e>,
    now: Timestamp,
    from: f64,
    is: f64,
    per_hour: f64,
    lasted: SignedDuration,
    /// What the fish want at least.
    least: f64,
    /// Below this they are in danger.
    hard: f64,
}

impl<'e> Clears<'e> {
    fn of(evidence: &Evidence<'_>, water: &'e Turbid<'e>) -> Option<Self> {
        if water.out.is_some() {
            return None;
        }
        let limits = evidence.limits(&water.sensor.place);
        let (least, hard) = (limits.turbidity.min(), evidence.site.calls.hard(&limits).turbidity.min());
        WINDOWS.iter().find_map(|window| {
            let (from, is) = falls(water.trace, minutes(evidence.now), *window)?;
            let lasted = SignedDuration::try_from_secs_f64(60.0 * window * f64::from(PARTS)).ok()?;
            let hours = window * f64::from(PARTS - 1) / 60.0;
            let (now, per_hour) = (evidence.now, (from - is) / hours);
            Some(Self { water, now, from, is, per_hour, lasted, least, hard })
        })
    }

    /// When it comes down to `limit`, if it goes on like this.
    fn at(&self, limit: f64) -> Option<Timestamp> {
        let hours = ((self.is - limit) / self.per_hour).max(0.0);
        let after = SignedDuration::try_from_secs_f64(hours * SECONDS_PER_HOUR).ok()?;
        self.now.checked_add(after).ok()
    }

    /// It has come far, and will soon be too clear.
    fn is_soon(&self, now: Timestamp) -> bool {
        let far = self.from - self.is >= FAR_SHARE * (self.from - self.least);
        far && self.at(self.least).is_some_and(|at| at <= now + SOON)
    }

    fn sign(&self) -> Sign {
        let hours = self.lasted.as_secs_f64() / SECONDS_PER_HOUR;
        Sign::Clears { place: self.water.sensor.place.clone(), from: self.from, now: self.is, hours }
    }
}

/// Turbidity in the first and the last of the windows until now, each of so many minutes, where each is clearer than the
/// one before it by its share.
fn falls(trace: &Trace, until: f64, window: f64) -> Option<(f64, f64)> {
    let part = |back: u8| {
        let end = until - window * f64::from(back);
        let points = trace.between(end - window, end);
        let whole = points.first().is_some_and(|first| first.t <= end - 0.7 * window);
        middle(&points).filter(|_| whole)
    };
    let parts: Option<Vec<f64>> = (0..PARTS).rev().map(part).collect();
    let parts = parts?;
    let (from, is) = (*parts.first()?, *parts.last()?);
    let fell = from - is;
    let steady = parts.windows(2).all(|pair| {
        let [before, after] = pair else { return false };
        let share = (before - after) / fell;
        (LEAST_SHARE..=MOST_SHARE).contains(&share)
    });
    (fell >= LEAST_NTU.max(LEAST_OF_IT * from) && steady).then_some((from, is))
}

/// It doesn't clear any more where it was told to, and is what the fish want.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let now = minutes(evidence.now);
    failure.signs.iter().all(|sign| {
        let Sign::Clears { place, .. } = sign else { return true };
        let Some(water) = waters(evidence).find(|water| water.sensor.place == *place) else { return true };
        let early = middle(&water.trace.between(now - 60.0, now - 30.0));
        let late = middle(&water.trace.between(now - 10.0, now));
        let least = evidence.limits(place).turbidity.min();
        early.zip(late).is_some_and(|(early, late)| late >= early - 1.0 && late >= least)
    })
}

/// min: water that clears within hours, or by and by within a night. A head tank's step is over within one.
const WINDOWS: [f64; 2] = [25.0, 45.0];
/// Windows that are compared.
const PARTS: u8 = 4;
/// Share of the whole fall that each of them has at least, and at most: in a step one has all of it.
const LEAST_SHARE: f64 = 0.2;
/// See [`LEAST_SHARE`].
const MOST_SHARE: f64 = 0.6;
/// Less may be the probes' noise.
const LEAST_NTU: f64 = 4.0;
/// The same, as a share of what was there.
const LEAST_OF_IT: f64 = 0.06;
/// Share of the way to the least: what goes less far often stays.
const FAR_SHARE: f64 = 0.5;
/// A limit that is farther away is told when it is nearer, if it still comes.
const SOON: SignedDuration = SignedDuration::from_hours(4);
