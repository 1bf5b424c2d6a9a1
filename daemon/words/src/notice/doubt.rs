//! A level can't be believed: its drum is watched worse than usual, and that is a warning in itself.

use claymark_notice::content::LevelDoubt;

use crate::names::short;
use crate::notice::{Teller, Text, Wording, fit};

pub(super) fn wording(teller: Teller<'_>, doubt: &LevelDoubt) -> Wording {
    let mut text = Text::default();
    let empty_at = doubt.state.forecast.outlook.empty_at();
    text.lines(teller.known(&doubt.state));
    text.lines(empty_at.map(|empty_at| teller.dry_line(&empty_at)));
    text.lines(doubt.visit.map(|visit| format!("Next visit {}.", teller.clock.time(visit.at)))).gap();
    text.line("To do: read the drum by eye against its marks and write that down as a dip; wipe the sensor, look for foam.");
    text.line("Claymark goes on with what it can still use.");
    text.wording(subject(teller, doubt))
}

fn subject(teller: Teller<'_>, doubt: &LevelDoubt) -> String {
    let name = teller.name_of(&doubt.state);
    let now = doubt.state.forecast.outlook.empty_at().map_or_else(
        || "I don't know how long it lasts".to_owned(),
        |empty_at| format!("by the pump {}", teller.dry(&empty_at)),
    );
    fit(|room| format!("{}: its level can't be believed; {now}. Look at it.", short(&name, room)))
}
