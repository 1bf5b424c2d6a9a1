//! The room's rule: a part of it reads a view, changes its own state, and says what else it wants done.

use super::{code_of, root, rust_files, without_comments};

/// What takes in, looks round and tells: the files that hold the room itself, below `daemon/room/src`.
const TOP_OF_THE_ROOM: &[&str] = &["lib.rs", "round.rs", "recall.rs"];

/// What changes in that top alone, and in the file that it stands in.
const CHANGED_AT_THE_TOP: &[(&str, &str)] = &[
    ("Knowledge", "knowledge.rs"),
    ("Watches", "watches.rs"),
    ("Announcer", "announcer.rs"),
    ("Alarms", "alarms.rs"),
];

#[test]
fn each_part_of_the_room_reads_a_view_and_changes_nothing_but_its_own_state() {
    let src = root().join("daemon/room/src");
    for path in rust_files(&src) {
        let name = path.strip_prefix(&src).unwrap().display().to_string();
        let code = without_comments(&code_of(&path));
        if TOP_OF_THE_ROOM.contains(&name.as_str()) || name.ends_with("tests.rs") {
            continue;
        }
        let mut words = code.split(|c: char| !c.is_alphanumeric() && c != '_' && c != ':');
        assert!(
            !words.any(|word| ["Room", "crate::Room"].contains(&word)),
            "{name} names the room: it gets a view of it, and says what it wants done"
        );
        for (of, home) in CHANGED_AT_THE_TOP.iter().filter(|(_, home)| *home != name) {
            assert!(!code.contains(&format!("&mut {of}")), "{name} changes {of}: that is done in {home}");
            let methods =
                code.split_once(&format!("impl {of} {{")).and_then(|(_, rest)| rest.split("\n}").next());
            assert!(
                !methods.is_some_and(|methods| methods.contains("&mut self")),
                "{name} changes {of}: that is done in {home}"
            );
        }
        for view in ["Knowledge", "RoomView", "Alarms"] {
            assert!(
                !name.starts_with("failures/") || !code.contains(view),
                "{name} names {view}: a rule gets evidence"
            );
        }
    }
}
