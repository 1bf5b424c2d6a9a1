//! How the room stands, asked of the engine once for all who look at the same moment.

use std::collections::HashMap;
use std::sync::{Arc, MutexGuard, PoisonError};
use std::time::Duration;

use jiff::SignedDuration;
use tokio::sync::{Mutex, mpsc, oneshot, watch};

use super::asks::{PageAsk, RoomNow};
use crate::clock::TimeSource;
use crate::snapshot::Snapshot;

/// Asks, and remembers the answer for a moment.
pub(super) struct RoomFeed {
    asks: mpsc::Sender<PageAsk>,
    snapshot: watch::Receiver<Arc<Snapshot>>,
    clock: TimeSource,
    last: Mutex<Option<(SignedDuration, Arc<RoomSeen>)>>,
}

/// The room as it is shown.
pub(super) struct RoomSeen {
    pub(super) room: RoomNow,
    pub(super) snapshot: Arc<Snapshot>,
    /// What was made of it, by the name of the part: made once for all who look at it.
    made: std::sync::Mutex<HashMap<String, Arc<str>>>,
}

/// The engine doesn't answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct NoAnswer;

impl RoomFeed {
    pub(super) fn new(
        asks: mpsc::Sender<PageAsk>,
        snapshot: watch::Receiver<Arc<Snapshot>>,
        clock: TimeSource,
    ) -> Self {
        Self { asks, snapshot, clock, last: Mutex::new(None) }
    }

    /// Changes whenever the engine has something new to show.
    pub(super) fn changes(&self) -> watch::Receiver<Arc<Snapshot>> {
        self.snapshot.clone()
    }

    /// The room as it stands now, or stood a moment ago.
    pub(super) async fn seen(&self) -> Result<Arc<RoomSeen>, NoAnswer> {
        let mut last = self.last.lock().await;
        let now = self.clock.steady();
        if let Some((at, seen)) = last.as_ref()
            && now.saturating_sub(*at) < MOMENT
        {
            return Ok(Arc::clone(seen));
        }
        let room = self.ask(PageAsk::Room).await?;
        let snapshot = Arc::clone(&self.snapshot.borrow());
        let seen = Arc::new(RoomSeen { room, snapshot, made: std::sync::Mutex::default() });
        *last = Some((now, Arc::clone(&seen)));
        Ok(seen)
    }

    /// What was seen is over: whoever has just changed something sees the change.
    pub(super) async fn forget(&self) {
        *self.last.lock().await = None;
    }

    /// Asks the engine something that it answers at once.
    pub(super) async fn ask<T>(
        &self,
        ask: impl FnOnce(oneshot::Sender<T>) -> PageAsk,
    ) -> Result<T, NoAnswer> {
        let (to, answer) = oneshot::channel();
        let asked = async {
            self.asks.send(ask(to)).await.ok()?;
            answer.await.ok()
        };
        tokio::time::timeout(PATIENCE, asked).await.ok().flatten().ok_or(NoAnswer)
    }
}

impl RoomSeen {
    /// A part of the page, made once.
    pub(super) fn part(&self, name: &str, make: impl FnOnce() -> String) -> Arc<str> {
        if let Some(made) = self.parts().get(name) {
            return Arc::clone(made);
        }
        let made: Arc<str> = make().into();
        self.parts().insert(name.to_owned(), Arc::clone(&made));
        made
    }

    fn parts(&self) -> MutexGuard<'_, HashMap<String, Arc<str>>> {
        // What a panic left half done is a missing part, which is made anew.
        self.made.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Whoever looks within it sees the same.
const MOMENT: SignedDuration = SignedDuration::from_millis(250);

/// An engine that is alive answers within milliseconds.
const PATIENCE: Duration = Duration::from_secs(5);
