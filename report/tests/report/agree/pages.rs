//! That each figure of the view stands on the PDF and in the picture, as other people's tools read them.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use claymark_report::typeset::{self, Template};
use claymark_report::view::View;
use serde_json::{Value, json};
use typst_pdf::PdfOptions;

use crate::pages::says;

/// Words with a digit, each as often as it stands there at least.
pub fn hold_every_figure(view: &View, dir: &Path) {
    let mut content = serde_json::to_value(view).unwrap();
    // Without a forecast that could be judged nothing but the verdict is set.
    if content["skill"]["leads"] == json!([]) {
        content["skill"] = json!({ "verdict": content["skill"]["verdict"] });
    }
    if content["water"]["oxygen"].is_null() {
        content["water"]["oxygen_title"] = json!("");
    }
    let whole: Vec<&str> = content.as_object().unwrap().keys().map(String::as_str).collect();
    let first = ["title", "span", "verdict", "room"];
    for (template, keys) in [(Template::Week, whole.as_slice()), (Template::Picture, &first)] {
        let path = dir.join("figures.pdf");
        let document = typeset::set(template, view).unwrap();
        fs::write(&path, typst_pdf::pdf(&document, &PdfOptions::default()).unwrap()).unwrap();
        let page = words(&says("pdftotext", &[path.to_str().unwrap(), "-"]));
        let mut wanted = BTreeMap::new();
        for key in keys {
            gather(&content[*key], &mut wanted);
        }
        assert!(wanted.len() > 30, "{template:?}: {wanted:?}");
        for (word, times) in wanted {
            let found = page.get(&word).copied().unwrap_or(0);
            assert!(found >= times, "{template:?}: '{word}' stands there {found} times, not {times}");
        }
    }
}

/// All texts that the templates set; a picture's words are for those who can't see it.
fn gather(content: &Value, into: &mut BTreeMap<String, usize>) {
    match content {
        Value::String(text) => {
            words(text).into_iter().for_each(|(word, times)| *into.entry(word).or_default() += times);
        }
        Value::Array(all) => all.iter().for_each(|one| gather(one, into)),
        Value::Object(fields) => {
            let set = fields
                .iter()
                .filter(|(key, _)| !["alt", "file", "shape", "mark", "date"].contains(&key.as_str()));
            set.for_each(|(_, one)| gather(one, into));
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

fn words(text: &str) -> BTreeMap<String, usize> {
    let text = text.replace('\u{200b}', "").replace('\u{a0}', " ");
    let mut all = BTreeMap::new();
    let figure = |word: &&str| word.chars().any(|letter| letter.is_ascii_digit());
    for word in text.split(|letter: char| !(letter.is_alphanumeric() || letter == '.' || letter == ':')) {
        let word = word.trim_matches(['.', ':']);
        if figure(&word) {
            *all.entry(word.to_owned()).or_default() += 1;
        }
    }
    all
}
