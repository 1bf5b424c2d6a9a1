//! The connection to the broker: another client with our name is an alarm; every other trouble is the cause that a
//! silence is told with.

use jiff::Timestamp;

use crate::action::AlarmAction;
use crate::alarms::{AlarmSource, Turn};
use crate::scene::RoomView;
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, ReadingsMissing};
use claymark_notice::link::{Link, LinkDown, Trouble};
use claymark_notice::{Content, Priority};

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

    /// Another client has our name, or had it before a restart.
    pub(crate) fn taken_over(&mut self, since: Timestamp, client_id: &str, certain: bool) {
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

    /// Whether another client has our name; `None`: no other is known of.
    pub(crate) fn condition(&self, view: &RoomView<'_>) -> Option<(String, Holds)> {
        let rival = self.rival.as_ref()?;
        let over = view.alarms.last(NAME).is_some() && rival.ours_since.is_some();
        Some((NAME.to_owned(), if over { Holds::No } else { Holds::Since(rival.since) }))
    }

    /// Tells that another client has our name, and when it hasn't any more: at once, however short it was, for readings
    /// are gone. Only what is over for long enough is withdrawn, so two clients that throw each other out are one story.
    pub(crate) fn turned(&mut self, view: &RoomView<'_>, turn: Turn) -> Option<AlarmAction> {
        match turn {
            Turn::Tell(since) => {
                let finding = view.on_duty(NAME, Priority::Soon, (None, self.rival()?));
                Some(view.raised(AlarmSource::Name, since, Priority::Soon, finding))
            }
            Turn::Withdraw(_) => {
                let rival = self.rival.take_if(|_| view.alarms.last(NAME).is_some())?;
                let until = rival.ours_since.unwrap_or(view.scene.now);
                view.withdrawn(NAME, None, Because::NameFree { since: rival.since, until }, None)
            }
        }
    }

    /// What is to be said while another client has our name.
    pub(crate) fn rival(&self) -> Option<Content> {
        let Rival { since, client_id, certain, .. } = self.rival.as_ref()?;
        let (since, client_id, certain) = (*since, client_id.clone(), *certain);
        Some(Content::ReadingsMissing(ReadingsMissing::TakenOver { since, client_id, certain }))
    }
}

const NAME: &str = "client-id";
