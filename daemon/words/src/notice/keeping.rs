//! What became of the store and of the clock.

use claymark_notice::keeping::{ClockStep, StoreFate};
use jiff::Timestamp;

use crate::format;
use crate::names::first_of;
use crate::notice::{Teller, Text, Wording};

impl Teller<'_> {
    pub(super) fn store_replaced(&self, at: Timestamp, fate: &StoreFate) -> Wording {
        let at = self.clock.time(at);
        match fate {
            StoreFate::PutAside { aside, why } => put_aside(&at, aside, why),
            StoreFate::TakenAway => taken_away(&at),
            StoreFate::Saved { readings, records, unreadable } => self.saved(*readings, *records, unreadable),
            StoreFate::PastUnread => past_unread(&at),
        }
    }

    fn saved(&self, readings: usize, records: usize, unreadable: &[(Timestamp, Timestamp)]) -> Wording {
        let mut text = Text::default();
        text.line(format!("Saved from the old store: {readings} readings and {records} other rows."));
        if unreadable.is_empty() {
            text.line("All of it could be read: nothing that was kept is lost.");
            return text.wording(format!("The old store is saved: {readings} readings, nothing is lost."));
        }
        if unreadable.iter().any(|(from, _)| *from == Timestamp::MIN) && readings == 0 {
            text.line("It is lost unless a backup has it.");
            text.line("To do: keep the old file, and write down again how each pump is set, and the last refill of each drum.");
            return text.wording(
                "Nothing of the old store's readings could be saved. Write down the pump settings."
                    .to_owned(),
            );
        }
        let spans: Vec<String> = unreadable.iter().map(|(from, to)| self.span(*from, *to)).collect();
        text.line(format!(
            "Some of it can't be read, and is lost unless a backup has it: {}.",
            first_of(&spans)
        ));
        text.line("To do: if you need those days, keep the old file and ask somebody who repairs databases.");
        text.line("Look through the field log of those days, and write down again what is missing.");
        text.wording(format!(
            "The old store is saved but for {}: {readings} readings are here again.",
            if spans.len() == 1 { "one stretch of time" } else { "some stretches of time" }
        ))
    }

    fn span(&self, from: Timestamp, to: Timestamp) -> String {
        if from == Timestamp::MIN {
            return "nothing of it can be read".to_owned();
        }
        format!("{} to {}", self.clock.time(from), self.clock.time(to))
    }

    pub(super) fn clock_stepped(&self, step: &ClockStep) -> Wording {
        let mut text = Text::default();
        let (way, size) = (if step.by.is_negative() { "back" } else { "forward" }, format::duration(step.by));
        let now = self.clock.time(step.at);
        text.line(format!("The server's clock was set {way} by {size}; it shows {now} now."));
        text.line("Everything that is due was looked at again, and goes by the new time.");
        text.line("What was dated before may be wrong by as much. If the server slept, readings of that time are missing.");
        text.line(
            "To do: look whether that time is right. If it isn't, or if this comes again, see to the server's clock \
             (its time service, its battery).",
        );
        text.wording(format!("The server's clock was set {way} by {size}, to {now}. Is that right?"))
    }
}

fn put_aside(at: &str, aside: &str, why: &str) -> Wording {
    let mut text = Text::default();
    text.line(format!("At {at} the store was found damaged: {why}."));
    text.line(format!("It is now {aside}. A fresh store was begun, and the watch goes on."));
    text.line("What can be read goes over into the fresh one by itself; a message will say what was lost.");
    text.line(
        "To do, by daylight: look at the server's disk, it may be dying. Keep the old file until then.",
    );
    text.wording(format!("The store was damaged at {at}: a fresh one is begun, the watch goes on."))
}

fn taken_away(at: &str) -> Wording {
    let mut text = Text::default();
    text.line(format!("At {at} the store's files were found deleted, moved or replaced."));
    text.line("The watch goes on, and keeps in another store at their place as soon as that can be.");
    text.line("What the old one held goes over as long as this program runs: don't stop it now.");
    text.line("A message will say when that is done. To do: find out who or what took the files.");
    text.wording(format!(
        "The store's files were taken away at {at}. Don't stop Claymark: it saves what it can."
    ))
}

fn past_unread(at: &str) -> Wording {
    let mut text = Text::default();
    text.line(format!("Claymark started at {at} and can't read what it kept before."));
    text.line("It watches, and warns by what the sensors say from now on.");
    text.line("It doesn't know refills, pump settings and answers from before then.");
    text.line("To do: write down again how each pump is set, and the last refill of each drum.");
    text.wording(format!(
        "Claymark started at {at} without its memory. It watches; write down the pump settings."
    ))
}
