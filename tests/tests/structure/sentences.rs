//! Sentences for people are made in `words` alone.

use std::fs;
use std::path::Path;

use super::{CENTRE, code_of, root, rust_files};

#[test]
fn no_floor_of_the_centre_makes_a_sentence_for_people() {
    for floor in CENTRE {
        let files = rust_files(&root().join(floor).join("src"));
        let for_tests: Vec<String> = files.iter().flat_map(|path| modules_for_tests(path)).collect();
        for path in files {
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            if for_tests.contains(&name) {
                continue;
            }
            let said: Vec<String> =
                literals(&code_of(&path)).into_iter().filter(|it| is_sentence(it)).collect();
            assert!(
                said.is_empty(),
                "{} says {said:?}: hand on a value, its words stand in `words`",
                path.display()
            );
        }
    }
}

#[test]
fn a_sentence_is_told_from_a_name_an_error_and_a_comment() {
    let source = r##"
        //! "This is a comment."
        #[error("the row {0} isn't there")]
        #[expect(clippy::large, reason = "the whole stands in [a box]")]
        fn said<'a>(it: &'a str) -> String {
            let quote = ('"', '\'', "it is"); // "not this one here"
            it.parse().expect("it was looked at before");
            format!("{it}: the level \"{quote}\" \
                is silent") + "lb per 100 L" + r#"one "more" for luck"#
        }"##;
    let said: Vec<String> = literals(source).into_iter().filter(|it| is_sentence(it)).collect();
    let [first, second] = said.as_slice() else { panic!("{said:?}") };
    assert!(first.contains("the level") && first.contains("is silent"), "{first}");
    assert!(second.contains("for luck"), "{second}");
}

/// Three words or more; a word is letters, only its first may be a capital.
fn is_sentence(literal: &str) -> bool {
    let is_word = |word: &&str| {
        let word = word.trim_matches(|c: char| !c.is_alphabetic());
        word.len() > 1 && word.chars().skip(1).all(|c| c.is_lowercase() || c == '\'')
    };
    literal.split_whitespace().filter(is_word).count() >= 3
}

/// The files below a module that only its tests have.
fn modules_for_tests(path: &Path) -> Vec<String> {
    let code = fs::read_to_string(path).unwrap();
    let after = code.split("#[cfg(test)]\n").skip(1);
    let first = after.filter_map(|rest| rest.lines().find(|line| !line.starts_with("#[")));
    first.filter_map(|line| Some(line.strip_prefix("mod ")?.strip_suffix(';')?.to_owned())).collect()
}

/// The string literals of a source, but for those in comments, attributes and `expect(…)`.
fn literals(code: &str) -> Vec<String> {
    let (mut found, mut rest, mut attribute, mut expects) = (Vec::new(), code, 0, false);
    while !rest.is_empty() {
        let (token, after) = rest.split_at(token(rest));
        rest = after;
        match token {
            "#[" | "#![" => attribute += 1,
            "[" if attribute > 0 => attribute += 1,
            "]" if attribute > 0 => attribute -= 1,
            literal
                if attribute == 0
                    && !expects
                    && literal.contains('"')
                    && !literal.starts_with(['/', '\'']) =>
            {
                found.push(literal.to_owned());
            }
            _ => {}
        }
        expects = token == "expect(" || expects && token.trim().is_empty();
    }
    found
}

/// How long the first token is, as far as string literals need it.
fn token(code: &str) -> usize {
    let until =
        |from: usize, end: &str| code[from..].find(end).map_or(code.len(), |at| from + at + end.len());
    let starts = |with: &str| code.starts_with(with);
    if starts("//") {
        until(0, "\n")
    } else if starts("r#\"") {
        until(3, "\"#")
    } else if starts("\"") {
        let mut escaped = false;
        let end = code.char_indices().skip(1).find(|(_, c)| {
            let ends = *c == '"' && !escaped;
            escaped = *c == '\\' && !escaped;
            ends
        });
        end.map_or(code.len(), |(at, _)| at + 1)
    } else if starts("'\\") {
        until(3, "'")
    } else if starts("'") && code.chars().nth(2) == Some('\'') {
        code.chars().take(3).map(char::len_utf8).sum()
    } else {
        let known = ["#![", "#[", "expect("].into_iter().find(|known| starts(known));
        known.map_or_else(|| code.chars().next().map_or(0, char::len_utf8), str::len)
    }
}
