//! Who has the night: whoever answers the evening message; unanswered, one person after the other is asked.

use jiff::Timestamp;

use crate::action::{AlarmAction, Finding};
use crate::alarms::{AlarmSource, Turn};
use crate::audience;
use crate::scene::RoomView;
use claymark_model::calendar::Shift;
use claymark_notice::alarm::Holds;
use claymark_notice::handover::Handover;
use claymark_notice::{Audience, Content, Priority};

/// Whether nobody has said in time that the night is theirs.
pub(crate) fn condition(view: &RoomView<'_>) -> (String, Holds) {
    (HANDOVER.to_owned(), unconfirmed(view).map_or(Holds::No, Holds::Since))
}

fn unconfirmed(view: &RoomView<'_>) -> Option<Timestamp> {
    let (known, scene) = (view.known, view.scene);
    let Shift::Away { evening, visit } = scene.shift else { return None };
    let by = known.confirm_by(evening).filter(|by| *by <= scene.now && *by < visit)?;
    let confirmed = known.given(scene.now).is_some_and(|given| given.confirmed.is_some());
    // Who began to watch in the middle of a night hasn't asked anybody.
    (!confirmed && scene.live <= by).then_some(by)
}

/// Asks the next person.
pub(crate) fn turned(view: &RoomView<'_>, turn: Turn) -> Option<AlarmAction> {
    match turn {
        Turn::Tell(since) => {
            let content = asking(view)?;
            let contacts = view.scene.on_call.usual();
            let expected = view.known.on_tonight(view.scene.now).map(|tonight| tonight.person);
            let to = match expected {
                Some(person) if contacts.len() > 1 => audience::next(contacts, &Audience::one(person)),
                Some(_) | None => audience::first(contacts, view.scene.shift),
            };
            let finding = view.on_duty(HANDOVER, Priority::Now, (None, content));
            Some(view.raised(AlarmSource::Handover, since, Priority::Now, Finding { to, ..finding }))
        }
        Turn::Withdraw(_) => Some(AlarmAction::End { cause: HANDOVER.to_owned(), quiet_until: None }),
    }
}

/// What is asked.
pub(crate) fn asking(view: &RoomView<'_>) -> Option<Content> {
    let Shift::Away { evening, visit } = view.scene.shift else { return None };
    let expected = view.known.on_tonight(view.scene.now).map(|tonight| tonight.person);
    Some(Content::Handover(Handover { expected, evening, visit }))
}

const HANDOVER: &str = "tonight";
