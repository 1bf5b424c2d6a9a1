//! What somebody wrote down and the sensors speak against: whoever wrote it is asked while they remember, not in the evening.

use jiff::{SignedDuration, Timestamp};

use crate::drum_record::DrumRecord;
use crate::evidence::journal::Journal;
use crate::scene::RoomView;
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::site::Place;
use claymark_notice::query::{About, Query};

/// What is to be asked by now.
pub(crate) fn questions(view: &RoomView<'_>) -> Vec<Query> {
    let (known, now) = (view.known, view.scene.now);
    let refill = |deed: &Deed| matches!(deed, Deed::Refill { .. });
    if !known.journal.has_between(now - REMEMBERED, now, refill) {
        return Vec::new();
    }
    known.records.iter().flat_map(|record| of_drum(view, record)).collect()
}

fn of_drum(view: &RoomView<'_>, record: &DrumRecord) -> Vec<Query> {
    let (known, now) = (view.known, view.scene.now);
    let drum = &record.drum.id;
    let shown = |at: Timestamp| (at + SHOWS_IN..=at + REMEMBERED).contains(&now);
    let doubt = record.books(&known.site.clay).doubt.filter(|doubt| shown(doubt.at));
    let mass = doubt.and_then(|doubt| {
        let entry = entry(&known.journal, &doubt.key)?;
        let head = known.water.turbidity(now, &Place::Head).map(|shown| shown.turbidity.0);
        Some(asked(now, entry, About::Mass { drum: drum.clone(), doubt, head }))
    });
    let refill = record.watch.unseen(now).filter(|refill| refill.is_denied() && shown(refill.at));
    let unseen = refill.and_then(|refill| {
        let entry = entry(&known.journal, &refill.key)?;
        Some(asked(now, entry, About::Unseen { drum: drum.clone(), refill }))
    });
    mass.into_iter().chain(unseen).collect()
}

fn asked(now: Timestamp, entry: &LogEntry, about: About) -> Query {
    Query { at: now, by: entry.by.clone(), about }
}

fn entry<'a>(journal: &'a Journal, key: &str) -> Option<&'a LogEntry> {
    journal.between(Timestamp::MIN, Timestamp::MAX).find(|entry| entry.key == key)
}

/// A head tank of some minutes' exchange shows by then what was poured (common practice, no source).
const SHOWS_IN: SignedDuration = SignedDuration::from_mins(20);
/// Whoever is asked later doesn't know any more; what still matters stands on the sheet and in the evening's message.
const REMEMBERED: SignedDuration = SignedDuration::from_hours(3);
