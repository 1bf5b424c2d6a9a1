//! From the store to facts: which rows of the week are read, and how few of them.
//!
//! Hours in which nothing happened are taken from the store's hourly figures; only hours with something
//! to look at are read reading by reading, and those stream by.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use claymark_core::id::Id;
use claymark_core::quarantine::Reason;
use claymark_core::site::Site;
use claymark_store::reader::{Rollup, SensorKey};
use claymark_store::{Reader, StoreError};

use crate::facts::{Rows, Traces, WeekFacts};
use crate::week::Week;

/// The facts of `week` as they are known at `now`.
pub fn facts(store: &Reader, site: Site, week: Week, now: Timestamp) -> Result<WeekFacts, StoreError> {
    let until = now.clamp(week.start(), week.end());
    let traces = traces(store, &site, &week, until)?;
    let rows = rows(store, &week, until)?;
    Ok(WeekFacts::of(site, week, until, &traces.finish(), rows))
}

fn traces(store: &Reader, site: &Site, week: &Week, until: Timestamp) -> Result<Traces, StoreError> {
    let ids: BTreeMap<SensorKey, Id> = store
        .sensors()?
        .into_iter()
        .filter(|known| known.in_site)
        .map(|known| (known.key, known.id))
        .collect();
    let mut traces = Traces::new(site, week, until);
    let before = week.start().saturating_sub(LEAD_IN).unwrap_or(Timestamp::MIN);
    let every: Vec<SensorKey> = ids.keys().copied().collect();
    for assessed in store.readings(&every, before, week.start()) {
        traces.push(&assessed?);
    }
    for hour in store.rollups(week.start(), until)?.chunk_by(|a, b| a.hour == b.hour) {
        let close = plain_hours_in(&mut traces, &ids, hour);
        if let (Some(first), false) = (hour.first(), close.is_empty()) {
            let end = first.hour.saturating_add(SignedDuration::from_hours(1)).unwrap_or(until).min(until);
            for assessed in store.readings(&close, first.hour.max(week.start()), end) {
                traces.push(&assessed?);
            }
        }
    }
    Ok(traces)
}

/// Takes the plain hours as they are; gives the sensors that must be looked at reading by reading.
fn plain_hours_in(traces: &mut Traces, ids: &BTreeMap<SensorKey, Id>, hour: &[Rollup]) -> Vec<SensorKey> {
    let mut close = Vec::new();
    for rollup in hour {
        let Some(builder) = ids.get(&rollup.sensor).and_then(|id| traces.of(id)) else { continue };
        builder.set_limits(rollup.hour, rollup.limits);
        if builder.hour_is_plain(rollup) {
            builder.push_plain_hour(rollup);
        } else {
            close.push(rollup.sensor);
        }
    }
    close
}

fn rows(store: &Reader, week: &Week, until: Timestamp) -> Result<Rows, StoreError> {
    let (start, end) = (week.start(), week.end());
    let earlier = |by: SignedDuration| start.saturating_sub(by).unwrap_or(Timestamp::MIN);
    let later = |by: SignedDuration| end.saturating_add(by).unwrap_or(Timestamp::MAX);
    let mut quarantined: BTreeMap<Reason, u64> = BTreeMap::new();
    for count in store.quarantine_counts(start, until)? {
        *quarantined.entry(count.reason).or_default() += count.count;
    }
    Ok(Rows {
        // Twelve hours before, for a run-out early on Monday; a little after, for the volume at midnight.
        forecasts: store
            .forecasts(earlier(SignedDuration::from_hours(13)), later(SignedDuration::from_mins(20)))?,
        happenings: store.happenings(earlier(HAPPENED_BEFORE), until)?,
        notices: store.notices(earlier(SignedDuration::from_hours(24)), end)?,
        deliveries: store.deliveries(earlier(SignedDuration::from_hours(24)), end)?,
        answers: store
            .answers(earlier(SignedDuration::from_hours(24)), later(SignedDuration::from_hours(24)))?,
        log: store.log(earlier(SignedDuration::from_hours(3)), end)?,
        quarantined,
    })
}

/// A reading this long before the week may still stand when it begins.
const LEAD_IN: SignedDuration = SignedDuration::from_hours(1);

/// A drum that ran empty, or a doubt that arose, so long before the week may still hold in it.
const HAPPENED_BEFORE: SignedDuration = SignedDuration::from_hours(14 * 24);
