//! Nobody has been seen in the room.

use claymark_notice::content::Unattended;

use crate::notice::{Teller, Text, Wording};

pub(super) fn wording(teller: Teller<'_>, unattended: &Unattended) -> Wording {
    let visit = teller.clock.time(unattended.visit);
    let seen = match unattended.seen {
        Some(seen) => format!("since {}", teller.clock.time(seen)),
        None => "since the watch began".to_owned(),
    };
    let mut text = Text::default();
    text.line(format!(
        "The visit was due at {visit}. No refill and no entry in the field log has been seen {seen}."
    ));
    text.line("An answer to this isn't a visit: whoever is there writes down what they did, or a note.")
        .gap();
    text.line("To do: see that somebody goes to the room and looks at drums, water and fish.");
    text.line("Somebody is there? claymark log note \"in the room\" says so.");
    text.wording(format!("Nobody has been seen in the room {seen}. Somebody must look."))
}
