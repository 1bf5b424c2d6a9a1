//! Who has the night, and what it has brought.

use claymark_model::id::Id;
use claymark_notice::Notice;
use claymark_notice::content::{EveningDrum, Verdict};
use claymark_notice::handover::{Handover, Morning, NightCause, OnTonight, TestCall};

use crate::names::{self, short};
use crate::notice::{Teller, Text, Wording, fit_with};
use crate::reasons;
use crate::typed;

pub(super) fn wording(teller: Teller<'_>, notice: &Notice, handover: &Handover) -> Wording {
    let visit = teller.clock.time(handover.visit);
    let name = |id| short(&names::contact(teller.site, id), NAME_CHARS);
    let expected = handover.expected.as_ref().map_or_else(|| "Nobody".to_owned(), &name);
    let evening = teller.clock.time(handover.evening);
    let mut text = Text::default();
    text.line(match &handover.expected {
        Some(_) => {
            format!("{expected} would be called first and hasn't answered the evening message of {evening}.")
        }
        None => format!("Nobody has answered the evening message of {evening}."),
    });
    text.line("Whoever answers this is called first tonight, whatever happens.").gap();
    text.line(format!(
        "To do: can you come tonight? Then answer notice {} (claymark answer {}).",
        notice.number, notice.number
    ));
    text.line("Somebody else can? claymark tonight NAME gives the night to them.");
    text.wording(format!("Tonight, until {visit}, is nobody's yet. Can you take it?"))
}

pub(super) fn morning(teller: Teller<'_>, morning: &Morning) -> Wording {
    let mut text = Text::default();
    let first = teller.first_to_look_at(morning);
    if first.is_empty() {
        text.line("Nothing stands, and every drum in use lasts until the evening check.").gap();
    } else {
        text.line("Look at this first:").lines(first.iter().map(|line| format!("- {line}"))).gap();
    }
    if morning.told.is_empty() {
        text.line("Nobody was called in the night.");
    } else {
        text.line("What people were told since the evening:");
        text.lines(morning.told.iter().map(|cause| format!("- {}", teller.night_cause(cause))));
    }
    text.lines(morning.tonight.as_ref().map(|tonight| {
        let name = short(&names::contact(teller.site, &tonight.person), NAME_CHARS);
        match tonight.confirmed {
            Some(at) => format!("The night was {name}'s, confirmed {}.", teller.clock.time(at)),
            None => format!("Nobody had confirmed the night; {name} was called first."),
        }
    }));
    let called = match morning.told.len() {
        0 => "a quiet night".to_owned(),
        1 => "one thing was told in the night".to_owned(),
        n => format!("{n} things were told in the night"),
    };
    let stands = match first.len() {
        0 => "Nothing needs you at once.".to_owned(),
        1 => "One thing to look at first.".to_owned(),
        n => format!("{n} things to look at first."),
    };
    text.wording(fit_with(|_| format!("Morning: {called}."), &stands))
}

pub(super) fn test_call(teller: Teller<'_>, notice: &Notice, test: &TestCall) -> Wording {
    let names = |people: &[Id]| {
        let names: Vec<String> =
            people.iter().map(|id| short(&names::contact(teller.site, id), NAME_CHARS)).collect();
        names::list(&names)
    };
    let mut text = Text::default();
    let subject = match test {
        TestCall::Asked { by } => {
            let (by, number) = (teller.clock.time(*by), notice.number);
            text.line("Nothing is wrong. This shows whether a call gets to you, and your answer back.");
            text.line(format!(
                "To do: answer notice {number} with your name (claymark answer {number} --by NAME)."
            ));
            format!("Test call: please answer by {by}.")
        }
        TestCall::Answered { asked, by, silent } if silent.is_empty() => {
            text.line(format!("Asked {}: {} answered.", teller.clock.time(*asked), names(by)));
            "Test call: everybody answered.".to_owned()
        }
        TestCall::Answered { asked, by, silent } => {
            text.line(format!("No answer within the hour from: {}.", names(silent)));
            let answered = if by.is_empty() { "nobody".to_owned() } else { names(by) };
            text.line(format!("Asked {}; answered: {answered}.", teller.clock.time(*asked)));
            text.line("To do: ask them whether it arrived; claymark try-contact ID tries each way. A call at night goes the same way.");
            let people =
                if silent.len() == 1 { "one person".to_owned() } else { format!("{} people", silent.len()) };
            format!("Test call: {people} didn't answer.")
        }
    };
    text.wording(subject)
}

impl Teller<'_> {
    fn first_to_look_at(&self, morning: &Morning) -> Vec<String> {
        let standing = morning.standing.iter().map(|standing| self.not_over(standing));
        let short_of = |drum: &&EveningDrum| drum.state.forecast.in_use && drum.verdict != Verdict::Lasts;
        let mut drums: Vec<&EveningDrum> = morning.drums.iter().filter(short_of).collect();
        drums.sort_by_key(|drum| {
            let likely = drum.state.forecast.outlook.empty_at().and_then(|ends| ends.p50);
            (likely.is_none(), likely)
        });
        let drums = drums.into_iter().map(|drum| {
            let name = self.name_of(&drum.state);
            match drum.state.forecast.outlook.empty_at() {
                Some(ends) => format!("{name}: {}. It won't last until the evening check.", self.dry(&ends)),
                None => format!("{name}: I don't know how long it lasts. Read its level by eye."),
            }
        });
        standing.chain(drums).collect()
    }

    fn night_cause(&self, cause: &NightCause) -> String {
        let of = cause.drum.as_ref().map(|drum| format!(", {}", names::drum(self.site, drum)));
        let of = of.unwrap_or_default();
        let told = match cause.notices {
            1 => format!("told {}", self.clock.time(cause.at)),
            n => format!("first told {}, {n} times", self.clock.time(cause.at)),
        };
        let answered = match &cause.answered {
            Some((by, at)) => {
                let by = by
                    .as_deref()
                    .map_or_else(|| "somebody".to_owned(), |by| short(&typed::name(by), NAME_CHARS));
                format!("{by} answered {}", self.clock.time(*at))
            }
            None if cause.kind == claymark_notice::NoticeKind::ReadingsMissing => String::new(),
            None => "nobody answered".to_owned(),
        };
        let over = cause.over.map(|over| format!("over {}", self.clock.time(over)));
        let rest: Vec<String> = [told, answered, over.unwrap_or_else(|| "not over".to_owned())]
            .into_iter()
            .filter(|part| !part.is_empty())
            .collect();
        format!("{}{of}: {} (notice {}).", reasons::kind(cause.kind), rest.join("; "), cause.first)
    }

    /// "Tonight: Kim, who said so at 17:20."
    pub(super) fn whose_night(&self, tonight: &OnTonight) -> String {
        let name = short(&names::contact(self.site, &tonight.person), NAME_CHARS);
        match tonight.confirmed {
            Some(at) => format!("On tonight: {name}, confirmed {}.", self.clock.time(at)),
            None => format!("On tonight: {name}, who hasn't confirmed it."),
        }
    }
}

/// Of a name.
const NAME_CHARS: usize = 32;
