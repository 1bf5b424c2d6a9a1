//! What people were told of and that still stands: since when, who has it, until when, who is called next.

use claymark_model::site::Site;
use claymark_notice::Audience;
use claymark_notice::glance::{Glance, StandingAlarm};

use super::Weight;
use crate::format::Clock;
use crate::{names, typed};

/// One of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CallLines {
    /// The notice to answer.
    pub number: u64,
    /// What it said.
    pub said: String,
    /// "DANGER, since 02:10", "Since 02:10".
    pub since: String,
    /// "Anna is on it until 03:00", "Nobody has answered; Ben is called at 02:40".
    pub who: String,
    /// Somebody is on it.
    pub promised: bool,
    /// How much it presses.
    pub weight: Weight,
}

/// What stands; `said` is the first line of its last notice.
#[must_use]
pub fn call(site: &Site, glance: &Glance, alarm: &StandingAlarm, said: Option<&str>) -> CallLines {
    let clock = Clock::new(site, glance.at);
    let danger = alarm.is_danger();
    let word = if danger { "DANGER, since" } else { "Since" };
    let by = alarm.urgency.by().filter(|by| *by > glance.at);
    let by = by.map_or_else(String::new, |by| format!("; somebody must be there by {}", clock.by(by)));
    CallLines {
        number: alarm.number,
        said: said.map_or_else(
            || format!("Notice {}, of before the watch began anew", alarm.number),
            str::to_owned,
        ),
        since: format!("{word} {}{by}", clock.time(alarm.since)),
        who: who(site, clock, alarm),
        promised: alarm.promise.is_some() || alarm.shelf.is_some(),
        weight: if danger { Weight::Danger } else { Weight::Drifts },
    }
}

fn who(site: &Site, clock: Clock<'_>, alarm: &StandingAlarm) -> String {
    if let Some(shelf) = &alarm.shelf {
        let by = shelf.by.as_deref().map_or_else(|| "somebody".to_owned(), |by| named(site, by));
        let why = names::short(&typed::line(&shelf.why), REASON_CHARS);
        return format!("Nobody is called until {}: shelved by {by}, \"{why}\"", clock.time(shelf.until));
    }
    if let Some(promise) = &alarm.promise {
        let until = clock.time(promise.until);
        return match &promise.by {
            Some(by) => format!("{} is on it until {until}", named(site, by)),
            None if promise.unspoken => format!("Hands were seen: it is left to them until {until}"),
            None => format!("Somebody is on it until {until}"),
        };
    }
    let told = match alarm.notices {
        1 => "Told once".to_owned(),
        2 => "Told twice".to_owned(),
        n => format!("Told {n} times"),
    };
    match &alarm.later {
        None => format!("{told}; nobody has answered"),
        Some(later) => {
            let at = clock.time(later.at);
            let people = match &later.to {
                Audience::Everyone => "everybody".to_owned(),
                Audience::Only(people) => {
                    names::list(&people.iter().map(|id| names::contact(site, id)).collect::<Vec<_>>())
                }
            };
            format!("{told}; nobody has answered. Next told at {at}: {people}")
        }
    }
}

/// Whose night it is, or who is told first.
#[must_use]
pub fn whose_night(site: &Site, glance: &Glance) -> String {
    let clock = Clock::new(site, glance.at);
    match (&glance.tonight, &glance.first_called) {
        (Some(tonight), _) => {
            let name = names::contact(site, &tonight.person);
            match tonight.confirmed {
                Some(at) => format!("{name} has the night (said so at {})", clock.time(at)),
                None => format!("{name} should have the night, and hasn't confirmed it"),
            }
        }
        (None, Some(first)) => format!("{} is told first", names::contact(site, first)),
        (None, None) => "Nobody is named to be called".to_owned(),
    }
}

/// A contact by id or name as the site calls it, else as it was typed.
fn named(site: &Site, by: &str) -> String {
    let known = site.contacts.iter().find(|contact| contact.id.as_str() == by);
    known.map_or_else(|| names::short(&typed::name(by), NAME_CHARS), |contact| typed::name(&contact.name))
}

/// Of a reason that somebody typed.
const REASON_CHARS: usize = 80;

/// Of a name that somebody typed.
const NAME_CHARS: usize = 32;
