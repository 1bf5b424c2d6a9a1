//! A running notifier with its ports in the test's hands, on a clock that only the test moves.

use std::collections::VecDeque;

use claymark::clock::{Stepper, TimeSource};
use claymark::intake::Login;
use claymark::notify::{Address, Notifier, Outcome, Patience, Ports, Security, Settings, Smtp, Word};
use claymark::publish::Request;
use claymark::pulse::Pulse;
use claymark_invented as invented;
use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_notice::content::{Content, EveningCheck, ReadingsMissing, Visit};
use claymark_notice::{Audience, Notice, NoticeKind, Priority};
use claymark_store::batch::{Channel, Delivery, DeliveryState, Issued};
use jiff::{SignedDuration, Timestamp};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

pub struct Office {
    pub words: mpsc::Sender<Word>,
    pub outcomes: mpsc::Receiver<Outcome>,
    /// Outcomes that are no deliveries.
    others: VecDeque<Outcome>,
    pub requests: mpsc::Receiver<Request>,
    pub stepper: Stepper,
    stop: CancellationToken,
    task: JoinHandle<()>,
}

impl Office {
    pub fn open(settings: Settings, pending: Vec<(Issued, Delivery)>) -> Self {
        Self::open_at(at(0), settings, pending)
    }

    /// On a clock that stands at the real time.
    pub fn open_now(settings: Settings, pending: Vec<(Issued, Delivery)>) -> Self {
        Self::open_at(claymark_tests::wait::now(), settings, pending)
    }

    fn open_at(time: Timestamp, settings: Settings, pending: Vec<(Issued, Delivery)>) -> Self {
        let (clock, stepper) = TimeSource::stepped(time);
        let (words, words_in) = mpsc::channel(8);
        let (outcomes_out, outcomes) = mpsc::channel(1);
        let (publish, requests) = mpsc::channel(1);
        let stop = CancellationToken::new();
        let (begun, ended) = (Pulse::default(), Pulse::default());
        let ports =
            Ports { words: words_in, outcomes: outcomes_out, publish, begun, ended, stop: stop.clone() };
        // The hatchery, as far as its mail goes.
        let site = Site {
            drums: Vec::new(),
            pumps: Vec::new(),
            tanks: Vec::new(),
            sensors: Vec::new(),
            ..invented::site()
        };
        let task = tokio::spawn(Notifier::new(&site, settings, pending, clock, ports).run());
        Self { words, outcomes, others: VecDeque::new(), requests, stepper, stop, task }
    }

    pub async fn tell(&self, issued: Issued) {
        self.words.send(Word::Notice(Box::new(issued))).await.unwrap();
    }

    /// Waits for the next word on a delivery; that the data go out is none.
    pub async fn outcome(&mut self) -> Delivery {
        loop {
            match self.outcomes.recv().await.unwrap() {
                Outcome::Delivery(Delivery {
                    state: DeliveryState::Unanswered { last_error: None, .. },
                    ..
                }) => {}
                Outcome::Delivery(delivery) => return delivery,
                other @ (Outcome::Undelivered { .. } | Outcome::ReachedNobody(_)) => {
                    self.others.push_back(other);
                }
            }
        }
    }

    /// Waits for the next outcome that is no delivery.
    pub async fn other(&mut self) -> Outcome {
        match self.others.pop_front() {
            Some(other) => other,
            None => self.outcomes.recv().await.unwrap(),
        }
    }

    /// Waits for the next outcome, which must be a pending one, and moves the clock to its next try.
    pub async fn try_again(&mut self) -> (u32, SignedDuration, String) {
        let DeliveryState::Pending { attempts, next_try, last_error } = self.outcome().await.state else {
            panic!("it isn't pending");
        };
        self.stepper.advance_to(next_try);
        (attempts, next_try.duration_since(at(0)), last_error.unwrap())
    }

    pub async fn close(self) {
        self.stop.cancel();
        self.task.await.unwrap();
    }
}

/// One contact, by mail only, through a plain server on this machine.
pub fn settings(port: u16) -> Settings {
    Settings {
        smtp: Some(Smtp {
            host: "127.0.0.1".to_owned(),
            port,
            security: Security::None,
            ca_pem: None,
            login: None,
            from: "claymark@barn.example".to_owned(),
            patience: Patience::default(),
        }),
        addresses: vec![address("on-call", Some("on-call@barn.example"), false)],
        prefix: "claymark/alder-bend".to_owned(),
        replies: None,
    }
}

pub fn address(contact: &str, email: Option<&str>, mqtt: bool) -> Address {
    let email = email.map(str::to_owned);
    Address { contact: id(contact), name: "On call".to_owned(), email, mqtt, webhook: None, command: None }
}

pub fn login(user: &str, password: &str) -> Login {
    Login { user: user.to_owned(), password: password.to_owned() }
}

pub fn notice(number: u64, priority: Priority) -> Issued {
    Issued {
        notice: Notice {
            number,
            at: at(0),
            kind: NoticeKind::Runout,
            cause: "runout:a".to_owned(),
            drum: Some(id("a")),
            priority,
            replaces: None,
            to: Audience::Everyone,
            calling: None,
            tonight: None,
            content: Content::ReadingsMissing(ReadingsMissing::SessionLost { since: at(-9), until: at(0) }),
        },
        subject: format!("Notice {number}"),
        text: "Go.\n".to_owned(),
    }
}

/// It is of use until the visit.
pub fn evening_check(number: u64, visit: Timestamp) -> Issued {
    let mut issued = notice(number, Priority::Soon);
    issued.notice.at = issued.notice.at.min(visit - SignedDuration::from_hours(3));
    issued.notice.content = Content::EveningCheck(Box::new(EveningCheck {
        due: issued.notice.at,
        visit: Visit { at: visit, margin: SignedDuration::from_hours(1) },
        drums: Vec::new(),
        supplies: Vec::new(),
        silent: Vec::new(),
        heard: 0,
        confirm_by: None,
        first_called: None,
        store_failing_since: None,
        standing: Vec::new(),
        overdue: Vec::new(),
        doubtful_catches: Vec::new(),
        order_due: None,
        shelved: Vec::new(),
    }));
    issued
}

pub fn pending(number: u64, contact: &str, channel: Channel) -> Delivery {
    let state = DeliveryState::Pending { attempts: 3, next_try: at(60), last_error: None };
    Delivery { notice: number, contact: id(contact), channel, state }
}

pub fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

/// Seconds after 17:00 in Helsinki, summer time.
pub fn at(second: i64) -> Timestamp {
    "2027-04-20T14:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_secs(second)
}
