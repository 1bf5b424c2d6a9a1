//! What people and devices wrote, made fit to be read on a screen, in a mail and on a page.
//!
//! Nothing in it stays unseen: a character that moves the cursor, turns the text round or takes no room could hide
//! what was written, or make it say something else. It is shown by its code and its name, "[U+001B escape]", which
//! every font and every terminal has letters for. All else stays as it was written, and so does what is stored.

/// In a sentence: one line. A line break becomes " ⏎ ", a tab a space.
#[must_use]
pub fn line(text: &str) -> String {
    shown(text.trim_end_matches(['\n', '\r']), " ⏎ ")
}

/// Where lines may stand below each other: line breaks stay.
#[must_use]
pub fn lines(text: &str) -> String {
    shown(text, "\n")
}

/// A name: in one line, without needless room.
#[must_use]
pub fn name(text: &str) -> String {
    let words = text.split(char::is_whitespace).filter(|word| !word.is_empty());
    shown(&words.collect::<Vec<_>>().join(" "), " ")
}

/// At most so many characters of a text, and how long all of it is.
#[must_use]
pub fn at_most(text: &str, longest: usize) -> String {
    match text.char_indices().nth(longest) {
        None => text.to_owned(),
        Some((end, _)) => {
            let kept = text.get(..end).unwrap_or_default().trim_end();
            format!("{kept}… ({} characters in all; the store has them)", text.chars().count())
        }
    }
}

/// Why a character can't be seen; `None`: it can, or it belongs to the letter before it.
#[must_use]
pub fn unseen(letter: char) -> Option<&'static str> {
    let code = u32::from(letter);
    match letter {
        '\u{0}'..='\u{1f}' => usize::try_from(code).ok().and_then(|code| C0.get(code).copied()),
        '\u{7f}' => Some("delete"),
        '\u{85}' => Some("next line"),
        '\u{80}'..='\u{9f}' => Some("control"),
        '\u{ad}' => Some("soft hyphen"),
        '\u{34f}' => Some("grapheme joiner"),
        '\u{61c}' => Some("Arabic letter mark"),
        '\u{115f}' | '\u{1160}' | '\u{3164}' | '\u{ffa0}' => Some("Hangul filler"),
        '\u{17b4}' | '\u{17b5}' => Some("Khmer inherent vowel"),
        '\u{180e}' => Some("Mongolian vowel separator"),
        '\u{200b}' => Some("zero-width space"),
        '\u{200c}' => Some("zero-width non-joiner"),
        '\u{200d}' => Some("zero-width joiner"),
        '\u{200e}' => Some("left-to-right mark"),
        '\u{200f}' => Some("right-to-left mark"),
        '\u{2028}' => Some("line separator"),
        '\u{2029}' => Some("paragraph separator"),
        '\u{202a}' => Some("left-to-right embedding"),
        '\u{202b}' => Some("right-to-left embedding"),
        '\u{202c}' => Some("end of direction"),
        '\u{202d}' => Some("left-to-right override"),
        '\u{202e}' => Some("right-to-left override"),
        '\u{2060}' => Some("word joiner"),
        '\u{2061}'..='\u{2064}' => Some("unseen operator"),
        '\u{2066}' => Some("left-to-right isolate"),
        '\u{2067}' => Some("right-to-left isolate"),
        '\u{2068}' => Some("first strong isolate"),
        '\u{2069}' => Some("end of isolate"),
        '\u{2065}' | '\u{206a}'..='\u{206f}' => Some("formatting"),
        '\u{feff}' => Some("zero-width no-break space"),
        '\u{fff9}'..='\u{fffb}' => Some("interlinear annotation"),
        '\u{1d173}'..='\u{1d17a}' => Some("musical formatting"),
        '\u{e0000}'..='\u{e007f}' => Some("tag"),
        '\u{e0100}'..='\u{e01ef}' => Some("variation selector"),
        _ => None,
    }
}

/// "[U+1F41F fish]", "[U+9C7C]": a character that can't be seen or drawn.
#[must_use]
pub fn by_code(letter: char, name: Option<&str>) -> String {
    let code = u32::from(letter);
    name.map_or_else(|| format!("[U+{code:04X}]"), |name| format!("[U+{code:04X} {name}]"))
}

fn shown(text: &str, line_break: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    let mut marks = 0;
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        marks = if is_mark(letter) { marks + 1 } else { 0 };
        match letter {
            '\r' if letters.peek() == Some(&'\n') => {}
            '\n' => shown.push_str(line_break),
            '\t' => shown.push(' '),
            letter if unseen(letter).is_some() || marks > MARKS => {
                shown.push_str(&by_code(letter, unseen(letter)));
            }
            letter => shown.push(letter),
        }
    }
    shown
}

/// Accents and the like that stand on the letter before them; piled up they cover the lines above and below.
fn is_mark(letter: char) -> bool {
    matches!(letter,
        '\u{300}'..='\u{36f}' | '\u{483}'..='\u{489}' | '\u{1ab0}'..='\u{1aff}' | '\u{1dc0}'..='\u{1dff}'
        | '\u{20d0}'..='\u{20ff}' | '\u{fe20}'..='\u{fe2f}')
}

/// No script in daily use piles up more marks on a letter (Vietnamese and polytonic Greek take two or three).
const MARKS: usize = 4;

/// ISO/IEC 6429's names, from memory; those that people know by another name go by that.
const C0: [&str; 32] = [
    "null",
    "start of heading",
    "start of text",
    "end of text",
    "end of transmission",
    "enquiry",
    "acknowledge",
    "bell",
    "backspace",
    "tab",
    "line feed",
    "vertical tab",
    "form feed",
    "carriage return",
    "shift out",
    "shift in",
    "data link escape",
    "device control 1",
    "device control 2",
    "device control 3",
    "device control 4",
    "negative acknowledge",
    "synchronous idle",
    "end of block",
    "cancel",
    "end of medium",
    "substitute",
    "escape",
    "file separator",
    "group separator",
    "record separator",
    "unit separator",
];

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn what_could_hide_or_turn_the_text_is_named_and_the_rest_stays() {
        for (typed, said) in [
            ("fed well 🐟", "fed well 🐟"),
            ("鱼吃得好", "鱼吃得好"),
            ("\u{1b}[31mred\u{1b}[0m", "[U+001B escape][31mred[U+001B escape][0m"),
            ("a\u{0}b\u{7f}c\u{9b}2J", "a[U+0000 null]b[U+007F delete]c[U+009B control]2J"),
            ("ok\u{202e}txet", "ok[U+202E right-to-left override]txet"),
            (
                "\u{200f}1\u{200b}2\u{feff}",
                "[U+200F right-to-left mark]1[U+200B zero-width space]2[U+FEFF zero-width no-break space]",
            ),
            ("first\nsecond\r\nthird\n", "first ⏎ second ⏎ third"),
            ("over\rwritten", "over[U+000D carriage return]written"),
            ("a\tb", "a b"),
            ("שלום, I \u{2764}\u{fe0f} it", "שלום, I \u{2764}\u{fe0f} it"),
            ("Việt e\u{302}\u{301}", "Việt e\u{302}\u{301}"),
        ] {
            assert_eq!(line(typed), said);
        }
        assert_eq!(lines("first\nse\u{7}cond\r\n"), "first\nse[U+0007 bell]cond\n");
        assert_eq!(name(" Drum\n A\u{1b} "), "Drum A[U+001B escape]");
        assert!(line(&format!("e{}", "\u{301}".repeat(50))).contains("[U+0301]"), "a pile of accents");
    }

    #[test]
    fn a_long_text_is_cut_between_letters_and_says_so() {
        assert_eq!(at_most("🐟🐟🐟", 3), "🐟🐟🐟");
        assert_eq!(at_most("🐟🐟🐟🐟", 3), "🐟🐟🐟… (4 characters in all; the store has them)");
    }

    proptest! {
        #[test]
        fn nothing_unseen_is_left_and_telling_twice_changes_nothing(text in "\\PC{0,20}|(?s).{0,40}") {
            let said = line(&text);
            prop_assert!(said.chars().all(|letter| unseen(letter).is_none()), "{said:?}");
            prop_assert_eq!(line(&said), said.clone());
            let told = lines(&text);
            prop_assert!(told.chars().all(|letter| letter == '\n' || unseen(letter).is_none()));
            prop_assert_eq!(lines(&told), told.clone());
        }
    }
}
