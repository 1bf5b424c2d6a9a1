//! `claymark-report` as it is called.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

fn report(dir: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_claymark-report")).args(arguments).current_dir(dir).output().unwrap()
}

#[test]
fn mistakes_are_told_in_two_plain_sentences_with_their_exit_status() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("no-store.toml"), "[site]\nid = \"x\"\n").unwrap();
    fs::write(dir.path().join("site.toml"), "[store]\npath = \"missing.db\"\n").unwrap();
    for (arguments, status, says, remedy) in [
        (&["week", "--config", "gone.toml"][..], 2, "the site file gone.toml can't be read", "--config"),
        (&["week", "--config", "no-store.toml"], 2, "doesn't tell where the store is", "claymark check"),
        (&["week", "--config", "site.toml"], 1, "missing.db", "Check the path"),
        (&["week", "--store", "gone.db"], 1, "gone.db", "Check the path"),
        (&["week"], 2, "--config", "--help"),
        (&["week", "--store", "a.db", "--config", "b.toml"], 2, "cannot be used with", "--help"),
    ] {
        let output = report(dir.path(), arguments);
        let text = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(status), "{arguments:?}: {text}");
        assert!(text.contains(says) && text.contains(remedy), "{arguments:?}: {text}");
    }
}
