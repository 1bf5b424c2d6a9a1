//! Clocks that are off, and the time in which nobody watched.

use claymark_notice::device_clock::{ClockFault, OffClock, ServerClock};
use claymark_notice::unwatched::Unwatched;
use jiff::SignedDuration;

use crate::format;
use crate::names::{self, first_of, short};
use crate::notice::{Teller, Text, Wording, fit};

impl Teller<'_> {
    pub(super) fn device_clock(&self, clock: &OffClock) -> Wording {
        match clock.fault {
            ClockFault::Steady { ahead } => self.steadily_off(clock, ahead),
            ClockFault::Refused { messages } => self.times_refused(clock, messages),
        }
    }

    fn steadily_off(&self, clock: &OffClock, ahead: SignedDuration) -> Wording {
        let (who, off) = (self.device(clock), off(ahead));
        let mut text = Text::default();
        text.line(format!("The clock of {who} is {off}, by when its readings arrive{}.", self.dates(clock)));
        text.line(
            "Nothing is lost: its readings are kept with the time that it says, and used at the right one.",
        );
        text.line(likely(ahead));
        text.line(
            "To do, by daylight: set the clock of that device. When it is right, a message will say so.",
        );
        text.wording(fit(|room| {
            format!("The clock of {} is {off}: its readings are put right.", short(&who, room))
        }))
    }

    fn times_refused(&self, clock: &OffClock, messages: usize) -> Wording {
        let who = self.device(clock);
        let since = self.clock.time(clock.since);
        let mut text = Text::default();
        text.line(format!(
            "{messages} messages of {who} within an hour carried a time that can't be right{}.",
            self.dates(clock)
        ));
        text.line("They don't show by how much its clock is off. What they say is put aside and not used.");
        text.line("Until that is mended Claymark doesn't see what it measures: look there yourself.");
        text.line("To do: set the clock of that device, or switch it off and on. Nothing of that can be seen from here.");
        text.wording(fit(|room| {
            format!(
                "The times of {} can't be right since {since}: I can't use its readings.",
                short(&who, room)
            )
        }))
    }

    pub(super) fn server_clock(&self, clock: &ServerClock) -> Wording {
        let ServerClock { since, ahead, off, heard } = *clock;
        let (since, by) = (self.clock.time(since), format::duration(ahead));
        let way = if ahead.is_negative() { "fast" } else { "slow" };
        let mut text = Text::default();
        text.line(format!(
            "Since {since} {off} of {heard} devices say a time that is {by} {} the server's: most likely the server's clock is {way}.",
            if ahead.is_negative() { "behind" } else { "ahead of" }
        ));
        text.line(
            "No reading's time is changed for it. Times in messages, this one too, may be wrong by as much.",
        );
        text.line(format!(
            "To do: look at a clock that is right. The server shows {} now. Is it wrong, see to its time service.",
            self.clock.time(self.at)
        ));
        text.line(
            "Is it right, then those devices share a mistake, such as summer time. If they hang on one gateway, name that \
             in the site file (device = \"…\" at each sensor): then its times are put right.",
        );
        text.wording(format!(
            "The server's clock may be {by} {way}: {off} of {heard} devices say so. Compare it."
        ))
    }

    pub(super) fn device_clock_right(&self, clock: &OffClock) -> Wording {
        let (who, since) = (self.device(clock), self.clock.time(clock.since));
        let mut text = Text::default();
        text.line(format!("It was off from {since} on. Its times are taken as they come again."));
        text.lines(match clock.fault {
            ClockFault::Steady { .. } => None,
            ClockFault::Refused { .. } => {
                Some("What was put aside meanwhile is missing in forecasts and report.".to_owned())
            }
        });
        text.wording(fit(|room| format!("All clear. The clock of {} is right again.", short(&who, room))))
    }

    pub(super) fn server_clock_right(&self, clock: &ServerClock) -> Wording {
        let mut text = Text::default();
        text.line(format!(
            "Most devices differed from the server's clock from {} on; they agree again.",
            self.clock.time(clock.since)
        ));
        text.line("What was dated meanwhile may be wrong by as much.");
        text.wording("All clear. The server's clock and the devices' agree again.".to_owned())
    }

    pub(super) fn unwatched(&self, gap: &Unwatched) -> Wording {
        let clock = self.clock.together(&[Some(gap.from), Some(gap.to)]);
        let (from, to) = (clock.time(gap.from), clock.time(gap.to));
        let mut text = Text::default();
        text.line(format!(
            "Claymark didn't watch from {from} to {to}: it was stopped, or its machine was off."
        ));
        text.line("Nobody was warned in that time. From then on all is watched again.").gap();
        text.line(match gap.late {
            0 => "No reading of that time has come since.".to_owned(),
            1 => "One reading of that time came late, from the broker or the devices.".to_owned(),
            late => format!("{late} readings of that time came late, from the broker or the devices."),
        });
        if !gap.missing.is_empty() {
            text.line(format!("None came from: {}.", first_of(&self.sensor_names(&gap.missing))));
        }
        text.line("To do: look at drums and tanks as they are now, and write down what was done meanwhile.");
        text.wording(format!(
            "Nobody watched from {from} to {to}. Look at the room, and write down what was done."
        ))
    }

    /// What the people call it.
    fn device(&self, clock: &OffClock) -> String {
        match (&clock.device, clock.sensors.as_slice()) {
            (Some(device), _) => format!("device {device}"),
            (None, [one]) => format!("the sensor for {}", names::sensor(self.site, one)),
            (None, several) => format!("the device for {}", first_of(&self.sensor_names(several))),
        }
    }

    /// Which readings it dates, where its name doesn't say so.
    fn dates(&self, clock: &OffClock) -> String {
        match clock.device {
            Some(_) => format!(" ({})", first_of(&self.sensor_names(&clock.sensors))),
            None => String::new(),
        }
    }

    fn sensor_names(&self, sensors: &[claymark_model::id::Id]) -> Vec<String> {
        sensors.iter().map(|sensor| names::sensor(self.site, sensor)).collect()
    }
}

/// "1 h fast".
fn off(ahead: SignedDuration) -> String {
    format!("{} {}", format::duration(ahead), if ahead.is_negative() { "slow" } else { "fast" })
}

/// What such a size comes from, mostly.
fn likely(ahead: SignedDuration) -> String {
    let by = ahead.abs();
    let halves = (by.as_secs() + HALF_HOUR.as_secs() / 2) / HALF_HOUR.as_secs();
    let rest = by - SignedDuration::from_secs(halves * HALF_HOUR.as_secs());
    let told = match () {
        () if by > WEEK => "So much comes from a clock that was never set, or lost its time with the power.",
        () if halves > 0 && by < DAY && rest.abs() < NEAR => {
            "A whole number of half hours is most likely a wrong time zone, or summer time."
        }
        () if ahead.is_negative() => {
            "It may also be that the device always sends so late: then set what it says to when it measured."
        }
        () => "Some minutes come from a clock that nothing sets, and that drifts.",
    };
    told.to_owned()
}

const HALF_HOUR: SignedDuration = SignedDuration::from_mins(30);
const DAY: SignedDuration = SignedDuration::from_hours(24);
const WEEK: SignedDuration = SignedDuration::from_hours(7 * 24);
/// Delay and drift on top.
const NEAR: SignedDuration = SignedDuration::from_secs(90);
