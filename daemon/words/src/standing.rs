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

/// The newest forecast that was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Newest {
    /// When it was made.
    pub at: Timestamp,
    /// In the store; else only at the broker.
    pub kept: bool,
}

impl Newest {
    /// Whether somebody watches now: a forecast is made each ten minutes, and isn't to be believed after twenty.
    #[must_use]
    pub fn is_of_now(&self, now: Timestamp) -> bool {
        (SignedDuration::ZERO..=BELIEVED_FOR).contains(&now.duration_since(self.at))
    }
}

/// The room is watched.
#[must_use]
pub fn watching(clock: Clock<'_>, newest: &Newest, unread: Option<&str>) -> String {
    let age = format::duration(clock.seen_from().duration_since(newest.at));
    let watched = format!("Watching: the newest forecast is of {}, {age} ago.", clock.time(newest.at));
    match unread {
        Some(why) => format!("{watched} It isn't kept: {why}."),
        None if !newest.kept => format!("{watched} It stands at the broker, and isn't kept."),
        None => watched,
    }
}

/// It isn't, or nothing shows it.
#[must_use]
pub fn not_watching(clock: Clock<'_>, newest: Option<&Newest>, unread: Option<&str>) -> String {
    let last = match newest {
        Some(Newest { at, .. }) => format!(
            "NOT WATCHING: the newest forecast is of {}, {} ago; one is made each 10 minutes.",
            clock.time(*at),
            format::duration(clock.seen_from().duration_since(*at))
        ),
        None => "NOT WATCHING: no forecast was found, in the store or at the broker.".to_owned(),
    };
    match unread {
        Some(why) => format!("{last} The store can't be read: {why}."),
        None => last,
    }
}

/// As long as a published forecast is valid.
const BELIEVED_FOR: SignedDuration = SignedDuration::from_mins(20);
