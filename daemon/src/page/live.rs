//! Pages that stay open: what they show is sent whenever the room has changed, and a word that they are alive.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use tokio::sync::{OwnedSemaphorePermit, watch};

use super::{Desk, look};
use crate::snapshot::Snapshot;

/// `/live/room`, `/live/wall`
pub(super) async fn live(State(desk): State<Desk>, Path(part): Path<String>) -> Response {
    stay(desk, part, look::part)
}

/// `/live/drum/a`
pub(super) async fn drum(State(desk): State<Desk>, Path(id): Path<String>) -> Response {
    stay(desk, id, look::drum_part)
}

type MakePart = fn(&Desk, &super::feed::RoomSeen, &str) -> Option<Arc<str>>;

/// One page that stays open.
struct OpenPage {
    desk: Desk,
    name: String,
    make: MakePart,
    changes: watch::Receiver<Arc<Snapshot>>,
    sent: Option<Arc<str>>,
    _place: OwnedSemaphorePermit,
}

fn stay(desk: Desk, name: String, make: MakePart) -> Response {
    let Ok(place) = Arc::clone(&desk.open).try_acquire_owned() else {
        // The page looks again by itself, as without scripts.
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    let changes = desk.feed.changes();
    let page = OpenPage { desk, name, make, changes, sent: None, _place: place };
    Sse::new(stream::unfold(page, next)).into_response()
}

async fn next(mut page: OpenPage) -> Option<(Result<Event, Infallible>, OpenPage)> {
    if page.sent.is_some() {
        tokio::select! {
            () = page.desk.stop.cancelled() => return None,
            changed = page.changes.changed() => changed.ok()?,
            () = tokio::time::sleep(ALIVE_EVERY) => {}
        }
        tokio::time::sleep(AT_MOST_EVERY).await;
        page.changes.borrow_and_update();
    }
    // Without an answer the stream ends, and the page says that it isn't live.
    let seen = page.desk.feed.seen().await.ok()?;
    let made = (page.make)(&page.desk, &seen, &page.name)?;
    let event = if page.sent.as_ref() == Some(&made) {
        Event::default().event("alive").data("")
    } else {
        Event::default().data(&*made)
    };
    page.sent = Some(made);
    Some((Ok(event), page))
}

/// A page that hears nothing for three times as long says so.
const ALIVE_EVERY: Duration = Duration::from_secs(15);

/// So often at most.
const AT_MOST_EVERY: Duration = Duration::from_millis(250);
