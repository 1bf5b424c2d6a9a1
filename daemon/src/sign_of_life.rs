//! A call each minute to something outside that watches the watcher: when the calls stop, or say that something fails,
//! somebody who isn't in this building is told.
//!
//! A call goes out only while all of it lives: the engine, the intake, and the ways to people or, while there is nothing
//! to tell, the store. A program of which only this task were left would say nothing.

use std::sync::Arc;
use std::time::Duration;

use futures_util::future::BoxFuture;
use jiff::{SignedDuration, Timestamp};
use serde::Serialize;
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use claymark_model::id::Id;

use crate::clock::TimeSource;
use crate::keeper::Keeper;
use crate::post::{self, PostError, WebAddress};
use crate::pulse::{Pulse, Pulses};
use crate::service;
use crate::snapshot::Snapshot;

/// Who is called.
#[derive(Clone, PartialEq, Eq)]
pub struct Settings {
    /// There, each minute.
    pub address: WebAddress,
    /// There instead, while something fails; `None`: the same.
    pub failing: Option<WebAddress>,
    /// PEM of the own certificate authority; `None`: the system's roots.
    pub ca_pem: Option<Vec<u8>>,
}

/// What is looked at.
pub struct Ports {
    /// How things stand.
    pub snapshot: watch::Receiver<Arc<Snapshot>>,
    /// What moves.
    pub pulses: Pulses,
    /// Why replies can't be read, while they can't.
    pub replies: watch::Receiver<Option<String>>,
    /// Whose thread must answer; `None`: its pulse comes from elsewhere.
    pub keeper: Option<Keeper>,
    /// From then on nobody is called.
    pub stop: CancellationToken,
}

/// From when to when nobody watched before this start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct UnwatchedSpan {
    /// The last time that the watch is known to have stood.
    pub from: Timestamp,
    /// The start.
    pub to: Timestamp,
}

/// The task that calls.
pub struct SignOfLife {
    settings: Settings,
    site: Id,
    gap: Option<UnwatchedSpan>,
    clock: TimeSource,
    ports: Ports,
    vitals: Vitals,
    /// The store's thread, which hasn't answered yet.
    asking: Option<BoxFuture<'static, bool>>,
    called: Option<SignedDuration>,
    /// The last call didn't get through.
    unheard: bool,
}

/// What a call says.
#[derive(Serialize)]
struct OutsideCall<'a> {
    site: &'a Id,
    at: Timestamp,
    state: &'static str,
    why: Option<&'a str>,
    gap: Option<UnwatchedSpan>,
}

impl SignOfLife {
    /// Prepares the task.
    #[must_use]
    pub fn new(
        settings: Settings,
        site: Id,
        gap: Option<UnwatchedSpan>,
        clock: TimeSource,
        ports: Ports,
    ) -> Self {
        let vitals = Vitals::new(&ports.pulses, clock.steady());
        Self { settings, site, gap, clock, ports, vitals, asking: None, called: None, unheard: false }
    }

    /// Looks and calls until `stop`.
    pub async fn run(mut self) {
        let stop = self.ports.stop.clone();
        while stop.run_until_cancelled(self.clock.alarm(LOOK)).await.is_some() {
            if stop.run_until_cancelled(self.look()).await.is_none() {
                return;
            }
            self.ports.pulses.looks.beat();
        }
    }

    async fn look(&mut self) {
        self.ask_the_store().await;
        let now = self.clock.steady();
        self.vitals.look(&self.ports.pulses, now);
        let is_due = self.called.is_none_or(|called| now.saturating_sub(called) >= EVERY);
        if is_due && self.vitals.all_move(now) {
            self.called = Some(now);
            self.call().await;
        }
    }

    /// A thread that hangs in a dead disk doesn't answer; it is asked again only when it has.
    async fn ask_the_store(&mut self) {
        let Some(keeper) = &self.ports.keeper else { return };
        let asking = self.asking.get_or_insert_with(|| {
            let keeper = keeper.clone();
            Box::pin(async move { keeper.open().await.is_some() })
        });
        if let Ok(answered) = tokio::time::timeout(STORE_PATIENCE, asking).await {
            self.asking = None;
            if answered {
                self.ports.pulses.store.beat();
            }
        }
    }

    async fn call(&mut self) {
        let why = self.failure();
        let state = if why.is_none() { "well" } else { "failing" };
        let at = Timestamp::from_second(self.clock.now().as_second()).unwrap_or_default();
        let call = OutsideCall { site: &self.site, at, state, why: why.as_deref(), gap: self.gap };
        let body = serde_json::to_string(&call).expect("ids, times and texts always make JSON");
        let address = match (&why, &self.settings.failing) {
            (Some(_), Some(failing)) => failing,
            (Some(_) | None, _) => &self.settings.address,
        };
        let ca = self.settings.ca_pem.as_deref();
        let posted =
            tokio::time::timeout(PATIENCE, post::json(address, ca, &[], body, std::future::ready(())));
        let trouble = match posted.await {
            Ok(Ok(said)) if (200..300).contains(&said.status) => None,
            Ok(Ok(said)) => Some(format!("HTTP {}", said.status)),
            Ok(Err(PostError::NotSent(why) | PostError::Unanswered(why))) => Some(why),
            Err(_elapsed) => Some(format!("no answer within {} s", PATIENCE.as_secs())),
        };
        match trouble {
            Some(why) if !std::mem::replace(&mut self.unheard, true) => {
                tracing::warn!("the sign of life doesn't get through to {}: {why}", address.host());
            }
            Some(_) => {}
            None => self.unheard = false,
        }
    }

    fn failure(&self) -> Option<String> {
        let snapshot = self.ports.snapshot.borrow().clone();
        let (line, _) = service::status(&snapshot);
        let replies =
            self.ports.replies.borrow().as_ref().map(|why| format!("replies by mail aren't read: {why}"));
        let nobody = snapshot.reached_nobody.map(|number| format!("notice {number} has reached nobody"));
        let line = (line != service::WATCHING).then_some(line);
        let all: Vec<String> = line.into_iter().chain(nobody).chain(replies).collect();
        (!all.is_empty()).then(|| all.join("; "))
    }
}

/// When each part last moved, by the steady time.
#[derive(Debug)]
struct Vitals {
    engine: Moved,
    intake: Moved,
    store: Moved,
    /// Attempts to tell people that were begun, and those that ended.
    begun: Moved,
    ended: Moved,
}

#[derive(Debug)]
struct Moved {
    count: u64,
    at: SignedDuration,
}

impl Moved {
    fn look(&mut self, count: u64, now: SignedDuration) {
        if self.count != count {
            *self = Self { count, at: now };
        }
    }

    fn lately(&self, now: SignedDuration) -> bool {
        now.saturating_sub(self.at) <= LATELY
    }
}

impl Vitals {
    /// What doesn't move from the beginning is found after a while.
    fn new(pulses: &Pulses, now: SignedDuration) -> Self {
        let moved = |pulse: &Pulse, at| Moved { count: pulse.count(), at };
        let long_ago = now.saturating_sub(LATELY * 2);
        Self {
            engine: moved(&pulses.engine, now),
            intake: moved(&pulses.intake, now),
            store: moved(&pulses.store, now),
            // Nothing was sent yet.
            begun: moved(&pulses.begun, long_ago),
            ended: moved(&pulses.ended, long_ago),
        }
    }

    fn look(&mut self, pulses: &Pulses, now: SignedDuration) {
        self.engine.look(pulses.engine.count(), now);
        self.intake.look(pulses.intake.count(), now);
        self.store.look(pulses.store.count(), now);
        self.begun.look(pulses.begun.count(), now);
        self.ended.look(pulses.ended.count(), now);
    }

    fn all_move(&self, now: SignedDuration) -> bool {
        let people = if self.begun.lately(now) { &self.ended } else { &self.store };
        self.engine.lately(now) && self.intake.lately(now) && people.lately(now)
    }
}

const EVERY: SignedDuration = SignedDuration::from_secs(60);
const LATELY: SignedDuration = SignedDuration::from_secs(120);
const LOOK: Duration = Duration::from_secs(5);
const PATIENCE: Duration = Duration::from_secs(20);
const STORE_PATIENCE: Duration = Duration::from_secs(1);
