//! Reference libraries, run live: a Python script reads a question as JSON and writes its answer as JSON.

use std::env;
use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Stdio};

use serde_json::Value;

/// What `tests/oracles/<script>` answers.
///
/// # Panics
/// When the oracle isn't there or fails: a test that can't ask proves nothing.
#[must_use]
pub fn ask(script: &str, question: &Value) -> Value {
    let python = python();
    assert!(
        python.exists(),
        "{} is missing: run `tests/run --prepare`, which installs the reference libraries",
        python.display()
    );
    let mut child = Command::new(&python)
        .arg(root().join("tests/oracles").join(script))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{} doesn't start: {error}", python.display()));
    let mut stdin = child.stdin.take().expect("it was asked for");
    stdin.write_all(question.to_string().as_bytes()).expect("the script reads all before it answers");
    drop(stdin);
    let output = child.wait_with_output().expect("it was started");
    assert!(output.status.success(), "{script} failed; see its message above");
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{script} wrote no JSON: {error}"))
}

/// The repository.
#[must_use]
pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).parent().expect("tests/ lies in the repository").to_path_buf()
}

/// The Python that holds the reference libraries.
#[must_use]
pub fn python() -> PathBuf {
    env::var_os("CLAYMARK_ORACLE_PYTHON")
        .map_or_else(|| root().join("target/oracles/bin/python"), |path| root().join(path))
}
