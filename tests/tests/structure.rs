//! The rules of the house as tests: who may use whom, what the centre may not know, how long a file may be.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

mod room;
mod sentences;

/// (folder, crates of ours that it may depend on), as DEVELOPERS.md draws it.
const MAY_USE: &[(&str, &[&str])] = &[
    ("daemon/model", &[]),
    ("daemon/clay", &["model"]),
    ("daemon/drum", &["model", "clay"]),
    ("daemon/notice", &["model", "clay"]),
    ("daemon/room", &["model", "clay", "drum", "notice"]),
    ("daemon/words", &["model", "clay", "notice"]),
    ("daemon/store", &["model", "clay", "notice"]),
    ("daemon/influx", &["model", "clay", "notice", "words", "store"]),
    ("daemon", &["model", "clay", "notice", "room", "words", "store", "influx"]),
    ("report", &["model", "clay", "notice", "words", "store", "influx"]),
    ("tests/invented", &["model"]),
];

/// The floors of the centre.
const CENTRE: &[&str] = &["daemon/model", "daemon/clay", "daemon/drum", "daemon/notice", "daemon/room"];

/// What the pure centre must not name.
const FORBIDDEN_IN_CENTRE: &[&str] = &[
    "std::fs",
    "std::net",
    "std::env",
    "std::io",
    "std::thread",
    "std::process",
    "tokio",
    "async fn",
    "Timestamp::now",
    "Instant::now",
    "SystemTime",
    "println!",
    "TimeZone::system",
];

/// Circles of modules within a floor that are still there; the list only gets shorter.
const CIRCLES_STILL_THERE: &[(&str, &[&str])] = &[];

/// Seconds of an hour and of a day, minutes of a day.
const FACTORS: &[&str] = &["3600", "86400", "1440"];

/// Files outside the home of factors that still have one; the list only gets shorter. A bound in seconds may stay.
const FACTORS_STILL_THERE: &[&str] = &["daemon/clay/src/bounds/table.rs"];

/// Each module has settings, each task has channels of its own, and an error is told by its module's name.
const EACH_ITS_OWN: &[&str] = &["Settings", "Ports", "Error"];

/// The home of the clock, and the report's one look at it: which week is the last full one.
const READS_THE_CLOCK: &[&str] = &["daemon/src/clock.rs", "report/src/main.rs"];

const CLOCK_WORDS: &[&str] = &[
    "Timestamp::now",
    "Zoned::now",
    "Instant::now",
    "SystemTime::now",
    "DateTime::now",
    ".elapsed()",
    "TimeZone::system",
];

/// Lines after which two ideas probably live in one file; tests at its bottom don't count.
const LONGEST_FILE: usize = 500;

pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("tests/ lies in the workspace").to_path_buf()
}

pub(crate) fn rust_files(dir: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() && name != "target" && !name.starts_with('.') {
            found.extend(rust_files(&path));
        } else if name.ends_with(".rs") {
            found.push(path);
        }
    }
    found
}

fn code_of(path: &Path) -> String {
    let text = fs::read_to_string(path).unwrap();
    let code = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
    code.split("#[cfg(test)]\npub(crate) mod tests").next().unwrap_or_default().to_owned()
}

#[test]
fn every_file_of_tests_is_run() {
    let all = include_str!("all.rs");
    for entry in fs::read_dir(root().join("tests/tests")).unwrap() {
        let name = entry.unwrap().file_name().to_string_lossy().into_owned();
        if let Some(module) = name.strip_suffix(".rs").filter(|module| *module != "all") {
            assert!(all.contains(&format!("\nmod {module};\n")), "tests/all.rs lacks {module}");
        }
    }
}

#[test]
fn crates_depend_inward_only() {
    for (folder, allowed) in MAY_USE {
        let manifest = fs::read_to_string(root().join(folder).join("Cargo.toml")).unwrap();
        let normal = manifest.split("[dev-dependencies]").next().unwrap();
        for line in normal.lines().filter(|line| line.starts_with("claymark-")) {
            let used = line.split(['.', ' ', '=']).next().unwrap();
            let floor = used.trim_start_matches("claymark-");
            assert!(allowed.contains(&floor), "{folder} must not use {used}");
        }
    }
}

#[test]
fn the_centre_knows_no_clock_no_files_no_sockets() {
    for path in CENTRE.iter().flat_map(|floor| rust_files(&root().join(floor).join("src"))) {
        let code = code_of(&path);
        for word in FORBIDDEN_IN_CENTRE {
            assert!(!code.contains(word), "{} names {word}", path.display());
        }
    }
}

#[test]
fn only_the_command_line_and_the_demo_know_the_config_module() {
    for path in rust_files(&root().join("daemon/src")) {
        let name = path.strip_prefix(root().join("daemon/src")).unwrap().to_string_lossy().into_owned();
        let may =
            ["main", "lib", "cli", "config", "demo", "replay"].iter().any(|room| name.starts_with(room));
        if !may {
            assert!(
                !code_of(&path).contains("crate::config"),
                "{name} imports config; give it its own Settings"
            );
        }
    }
}

#[test]
fn only_the_demo_knows_how_its_invented_room_behaves() {
    for (folder, _) in MAY_USE {
        for path in rust_files(&root().join(folder).join("src")) {
            let in_demo =
                path.starts_with(root().join("daemon/src/demo")) || path.ends_with("daemon/src/demo.rs");
            assert!(
                in_demo || !code_of(&path).contains("physics"),
                "{} names the demo's physics",
                path.display()
            );
        }
    }
}

#[test]
fn every_file_says_what_it_is_and_is_about_one_thing() {
    for path in rust_files(&root()) {
        let shown = path.strip_prefix(root()).unwrap().display().to_string();
        let text = fs::read_to_string(&path).unwrap();
        assert!(text.starts_with("//!"), "{shown} has no doc line");
        let lines = code_of(&path).lines().count();
        assert!(lines <= LONGEST_FILE, "{shown} has {lines} lines: two things live in it");
        for vague in ["mod.rs", "utils", "helpers", "common", "misc"] {
            let is_vague = path.iter().any(|part| {
                let part = part.to_string_lossy();
                part == vague || part.strip_suffix(".rs") == Some(vague)
            });
            assert!(!is_vague, "{shown}: {vague} is no name for a room");
        }
    }
}

#[test]
fn no_type_name_stands_for_two_things() {
    let mut homes: BTreeMap<String, BTreeSet<PathBuf>> = BTreeMap::new();
    for path in ["daemon", "report", "tests"].into_iter().flat_map(|folder| rust_files(&root().join(folder)))
    {
        let code = without_comments(&fs::read_to_string(&path).unwrap());
        for line in code.lines().map(|line| line.trim_start().trim_start_matches("pub").trim_start()) {
            let line =
                line.strip_prefix("(crate)").or(line.strip_prefix("(super)")).unwrap_or(line).trim_start();
            let kinds = ["struct ", "enum ", "trait "];
            let Some(name) = kinds.iter().find_map(|kind| line.strip_prefix(kind)) else { continue };
            let name: String = name.chars().take_while(char::is_ascii_alphanumeric).collect();
            homes.entry(name).or_default().insert(path.clone());
        }
    }
    assert!(homes.len() > 500, "{} types were found", homes.len());
    let twice: Vec<_> = homes
        .iter()
        .filter(|(name, homes)| homes.len() > 1 && !EACH_ITS_OWN.contains(&name.as_str()))
        .collect();
    assert!(twice.is_empty(), "{twice:#?}");
}

#[test]
fn no_circle_of_files_within_a_floor_of_the_centre() {
    let mut listed: Vec<(&str, &[&str])> = CIRCLES_STILL_THERE.to_vec();
    for floor in CENTRE {
        for circle in circles(&imports(&root().join(floor).join("src"))) {
            let known = listed.iter().position(|(of, names)| {
                of == floor && circle.iter().all(|module| names.contains(&module.as_str()))
            });
            let known = known.unwrap_or_else(|| {
                panic!("{floor}: {circle:?} use each other: a piece of data lies too high, move it down")
            });
            listed.remove(known);
        }
    }
    assert!(listed.is_empty(), "broken, so take it off the list: {listed:?}");
}

#[test]
fn seconds_of_an_hour_and_a_day_have_one_home() {
    let mut listed = FACTORS_STILL_THERE.to_vec();
    for path in CENTRE.iter().flat_map(|floor| rust_files(&root().join(floor).join("src"))) {
        let shown = path.strip_prefix(root()).unwrap().display().to_string();
        let code = without_comments(&code_of(&path));
        let mut numbers = code.split(|c: char| !c.is_alphanumeric() && c != '_');
        if shown == "daemon/model/src/units.rs" || shown.ends_with("tests.rs") {
            continue;
        }
        if let Some(factor) = numbers.find(|word| FACTORS.contains(&word.replace('_', "").as_str())) {
            let known = listed.iter().position(|file| *file == shown);
            let known =
                known.unwrap_or_else(|| panic!("{shown} has {factor}: the home of factors is units.rs"));
            listed.remove(known);
        }
    }
    assert!(listed.is_empty(), "gone, so take it off the list: {listed:?}");
}

#[test]
fn the_clock_has_one_home() {
    for (folder, _) in MAY_USE {
        for path in rust_files(&root().join(folder).join("src")) {
            let shown = path.strip_prefix(root()).unwrap().display().to_string();
            if READS_THE_CLOCK.contains(&shown.as_str()) {
                continue;
            }
            let code = without_comments(&code_of(&path));
            for word in CLOCK_WORDS {
                assert!(
                    !code.contains(word),
                    "{shown} names {word}: the clock's home is daemon/src/clock.rs"
                );
            }
        }
    }
}

/// Modules of one crate, each with those that it imports; parents and children are left out.
fn imports(src: &Path) -> BTreeMap<Module, BTreeSet<Module>> {
    let mut code: BTreeMap<Module, String> = BTreeMap::new();
    for path in rust_files(src) {
        let inside = path.strip_prefix(src).unwrap().with_extension("");
        let mut module: Module = inside.iter().map(|part| part.to_string_lossy().into_owned()).collect();
        if !module.iter().any(|part| ["tests", "checks", "invented"].contains(&part.as_str())) {
            module.retain(|part| part != "lib");
            code.insert(module, without_comments(&code_of(&path)));
        }
    }
    let exports: BTreeMap<Module, Module> = code
        .iter()
        .flat_map(|(module, text)| paths(text, true).into_iter().map(move |path| (module, path)))
        .filter_map(|(module, path)| {
            let from = absolute(&code, module, &path)?;
            let name = path.last()?.clone();
            Some((module.iter().cloned().chain([name]).collect(), from))
        })
        .collect();
    let imported = |module: &Module, text: &str| {
        let used = paths(text, false).into_iter().chain(paths_in_code(text));
        used.filter_map(|path| absolute(&code, module, &path))
            .map(|path| exports.get(&path).cloned().unwrap_or(path))
            .filter_map(|path| nearest(&code, path))
            .filter(|other| !other.starts_with(module) && !module.starts_with(other))
            .collect::<BTreeSet<Module>>()
    };
    code.iter().map(|(module, text)| (module.clone(), imported(module, text))).collect()
}

type Module = Vec<String>;

/// The module that holds what the path names.
fn nearest(code: &BTreeMap<Module, String>, mut path: Module) -> Option<Module> {
    while !code.contains_key(&path) {
        path.pop()?;
    }
    Some(path)
}

/// A path as it is written, from the crate's root; `None`: it leads out of the crate.
fn absolute(code: &BTreeMap<Module, String>, module: &Module, path: &[String]) -> Option<Module> {
    let (first, rest) = path.split_first()?;
    match first.as_str() {
        "crate" => Some(rest.to_vec()),
        "self" => Some([module, rest].concat()),
        "super" => {
            let up = path.iter().take_while(|part| *part == "super").count();
            Some([module.get(..module.len().checked_sub(up)?)?, path.get(up..)?].concat())
        }
        _ => {
            let child = [module.as_slice(), std::slice::from_ref(first)].concat();
            code.contains_key(&child).then(|| [module, path].concat())
        }
    }
}

/// Each path that `use` names, braces taken apart; of re-exports alone where that is asked for.
fn paths(code: &str, only_exports: bool) -> Vec<Vec<String>> {
    let mut found = Vec::new();
    let mut ahead = code;
    while let Some((line, rest)) = ahead.split_once('\n') {
        let line = line.trim_start();
        let (seen, names) = line.split_once("use ").unwrap_or(("-", ""));
        if seen == "pub " || !only_exports && ["", "pub(crate) ", "pub(super) "].contains(&seen) {
            let statement = format!("{names}{rest}");
            apart(&[], statement.split(';').next().unwrap_or_default(), &mut found);
        }
        ahead = rest;
    }
    found
}

fn apart(before: &[String], tree: &str, found: &mut Vec<Vec<String>>) {
    let mut depth = 0_usize;
    let branches = tree.split(|c| {
        depth = if c == '{' { depth + 1 } else { depth - usize::from(c == '}') };
        c == ',' && depth == 0
    });
    for branch in branches.map(str::trim).filter(|branch| !branch.is_empty()) {
        let (stem, inner) =
            branch.split_once('{').map_or((branch, None), |(stem, inner)| (stem, Some(inner)));
        let stem = stem.split(" as ").next().unwrap_or_default();
        let parts = stem.split("::").map(str::trim).filter(|part| !part.is_empty() && *part != "self");
        let path: Vec<String> = before.iter().cloned().chain(parts.map(str::to_owned)).collect();
        match inner {
            Some(inner) => apart(&path, inner.strip_suffix('}').unwrap_or(inner), found),
            None => found.push(path),
        }
    }
}

/// `crate::…` and `super::…` in the midst of code.
fn paths_in_code(code: &str) -> Vec<Vec<String>> {
    let words = code.split(|c: char| !c.is_alphanumeric() && c != '_' && c != ':');
    words
        .filter(|word| word.starts_with("crate::") || word.starts_with("super::"))
        .map(|word| word.split("::").filter(|part| !part.is_empty()).map(str::to_owned).collect())
        .collect()
}

/// Sets of modules of which each reaches each other one.
fn circles(imports: &BTreeMap<Module, BTreeSet<Module>>) -> BTreeSet<BTreeSet<String>> {
    let reached = |from: &Module| {
        let mut reached = BTreeSet::new();
        let mut ahead: Vec<&Module> = imports.get(from).into_iter().flatten().collect();
        while let Some(module) = ahead.pop() {
            if reached.insert(module) {
                ahead.extend(imports.get(module).into_iter().flatten());
            }
        }
        reached
    };
    let from: BTreeMap<&Module, BTreeSet<&Module>> =
        imports.keys().map(|module| (module, reached(module))).collect();
    let reaches = |one: &Module, other: &Module| from.get(one).is_some_and(|reached| reached.contains(other));
    let circle = |module: &&Module| {
        let both = from.keys().filter(|other| reaches(module, other) && reaches(other, module));
        both.map(|other| other.join("::")).collect::<BTreeSet<_>>()
    };
    from.keys().map(circle).filter(|circle| !circle.is_empty()).collect()
}

fn without_comments(code: &str) -> String {
    code.lines().map(|line| line.split("//").next().unwrap_or_default()).collect::<Vec<_>>().join("\n")
}

#[test]
fn nothing_reads_outside_the_checkout() {
    let outside = ["..", "shared"].join("/");
    for path in rust_files(&root()) {
        assert!(!fs::read_to_string(&path).unwrap().contains(&outside), "{} reads {outside}", path.display());
    }
}
