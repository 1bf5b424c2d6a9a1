//! Answers by mail: a mailbox that Claymark reads, so that whoever is woken can answer from any telephone.
//!
//! One task owns the connection: it waits at the mailbox (IMAP IDLE), reads what is new, and hands what is an answer to
//! the engine as any other answer comes. Such a mail counts as read only when its answer is on the disk; any other counts
//! as read before something is said back, so that nobody is told the same twice.
//!
//! - [`code`]: the code of a notice for a contact; [`mail`]: what a mail says; [`judge`]: whether that is an answer;
//! - `mailbox`: the connection; `tally`: what comes too often.

pub mod code;
pub mod judge;
pub mod mail;
mod mailbox;
mod tally;

use std::collections::BTreeSet;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use serde_json::json;
use tokio::sync::{mpsc, oneshot, watch};
use tokio_util::sync::CancellationToken;

use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_notice::{Answer, Urgency};
use claymark_words::format::Clock;
use claymark_words::notice::Wording;
use claymark_words::replies::{self as words, NotTaken};
use claymark_words::typed;

use crate::clock::TimeSource;
use crate::intake::pause::Pauses;
use crate::intake::{Login, Tls};
use crate::notify;
use crate::publish::Request;
use judge::{Judged, ReplyWriter};
use mail::ReplyMail;
use mailbox::{Mailbox, MailboxError};
use tally::Tally;

/// Where replies arrive.
#[derive(Clone, PartialEq, Eq)]
pub struct Settings {
    /// Host name.
    pub host: String,
    /// TCP port; TLS from the first byte.
    pub port: u16,
    /// How the server is recognised.
    pub tls: Tls,
    /// Who we are there.
    pub login: Login,
    /// The folder, all for us: what was read there is marked so.
    pub folder: String,
    /// What the codes are made from.
    pub secret: String,
}

/// An answer on its way to the engine.
#[derive(Debug)]
pub struct Reply {
    /// It.
    pub answer: Answer,
    /// Told what it came to, once that is on the disk.
    pub kept: oneshot::Sender<ReplyOutcome>,
}

/// What an answer came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ReplyOutcome {
    /// It is taken.
    Taken {
        /// How pressing the notice is.
        urgency: Option<Urgency>,
    },
    /// It changes nothing.
    NotTaken(NotTaken),
}

/// Where things come from and go to.
pub struct Ports {
    /// To the engine.
    pub replies: mpsc::Sender<Reply>,
    /// To the broker: the answer to a test.
    pub publish: mpsc::Sender<Request>,
    /// Why the mailbox can't be read, while it can't.
    pub trouble: watch::Sender<Option<String>>,
    /// From then on nothing new is begun.
    pub stop: CancellationToken,
}

/// The task that reads the mailbox.
pub struct Replies {
    settings: Settings,
    site: Site,
    notify: notify::Settings,
    clock: TimeSource,
    ports: Ports,
    pauses: Pauses,
    wrong: Tally,
    told_back: Tally,
    /// Mails whose answers were decided on while nothing can be kept: they stay unread, and come again.
    left: BTreeSet<u32>,
}

/// What became of a mail.
enum MailFate {
    /// It counts as read; what is to be said back, and to whom.
    Read(Option<(Id, Wording)>),
    /// Its answer isn't on the disk.
    NotKept,
}

impl Replies {
    /// Prepares the task.
    #[must_use]
    pub fn new(
        settings: Settings,
        site: Site,
        notify: notify::Settings,
        clock: TimeSource,
        ports: Ports,
    ) -> Self {
        let (wrong, told_back) = (Tally::new(WRONG_CODES), Tally::new(TOLD_BACK));
        Self {
            settings,
            site,
            notify,
            clock,
            ports,
            pauses: Pauses::default(),
            wrong,
            told_back,
            left: BTreeSet::new(),
        }
    }

    /// Reads until `stop`; a connection that ends is made again.
    pub async fn run(mut self) {
        let stop = self.ports.stop.clone();
        while let Some(why) = stop.run_until_cancelled(self.connection()).await {
            if self.ports.trouble.send_replace(Some(why.to_string())).is_none() {
                tracing::error!("replies by mail can't be read: {why}; it is tried again");
            } else {
                tracing::debug!("replies by mail still can't be read: {why}");
            }
            let pause = self.pauses.next(&mut rand::rng());
            if stop.run_until_cancelled(tokio::time::sleep(pause)).await.is_none() {
                return;
            }
        }
    }

    /// One connection to its end.
    async fn connection(&mut self) -> MailboxError {
        match self.watch().await {
            Ok(never) => match never {},
            Err(error) => error,
        }
    }

    async fn watch(&mut self) -> Result<std::convert::Infallible, MailboxError> {
        let mut mailbox = Mailbox::open(&self.settings).await?;
        tracing::info!("replies by mail are read at {}", self.settings.host);
        loop {
            let since = self.clock.now().saturating_sub(LATE).unwrap_or(Timestamp::MIN);
            for uid in mailbox.unread(since).await? {
                if self.left.contains(&uid) {
                    continue;
                }
                let mail = mailbox.fetch(uid).await?;
                self.read(&mut mailbox, uid, &mail).await?;
            }
            // Only a mailbox that was read to its end works.
            self.pauses.reset();
            self.ports.trouble.send_replace(None);
            mailbox = mailbox.wait().await?;
        }
    }

    async fn read(&mut self, mailbox: &mut Mailbox, uid: u32, raw: &[u8]) -> Result<(), MailboxError> {
        let fate = match ReplyMail::read(raw) {
            Some(mail) => self.judge(&mail).await,
            None => MailFate::Read(None),
        };
        let MailFate::Read(back) = fate else {
            self.left.insert(uid);
            return Ok(());
        };
        mailbox.mark_read(uid).await?;
        if let Some((contact, said)) = back {
            let sent = notify::write_back(&self.site, &self.notify, &contact, self.clock.now(), said);
            if let Err(why) = sent.await {
                tracing::warn!("{contact} can't be told what became of a reply: {why}");
            }
        }
        Ok(())
    }

    /// Does what a mail asks for, and says to whom what is to be said back.
    async fn judge(&mut self, mail: &ReplyMail) -> MailFate {
        let now = self.clock.now();
        let Some(address) = self.notify.contact_of(&mail.from) else {
            tracing::info!(
                "a reply from {} is left alone: no contact has that address",
                typed::line(&mail.from)
            );
            return MailFate::Read(None);
        };
        let (contact, name) = (address.contact.clone(), address.name.clone());
        if self.wrong.is_full(&contact, now) {
            tracing::warn!("a reply of {contact} isn't looked at: too many wrong codes within an hour");
            return MailFate::Read(None);
        }
        let writer = ReplyWriter { contact: &contact, name: &name };
        let zone = &self.site.time_zone;
        let said = match judge::judge(mail, writer, &self.settings.secret, (now, zone)) {
            Judged::LeftAlone => return MailFate::Read(None),
            Judged::Test => {
                self.answer_test(&contact).await;
                words::test_answered()
            }
            Judged::Answer(answer) => match self.hand_over(answer, &name).await {
                Some(said) => said,
                None => return MailFate::NotKept,
            },
            Judged::Refused(why) => {
                if matches!(why, NotTaken::WrongCode { .. }) {
                    self.wrong.again(&contact, now);
                }
                tracing::warn!("a reply of {contact} isn't taken: {why:?}");
                if !self.told_back.again(&contact, now) {
                    return MailFate::Read(None);
                }
                words::not_taken(Clock::new(&self.site, now), &why)
            }
        };
        MailFate::Read(Some((contact, said)))
    }

    /// Waits until the answer is on the disk: only then the mail may count as read. `None`: it holds, but can't be kept now,
    /// or the engine has ended; the mail is read once more by the next shift.
    async fn hand_over(&self, answer: Answer, name: &str) -> Option<Wording> {
        let (kept, outcome) = oneshot::channel();
        let reply = Reply { answer: answer.clone(), kept };
        self.ports.replies.send(reply).await.ok()?;
        let outcome = tokio::time::timeout(FOR_THE_DISK, outcome).await.ok()?.ok()?;
        let clock = Clock::new(&self.site, self.clock.now());
        Some(match outcome {
            ReplyOutcome::Taken { urgency } => {
                let (who, there_by) = ((name, answer.notice), answer.there_by);
                words::taken(clock, &self.site.staff, who, urgency, there_by)
            }
            ReplyOutcome::NotTaken(why) => words::not_taken(clock, &why),
        })
    }

    /// Whoever tries the contact listens at the broker.
    async fn answer_test(&self, contact: &Id) {
        let topic = format!("{}/answer", self.notify.prefix);
        let payload = json!({"notice": 0, "by": contact.as_str()}).to_string().into_bytes();
        // What nobody waits for isn't sent.
        let (done, taken) = oneshot::channel();
        let asked = self.ports.publish.send(Request { topic, payload, retain: false, done }).await;
        if asked.is_err() || tokio::time::timeout(FOR_THE_BROKER, taken).await.is_err() {
            tracing::warn!("whoever tries {contact} doesn't hear the answer: the broker hasn't taken it");
        }
    }
}

/// A reply that is older answers nothing any more.
const LATE: SignedDuration = SignedDuration::from_hours(48);

/// Of 10,000 codes one may guess so many an hour.
const WRONG_CODES: usize = 5;

/// Others wait behind it with their replies.
const FOR_THE_DISK: Duration = Duration::from_secs(20);

/// Whoever tries a contact waits at the broker.
const FOR_THE_BROKER: Duration = Duration::from_secs(10);

/// Two machines that answer each other end here.
const TOLD_BACK: usize = 10;
