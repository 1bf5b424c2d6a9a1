//! Claymark itself didn't run: from when to when nobody watched, and what of that time came late.

use std::collections::{BTreeMap, BTreeSet};

use jiff::{SignedDuration, Timestamp};

use crate::action::AlarmAction;
use crate::scene::RoomView;
use claymark_model::id::Id;
use claymark_model::reading::Assessed;
use claymark_notice::content::ReadingsMissing;
use claymark_notice::unwatched::Unwatched;
use claymark_notice::{Content, Priority};

/// A time without a watch that people don't know of yet.
#[derive(Debug, Default)]
pub(crate) struct AwayWatch {
    gap: Option<WatchGap>,
}

#[derive(Debug)]
struct WatchGap {
    from: Timestamp,
    to: Timestamp,
    /// Readings of that time that came late; one comes twice when its flag is settled.
    late: BTreeMap<Id, BTreeSet<Timestamp>>,
}

impl AwayWatch {
    /// The watch stood until `from`, and begins again. A short rest, as of an upgrade, is no news.
    pub(crate) fn begin(&mut self, from: Timestamp, to: Timestamp) {
        let long = to.duration_since(from) >= BEARABLE;
        self.gap = long.then(|| WatchGap { from, to, late: BTreeMap::new() });
    }

    /// A reading arrived.
    pub(crate) fn heard(&mut self, assessed: &Assessed) {
        let Some(gap) = &mut self.gap else { return };
        let at = assessed.reading.at;
        if gap.from < at && at < gap.to && assessed.received_at >= gap.to {
            gap.late.entry(assessed.reading.sensor.clone()).or_default().insert(at);
        }
    }

    /// Tells it when what waited at the broker is in.
    pub(crate) fn news(&mut self, view: &RoomView<'_>) -> Option<AlarmAction> {
        let WatchGap { from, to, late } =
            self.gap.take_if(|gap| gap.to + QUEUE_COMES_IN <= view.scene.now)?;
        let sensors = view.known.site.sensors.iter().filter(|sensor| sensor.every < to.duration_since(from));
        let missing =
            sensors.map(|sensor| &sensor.id).filter(|id| !late.contains_key(*id)).cloned().collect();
        let late = late.values().map(BTreeSet::len).sum();
        let gap = Content::ReadingsMissing(ReadingsMissing::Unwatched(Unwatched { from, to, late, missing }));
        Some(AlarmAction::Tell(view.on_duty("away", Priority::Morning, (None, gap))))
    }

    /// When it must be told.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.gap.as_ref().map(|gap| gap.to + QUEUE_COMES_IN)
    }
}

/// Nobody needs to hear of a shorter one.
const BEARABLE: SignedDuration = SignedDuration::from_mins(10);

/// What waited at the broker is in within this, mostly.
const QUEUE_COMES_IN: SignedDuration = SignedDuration::from_mins(1);
