//! Sets a template with the week's content, offline: fonts, templates and pictures all come from memory.

use typst::diag::Warned;
use typst_as_lib::TypstEngine;
use typst_layout::PagedDocument;

use crate::charts::{BOLD, REGULAR};
use crate::view::View;

/// What is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Template {
    /// The report on A4.
    Week,
    /// The one picture.
    Picture,
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

/// Sets `template` with `view`.
pub fn set(template: Template, view: &View) -> Result<PagedDocument, Unset> {
    let content = serde_json::to_vec(view)?;
    let pictures = view.pictures().iter().map(|(file, svg)| (file.as_str(), svg.clone().into_bytes()));
    let files = std::iter::once(("week.json", content)).chain(pictures);
    let engine = TypstEngine::builder()
        .main_file(("main.typ", template.source()))
        .fonts([REGULAR, BOLD])
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

impl Template {
    fn source(self) -> &'static str {
        match self {
            Self::Week => include_str!("../templates/week.typ"),
            Self::Picture => include_str!("../templates/picture.typ"),
        }
    }
}

const PARTS: &str = include_str!("../templates/parts.typ");
