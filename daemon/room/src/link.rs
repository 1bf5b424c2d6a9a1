//! The connection to the broker: another client with our name is an alarm; every other trouble is the cause that a
//! silence is told with.

use jiff::Timestamp;

use crate::Room;
use crate::audience::Told;
use crate::condition::WELL_FOR;
use crate::scene::{Scene, withdrawn};
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
    told: Option<Told>,
}

/// What is due.
enum Turn {
    Nothing,
    Tell,
    Withdraw(Told),
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
            told: known.and_then(|known| known.told),
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

    /// It is told at once, however short it was: readings are gone. Only what is over for long enough is withdrawn,
    /// so two clients that throw each other out are one story.
    fn turn(&self, now: Timestamp) -> Turn {
        match &self.rival {
            Some(Rival { told: None, .. }) => Turn::Tell,
            Some(Rival { told: Some(told), ours_since: Some(ours), .. }) if *ours + WELL_FOR <= now => {
                Turn::Withdraw(told.clone())
            }
            Some(_) | None => Turn::Nothing,
        }
    }

    /// When something is due if nothing changes.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.rival.as_ref()?.ours_since.map(|ours| ours + WELL_FOR)
    }

    /// It was withdrawn.
    pub(crate) fn withdraw(&mut self) {
        self.rival = None;
    }

    /// While the past is told again: another client had our name then.
    pub(crate) fn recall(&mut self, since: Timestamp, client_id: &str, certain: bool, told: Told) {
        self.taken_over(since, client_id, certain);
        if let Some(rival) = &mut self.rival {
            rival.told = Some(told);
        }
    }
}

impl Room {
    /// Tells that another client has our name, and when it hasn't any more.
    pub(crate) fn check_link(&mut self, scene: &Scene) {
        match self.link.turn(scene.now) {
            Turn::Nothing => {}
            Turn::Tell => {
                let Some(Rival { since, client_id, certain, .. }) = &self.link.rival else { return };
                let (since, client_id, certain) = (*since, client_id.clone(), *certain);
                let missing = ReadingsMissing::TakenOver { since, client_id, certain };
                let content = Content::ReadingsMissing(missing);
                let finding = self.on_duty(scene, NAME.to_owned(), Priority::Soon, content);
                let told = self.tell(scene, finding);
                if let Some(rival) = &mut self.link.rival {
                    rival.told = Some(told);
                }
            }
            Turn::Withdraw(told) => {
                if let Some(rival) = self.link.rival.take() {
                    let until = rival.ours_since.unwrap_or(scene.now);
                    let because = Because::NameFree { since: rival.since, until };
                    self.tell(scene, withdrawn(NAME.to_owned(), None, &told, because));
                }
            }
        }
    }
}

const NAME: &str = "client-id";
