//! Which notices there are, which of them ask for an answer, and who has answered: what an answer can mean.

use std::collections::BTreeMap;

use claymark_model::id::Id;
use jiff::Timestamp;

use crate::content::Content;
use crate::handover::NightCause;
use crate::{Answer, Notice, NoticeKind, Urgency};

pub use crate::standing::Standing;

/// Every notice of late, by its number.
#[derive(Debug, Clone, Default)]
pub struct Register {
    last: u64,
    rows: BTreeMap<u64, RegisterRow>,
}

#[derive(Debug, Clone)]
struct RegisterRow {
    at: Timestamp,
    urgency: Option<Urgency>,
    kind: NoticeKind,
    drum: Option<Id>,
    /// An answer to it means something.
    asks: bool,
    /// The notice that told the same again.
    told_again: Option<u64>,
    /// Since when it no longer holds.
    over: Option<Timestamp>,
    /// Who said "I'm on it", and when.
    answered: Option<(Option<String>, Timestamp)>,
}

impl Register {
    /// Takes a notice, just made or told again after a restart.
    pub fn issue(&mut self, notice: &Notice) {
        self.numbered_up_to(notice.number);
        if let Some(number) = notice.replaces {
            self.replace(number, notice);
        }
        let row = RegisterRow {
            at: notice.at,
            urgency: notice.calling.as_ref().map(|calling| calling.urgency),
            kind: notice.kind,
            drum: notice.drum.clone(),
            asks: notice.asks(),
            told_again: None,
            over: None,
            answered: None,
        };
        self.rows.entry(notice.number).or_insert(row);
        while self.rows.len() > KEPT {
            self.rows.pop_first();
        }
    }

    fn replace(&mut self, number: u64, by: &Notice) {
        let Some(row) = self.rows.get_mut(&number) else { return };
        if !matches!(by.content, Content::Withdrawn(_)) {
            row.told_again = Some(by.number);
        } else if !by.content.is_withdrawn_in_part() {
            row.end(by.at);
        }
    }

    /// Numbers up to there were given, whether or not their notices can still be read.
    pub fn numbered_up_to(&mut self, last: u64) {
        self.last = self.last.max(last);
    }

    /// The last number that was given; 0: none was.
    #[must_use]
    pub fn last(&self) -> u64 {
        self.last
    }

    /// Takes an answer; while somebody is on it, another one takes nothing off them.
    pub fn answered(&mut self, answer: &Answer) {
        let taken = self.on_it(answer.notice).is_some_and(|(by, _)| *by != answer.by);
        if let Some(row) = self.rows.get_mut(&answer.notice).filter(|_| !taken) {
            row.answered = Some((answer.by.clone(), answer.at));
        }
    }

    /// How pressing that notice was, by the last one that told the same; `None`: it calls nobody.
    #[must_use]
    pub fn urgency(&self, number: u64) -> Option<Urgency> {
        self.chain(number).last()?.urgency
    }

    /// Whether an answer to that notice says who has the night.
    #[must_use]
    pub fn gives_the_night(&self, number: u64) -> bool {
        self.rows.get(&number).is_some_and(|row| {
            row.kind == NoticeKind::Handover || row.kind == NoticeKind::EveningCheck && row.asks
        })
    }

    /// Whether an answer to that notice shows that calls arrive.
    #[must_use]
    pub fn is_test(&self, number: u64) -> bool {
        self.rows.get(&number).is_some_and(|row| row.kind == NoticeKind::TestCall && row.asks)
    }

    /// What people were told from `from` on, cause by cause, oldest first; all-clears and questions aside.
    #[must_use]
    pub fn told_since(&self, from: Timestamp) -> Vec<NightCause> {
        let first = |number: &u64| !self.rows.values().any(|row| row.told_again == Some(*number));
        let begins = self.rows.iter().filter(|(number, row)| row.kind.calls() && first(number));
        begins.filter_map(|(number, row)| self.cause_since(from, *number, row)).collect()
    }

    fn cause_since(&self, from: Timestamp, first: u64, row: &RegisterRow) -> Option<NightCause> {
        let chain = self.chain(first);
        let notices = chain.iter().filter(|row| row.at >= from).count();
        let over = chain.iter().find_map(|row| row.over);
        (notices > 0).then(|| NightCause {
            kind: row.kind,
            drum: row.drum.clone(),
            first,
            at: row.at,
            notices,
            answered: chain.iter().rev().find_map(|row| row.answered.clone()),
            over,
        })
    }

    /// What an answer to `number` by that person comes to.
    #[must_use]
    pub fn standing(&self, number: u64, by: Option<&str>) -> Standing {
        if number == 0 || number > self.last {
            return Standing::Nonexistent;
        }
        let Some(row) = self.rows.get(&number) else { return Standing::TooOld };
        if !row.asks {
            return Standing::CallsNobody;
        }
        if let Some(at) = self.chain(number).into_iter().find_map(|row| row.over) {
            return Standing::Over { at };
        }
        match self.on_it(number).filter(|_| row.kind != NoticeKind::TestCall) {
            Some((other, at)) if other.as_deref() != by => Standing::Answered { by: other.clone(), at: *at },
            Some(_) | None => Standing::Open,
        }
    }

    /// The number that was probably meant by one that doesn't fit: of the notices that hold and that nobody has answered
    /// the one that differs by the fewest keys, and of those the newest.
    #[must_use]
    pub fn meant(&self, typed: u64) -> Option<u64> {
        let waits = |(number, row): &(&u64, &RegisterRow)| {
            row.kind.calls()
                && row.told_again.is_none()
                && self.on_it(**number).is_none()
                && row.over.is_none()
                && **number != typed
        };
        // A run-out calls people until one answers; the others are told once.
        let told_once = |row: &RegisterRow| row.kind != NoticeKind::Runout;
        let by_keys = |(number, row): &(&u64, &RegisterRow)| {
            (keys_apart(typed, **number), told_once(row), std::cmp::Reverse(**number))
        };
        self.rows.iter().filter(waits).min_by_key(by_keys).map(|(number, _)| *number)
    }

    /// Who answered that notice, or one that told the same before or after it. What was told after the answer asks anew:
    /// the answer's time had run out, or it had got worse.
    fn on_it(&self, number: u64) -> Option<&(Option<String>, Timestamp)> {
        let chain = self.chain(number);
        let newest = chain.last()?.at;
        chain.into_iter().rev().filter_map(|row| row.answered.as_ref()).find(|(_, at)| *at >= newest)
    }

    /// All rows that tell the same as that one, in order.
    fn chain(&self, number: u64) -> Vec<&RegisterRow> {
        let mut first = number;
        while let Some((before, _)) = self.rows.iter().find(|(_, row)| row.told_again == Some(first)) {
            first = *before;
        }
        let mut chain = Vec::new();
        let mut next = Some(first);
        // A number is told again by a later one only, so this ends.
        while let Some(row) = next.and_then(|number| self.rows.get(&number)) {
            chain.push(row);
            next = row.told_again;
        }
        chain
    }
}

impl RegisterRow {
    fn end(&mut self, at: Timestamp) {
        self.over.get_or_insert(at);
    }
}

/// How many keys must be pressed otherwise to type one number for the other (Levenshtein's distance).
fn keys_apart(typed: u64, meant: u64) -> usize {
    let (typed, meant) = (typed.to_string(), meant.to_string());
    let mut row: Vec<usize> = (0..=meant.len()).collect();
    for (place, key) in typed.bytes().enumerate() {
        let mut diagonal = place;
        let mut left = place + 1;
        let mut next = vec![left];
        for (above, other) in row.iter().skip(1).zip(meant.bytes()) {
            left = (diagonal + usize::from(key != other)).min(left + 1).min(above + 1);
            diagonal = *above;
            next.push(left);
        }
        row = next;
    }
    row.last().copied().unwrap_or(0)
}

/// The number of a notice that can't be kept: two a second, so that one that starts again at once repeats none; eight digits until the summer of 2027, then nine.
#[must_use]
pub fn by_the_clock(now: Timestamp) -> u64 {
    u64::try_from((now.as_millisecond() - NUMBERS_BEGIN * 1000) / 500).unwrap_or(0)
}

/// 2026-01-01 UTC.
const NUMBERS_BEGIN: i64 = 1_767_225_600;

/// More than any message is repeated.
const KEPT: usize = 512;

#[cfg(test)]
mod tests;
