//! What the bundled fonts have no picture for is drawn as its code and its name: "[U+1F41F fish]".
//!
//! PDF/A and PDF/UA refuse a page with a letter that no font has, and an SVG would leave it out silently. So every
//! text on its way to a page goes through here, whoever wrote it.

use std::borrow::Cow;
use std::sync::LazyLock;

use ttf_parser::Face;

use claymark_words::typed;

use crate::fonts::{BOLD, REGULAR, WIDE};

/// The text with nothing in it that a page can't show. Line breaks stay, and so does the break that takes no room,
/// which the pages themselves put into long words.
#[must_use]
pub fn drawable(text: &str) -> Cow<'_, str> {
    if text.chars().all(is_drawable) {
        return Cow::Borrowed(text);
    }
    let draw = |letter: char| {
        if is_drawable(letter) { letter.to_string() } else { typed::by_code(letter, name(letter).as_deref()) }
    };
    Cow::Owned(text.chars().filter(|letter| !only_chooses_a_look(*letter)).map(draw).collect())
}

fn is_drawable(letter: char) -> bool {
    match letter {
        '\n' | '\u{200b}' => true,
        // What a private letter looks like is nobody's agreement; PDF/A-2a refuses it.
        '\u{e000}'..='\u{f8ff}' | '\u{f0000}'.. => false,
        letter => typed::unseen(letter).is_none() && FONTS.have(letter),
    }
}

/// After a letter whose picture isn't there it has nothing to choose.
fn only_chooses_a_look(letter: char) -> bool {
    matches!(letter, '\u{fe00}'..='\u{fe0f}')
}

/// The Unicode name in small letters, where it tells more than the code.
fn name(letter: char) -> Option<String> {
    if let Some(unseen) = typed::unseen(letter) {
        return Some(unseen.to_owned());
    }
    let name = unicode_names2::name(letter)?.to_string();
    let code = format!("{:X}", u32::from(letter));
    (!name.ends_with(&code)).then(|| name.to_lowercase())
}

/// The letters of the bundled fonts.
struct Fonts {
    /// In both weights: a heading is bold.
    plain: [Option<Face<'static>>; 2],
    wide: Option<Face<'static>>,
}

impl Fonts {
    fn have(&self, letter: char) -> bool {
        // The typesetter's own list of a font's letters also has those that lie between others and have no picture.
        let has = |face: &Option<Face<'_>>| {
            face.as_ref().and_then(|face| face.glyph_index(letter)).is_some_and(|glyph| glyph.0 != 0)
        };
        self.plain.iter().all(has) || has(&self.wide)
    }
}

static FONTS: LazyLock<Fonts> = LazyLock::new(|| {
    let of = |bytes| Face::parse(bytes, 0).ok();
    Fonts { plain: [of(REGULAR), of(BOLD)], wide: of(WIDE) }
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_font_has_stands_by_its_name_and_all_else_as_it_is() {
        for (text, drawn) in [
            ("Tank 3: 20.1 °C → ● ok", "Tank 3: 20.1 °C → ● ok"),
            ("fed well 🐟", "fed well [U+1F41F fish]"),
            ("鱼吃得好 今日 물고기", "鱼吃得好 今日 물고기"),
            ("คน", "[U+0E04 thai character kho khwai][U+0E19 thai character no nu]"),
            ("\u{1b}[2J\u{202e}", "[U+001B escape][2J[U+202E right-to-left override]"),
            ("♥\u{fe0f} 🐟\u{fe0f}", "♥ [U+1F41F fish]"),
            ("\u{e000}\u{10ffff}", "[U+E000][U+10FFFF]"),
            ("a\nb\u{200b}c", "a\nb\u{200b}c"),
            ("שלום", "שלום"),
        ] {
            assert_eq!(drawable(text), drawn);
        }
    }

    #[test]
    fn what_is_drawn_of_any_letter_at_all_can_be_drawn() {
        for letter in '\0'..=char::MAX {
            let drawn = drawable(letter.encode_utf8(&mut [0; 4])).into_owned();
            assert!(drawn.chars().all(is_drawable), "{drawn}");
        }
    }
}
