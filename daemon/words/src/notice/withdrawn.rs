//! A warning no longer holds, in words.

use claymark_model::happening::SeenRefill;
use claymark_model::id::Id;
use claymark_notice::Notice;
use claymark_notice::content::{Because, DrumState, Verdict, Visit, Withdrawn};

use crate::names::{self, first_of, short};
use crate::notice::{Teller, Text, Wording, failure, fit};

#[expect(clippy::too_many_lines, reason = "an arm for each cause")]
pub(super) fn wording(teller: Teller<'_>, notice: &Notice, withdrawn: &Withdrawn) -> Wording {
    let mut text = Text::default();
    let number = notice.replaces.map(|number| format!(" {number}")).unwrap_or_default();
    text.line(format!("Notice{number} of {} no longer holds.", teller.clock.time(withdrawn.told_at))).gap();
    match &withdrawn.because {
        Because::Refilled { state, refill, visit, verdict } => {
            text.lines(teller.drum_now(state)).lines(visit.map(|visit| teller.against(&visit, *verdict)));
            text.wording(teller.refilled_subject(state, refill, *verdict))
        }
        Because::LastsAfterAll { state, visit } => {
            text.line("Nobody has to go for it; the forecast moved.");
            text.lines(teller.drum_now(state))
                .lines(visit.map(|visit| teller.against(&visit, Verdict::Lasts)));
            text.wording(teller.lasts_subject(state))
        }
        Because::LevelBelieved { state, since, until } => {
            let since = teller.clock.time(*since);
            let from_then_on = until.map_or_else(
                || format!("from {since} on; now it is."),
                |until| format!("from {since} to {}; since then it is.", teller.clock.time(until)),
            );
            text.line(format!("Its level wasn't believed {from_then_on}"));
            text.lines(teller.drum_now(state));
            let name = teller.name_of(state);
            text.wording(fit(|room| {
                format!("All clear. {}: its level is believed again.", short(&name, room))
            }))
        }
        Because::HeardAgain { heard, still_silent } => {
            text.line(format!("Speaking again: {}.", teller.sensors(heard)));
            if !still_silent.is_empty() {
                text.line(format!("Still silent: {}.", teller.silent(still_silent)));
            }
            text.line("What wasn't sent meanwhile is missing, unless the sensors send it later.");
            text.wording(teller.heard_subject(heard, still_silent.len()))
        }
        Because::FailureOver { failure } => {
            let name = failure::name(&failure.fault);
            let since = teller.clock.about(failure.since);
            if let Some((subject, how)) = failure::goes_on(teller, &failure.fault) {
                text.line(format!(
                    "What was told ({name}, since about {since}) stays so; it is no news any more."
                ));
                text.line(how);
                return text.wording(subject);
            }
            text.line(format!("What was told ({name}, since about {since}) is over, or was written down."));
            text.wording(format!("All clear. {name}: over."))
        }
        Because::StoreWorks { since } => {
            text.line(format!("Readings couldn't be kept from {} on.", teller.clock.time(*since)));
            text.line(
                "What arrived meanwhile is kept where the broker held it; look for gaps in the report.",
            );
            text.wording("All clear. Readings are kept again.".to_owned())
        }
        Because::Forwarded { since } => {
            text.line(format!("What had waited since {} has arrived there.", teller.clock.time(*since)));
            text.wording("All clear. InfluxDB has everything again.".to_owned())
        }
        Because::DeviceClockRight(clock) => teller.device_clock_right(clock),
        Because::ServerClockRight(clock) => teller.server_clock_right(clock),
        Because::NameFree { since, until } => {
            let (since, until) = (teller.clock.time(*since), teller.clock.time(*until));
            text.line(format!(
                "Another program had Claymark's name on the broker from about {since} to {until}."
            ));
            text.line(
                "What the sensors sent meanwhile went to it: it is missing here, unless they send it later.",
            );
            text.wording(format!(
                "All clear. Claymark has its name again. Readings of {since} to {until} may be missing."
            ))
        }
    }
}

impl Teller<'_> {
    fn drum_now(&self, state: &DrumState) -> Vec<String> {
        let mut lines: Vec<String> =
            state.forecast.outlook.empty_at().map(|empty_at| self.dry_line(&empty_at)).into_iter().collect();
        lines.extend(self.known(state));
        lines
    }

    fn against(&self, visit: &Visit, verdict: Verdict) -> String {
        let until = self.clock.time(visit.at);
        match verdict {
            Verdict::Lasts => format!("It lasts until the visit at {until} and beyond."),
            Verdict::MayNotLast => {
                format!("It may still not last until the visit at {until}; you will be told in time.")
            }
            Verdict::WillNotLast => {
                format!("It still doesn't last until the visit at {until}; you will be told in time.")
            }
            Verdict::Unknown => format!("Whether it lasts until the visit at {until} isn't known yet."),
        }
    }

    fn refilled_subject(&self, state: &DrumState, refill: &SeenRefill, verdict: Verdict) -> String {
        let name = self.name_of(state);
        let refilled = self.refilled(refill);
        let now = state.forecast.outlook.empty_at().map(|empty_at| self.dry(&empty_at));
        let now = now.unwrap_or_else(|| "how long it lasts isn't known yet".to_owned());
        let clear = match verdict {
            Verdict::Lasts => "All clear. ",
            Verdict::Unknown | Verdict::MayNotLast => "",
            Verdict::WillNotLast => "Not enough. ",
        };
        fit(|room| format!("{clear}{} {refilled}: {now}.", short(&name, room)))
    }

    fn lasts_subject(&self, state: &DrumState) -> String {
        let name = self.name_of(state);
        let now = state.forecast.outlook.empty_at().map(|empty_at| self.dry(&empty_at)).unwrap_or_default();
        if state.forecast.in_use {
            fit(|room| format!("All clear. {} lasts after all: {now}.", short(&name, room)))
        } else {
            fit(|room| format!("All clear. {} is not being drawn any more.", short(&name, room)))
        }
    }

    fn heard_subject(&self, heard: &[Id], still_silent: usize) -> String {
        let who = match heard {
            [one] => names::sensor(self.site, one),
            many => format!("{} sensors", many.len()),
        };
        let verb = if heard.len() == 1 { "speaks" } else { "speak" };
        if still_silent == 0 {
            fit(|room| format!("All clear. The {} {verb} again.", short(&who, room)))
        } else {
            fit(|room| format!("The {} {verb} again; {still_silent} still silent.", short(&who, room)))
        }
    }

    /// "level of Drum A and turbidity of Head tank".
    pub(super) fn sensors(&self, sensors: &[Id]) -> String {
        first_of(&sensors.iter().map(|sensor| names::sensor(self.site, sensor)).collect::<Vec<_>>())
    }
}
