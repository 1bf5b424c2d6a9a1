//! The connection to the broker: another client with our name is an alarm; every other trouble is the cause that a
//! silence is told with.

use jiff::Timestamp;

use crate::Room;
use crate::alarms::{AlarmSource, Raise, Turn};
use crate::scene::{Scene, withdrawn};
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, ReadingsMissing};
use claymark_notice::link::{Link, LinkDown, Trouble};
use claymark_notice::{Call, Content, Priority, Urgency};

/// How the connection stands, and what people were told of a rival.
#[derive(Debug, Default)]
pub(crate) struct LinkWatch {
    down: Option<LinkDown>,
    rival: Option<Rival>,
}

/// Another client with our client id.
#[derive(Debug)]
struct Rival {
    since: Timestamp,
    client_id: String,
    certain: bool,
    /// Since when the session is ours again.
    ours_since: Option<Timestamp>,
}

impl LinkWatch {
    /// The connection is another than before.
    pub(crate) fn take(&mut self, now: Timestamp, link: Link) {
        match link {
            Link::Up => {
                self.down = None;
                if let Some(rival) = &mut self.rival {
                    rival.ours_since.get_or_insert(now);
                }
            }
            Link::Down(trouble) => {
                if let Trouble::TakenOver { since, client_id, certain } = &trouble {
                    self.taken_over(*since, client_id, *certain);
                }
                let since = self.down.as_ref().map_or(now, |down| down.since);
                self.down = Some(LinkDown { since, trouble });
            }
        }
    }

    fn taken_over(&mut self, since: Timestamp, client_id: &str, certain: bool) {
        let known = self.rival.take();
        self.rival = Some(Rival {
            since: known.as_ref().map_or(since, |known| known.since.min(since)),
            client_id: client_id.to_owned(),
            certain: certain || known.as_ref().is_some_and(|known| known.certain),
            ours_since: None,
        });
    }

    /// The broker had no session for us although another client has, or just had, our name: it was that client who
    /// dropped it. True when that explains it.
    pub(crate) fn explains_loss(&mut self, since: Timestamp) -> bool {
        let Some(rival) = &mut self.rival else { return false };
        rival.since = rival.since.min(since);
        true
    }

    /// What is wrong with it, while it is down.
    pub(crate) fn down(&self) -> Option<&LinkDown> {
        self.down.as_ref()
    }

    /// It was withdrawn.
    pub(crate) fn withdraw(&mut self) {
        self.rival = None;
    }

    /// While the past is told again: another client had our name then.
    pub(crate) fn recall(&mut self, since: Timestamp, client_id: &str, certain: bool) {
        self.taken_over(since, client_id, certain);
    }
}

impl Room {
    /// Tells that another client has our name, and when it hasn't any more: at once, however short it was, for readings
    /// are gone. Only what is over for long enough is withdrawn, so two clients that throw each other out are one story.
    pub(crate) fn check_link(&mut self, scene: &Scene) {
        let Some(rival) = &self.link.rival else { return };
        let told = self.alarms.stands(NAME);
        let holds = if told && rival.ours_since.is_some() { Holds::No } else { Holds::Since(rival.since) };
        match self.alarms.observe(NAME, AlarmSource::Name, (scene.now, holds)) {
            Turn::Nothing => {}
            Turn::Tell(since) => {
                let Some(content) = self.taken_over() else { return };
                let at_night = Priority::Soon;
                let finding = self.on_duty(scene, NAME.to_owned(), at_night, content);
                let (source, call) = (AlarmSource::Name, Call::First);
                self.raise(
                    scene,
                    finding,
                    Raise { source, since, at_night, urgency: Urgency::Look, call },
                    None,
                );
            }
            Turn::Withdraw(_) => {
                if let Some(told) = self.alarms.last(NAME).cloned()
                    && let Some(rival) = self.link.rival.take()
                {
                    let until = rival.ours_since.unwrap_or(scene.now);
                    let because = Because::NameFree { since: rival.since, until };
                    self.tell(scene, withdrawn(NAME.to_owned(), None, &told, because));
                    self.alarms.over(NAME, None);
                }
            }
        }
    }

    /// What is to be said while another client has our name.
    pub(crate) fn taken_over(&self) -> Option<Content> {
        let Rival { since, client_id, certain, .. } = self.link.rival.as_ref()?;
        let (since, client_id, certain) = (*since, client_id.clone(), *certain);
        Some(Content::ReadingsMissing(ReadingsMissing::TakenOver { since, client_id, certain }))
    }
}

pub(crate) const NAME: &str = "client-id";
