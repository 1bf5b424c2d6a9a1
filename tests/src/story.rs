//! Short stories of one room, told as recorded messages and read back by the real pipeline.
//!
//! - [`physics`]: the room as stirred tanks: what is truly so;
//! - [`rooms`]: which instruments it has;
//! - [`script`]: what happens when, and what the instruments make of it: NDJSON, a line a message;
//! - [`people`]: who answers, who comes, and whether fish were left in danger without a word;
//! - [`worlds`]: rooms, hours and failures drawn from a seed, which nothing was tuned to;
//! - [`told`]: the messages through decode, quality and room; what people were told.
//!
//! The room is invented: 16 tanks of 280 L behind a head tank of 450 L, two drums of 175 L.

pub mod people;
pub mod physics;
pub mod rooms;
pub mod script;
pub mod told;
pub mod worlds;

pub use people::{Habit, Watched};
pub use physics::{Truth, Which};
pub use script::ScriptedStory;
pub use told::{NoticeAsRead, Telling};
pub use worlds::DrawnWorld;

/// A variant of the room's site file: keys are exchanged as text, sections added at the end.
#[must_use]
pub fn site_file(changes: &[(&str, &str)], more: &str) -> String {
    let mut text = SITE.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "the site file holds no '{from}'");
        text = text.replace(from, to);
    }
    format!("{text}\n{more}\n")
}

/// A sensor section for [`site_file`]; `more` are further keys.
#[must_use]
pub fn sensor(id: &str, topic: &str, place: &str, measures: &str, (unit, more): (&str, &str)) -> String {
    format!(
        "[[sensor]]\nid = \"{id}\"\ntopic = \"{topic}\"\nat = \"{place}\"\nmeasures = \"{measures}\"\nunit = \"{unit}\"\n\
         payload = {{ json = \"/v\", time = \"/t\" }}\nevery = \"1 min\"\n{more}\n"
    )
}

const SITE: &str = include_str!("story/site.toml");
