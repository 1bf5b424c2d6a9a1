//! The rooms of the tests come from one builder, so that what a test says of its room is what matters to it.

use std::fs;

use crate::structure::{root, rust_files};

/// What a room is made of, each with two fields by which it is known when it is built whole.
const PARTS_OF_A_ROOM: [(&str, [&str; 2]); 8] = [
    ("Site", ["time_zone", "elevation_m"]),
    ("Staff", ["evening_check", "margin"]),
    ("ClaySupply", ["bag", "thickest"]),
    ("Pump", ["id", "draws"]),
    ("Drum", ["heel", "strapping"]),
    ("Tank", ["id", "volume"]),
    ("Sensor", ["quantity", "thresholds"]),
    ("Contact", ["id", "name"]),
];

#[test]
fn the_rooms_of_the_tests_come_from_one_builder() {
    let all = ["daemon", "report", "tests"].iter().flat_map(|folder| rust_files(&root().join(folder)));
    for path in all {
        let place = path.strip_prefix(root()).unwrap().to_string_lossy().into_owned();
        // A site file is read here, and the tests' room invented there.
        if place.starts_with("daemon/src/config") || place.starts_with("tests/invented") {
            continue;
        }
        let text = fs::read_to_string(&path).unwrap();
        for (name, fields) in PARTS_OF_A_ROOM {
            for literal in values_of(&text, name) {
                let whole = fields.iter().all(|field| literal.contains(field)) && !literal.contains("..");
                assert!(!whole, "{place} builds a {name} of its own; take it from tests/invented:{literal}");
            }
        }
    }
}

/// What stands between the braces wherever a value of that type is built or taken apart.
fn values_of<'a>(text: &'a str, name: &str) -> Vec<&'a str> {
    let opening = format!("{name} {{");
    let of_value = |(place, _): (usize, &str)| {
        let (before, rest) = text.split_at(place);
        let line = before.rsplit('\n').next().unwrap_or_default();
        let other_name = before.ends_with(|last: char| last.is_alphanumeric() || last == '_' || last == ':');
        let declares = ["struct ", "impl ", "-> ", "for "].iter().any(|word| line.contains(word));
        (!other_name && !declares).then(|| within_braces(rest)).flatten()
    };
    text.match_indices(&opening).filter_map(of_value).collect()
}

fn within_braces(text: &str) -> Option<&str> {
    let begin = text.find('{')? + 1;
    let mut depth = 0;
    for (place, letter) in text.char_indices() {
        match letter {
            '{' => depth += 1,
            '}' if depth == 1 => return text.get(begin..place),
            '}' => depth -= 1,
            _ => {}
        }
    }
    None
}
