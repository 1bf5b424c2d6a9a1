//! Sets a template with the week's content, offline: fonts, templates and pictures all come from memory.
//!
//! All texts are data to the templates: nothing in them is read as markup. What no font has is written by its name on
//! the way in. A part that can't be set is found by setting each one alone; a sentence then stands in its place.

use serde_json::Value;
use typst::diag::Warned;
use typst_as_lib::TypstEngine;
use typst_layout::PagedDocument;

use claymark_words::report::unmade::{Part, WhyUnmade};

use crate::fonts::{BOLD, REGULAR, WIDE};
use crate::glyphs::drawable;
use crate::parts::attempt;
use crate::view::View;

/// What is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Template {
    /// The report on A4.
    Week,
    /// The one picture.
    Picture,
}

/// What was made, and the parts that a sentence stands for because they couldn't be set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Made<T> {
    /// A document or a file.
    pub made: T,
    /// These failed.
    pub failed: Vec<(Part, WhyUnmade)>,
}

/// A page couldn't be set.
#[derive(Debug, thiserror::Error)]
pub enum Unset {
    /// Typst refused.
    #[error("the page couldn't be set: {0}")]
    Refused(String),
    /// Typst had a remark, such as a font that is missing: the page wouldn't be as it should.
    #[error("the page was set with a remark, which counts as a mistake: {0}")]
    Remark(String),
    /// The content couldn't be written for the template.
    #[error("the content couldn't be written for the template: {0}")]
    Content(#[from] serde_json::Error),
}

/// Makes a file of `view` by `set`; where that fails, of all parts of it that can be set.
pub fn made<T>(view: &View, set: impl Fn(&View) -> Result<T, Unset>) -> Result<Made<T>, Unset> {
    let set = |view: &View| attempt(|| set(view)).unwrap_or_else(|said| Err(Unset::Refused(said)));
    let whole = match set(view) {
        Ok(made) => return Ok(Made { made, failed: Vec::new() }),
        Err(refusal) => refusal,
    };
    let alone = |part: Part| set(&view.only(part)).err().map(|why| (part, WhyUnmade::Fault(why.to_string())));
    let failed: Vec<(Part, WhyUnmade)> = view.made().into_iter().filter_map(alone).collect();
    let mut rest = view.clone();
    failed.iter().for_each(|(part, why)| rest.fail(*part, why.clone()));
    // Without a culprit the frame itself can't be set, or only two together: then the whole is what failed.
    if failed.is_empty() { Err(whole) } else { Ok(Made { made: set(&rest)?, failed }) }
}

/// Sets `template` with `view`.
pub fn set(template: Template, view: &View) -> Result<PagedDocument, Unset> {
    let content = serde_json::to_vec(&shown(serde_json::to_value(view)?))?;
    let pictures = view.pictures().iter().map(|(file, svg)| (file.as_str(), svg.clone().into_bytes()));
    let files = std::iter::once(("week.json", content)).chain(pictures);
    let engine = TypstEngine::builder()
        .main_file(("main.typ", template.source()))
        .fonts([REGULAR, BOLD, WIDE])
        .with_static_source_file_resolver([("parts.typ", PARTS)])
        .with_static_file_resolver(files)
        .build();
    let Warned { output, warnings } = engine.compile::<PagedDocument>();
    let document = output.map_err(|refusal| Unset::Refused(refusal.to_string()))?;
    match warnings.first() {
        Some(remark) => Err(Unset::Remark(remark.message.to_string())),
        None => Ok(document),
    }
}

/// Every text as a page can show it.
fn shown(content: Value) -> Value {
    match content {
        Value::String(text) => Value::String(drawable(&text).into_owned()),
        Value::Array(all) => Value::Array(all.into_iter().map(shown).collect()),
        Value::Object(all) => Value::Object(all.into_iter().map(|(key, one)| (key, shown(one))).collect()),
        plain @ (Value::Null | Value::Bool(_) | Value::Number(_)) => plain,
    }
}

impl Template {
    fn source(self) -> &'static str {
        match self {
            Self::Week => include_str!("../templates/week.typ"),
            Self::Picture => include_str!("../templates/picture.typ"),
        }
    }
}

const PARTS: &str = include_str!("../templates/parts.typ");
