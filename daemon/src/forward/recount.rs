//! Whether the server holds what it took: counted again on a schedule, and what is missing sent again.

use std::time::Duration;

use jiff::{SignedDuration, Timestamp};

use claymark_influx::Client;
use claymark_influx::audit::{held, kept, lacking};
use claymark_influx::send::{Sent, send};
use claymark_influx::source::PointSource;
use claymark_model::id::Id;

/// What a count found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Recounted {
    /// Readings that had been taken, weren't there, and are now.
    pub(super) mended: u64,
    /// Readings that aren't there although they were sent again.
    pub(super) missing: u64,
    /// The hour of the first of them.
    pub(super) since: Option<Timestamp>,
}

/// Compares the counts of the hours from `from` to `to`, a day at a time.
pub(super) async fn recount(
    client: &Client,
    source: &mut Option<PointSource>,
    site: &Id,
    from: Timestamp,
    to: Timestamp,
) -> Result<Recounted, String> {
    let mut found = Recounted::default();
    for (start, end) in steps(from, to, DAY) {
        if short(client, source, site, start, end).await? == 0 {
            continue;
        }
        let mut again = Vec::new();
        for (start, end) in steps(start, end, HOUR) {
            let before = short(client, source, site, start, end).await?;
            if before == 0 {
                continue;
            }
            again.push((start, end, before));
            for (start, end) in steps(start, end, MINUTES) {
                let page = on_disk(source, move |source| source.range(start, end)).await?;
                let page = page.map_err(|error| error.to_string())?;
                if let Sent::NotNow(error) = send(client, &page.lines).await {
                    return Err(error.to_string());
                }
            }
        }
        // Some servers show only after half a minute what they took.
        tokio::time::sleep(SHOWN_AFTER).await;
        for (start, end, before) in again {
            let after = short(client, source, site, start, end).await?;
            found.mended += before.saturating_sub(after);
            found.missing += after;
            if after > 0 {
                found.since.get_or_insert(start);
            }
        }
    }
    Ok(found)
}

/// How many readings the server lacks.
async fn short(
    client: &Client,
    source: &mut Option<PointSource>,
    site: &Id,
    from: Timestamp,
    to: Timestamp,
) -> Result<u64, String> {
    let here =
        on_disk(source, move |source| kept(source, from, to)).await?.map_err(|error| error.to_string())?;
    let there = held(client, site, from, to).await.map_err(|error| error.to_string())?;
    Ok(lacking(&here, &there))
}

/// Work on the store, off the threads that poll.
pub(super) async fn on_disk<T: Send + 'static>(
    source: &mut Option<PointSource>,
    work: impl FnOnce(&mut PointSource) -> T + Send + 'static,
) -> Result<T, String> {
    let mut lent = source.take().ok_or("the store isn't open")?;
    let done = tokio::task::spawn_blocking(move || {
        let done = work(&mut lent);
        (lent, done)
    });
    let (lent, done) = done.await.map_err(|fault| fault.to_string())?;
    *source = Some(lent);
    Ok(done)
}

fn steps(
    from: Timestamp,
    to: Timestamp,
    step: SignedDuration,
) -> impl Iterator<Item = (Timestamp, Timestamp)> {
    let later = move |at: &Timestamp| at.checked_add(step).ok().filter(|next| *next < to);
    std::iter::successors(Some(from).filter(|from| *from < to), later)
        .map(move |start| (start, start.checked_add(step).unwrap_or(to).min(to)))
}

const DAY: SignedDuration = SignedDuration::from_hours(24);
const HOUR: SignedDuration = SignedDuration::from_hours(1);
/// Some ten thousand points of a large room.
const MINUTES: SignedDuration = SignedDuration::from_mins(10);
const SHOWN_AFTER: Duration = Duration::from_secs(45);
