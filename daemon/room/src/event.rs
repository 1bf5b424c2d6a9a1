//! What goes through the room's one door: events in, effects and deadlines out.

use jiff::Timestamp;

use claymark_clay::LearnedYield;
use claymark_clay::refill::sheet::Sheet;
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::Forecast;
use claymark_model::happening::Happening;
use claymark_model::reading::Assessed;
use claymark_model::skill::MarkForecast;
use claymark_notice::device_clock::ClockFindings;
use claymark_notice::keeping::{ClockStep, StoreFate};
use claymark_notice::link::{Link, Trouble};
use claymark_notice::query::Query;
use claymark_notice::{Answer, Missed, Notice};

/// Everything that can happen to the room.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// A reading with its flags; a second time for the same sensor and time when its spike flag was settled.
    Reading(Assessed),
    /// Somebody did something and wrote it down.
    Log(LogEntry),
    /// Somebody answered a notice.
    Answer(Answer),
    /// The broker had forgotten our session: readings may be missing since then.
    SessionLost {
        /// The last time that the session is known to have stood.
        since: Timestamp,
    },
    /// A commit failed: readings aren't kept until the store works again.
    StoreFailed {
        /// What the store said.
        why: String,
    },
    /// A commit succeeded again.
    StoreWorks,
    /// Something became of the store itself.
    StoreReplaced(StoreFate),
    /// Before going live: not all of the past could be read.
    PastUnread {
        /// None of it could.
        wholly: bool,
    },
    /// The server's clock was set; told before the time that it shows now.
    ClockStepped(ClockStep),
    /// Other clocks are off than before, or differently.
    Clocks(ClockFindings),
    /// Claymark hasn't watched since then; told when it begins again.
    WasAway {
        /// The last time that the watch is known to have stood.
        since: Timestamp,
    },
    /// What is kept hasn't reached the central database for too long.
    NotForwarded {
        /// When the oldest of what waits arrived.
        since: Timestamp,
        /// What stands in the way.
        why: String,
    },
    /// Nothing waits for the central database any more.
    Forwarded,
    /// While the past is told again after a restart: a notice that had been sent.
    Recalled(Notice),
    /// While the past is told again after a restart: what was written down in the weeks before it.
    Remembered(LogEntry),
    /// While the past is told again after a restart: what the data had shown in the weeks before it.
    HadHappened(Happening),
    /// While the past is told again after a restart: what had been said of a mark.
    RecalledMark(MarkForecast),
    /// While the past is told again after a restart: what had been learned of the clay.
    RecalledYield(LearnedYield),
    /// The past has been told; from now on the room speaks. Before this it makes no notice and no forecast.
    GoLive,
    /// Nothing but the time: a deadline has come, or the clock was looked at.
    Tick,
    /// Something wasn't taken, or is to be asked about.
    Query(Query),
    /// While the past is told again after a restart: notices were numbered up to there, whether or not they can be read.
    NumberedUpTo(u64),
    /// The connection to the broker is another than before.
    Link(Link),
    /// A notice won't reach somebody by some way.
    NotDelivered {
        /// The notice.
        notice: Box<Notice>,
        /// Who won't get it, and how.
        missed: Missed,
    },
}

/// What must be done now.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Tell people.
    Notify(Notice),
    /// Publish and keep a forecast.
    Forecast(Forecast),
    /// Publish a refill sheet.
    Sheet(Box<Sheet>),
    /// Keep what was seen to happen.
    Happened(Happening),
    /// Keep what was said of a mark, or what became of it.
    Mark(MarkForecast),
    /// Keep what was learned of the clay.
    Learned(LearnedYield),
}

/// Why the room wants to be woken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// The forecasts of each tenth minute.
    Forecasts,
    /// The evening check.
    EveningCheck,
    /// The morning's word.
    Morning,
    /// A warning is due, or due again.
    Warning,
    /// A sensor will have been silent for too long.
    Silence,
}

/// A time with its reason.
pub type Deadline = (Timestamp, Why);

impl Event {
    /// Whether it may change what people must be told. Readings are looked at once in a while; what is told again of the past
    /// may not, for the room doesn't speak yet.
    pub(crate) fn is_news(&self, reading_counts: bool) -> bool {
        match self {
            Self::Reading(_) => reading_counts,
            Self::Log(_)
            | Self::Answer(_)
            | Self::SessionLost { .. }
            | Self::StoreFailed { .. }
            | Self::StoreWorks
            | Self::StoreReplaced(_)
            | Self::ClockStepped(_)
            | Self::Clocks(_)
            | Self::WasAway { .. }
            | Self::NotForwarded { .. }
            | Self::Forwarded
            | Self::Query(_)
            | Self::NotDelivered { .. }
            | Self::GoLive => true,
            // The rest is known when something else is told: who connects, connects again and again.
            Self::Link(link) => matches!(link, Link::Down(Trouble::TakenOver { .. })),
            Self::Recalled(_)
            | Self::Remembered(_)
            | Self::HadHappened(_)
            | Self::RecalledMark(_)
            | Self::RecalledYield(_)
            | Self::PastUnread { .. }
            | Self::NumberedUpTo(_)
            | Self::Tick => false,
        }
    }
}
