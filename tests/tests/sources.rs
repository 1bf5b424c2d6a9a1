//! Each check against the world names its source: the table of `tests/data/README.md` has a row for every file of data,
//! every oracle and every test that stands on a published figure, and every row of check values is read by a test.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use claymark_tests::oracle::root;

/// What a source may be; a row may have several.
const KINDS: &[&str] = &[
    "standard",
    "handbook",
    "paper",
    "open data",
    "library",
    "worked example",
    "closed form",
    "common practice, no source",
    "from memory",
    "our own",
];

/// A row of the table.
struct SourceRow {
    file: String,
    source: String,
    kinds: Vec<String>,
}

fn table() -> Vec<SourceRow> {
    let text = fs::read_to_string(root().join("tests/data/README.md")).unwrap();
    let cells = |line: &str| line.split(" | ").map(|cell| cell.trim_matches(['|', ' ']).to_owned()).collect();
    let rows = text.lines().filter(|line| line.starts_with("| `")).map(|line| {
        let cells: Vec<String> = cells(line);
        let [file, _, source, kinds, _] = cells.as_slice() else { panic!("five cells, not {cells:?}") };
        let kinds = kinds.split("; ").map(str::to_owned).collect();
        SourceRow { file: file.trim_matches('`').to_owned(), source: source.clone(), kinds }
    });
    rows.collect()
}

fn files(folder: &str, ending: &str) -> BTreeSet<String> {
    let listed = fs::read_dir(root().join(folder)).unwrap();
    let names = listed.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned());
    names.filter(|name| name.ends_with(ending)).map(|name| format!("{folder}/{name}")).collect()
}

/// All code that may ask an oracle or read a check value.
fn code() -> String {
    fn gather(folder: &Path, text: &mut String) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() && !path.ends_with("target") {
                gather(&path, text);
            } else if path.extension().is_some_and(|ending| ending == "rs") && !path.ends_with("sources.rs") {
                text.push_str(&fs::read_to_string(&path).unwrap());
            }
        }
    }
    let mut text = String::new();
    for folder in ["daemon", "report", "tests"] {
        gather(&root().join(folder), &mut text);
    }
    text
}

#[test]
fn every_file_of_data_and_every_oracle_has_its_row_with_source_and_kind() {
    let table = table();
    let mut wanted = files("tests/data", "");
    wanted.remove("tests/data/README.md");
    wanted.extend(files("tests/oracles", ".py"));
    for file in &wanted {
        let rows = table.iter().filter(|row| row.file == *file).count();
        assert_eq!(rows, 1, "rows of {file} in tests/data/README.md");
    }
    assert!(wanted.len() > 10, "the folders were read: {wanted:?}");
}

#[test]
fn every_row_leads_to_a_file_and_says_where_its_figures_come_from() {
    let table = table();
    let mut seen = BTreeSet::new();
    for SourceRow { file, source, kinds } in &table {
        assert!(seen.insert(file), "{file} has two rows");
        assert!(root().join(file).is_file(), "{file} has a row and isn't there");
        for kind in kinds {
            assert!(KINDS.contains(&kind.as_str()), "{file}: '{kind}' is none of {KINDS:?}");
        }
        // A source that can be found has a year, a version or a section.
        let can_be_found = source.chars().any(|c| c.is_ascii_digit());
        let is_ours =
            ["our own", "common practice, no source"].iter().any(|kind| kinds.contains(&(*kind).to_owned()));
        assert!(can_be_found || is_ours, "{file}: nobody finds '{source}'");
    }
}

#[test]
fn every_oracle_is_asked_and_every_check_value_is_read() {
    let code = code();
    for file in files("tests/oracles", ".py") {
        let name = file.rsplit('/').next().unwrap();
        assert!(
            code.contains(&format!("\"{name}\"")) || code.contains(&format!("/{name}\"")),
            "nobody asks {name}"
        );
    }
    for file in files("tests/data", "_check_values.csv") {
        for row in csv::Reader::from_path(root().join(&file)).unwrap().into_records() {
            let row = row.unwrap();
            let (id, function) = (row.get(0).unwrap(), row.get(1).unwrap());
            assert!(code.contains(&format!("\"{function}\"")), "{file}: no test reads {function} ({id})");
            assert!("PEODM".contains(row.get(5).unwrap()), "{file}: {id} has no class");
            let source = row.get(6).unwrap();
            assert!(source.len() > 5 && source != "same", "{file}: {id} has no source");
        }
    }
}
