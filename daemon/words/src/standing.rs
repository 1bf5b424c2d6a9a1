//! How old what is known is, before it is relied on.

use claymark_model::site::Site;
use jiff::{SignedDuration, Timestamp};

use crate::format::{self, Clock};
use crate::notice::records;

/// Two sentences when the `newest` reading is too old at `now` to say how the room stands.
#[must_use]
pub fn stale(site: &Site, now: Timestamp, newest: Option<Timestamp>) -> Option<String> {
    let Some(newest) = newest else {
        return Some(
            "The store holds no reading from before then. Look whether Claymark runs and its sensors speak."
                .to_owned(),
        );
    };
    let age = now.duration_since(newest);
    let clock = Clock::new(site, now);
    (age > FRESH).then(|| {
        format!(
            "CAUTION: the newest reading is {} old, from {}; what happened since isn't known. \
             Look whether Claymark runs and its sensors speak, or look back with --at \"{}\".",
            format::duration(age),
            clock.time(newest),
            newest.to_zoned_datetime(site.time_zone.clone()).strftime("%Y-%m-%d %H:%M")
        )
    })
}

/// A sentence for an answer that goes by less than all of the store; `why` is what the store said.
#[must_use]
pub fn unread(why: &str) -> String {
    format!("CAUTION: not all of the store can be read, this goes by the rest of it: {why}.")
}

/// A room whose sensors speak every few seconds to minutes has something newer than this (common practice,
/// no source).
const FRESH: SignedDuration = SignedDuration::from_mins(5);

/// A line on records of the store that were passed over, for whoever asks the store.
#[must_use]
pub fn passed_over(count: u64, first: &str) -> String {
    format!(
        "CAUTION: {} in the store can't be read; what follows goes without. The first: {first}\n",
        records(count)
    )
}
