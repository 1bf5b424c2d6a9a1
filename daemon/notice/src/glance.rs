//! How the room stands at a moment, for whoever looks at it: drums, what people are being called for, who has it.

use claymark_clay::refill::sheet::Sheet;
use claymark_model::forecast::Forecast;
use claymark_model::id::Id;
use jiff::Timestamp;

use crate::ShelvedAlarm;
use crate::calling::{Later, OnTonight, Promise, Urgency};
use crate::content::{EveningDrum, SilentSensor, Visit};

/// The room at a glance.
#[derive(Debug, Clone, PartialEq)]
pub struct Glance {
    /// When.
    pub at: Timestamp,
    /// Until when the drums must last; `None`: no visit is known.
    pub visit: Option<Visit>,
    /// In the order of the site file.
    pub drums: Vec<DrumAtAGlance>,
    /// For each pump that has several drums: all of them together.
    pub supplies: Vec<Forecast>,
    /// Sensors that don't speak.
    pub silent: Vec<SilentSensor>,
    /// Who has the night, where the site asks for that.
    pub tonight: Option<OnTonight>,
    /// Who is called first.
    pub first_called: Option<Id>,
    /// When hands were last seen in the room.
    pub hands_seen: Option<Timestamp>,
    /// What people were told of and that still stands, danger first.
    pub standing: Vec<StandingAlarm>,
}

/// One drum, and what to add to it.
#[derive(Debug, Clone, PartialEq)]
pub struct DrumAtAGlance {
    /// Whether it lasts, and what would make it last.
    pub outlook: EveningDrum,
    /// What to add now, up to its full line.
    pub sheet: Sheet,
}

/// Something that people were told of and that still stands.
#[derive(Debug, Clone, PartialEq)]
pub struct StandingAlarm {
    /// What caused it, as its notices name it.
    pub cause: String,
    /// Its first notice.
    pub first: u64,
    /// Its last one: the one to answer.
    pub number: u64,
    /// How often people were told.
    pub notices: usize,
    /// Since when it is wrong.
    pub since: Timestamp,
    /// How pressing it is.
    pub urgency: Urgency,
    /// Whether it calls people, also at night.
    pub calls: bool,
    /// Who is on it, and until when.
    pub promise: Option<Promise>,
    /// Until when nobody is called for it, and why.
    pub shelf: Option<ShelvedAlarm>,
    /// The next call if nobody answers.
    pub later: Option<Later>,
}

impl StandingAlarm {
    /// Whether people are being called for it because fish are in danger.
    #[must_use]
    pub fn is_danger(&self) -> bool {
        self.calls && matches!(self.urgency, Urgency::Danger { .. })
    }
}
