//! A notice that didn't reach somebody, told to those who can still be reached.

use claymark_notice::{Channel, Missed, Notice, NoticeKind, Priority, Undelivered};

use crate::names::{self, list, short};
use crate::notice::{SUBJECT_CHARS, Teller, Text, Wording, wording as words_of};
use crate::typed;

pub(super) fn wording(teller: Teller<'_>, undelivered: &Undelivered) -> Wording {
    let Undelivered { notice, missed } = undelivered;
    let lost = words_of(teller.site, notice);
    let who = list(&teller.people(missed));
    let mut text = Text::default();
    let so_far =
        if missed.iter().all(|missed| missed.tried_on) { "hasn't reached yet" } else { "didn't reach" };
    text.line(format!("Notice {} of {} {so_far}:", notice.number, teller.clock.time(notice.at)));
    text.lines(missed.iter().map(|missed| teller.missed(missed))).gap();
    text.lines(teller.what_now(notice, &who));
    text.lines(missed.iter().map(mend)).gap();
    text.line("It said:").gap();
    text.line(lost.subject.as_str()).gap();
    text.lines(lost.text.lines().map(str::to_owned));
    text.wording(subject(&who, &lost.subject))
}

/// Who is to be told, then what: both must fit, and the call itself matters more.
fn subject(who: &str, call: &str) -> String {
    let head = format!("Not reached: {}. ", short(who, NAMES_CHARS));
    let room = SUBJECT_CHARS - head.chars().count();
    format!("{head}{}", short(call, room))
}

impl Teller<'_> {
    /// Each once, in the order in which it was heard.
    fn people(&self, missed: &[Missed]) -> Vec<String> {
        let mut people: Vec<String> = Vec::new();
        for missed in missed {
            let name = names::contact(self.site, &missed.contact);
            if !people.contains(&name) {
                people.push(name);
            }
        }
        people
    }

    fn missed(&self, missed: &Missed) -> String {
        let who = names::contact(self.site, &missed.contact);
        let why = short(&typed::line(&missed.why), REASON_CHARS);
        let doubt = if missed.may_have_it { "It may have arrived all the same. " } else { "" };
        let way = names::channel(missed.channel);
        let on = if missed.tried_on { " It goes on being tried." } else { "" };
        format!("- {who} by {way}. {doubt}What was heard: {why}.{on}")
    }

    fn what_now(&self, notice: &Notice, who: &str) -> Vec<String> {
        let number = notice.number;
        let over = matches!(notice.kind, NoticeKind::Query | NoticeKind::Withdrawn);
        if over || notice.priority == Priority::Morning {
            return vec![format!("To do: tell {who} what stands below; it doesn't hurry.")];
        }
        let mut lines = vec![format!("To do now: ring {who}, or go yourself: the call stands below.")];
        if notice.kind.calls() {
            lines.push(format!("On it? Answer notice {number} (claymark answer {number})."));
        }
        lines
    }
}

/// What must be put right, so that the next call arrives.
fn mend(missed: &Missed) -> String {
    let contact = &missed.contact;
    match missed.channel {
        Channel::Email => format!(
            "Then, for the next call: look at the email of [[contact]] {contact} in the site file, and ask who runs the mail \
             server about its words above."
        ),
        Channel::Mqtt => format!(
            "Then, for the next call: look whether the broker is there, and at its rights for Claymark on the topic of \
             [[contact]] {contact}."
        ),
        Channel::Webhook => format!(
            "Then, for the next call: look at the webhook of [[contact]] {contact} in the site file, and at the log of the \
             server that takes it."
        ),
        Channel::Command => format!(
            "Then, for the next call: look at the command of [[contact]] {contact} in the site file and at its device, and try \
             it (claymark try-contact {contact})."
        ),
    }
}

const NAMES_CHARS: usize = 32;
const REASON_CHARS: usize = 240;
