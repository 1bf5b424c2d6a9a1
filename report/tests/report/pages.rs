//! PDF, PNG and CSV, looked at with other people's tools.

use std::fs;
use std::path::Path;
use std::process::Command;

use claymark_model::units::Litres;
use claymark_report::facts::WeekFacts;
use claymark_report::view::View;
use claymark_report::week::Week;
use claymark_report::{page, picture, sheet, source};
use claymark_store::{Reader, Writer};

use crate::invented::{self, RoomPlan};
use crate::{facts_of, monday_after};

fn pdf_of(facts: &WeekFacts, dir: &Path) -> String {
    let path = dir.join("week.pdf");
    fs::write(&path, page::pdf(&View::of(facts)).unwrap().made).unwrap();
    path.to_str().unwrap().to_owned()
}

/// What a program prints; it must be there and succeed.
pub fn says(program: &str, arguments: &[&str]) -> String {
    let output =
        Command::new(program).args(arguments).output().unwrap_or_else(|why| panic!("{program}: {why}"));
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(
        output.status.success(),
        "{program} {arguments:?}: {text}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    text
}

/// For the eyes: `CLAYMARK_LOOK=DIR` keeps what the tests make.
fn keep(name: &str, facts: &WeekFacts) {
    if let Some(dir) = std::env::var_os("CLAYMARK_LOOK") {
        let view = View::of(facts);
        let path = |ending: &str| Path::new(&dir).join(format!("{name}.{ending}"));
        fs::write(path("pdf"), page::pdf(&view).unwrap().made).unwrap();
        fs::write(path("png"), picture::png(&view).unwrap().made).unwrap();
        fs::write(path("csv"), sheet::csv(facts).unwrap()).unwrap();
    }
}

#[test]
fn the_same_week_gives_the_same_bytes() {
    let dir = tempfile::tempdir().unwrap();
    let plan = RoomPlan { tanks: 3, ..RoomPlan::ORDINARY };
    let facts = facts_of(dir.path(), &plan, "2026-W47");
    let (a, b) = (View::of(&facts), View::of(&facts));
    assert!(page::pdf(&a).unwrap().made == page::pdf(&b).unwrap().made);
    assert!(picture::png(&a).unwrap().made == picture::png(&b).unwrap().made);
    assert!(sheet::csv(&facts).unwrap() == sheet::csv(&facts).unwrap());
}

#[test]
fn the_pdf_is_whole_tagged_and_carries_its_fonts() {
    let dir = tempfile::tempdir().unwrap();
    let facts = facts_of(dir.path(), &RoomPlan::ORDINARY, "2026-W47");
    keep("ordinary", &facts);
    let pdf = pdf_of(&facts, dir.path());
    says("qpdf", &["--check", &pdf]);
    let info = says("pdfinfo", &[&pdf]);
    assert!(info.contains("Tagged:          yes"), "{info}");
    assert!(info.contains("Title:           Alder Bend Hatchery: week 47 of 2026"), "{info}");
    let pages: u32 =
        info.lines().find_map(|line| line.strip_prefix("Pages:")).unwrap().trim().parse().unwrap();
    assert!((2..=4).contains(&pages), "{pages} pages");
    let fonts = says("pdffonts", &[&pdf]);
    for font in fonts.lines().skip(2) {
        let [.., embedded, _subset, unicode, _object, _id] = font.split_whitespace().collect::<Vec<_>>()[..]
        else {
            panic!("{font}")
        };
        assert_eq!((embedded, unicode), ("yes", "yes"), "{font}");
        assert!(font.contains("DejaVuSans"), "{font}");
    }
}

#[test]
fn headings_charts_and_tables_can_be_read_as_text() {
    let dir = tempfile::tempdir().unwrap();
    let facts = facts_of(dir.path(), &RoomPlan::ORDINARY, "2026-W47");
    let text = says("pdftotext", &[&pdf_of(&facts, dir.path()), "-"]);
    for expected in [
        "Drum A ran empty once, for 5 h 28 min.",
        "The room at a glance",
        "too little data",
        "Drums, day by day",
        // Labels inside the charts: they vanish silently where a font is missing.
        "ran empty",
        "+125 L not logged",
        "level not believed",
        "Thu 19",
        "heel",
        "First warned 6 h 42 min before, by No. 4.",
        "within earliest to latest",
        "Percent of saturation at local pressure: 1002 hPa",
        "Invented Kim after 12 min",
        "not a number",
        "360 readings of 1 sensor failed a quality test",
        "2 calls to act went out for 2 causes: 1 answered, 1 never answered.",
        "4715 readings came more than 5 minutes after",
        "14 entries, of them 12 refills.",
        "Set Pump 1 to 76 rpm",
        "a torn tube",
        "no life-support control",
    ] {
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ").replace('’', "'");
        assert!(flat.contains(expected), "'{expected}' isn't in:\n{text}");
    }
}

#[test]
fn an_accessibility_checker_finds_no_error() {
    let dir = tempfile::tempdir().unwrap();
    let facts = facts_of(dir.path(), &RoomPlan::ORDINARY, "2026-W47");
    let pdf = pdf_of(&facts, dir.path());
    let python = std::env::var("CLAYMARK_ORACLE_PYTHON").expect("tests/run sets CLAYMARK_ORACLE_PYTHON");
    let outloud = Path::new(&python).with_file_name("outloud");
    let found = says(outloud.to_str().unwrap(), &["--fail-on", "error", &pdf]);
    assert!(found.contains("0 error(s)"), "{found}");
}

#[test]
fn forty_tanks_with_long_names_stay_on_their_pages() {
    let dir = tempfile::tempdir().unwrap();
    let plan = RoomPlan { tanks: 40, drums: 4, long_names: true, log_entries: 300, ..RoomPlan::ORDINARY };
    let facts = facts_of(dir.path(), &plan, "2026-W47");
    keep("forty", &facts);
    let pdf = pdf_of(&facts, dir.path());
    let boxes = says("pdftotext", &["-bbox", &pdf, "-"]);
    let number = |line: &str, name: &str| -> f64 {
        line.split_once(&format!("{name}=\"")).unwrap().1.split('"').next().unwrap().parse().unwrap()
    };
    let words: Vec<&str> = boxes.lines().filter(|line| line.contains("<word ")).collect();
    for word in &words {
        assert!(number(word, "xMin") > 40.0 && number(word, "xMax") < 556.0, "over the margin: {word}");
        assert!(number(word, "yMin") > 40.0 && number(word, "yMax") < 830.0, "over the margin: {word}");
    }
    let text = says("pdftotext", &[&pdf, "-"]);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for tank in 1..=40 {
        assert!(
            flat.matches(&format!("Tank {tank} behind")).count() >= 2,
            "tank {tank} has a card and a row"
        );
    }
    assert!(flat.contains("entries more in the store"));
    assert!(!picture::png(&View::of(&facts)).unwrap().made.is_empty());
}

#[test]
fn an_empty_store_gives_an_honest_report() {
    let dir = tempfile::tempdir().unwrap();
    let site = invented::site(&RoomPlan::ORDINARY);
    let path = dir.path().join("claymark.db");
    drop(Writer::open(&path, &site).unwrap());
    let week = Week::parse("2026-W47", &site.time_zone).unwrap();
    let now = monday_after(&week);
    let facts = source::facts(&Reader::open(&path).unwrap(), site, week, now);
    keep("empty", &facts);
    let text = says("pdftotext", &[&pdf_of(&facts, dir.path()), "-"]);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ").replace('’', "'");
    assert!(flat.contains("Not a single reading came in."), "{text}");
    assert!(flat.contains("None of 41 sensors was complete."), "{text}");
    assert_eq!(flat.matches("● steady").count(), 1, "only in the legend: {text}");
    assert_eq!(flat.matches("The volume was never known").count(), 2, "{text}");
    assert!(!flat.contains("No refill"), "{text}");
    assert!(!flat.contains("stayed within their limits"), "{text}");
}

#[test]
fn the_daily_figures_agree_with_the_facts() {
    let dir = tempfile::tempdir().unwrap();
    let facts = facts_of(dir.path(), &RoomPlan::ORDINARY, "2026-W47");
    let bytes = sheet::csv(&facts).unwrap();
    let mut reader = csv::Reader::from_reader(bytes.as_slice());
    let headers = reader.headers().unwrap().clone();
    let column = |name: &str| headers.iter().position(|header| header == name).unwrap();
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.unwrap()).collect();
    // 7 days of the people, of 2 drums and of 13 places with turbidity, temperature, oxygen and saturation.
    assert_eq!(rows.len(), 7 * (1 + 2 + 13 * 4));
    let figure = |row: &csv::StringRecord, name: &str| row[column(name)].parse::<f64>().unwrap();
    let drum_a: Vec<_> = rows.iter().filter(|row| &row[column("place")] == "drum:a").collect();
    let added: f64 = drum_a.iter().map(|row| figure(row, "added_l")).sum();
    let Litres(expected) = Litres(facts.drums[0].refills.iter().map(|refill| refill.added.0).sum());
    assert!((added - expected).abs() < 0.5, "{added} or {expected}");
    let empty: Vec<f64> = drum_a.iter().map(|row| figure(row, "empty_minutes")).collect();
    assert_eq!(empty, [0.0, 0.0, 0.0, 328.0, 0.0, 0.0, 0.0]);
    let silent: Vec<f64> = rows
        .iter()
        .filter(|row| &row[column("sensor")] == "tank-t3-ntu")
        .map(|row| figure(row, "no_data_percent"))
        .collect();
    assert!((silent[5] - 50.0).abs() < 0.5 && silent[6] > 99.0 && silent[0] < 0.1, "{silent:?}");
    for row in rows.iter().filter(|row| !row[column("in_limits_percent")].is_empty()) {
        let sum: f64 = [
            "in_limits_percent",
            "below_limits_percent",
            "above_limits_percent",
            "doubtful_percent",
            "no_data_percent",
        ]
        .iter()
        .map(|name| figure(row, name))
        .sum();
        assert!((sum - 100.0).abs() < 0.05, "{row:?}");
    }
}
