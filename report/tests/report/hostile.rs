//! Whatever people type and sensors say, the report is made.

use std::fs;
use std::path::Path;

use claymark_model::fieldlog::Deed;
use claymark_model::quality::Flag;
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_model::units::Litres;
use claymark_report::facts::WeekFacts;
use claymark_report::glyphs::drawable;
use claymark_report::typeset::{self, Template, Unset};
use claymark_report::view::View;
use claymark_report::{page, picture, sheet, source};
use claymark_store::batch::CommitBatch;
use claymark_store::{Reader, Writer};
use claymark_words::report::unmade::{Kind, Part, WhyUnmade};
use jiff::SignedDuration;

use crate::invented::week::entry;
use crate::invented::{RoomPlan, id};
use crate::pages::says;
use crate::{facts_of, monday_after};

const SMALL: RoomPlan = RoomPlan { tanks: 2, drums: 1, ..RoomPlan::ORDINARY };

/// The text of the PDF in one line; it must pass as PDF/A-2a and PDF/UA-1, which the typesetter checks.
fn text_of(facts: &WeekFacts, dir: &Path) -> String {
    let view = View::of(facts);
    let made = page::pdf(&view).unwrap();
    assert_eq!(made.failed, []);
    assert_eq!(picture::png(&view).unwrap().failed, []);
    let path = dir.join("week.pdf");
    fs::write(&path, made.made).unwrap();
    let text = says("pdftotext", &[path.to_str().unwrap(), "-"]);
    flat(&text)
}

fn flat(text: &str) -> String {
    let text = text.replace(['’', '‘'], "'").replace(['“', '”'], "\"");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn note(facts: &mut WeekFacts, n: usize, text: &str) {
    let at = facts.week.start() + SignedDuration::from_mins(i64::try_from(n).unwrap());
    facts.log.push(entry(&format!("typed-{n}"), at, Deed::Note { text: Some(text.to_owned()) }));
}

/// What a page in this language, a picture, a terminal or a spreadsheet could take for more than text.
const NASTY: &[&str] = &[
    "#panic(\"out\")",
    "#import \"parts.typ\": *",
    "*bold* _slanted_ `raw` $x^2$",
    "= Heading",
    "<label> @label",
    "// gone /* gone */",
    "\\ \\u{1F41F} ~ -- ...",
    "[bracket] ]] {brace} }}",
    "</text></svg><script>alert(1)</script>",
    "&amp; &#x41; <![CDATA[x]]>",
    "%PDF-1.7 (x) Tj",
    "=1+1 +2 -3 @4",
    "'; DROP TABLE reading; --",
];

#[test]
fn what_people_type_is_text_and_nothing_else() {
    let dir = tempfile::tempdir().unwrap();
    let mut facts = facts_of(dir.path(), &SMALL, "2026-W47");
    for (n, nasty) in NASTY.iter().enumerate() {
        note(&mut facts, n, nasty);
    }
    facts.site.name = "</svg> #panic() *Alder*".to_owned();
    facts.drums[0].drum.name = "<b>#A & \"B\"".to_owned();
    facts.places[1].name = "$T_1$ </text>".to_owned();
    let text = text_of(&facts, dir.path());
    for nasty in NASTY.iter().chain(&["</svg> #panic() *Alder*: week 47", "<b>#A & \"B\"", "$T_1$ </text>"]) {
        // Typeset: two hyphens and three dots may be joined, as in any book; a long word may break anywhere.
        let plain = |text: &str| flat(text).replace(['–', '—', '-', ' '], "").replace('…', "...");
        let (text, nasty) = (plain(&text).replace('\u{200b}', ""), plain(nasty));
        assert!(text.contains(&nasty), "'{nasty}' isn't in:\n{text}");
    }
}

#[test]
fn letters_that_no_font_has_and_those_that_nobody_sees_stand_by_their_names() {
    let dir = tempfile::tempdir().unwrap();
    let mut facts = facts_of(dir.path(), &SMALL, "2026-W47");
    note(&mut facts, 0, "fed well 🐟");
    note(&mut facts, 1, "鱼吃得好");
    note(&mut facts, 2, "\u{1b}[31mred\u{7f} \u{85}");
    note(&mut facts, 3, "to\u{202e}txet \u{200f}ok");
    note(&mut facts, 4, "first line\nsecond line");
    note(&mut facts, 5, &"so it goes on ".repeat(5000));
    facts.log[0].by = Some("Aino 🦐".to_owned());
    facts.site.name = "Alder 🐟 Bend".to_owned();
    facts.places[1].name = "Tank \u{1b}7".to_owned();
    facts.places[2].name = "槽二 👩\u{200d}🔬".to_owned();
    let text = text_of(&facts, dir.path());
    for expected in [
        "Alder [U+1F41F fish] Bend: week 47 of 2026",
        "fed well [U+1F41F fish]",
        "鱼吃得好",
        "[U+001B escape][31mred[U+007F delete] [U+0085 next line]",
        "to[U+202E right-to-left override]txet [U+200F right-to-left mark]ok",
        "first line second line",
        "so it goes on so it goes on",
        "(69999 characters in all; the store has them)",
        "Tank [U+001B escape]7",
        "槽二 [U+1F469 woman][U+200D zero-width joiner][U+1F52C microscope]",
    ] {
        // A hyphen at the end of a line is taken for one of the typesetter.
        let run = |text: &str| text.replace(['\u{200b}', ' ', '-'], "");
        assert!(run(&text).contains(&run(expected)), "'{expected}' isn't in:\n{text}");
    }
    if let Some(look) = std::env::var_os("CLAYMARK_LOOK") {
        fs::copy(dir.path().join("week.pdf"), Path::new(&look).join("typed.pdf")).unwrap();
    }
    let csv = String::from_utf8(sheet::csv(&facts).unwrap()).unwrap();
    assert!(csv.contains("Tank [U+001B escape]7") && !csv.contains('\u{1b}'));
}

#[test]
fn every_letter_of_the_bundled_fonts_can_be_set() {
    let dir = tempfile::tempdir().unwrap();
    let mut facts = facts_of(dir.path(), &SMALL, "2026-W47");
    let mut tested = [0_u8; 4];
    let letters: Vec<char> = (' '..=char::MAX)
        .filter(|letter| matches!(drawable(letter.encode_utf8(&mut tested)), std::borrow::Cow::Borrowed(_)))
        .filter(|letter| !letter.is_whitespace())
        .collect();
    assert!(letters.len() > 30_000, "{}", letters.len());
    for (n, some) in letters.chunks(letters.len() / 50).enumerate() {
        note(&mut facts, n, &some.iter().collect::<String>());
    }
    let text = text_of(&facts, dir.path());
    for letter in ['ß', 'Я', '鱼', '물', 'あ'] {
        assert!(text.contains(letter), "{letter}");
    }
}

#[test]
fn a_name_that_a_spreadsheet_would_reckon_with_is_marked_as_text() {
    let dir = tempfile::tempdir().unwrap();
    let mut facts = facts_of(dir.path(), &SMALL, "2026-W47");
    facts.drums[0].drum.name = "=HYPERLINK(\"x\")".to_owned();
    facts.places[1].name = "-1".to_owned();
    facts.places[2].name = "'quoted".to_owned();
    let bytes = sheet::csv(&facts).unwrap();
    let mut reader = csv::Reader::from_reader(bytes.as_slice());
    let name = reader.headers().unwrap().iter().position(|header| header == "name").unwrap();
    let names: Vec<String> = reader.records().map(|row| row.unwrap()[name].to_owned()).collect();
    for expected in ["'=HYPERLINK(\"x\")", "'-1", "''quoted", "Head tank"] {
        assert!(names.iter().any(|name| name == expected), "{expected}: {names:?}");
    }
}

/// Readings of two sensors without a range: what a float can hold at most, and its negative, in turn.
fn absurd(facts: &WeekFacts, path: &Path) -> WeekFacts {
    let mut writer = Writer::open(path, &facts.site).unwrap();
    let mut readings = Vec::new();
    for n in 0..7 * 24 * 60 {
        let at = facts.week.start() + SignedDuration::from_secs(60 * n + 7);
        for (sensor, value) in [
            ("tank-t1-ntu", if n % 2 == 0 { 1.7e308 } else { -1.7e308 }),
            ("tank-t2-temp", if n < 5000 { f64::MAX } else { f64::MIN }),
            ("tank-t2-o2", if n % 3 == 0 { f64::MAX } else { 5e-324 }),
            ("head-o2", f64::MAX),
            ("drum-a-level", if n % 2 == 0 { f64::MAX } else { f64::MIN }),
        ] {
            let reading = Reading::new(id(sensor), at, value);
            let tests = TestFlags::NOT_EVALUATED;
            readings.push(Assessed { reading, received_at: at, tests, flag: Flag::Pass });
        }
    }
    writer.commit(&CommitBatch { readings, ..CommitBatch::default() }).unwrap();
    drop(writer);
    let store = Reader::open(path).unwrap();
    let week = facts.week.clone();
    let now = monday_after(&week);
    source::facts(&store, store.site().unwrap(), week, now)
}

#[test]
fn absurd_readings_cut_the_scale_and_say_so() {
    let dir = tempfile::tempdir().unwrap();
    let facts = facts_of(dir.path(), &SMALL, "2026-W47");
    let mut facts = absurd(&facts, &dir.path().join("claymark.db"));
    facts.drums[0].refills[0].to = Litres(1e300);
    for place in &facts.places {
        for measured in place.turbidity.iter().chain(&place.temperature).chain(&place.oxygen) {
            let means = measured.trace.slots().iter().filter_map(claymark_report::facts::trace::Slot::mean);
            assert!(means.into_iter().all(f64::is_finite), "{}", measured.sensor.name);
            assert!(measured.mean().is_none_or(f64::is_finite), "{}", measured.sensor.name);
        }
    }
    let view = View::of(&facts);
    let told = serde_json::to_string(&view).unwrap();
    for (_, svg) in view.pictures() {
        assert!(!svg.contains("NaN") && !svg.contains("inf") && svg.len() < 1_000_000);
    }
    assert!(told.contains("The scale is cut to"), "{told}");
    let text = text_of(&facts, dir.path());
    assert!(text.contains("The scale is cut to"), "{text}");
    assert!(text.contains("at what the drum can hold: they run from 0 to 1.0e300"), "{text}");
    let longest = text.split(|letter: char| !letter.is_ascii_digit()).map(str::len).max();
    assert!(!text.contains("NaN") && longest < Some(12), "{text}");
    assert!(text.contains("at the ten-minute means: they run from -1.7e308 to 1.7e308"), "{text}");
    let csv = String::from_utf8(sheet::csv(&facts).unwrap()).unwrap();
    assert!(!csv.contains("inf") && !csv.contains("NaN"));
    if let Some(look) = std::env::var_os("CLAYMARK_LOOK") {
        fs::copy(dir.path().join("week.pdf"), Path::new(&look).join("absurd.pdf")).unwrap();
    }
}

#[test]
fn a_part_that_cannot_be_set_leaves_its_place_with_a_sentence() {
    let dir = tempfile::tempdir().unwrap();
    let facts = facts_of(dir.path(), &SMALL, "2026-W47");
    let view = View::of(&facts);
    let refuses_water = |view: &View| {
        if view.made().contains(&Part::Water) {
            return Err(Unset::Refused("a font is missing".to_owned()));
        }
        typeset::set(Template::Week, view)?;
        Ok(serde_json::to_string(view).unwrap())
    };
    let made = typeset::made(&view, refuses_water).unwrap();
    let [(Part::Water, WhyUnmade::Fault(why))] = made.failed.as_slice() else { panic!("{:?}", made.failed) };
    assert!(why.contains("a font is missing"), "{why}");
    assert!(made.made.contains("the program has a fault here"), "{}", made.made);
    assert!(made.made.contains("1 part of this report couldn't be made: \\\"Water\\\""), "{}", made.made);
    let panics = |view: &View| {
        assert!(!view.made().contains(&Part::Demand), "no oxygen");
        Ok(())
    };
    assert_eq!(typeset::made(&view, panics).unwrap().failed.len(), 1);
}

#[test]
fn rows_that_cannot_be_read_fail_their_parts_alone() {
    let dir = tempfile::tempdir().unwrap();
    let mut facts = facts_of(dir.path(), &SMALL, "2026-W47");
    let _none: Vec<u8> = facts.unmade.rows(Kind::Answers, Err("the page is damaged"));
    facts.unmade.hour(&"a page is damaged");
    let view = View::of(&facts);
    assert_eq!(view.failed().keys().copied().collect::<Vec<_>>(), [Part::Told]);
    let text = text_of(&facts, dir.path());
    for expected in [
        "1 part of this report couldn't be made: \"What people were told\". Why stands in its place.",
        "The readings of 1 hour can't be read (a page is damaged); they count as missing.",
        "the answers can't be read (the page is damaged). Nothing is known here, good or bad.",
        "Drums, day by day",
    ] {
        assert!(text.contains(expected), "'{expected}' isn't in:\n{text}");
    }
    assert!(!text.contains("Nobody had to be called") && !text.contains("calls to act"), "{text}");
}

#[test]
fn with_nothing_left_to_read_the_report_is_still_made() {
    let dir = tempfile::tempdir().unwrap();
    let mut facts = facts_of(dir.path(), &SMALL, "2026-W47");
    for kind in [Kind::Readings, Kind::Forecasts, Kind::Marks, Kind::Notices, Kind::Log, Kind::Quarantined] {
        let _none: Vec<u8> = facts.unmade.rows(kind, Err("gone"));
    }
    assert_eq!(View::of(&facts).made(), []);
    let text = text_of(&facts, dir.path());
    assert!(text.contains("11 parts of this report couldn't be made"), "{text}");
    let csv = String::from_utf8(sheet::csv(&facts).unwrap()).unwrap();
    assert!(csv.lines().count() == 1 + 7, "a drum's days, without figures: {csv}");
    assert!(csv.lines().skip(1).all(|row| row.ends_with(",,,,,,,")), "{csv}");
}
