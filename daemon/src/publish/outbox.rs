//! What waits to be published: values in, values out.

use std::collections::{BTreeMap, VecDeque};

use super::{RefusedForGood, Request, Retained};

/// What waits, what is on the way, and the latest of each retained topic.
#[derive(Debug, Default)]
pub struct Outbox {
    latest: BTreeMap<String, Latest>,
    requests: VecDeque<Request>,
    /// Given to the connection, which hasn't said its packet id yet; in that order.
    unnumbered: VecDeque<OnTheWay>,
    numbered: BTreeMap<u16, OnTheWay>,
}

/// One message to be given to the connection.
#[derive(Debug, PartialEq, Eq)]
pub struct Next<'a> {
    /// Full topic.
    pub topic: &'a str,
    /// As is.
    pub payload: &'a [u8],
    /// Whether the broker keeps it.
    pub retain: bool,
}

#[derive(Debug)]
struct Latest {
    payload: Vec<u8>,
    state: LatestState,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum LatestState {
    Waiting,
    OnTheWay,
    /// On the way, and changed since.
    Overtaken,
    Taken,
}

#[derive(Debug)]
enum OnTheWay {
    Latest(String),
    Request(Request),
}

impl Outbox {
    /// The latest value of a topic.
    pub fn retain(&mut self, Retained { topic, payload }: Retained) {
        let state = match self.latest.get(&topic).map(|latest| latest.state) {
            Some(LatestState::OnTheWay | LatestState::Overtaken) => LatestState::Overtaken,
            Some(LatestState::Waiting | LatestState::Taken) | None => LatestState::Waiting,
        };
        self.latest.insert(topic, Latest { payload, state });
    }

    /// One more request, behind the others.
    pub fn request(&mut self, request: Request) {
        self.requests.push_back(request);
    }

    /// Nothing of what was on the way counts any more, and the new broker may have forgotten everything
    /// retained.
    pub fn connection_is_new(&mut self) {
        let unnumbered = std::mem::take(&mut self.unnumbered);
        let numbered = std::mem::take(&mut self.numbered).into_values();
        // Packet ids count up from 1 on each connection and don't come round with so few on the way.
        for one in unnumbered.into_iter().rev().chain(numbered.rev()) {
            if let OnTheWay::Request(request) = one {
                self.requests.push_front(request);
            }
        }
        for latest in self.latest.values_mut() {
            latest.state = LatestState::Waiting;
        }
    }

    /// The next message to be given to the connection; it then counts as on the way. `None`: nothing
    /// waits, or enough is on the way.
    pub fn next(&mut self) -> Option<Next<'_>> {
        if self.unnumbered.len() + self.numbered.len() >= ON_THE_WAY {
            return None;
        }
        // A notice that is of no use any more was given up by who sent it.
        self.requests.retain(|request| !request.done.is_closed());
        // People first: a notice overtakes forecasts.
        let next = match self.requests.pop_front() {
            Some(request) => OnTheWay::Request(request),
            None => OnTheWay::Latest(self.waiting_topic()?),
        };
        self.unnumbered.push_back(next);
        match self.unnumbered.back()? {
            OnTheWay::Request(request) => {
                Some(Next { topic: &request.topic, payload: &request.payload, retain: request.retain })
            }
            OnTheWay::Latest(topic) => {
                let latest = self.latest.get_mut(topic)?;
                latest.state = LatestState::OnTheWay;
                Some(Next { topic, payload: &latest.payload, retain: true })
            }
        }
    }

    /// The oldest message without a packet id got this one.
    pub fn sent(&mut self, packet: u16) {
        if let Some(one) = self.unnumbered.pop_front() {
            self.numbered.insert(packet, one);
        }
    }

    /// The broker has taken the message of that packet id, or refuses it.
    pub fn taken(&mut self, packet: u16, refused: Option<String>) {
        match self.numbered.remove(&packet) {
            Some(OnTheWay::Request(request)) => {
                let outcome = refused.map_or(Ok(()), |why| Err(RefusedForGood(why)));
                if request.done.send(outcome).is_err() {
                    tracing::debug!(
                        "nobody waits any more for what became of a message to {}",
                        request.topic
                    );
                }
            }
            Some(OnTheWay::Latest(topic)) => {
                if let Some(why) = refused {
                    tracing::warn!(
                        "the broker refuses what we publish on {topic}: {why}; mend our rights there"
                    );
                }
                self.latest_taken(&topic);
            }
            None => {}
        }
    }

    /// Whether everything was taken.
    pub fn is_empty(&self) -> bool {
        self.requests.is_empty()
            && self.unnumbered.is_empty()
            && self.numbered.is_empty()
            && self.latest.values().all(|latest| latest.state == LatestState::Taken)
    }

    fn waiting_topic(&self) -> Option<String> {
        let waiting = self.latest.iter().find(|(_, latest)| latest.state == LatestState::Waiting);
        waiting.map(|(topic, _)| topic.clone())
    }

    fn latest_taken(&mut self, topic: &str) {
        let Some(latest) = self.latest.get_mut(topic) else { return };
        latest.state = match latest.state {
            LatestState::Overtaken | LatestState::Waiting => LatestState::Waiting,
            LatestState::OnTheWay | LatestState::Taken => LatestState::Taken,
        };
        if latest.state == LatestState::Taken && latest.payload.is_empty() {
            self.latest.remove(topic);
        }
    }
}

/// Enough to keep a slow line busy, and what Mosquitto takes at a time.
const ON_THE_WAY: usize = 20;

#[cfg(test)]
mod tests {
    use tokio::sync::oneshot;

    use super::*;

    fn retained(topic: &str, payload: &str) -> Retained {
        Retained { topic: topic.to_owned(), payload: payload.as_bytes().to_vec() }
    }

    fn request(topic: &str) -> (Request, oneshot::Receiver<Result<(), RefusedForGood>>) {
        let (done, outcome) = oneshot::channel();
        (Request { topic: topic.to_owned(), payload: b"x".to_vec(), retain: false, done }, outcome)
    }

    /// Gives everything that may go to the connection, as `topic=payload`.
    fn drain(outbox: &mut Outbox) -> Vec<String> {
        let mut sent = Vec::new();
        while let Some(next) = outbox.next() {
            sent.push(format!("{}={}", next.topic, String::from_utf8_lossy(next.payload)));
        }
        sent
    }

    #[test]
    fn of_a_retained_topic_only_the_latest_value_is_sent() {
        let mut outbox = Outbox::default();
        outbox.retain(retained("a", "1"));
        outbox.retain(retained("a", "2"));
        assert_eq!(drain(&mut outbox), ["a=2"]);
        outbox.retain(retained("a", "3"));
        assert!(drain(&mut outbox).is_empty(), "one value of a topic is on the way at a time");
        outbox.sent(1);
        outbox.taken(1, None);
        assert_eq!(drain(&mut outbox), ["a=3"]);
        outbox.sent(2);
        outbox.taken(2, None);
        assert!(outbox.is_empty());
    }

    #[test]
    fn everything_retained_is_published_again_on_a_new_connection() {
        let mut outbox = Outbox::default();
        outbox.retain(retained("a", "1"));
        drain(&mut outbox);
        outbox.sent(1);
        outbox.taken(1, None);
        outbox.connection_is_new();
        assert_eq!(drain(&mut outbox), ["a=1"]);
    }

    #[test]
    fn a_request_survives_connections_in_its_order_until_the_broker_has_taken_it() {
        let mut outbox = Outbox::default();
        let (first, mut first_outcome) = request("first");
        let (second, _second_outcome) = request("second");
        outbox.request(first);
        outbox.request(second);
        assert_eq!(drain(&mut outbox), ["first=x", "second=x"]);
        outbox.sent(1);
        outbox.connection_is_new();
        assert_eq!(drain(&mut outbox), ["first=x", "second=x"]);
        outbox.sent(1);
        assert!(first_outcome.try_recv().is_err(), "not before the broker's word");
        outbox.taken(1, None);
        assert_eq!(first_outcome.try_recv(), Ok(Ok(())));
        assert!(!outbox.is_empty());
    }

    #[test]
    fn a_refusal_reaches_the_one_who_asked() {
        let mut outbox = Outbox::default();
        let (request, mut outcome) = request("n");
        outbox.request(request);
        drain(&mut outbox);
        outbox.sent(9);
        outbox.taken(9, Some("NotAuthorized".to_owned()));
        assert_eq!(outcome.try_recv(), Ok(Err(RefusedForGood("NotAuthorized".to_owned()))));
    }

    #[test]
    fn a_cleared_topic_is_forgotten_once_the_broker_has_cleared_it() {
        let mut outbox = Outbox::default();
        outbox.retain(retained("gone", ""));
        assert_eq!(drain(&mut outbox), ["gone="]);
        outbox.sent(1);
        outbox.taken(1, None);
        outbox.connection_is_new();
        assert!(drain(&mut outbox).is_empty());
    }

    #[test]
    fn no_more_than_the_window_is_on_the_way() {
        let mut outbox = Outbox::default();
        for topic in 0..50 {
            outbox.retain(retained(&topic.to_string(), "1"));
        }
        assert_eq!(drain(&mut outbox).len(), ON_THE_WAY);
        outbox.sent(1);
        outbox.taken(1, None);
        assert_eq!(drain(&mut outbox).len(), 1);
    }
}
