//! Clocks that are off: a device's, whose readings are then dated by what is known of it, or the server's.

use std::collections::BTreeMap;

use jiff::Timestamp;

use crate::action::{AlarmAction, Finding};
use crate::alarms::{AlarmSource, Raise, Turn};
use crate::scene::RoomView;
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, ReadingsMissing};
use claymark_notice::device_clock::{ClockFault, ClockFindings, OffClock, ServerClock};
use claymark_notice::{Call, Content, Priority, Urgency};

/// Which clocks are off, and what people were told of that.
#[derive(Debug, Default)]
pub(crate) struct ClockWatch {
    off: BTreeMap<String, ToldClock>,
    told: BTreeMap<String, ToldClock>,
}

/// One clock that is off.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum ToldClock {
    Device(OffClock),
    Server(ServerClock),
}

impl ClockWatch {
    /// Those that are off now.
    pub(crate) fn take(&mut self, findings: ClockFindings) {
        let devices = findings.devices.into_iter().map(|clock| (cause_of(&clock), ToldClock::Device(clock)));
        let server = findings.server.map(|clock| (SERVER.to_owned(), ToldClock::Server(clock)));
        self.off = devices.chain(server).collect();
    }

    /// People were told, before a restart, too.
    pub(crate) fn told(&mut self, cause: &str, clock: ToldClock) {
        self.told.insert(cause.to_owned(), clock);
    }

    /// It was withdrawn.
    pub(crate) fn withdrawn(&mut self, cause: &str) {
        self.told.remove(cause);
    }

    /// Of each that is off, or was told to be, whether it is.
    pub(crate) fn conditions(&self) -> Vec<(String, Holds)> {
        let over = self.told.keys().filter(|cause| !self.off.contains_key(*cause));
        let holds = self.off.iter().map(|(cause, clock)| (cause.clone(), Holds::Since(clock.since())));
        holds.chain(over.map(|cause| (cause.clone(), Holds::No))).collect()
    }

    /// Tells that a clock is off, and when it is right again.
    pub(crate) fn turned(&mut self, view: &RoomView<'_>, cause: &str, turn: Turn) -> Option<AlarmAction> {
        match turn {
            Turn::Tell(_) => self.tell(view, cause, Call::First),
            Turn::Withdraw(_) => {
                let because = match self.told.remove(cause)? {
                    ToldClock::Device(clock) => Because::DeviceClockRight(clock),
                    ToldClock::Server(clock) => Because::ServerClockRight(clock),
                };
                view.withdrawn(cause, None, because, view.quiet_until(cause))
            }
        }
    }

    /// Tells again what is quite another fault than was told.
    pub(crate) fn news(&mut self, view: &RoomView<'_>) -> Vec<AlarmAction> {
        let is_news = |cause: &&String| match (self.off.get(*cause), self.told.get(*cause)) {
            (Some(ToldClock::Device(now)), Some(ToldClock::Device(told))) => now.is_news_after(told),
            (Some(_) | None, Some(_) | None) => false,
        };
        let causes: Vec<String> = self.off.keys().filter(is_news).cloned().collect();
        causes.iter().filter_map(|cause| self.tell(view, cause, Call::Worse)).collect()
    }

    /// What is to be said when people are called once more.
    pub(crate) fn again(&self, cause: &str) -> Option<Content> {
        self.off.get(cause).map(ToldClock::content)
    }

    fn tell(&mut self, view: &RoomView<'_>, cause: &str, call: Call) -> Option<AlarmAction> {
        let clock = self.off.get(cause)?.clone();
        let at_night = clock.priority();
        let before = view.alarms.last(cause).map(|told| told.number);
        let finding = view.on_duty(cause, at_night, (None, clock.content()));
        // What is put right by itself needs nobody to run, at whatever time of day.
        let priority = if at_night == Priority::Morning { at_night } else { finding.priority };
        let finding = Finding { priority, replaces: before, ..finding };
        let raise = Raise {
            source: AlarmSource::Clock,
            since: clock.since(),
            at_night,
            urgency: Urgency::Look,
            call,
        };
        self.told(cause, clock);
        Some(AlarmAction::Raise(finding, raise))
    }
}

impl ToldClock {
    fn since(&self) -> Timestamp {
        match self {
            Self::Device(clock) => clock.since,
            Self::Server(clock) => clock.since,
        }
    }

    fn priority(&self) -> Priority {
        match self {
            Self::Device(OffClock { fault: ClockFault::Steady { .. }, .. }) => Priority::Morning,
            Self::Device(OffClock { fault: ClockFault::Refused { .. }, .. }) | Self::Server(_) => {
                Priority::Soon
            }
        }
    }

    fn content(&self) -> Content {
        Content::ReadingsMissing(match self {
            Self::Device(clock) => ReadingsMissing::DeviceClock(clock.clone()),
            Self::Server(clock) => ReadingsMissing::ServerClock(*clock),
        })
    }
}

fn cause_of(clock: &OffClock) -> String {
    match (&clock.device, clock.sensors.first()) {
        (Some(device), _) => format!("clock:device:{device}"),
        (None, Some(sensor)) => format!("clock:sensor:{sensor}"),
        (None, None) => "clock:device".to_owned(),
    }
}

const SERVER: &str = "clock:server";
