//! A notice in one short message of a telephone.
//!
//! 160 letters of the alphabet that all telephones have (GSM 03.38, from memory); one letter outside it would halve the
//! room. What the letters can't show is written as it sounds.

use deunicode::deunicode_char;

use claymark_model::site::Site;
use claymark_notice::Notice;
use claymark_notice::calling::Later;

use super::{Teller, whose_night, wording};
use crate::names;

/// What one short message holds.
pub const SHORT_CHARS: usize = 160;

/// The first line, the number to answer, who is called next and who has the night, as far as they fit.
#[must_use]
pub fn short(site: &Site, notice: &Notice) -> String {
    let teller = Teller::new(site, notice.at);
    let first = letters(&wording(site, notice).subject);
    let number = format!(" Notice {}.", notice.number);
    let later = notice.calling.as_ref().and_then(|calling| calling.later.as_ref());
    let next = later.map(|later| format!(" {}", letters(&teller.next_call(later)))).unwrap_or_default();
    let tonight = whose_night(notice)
        .map(|tonight| format!(" Tonight: {}.", letters(&names::contact(site, &tonight.person))))
        .unwrap_or_default();
    let all = [
        format!("{first}{number}{next}{tonight}"),
        format!("{first}{number}{next}"),
        format!("{first}{number}{tonight}"),
    ];
    let cut_short = || format!("{}{number}", cut(&first, SHORT_CHARS - number.len()));
    all.into_iter().find(|all| length(all) <= SHORT_CHARS).unwrap_or_else(cut_short)
}

impl Teller<'_> {
    fn next_call(&self, later: &Later) -> String {
        let at = self.clock.time(later.at);
        match self.people_of(&later.to).as_slice() {
            [] => format!("Unanswered, all are told at {at}."),
            people => format!("Unanswered, {} is called at {at}.", names::list(people)),
        }
    }
}

/// As telephones can show it.
fn letters(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '–' | '—' | '−' => shown.push('-'),
            '°' => {}
            letter if is_basic(letter) => shown.push(letter),
            letter => shown.extend(deunicode_char(letter).unwrap_or("?").chars().map(plain)),
        }
    }
    shown.split(' ').filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" ")
}

/// Those that take two places, by one that looks like them.
fn plain(letter: char) -> char {
    match letter {
        '[' | '{' => '(',
        ']' | '}' => ')',
        '|' | '\\' => '/',
        '^' | '~' => '-',
        '`' => '\'',
        letter if is_basic(letter) => letter,
        _ => ' ',
    }
}

/// One place each, in GSM and in Rust's own count of letters.
fn is_basic(letter: char) -> bool {
    letter == ' '
        || letter.is_ascii_alphanumeric()
        || "@$_!\"#%&'()*+,-./:;<=>?".contains(letter)
        || "£¥èéùìòØøÅåÆæßÉ¤ÄÖÑÜ§äöñüà".contains(letter)
}

fn length(text: &str) -> usize {
    text.chars().count()
}

fn cut(text: &str, most: usize) -> String {
    if length(text) <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(3)).collect();
    format!("{}...", kept.trim_end())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn what_a_telephone_cannot_show_is_written_as_it_sounds() {
        for (told, shown) in [
            (
                "Drum A: dry about 03:10 – be there by 02:25…",
                "Drum A: dry about 03:10 - be there by 02:25...",
            ),
            ("20 °C, Äyskäri", "20 C, Äyskäri"),
            ("Бак [U+001B escape] {x} ^~|\\", "Bak (U+001B escape) (x) --//"),
            ("“Drum” ’s ≥ 5", "\"Drum\" 's >= 5"),
        ] {
            assert_eq!(letters(told), shown);
        }
    }

    proptest! {
        #[test]
        fn every_letter_takes_one_place(text in "(?s).{0,80}") {
            prop_assert!(letters(&text).chars().all(is_basic));
            prop_assert!(length(&cut(&letters(&text), 20)) <= 20);
        }
    }
}
