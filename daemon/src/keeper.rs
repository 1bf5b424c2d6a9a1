//! The thread that owns the store for writing: one commit at a time, each answered.
//!
//! A store that can't be opened or used is tried again with each commit; until then nothing is kept, and the thread
//! says why. A damaged one is put aside, one whose files were taken away is left to itself; a fresh one is begun,
//! and what is readable of the old one goes over, a little whenever no commit waits.

use std::path::PathBuf;
use std::thread;
use std::time::Duration;

use tokio::runtime::Handle;
use tokio::sync::mpsc::error::{TryRecvError, TrySendError};
use tokio::sync::{mpsc, oneshot, watch};

use claymark_model::site::Site;
use claymark_notice::keeping::StoreFate;
use claymark_store::batch::CommitBatch;
use claymark_store::files::{self, OpenFiles};
use claymark_store::journal::Rejected;
use claymark_store::rescue::{Rescue, Saved};
use claymark_store::{Committed, Reader, StoreError, Writer};

use crate::clock::TimeSource;

/// Reaches the thread.
#[derive(Clone)]
pub struct Keeper {
    orders: mpsc::Sender<KeeperOrder>,
    /// What became of the store itself, until it is taken.
    news: watch::Sender<Vec<News>>,
}

/// What became of a commit; the batch comes back either way.
pub struct CommitOutcome {
    /// What was to be kept.
    pub batch: Box<CommitBatch>,
    /// Whether it is on the disk.
    pub result: Result<Committed, StoreError>,
}

/// What became of the store.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum News {
    /// It was damaged and has another name now; a fresh one was begun.
    PutAside {
        /// That name.
        aside: PathBuf,
        /// What was wrong with it.
        why: String,
    },
    /// Its files were deleted, moved or replaced while it was written; another was begun at its place.
    TakenAway,
    /// What could be read of the old one is in the fresh one.
    Saved(Saved),
}

impl From<News> for StoreFate {
    fn from(news: News) -> Self {
        match news {
            News::PutAside { aside, why } => Self::PutAside { aside: aside.display().to_string(), why },
            News::TakenAway => Self::TakenAway,
            News::Saved(Saved { readings, records, unreadable }) => Self::Saved {
                readings,
                records,
                unreadable: unreadable.into_iter().map(|span| (span.from, span.to)).collect(),
            },
        }
    }
}

enum KeeperOrder {
    Open { answer: oneshot::Sender<Result<PathBuf, StoreError>> },
    Commit { batch: Box<CommitBatch>, answer: oneshot::Sender<CommitOutcome> },
    Site { site: Box<Site>, answer: oneshot::Sender<Result<(), StoreError>> },
    Journal { wanted: bool },
    Damaged { why: StoreError },
    Forwarded { upto: u64, rejected: Vec<Rejected>, answer: oneshot::Sender<Result<(), StoreError>> },
}

impl Keeper {
    /// Starts the thread; it ends, and lets the store go, when all keepers are gone.
    pub fn start(
        path: PathBuf,
        site: Site,
        clock: TimeSource,
    ) -> std::io::Result<(Self, thread::JoinHandle<()>)> {
        // One commit at a time is on the way; the other places are for the forwarder, and between shifts.
        let (orders, inbox) = mpsc::channel(4);
        let news = watch::Sender::new(Vec::new());
        let looks = Handle::current();
        let cabinet = Cabinet {
            past: path.clone(),
            path,
            site,
            clock,
            journal: false,
            store: None,
            rescues: Vec::new(),
            news: news.clone(),
        };
        let thread =
            thread::Builder::new().name("store".to_owned()).spawn(move || cabinet.keep(inbox, &looks))?;
        Ok((Self { orders, news }, thread))
    }

    /// Opens the store, and says in which file the past is: a damaged store has another name by then. What can't be
    /// opened now is tried again with each commit. `None` when the thread has ended.
    pub async fn open(&self) -> Option<Result<PathBuf, StoreError>> {
        let (answer, outcome) = oneshot::channel();
        self.orders.send(KeeperOrder::Open { answer }).await.ok()?;
        outcome.await.ok()
    }

    /// Starts a commit; the answer comes when it is on the disk, or isn't. Only one may be on the way.
    pub fn commit(&self, batch: Box<CommitBatch>) -> oneshot::Receiver<CommitOutcome> {
        let (answer, outcome) = oneshot::channel();
        match self.orders.try_send(KeeperOrder::Commit { batch, answer }) {
            Ok(()) => {}
            // The thread hangs in an earlier one: the batch comes back, to be tried again.
            Err(TrySendError::Full(KeeperOrder::Commit { batch, answer })) => {
                answer.send(CommitOutcome { batch, result: Err(StoreError::Hangs) }).ok();
            }
            Err(TrySendError::Full(_) | TrySendError::Closed(_)) => {
                tracing::error!("the store's thread has ended: nothing is kept any more");
            }
        }
        outcome
    }

    /// Changes whenever something becomes of the store itself.
    #[must_use]
    pub fn news(&self) -> watch::Receiver<Vec<News>> {
        self.news.subscribe()
    }

    /// What became of the store since this was last asked.
    #[must_use]
    pub fn take_news(&self) -> Vec<News> {
        let mut taken = Vec::new();
        self.news.send_if_modified(|news| {
            taken = std::mem::take(news);
            false
        });
        taken
    }

    /// Goes on with a changed site; `None` when the thread has ended.
    pub async fn set_site(&self, site: Site) -> Option<Result<(), StoreError>> {
        let (answer, outcome) = oneshot::channel();
        self.orders.send(KeeperOrder::Site { site: Box::new(site), answer }).await.ok()?;
        outcome.await.ok()
    }

    /// Notes from the next commit on what is written, for the forwarder, or stops it.
    pub async fn keep_journal(&self, wanted: bool) {
        if self.orders.send(KeeperOrder::Journal { wanted }).await.is_err() {
            tracing::debug!("the store's thread has ended");
        }
    }

    /// Somebody found, reading, that the store is damaged: it is put aside.
    pub async fn damaged(&self, why: StoreError) {
        if self.orders.send(KeeperOrder::Damaged { why }).await.is_err() {
            tracing::debug!("the store's thread has ended");
        }
    }

    /// Takes away what has been forwarded; one at a time. `None` when the thread has ended.
    pub async fn forwarded(&self, upto: u64, rejected: Vec<Rejected>) -> Option<Result<(), StoreError>> {
        let (answer, outcome) = oneshot::channel();
        self.orders.send(KeeperOrder::Forwarded { upto, rejected, answer }).await.ok()?;
        outcome.await.ok()
    }
}

/// What the thread has in hand.
struct Cabinet {
    path: PathBuf,
    site: Site,
    clock: TimeSource,
    journal: bool,
    store: Option<Writer>,
    /// Where the past is, as far as this thread knows.
    past: PathBuf,
    /// The last is at work.
    rescues: Vec<Rescue>,
    news: watch::Sender<Vec<News>>,
}

impl Cabinet {
    fn keep(mut self, mut orders: mpsc::Receiver<KeeperOrder>, looks: &Handle) {
        loop {
            let order = match orders.try_recv() {
                Ok(order) => order,
                Err(TryRecvError::Empty) if self.rescue() => continue,
                Err(TryRecvError::Empty) => {
                    let next = async { tokio::time::timeout(LOOK_EVERY, orders.recv()).await };
                    match looks.block_on(next) {
                        Ok(Some(order)) => order,
                        Ok(None) => return,
                        Err(_nothing_to_do) => {
                            self.look_at_the_files();
                            continue;
                        }
                    }
                }
                Err(TryRecvError::Disconnected) => return,
            };
            if !self.obey(order) {
                tracing::debug!("nobody waited for the store's answer");
            }
        }
    }

    /// Files that are taken away are missed before the next commit, too.
    fn look_at_the_files(&mut self) {
        if self.store.as_ref().is_some_and(|store| store.standing() != OpenFiles::AsOpened)
            && let Err(error) = self.writer()
        {
            tracing::error!("the store can't be opened again yet: {error}");
        }
    }

    fn obey(&mut self, order: KeeperOrder) -> bool {
        match order {
            KeeperOrder::Open { answer } => {
                let opened = self.writer().map(drop);
                answer.send(opened.map(|()| self.past.clone())).is_ok()
            }
            KeeperOrder::Commit { batch, answer } => {
                let result = self.commit(&batch);
                answer.send(CommitOutcome { batch, result }).is_ok()
            }
            KeeperOrder::Site { site, answer } => {
                self.site = *site;
                let result = self.store.as_mut().map_or(Ok(()), |store| store.set_site(&self.site));
                answer.send(result).is_ok()
            }
            KeeperOrder::Journal { wanted } => {
                self.journal = wanted;
                if let Some(Err(error)) = self.store.as_mut().map(|store| store.keep_journal(wanted)) {
                    tracing::error!("what is written can't be noted for InfluxDB: {error}");
                    self.store = None;
                }
                true
            }
            KeeperOrder::Damaged { why } => {
                self.put_aside(&why);
                true
            }
            KeeperOrder::Forwarded { upto, rejected, answer } => {
                let result = self.writer().and_then(|store| store.forwarded(upto, &rejected));
                answer.send(result).is_ok()
            }
        }
    }

    /// A damaged store costs one more try, with a fresh one.
    fn commit(&mut self, batch: &CommitBatch) -> Result<Committed, StoreError> {
        match self.writer().and_then(|store| store.commit(batch)) {
            Err(damaged @ StoreError::Damaged(_)) if self.put_aside(&damaged) => self.writer()?.commit(batch),
            result => result,
        }
    }

    /// The store, open and where it belongs.
    fn writer(&mut self) -> Result<&mut Writer, StoreError> {
        if let Some(store) = &self.store {
            match store.standing() {
                OpenFiles::AsOpened => {}
                OpenFiles::LogGone => self.fold()?,
                OpenFiles::Gone => self.leave(),
                OpenFiles::Cut => {
                    self.put_aside(&StoreError::Cut(self.path.clone()));
                }
            }
        }
        if self.store.is_none() {
            self.open()?;
        }
        // It was opened just now, if it wasn't before.
        self.store.as_mut().ok_or_else(|| StoreError::Missing(self.path.clone()))
    }

    fn open(&mut self) -> Result<(), StoreError> {
        let opened = match Writer::open(&self.path, &self.site) {
            Err(error) if self.is_ours_and_damaged(&error) && self.put_aside(&error) => {
                Writer::open(&self.path, &self.site)
            }
            opened => opened,
        };
        let mut store = opened?;
        store.keep_journal(self.journal)?;
        self.store = Some(store);
        Ok(())
    }

    /// A file that isn't a database may be somebody's who mistyped the path; where a store of ours stood, it is ours.
    fn is_ours_and_damaged(&self, error: &StoreError) -> bool {
        matches!(error, StoreError::Damaged(_))
            || matches!(error, StoreError::NoDatabase(_)) && files::was_ours(&self.path)
    }

    /// Begins a fresh store beside the damaged one; false if even that can't be done.
    fn put_aside(&mut self, why: &StoreError) -> bool {
        self.store = None;
        let now = self.clock.now();
        let aside = match files::put_aside(&self.path, now) {
            Ok(aside) => aside,
            Err(error) => {
                tracing::error!("the damaged store {} can't be put aside: {error}", self.path.display());
                return false;
            }
        };
        tracing::error!("{why}: it was put aside as {}, a fresh one is begun", aside.display());
        self.tell(News::PutAside { aside: aside.clone(), why: why.cause() });
        match Reader::open(&aside) {
            Ok(reader) => self.rescues.push(Rescue::new(reader, now)),
            Err(error) => {
                tracing::error!("nothing of {} can be read: {error}", aside.display());
                self.tell(News::Saved(Saved::nothing()));
            }
        }
        self.past = aside;
        true
    }

    /// What stood beside the database is gone, but all of it can still be reached: put into the database itself.
    fn fold(&mut self) -> Result<(), StoreError> {
        if let Some(store) = &self.store {
            tracing::error!("files beside {} were deleted or replaced", self.path.display());
            match store.fold_log() {
                // Files that were exchanged and put back under it: it can be read, never again be written.
                Err(error) if error.is_for_good() => self.leave(),
                folded => folded?,
            }
        }
        self.store = None;
        Ok(())
    }

    /// The files are gone, but what they held can still be read as long as they are open.
    fn leave(&mut self) {
        tracing::error!(
            "{} was deleted, moved or replaced while it was written: another is begun",
            self.path.display()
        );
        let Some(store) = self.store.take() else { return };
        let now = self.clock.now();
        self.tell(News::TakenAway);
        match store.into_reader(now) {
            Ok(reader) => self.rescues.push(Rescue::new(reader, now)),
            Err(error) => {
                tracing::error!(
                    "what the files that were taken away held can't be reached any more: {error}"
                );
                self.tell(News::Saved(Saved::nothing()));
            }
        }
    }

    fn tell(&self, news: News) {
        self.news.send_modify(|untold| untold.push(news));
    }

    /// One step of a rescue; false when there is none to take.
    fn rescue(&mut self) -> bool {
        let (Some(rescue), Some(store)) = (self.rescues.last_mut(), self.store.as_mut()) else {
            return false;
        };
        match rescue.step(store) {
            Ok(None) => true,
            Ok(Some(saved)) => {
                tracing::info!(
                    readings = saved.readings,
                    records = saved.records,
                    "what could be read was saved"
                );
                self.rescues.pop();
                self.tell(News::Saved(saved));
                true
            }
            Err(error) => {
                // The next commit opens it again, and meets the same trouble, or none.
                tracing::warn!("saving what can be read waits: {error}");
                self.store = None;
                false
            }
        }
    }
}

/// While nothing is to be done.
const LOOK_EVERY: Duration = Duration::from_secs(1);
