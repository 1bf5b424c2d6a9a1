//! What is wrong in a site file, where, and how to mend it; all of it at once.

use std::cell::RefCell;
use std::fmt::Write as _;
use std::ops::Range;
use std::sync::Arc;

use miette::{
    GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteDiagnostic, NamedSource, Report, Severity,
};

/// Mistakes (or warnings) in one site file, in the order of the file.
#[derive(Debug, Clone)]
pub struct Mistakes {
    source: Arc<NamedSource<String>>,
    list: Vec<Mistake>,
}

/// One thing to mend.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Mistake {
    pub(super) severity: Severity,
    pub(super) span: Range<usize>,
    pub(super) what: String,
    pub(super) remedy: String,
}

impl Mistakes {
    /// `text` is shown to people, so what must stay secret has been painted over.
    pub(super) fn new(name: &str, text: &str, mut list: Vec<Mistake>) -> Self {
        list.sort_by_key(|mistake| (mistake.span.start, mistake.span.end));
        list.dedup();
        Self { source: Arc::new(NamedSource::new(name, text.to_owned())), list }
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Each with its line, column, underlined text and remedy; colours and frames only when `fancy`.
    #[must_use]
    pub fn render(&self, fancy: bool) -> String {
        let theme = if fancy { GraphicalTheme::unicode() } else { GraphicalTheme::none() };
        let handler = GraphicalReportHandler::new_themed(theme).with_width(WIDTH).with_context_lines(1);
        let mut out = String::new();
        for mistake in &self.list {
            let report = Report::new(mistake.diagnostic()).with_source_code(Arc::clone(&self.source));
            handler
                .render_report(&mut out, report.as_ref())
                .expect("a String takes all that is written to it");
            writeln!(out).expect("a String takes all that is written to it");
        }
        out
    }
}

impl Mistake {
    fn diagnostic(&self) -> MietteDiagnostic {
        MietteDiagnostic::new(&self.what)
            .with_severity(self.severity)
            .with_help(&self.remedy)
            .with_label(LabeledSpan::new_with_span(None, self.span.clone()))
    }
}

/// Collects while the file is being read, so that one mistake doesn't hide the next.
#[derive(Debug, Default)]
pub(super) struct Findings {
    list: RefCell<Vec<Mistake>>,
    /// After a syntax error what seems to be missing may stand in the part that couldn't be read.
    broken_syntax: bool,
}

impl Findings {
    pub(super) fn new(syntax_errors: &[toml::de::Error], text: &str) -> Self {
        let findings = Self { list: RefCell::default(), broken_syntax: !syntax_errors.is_empty() };
        for error in syntax_errors {
            let span = error.span().unwrap_or(text.len()..text.len());
            let (what, remedy) = match error.message() {
                "duplicate key" => ("this stands here a second time".to_owned(), "Keep one of the two."),
                other => (
                    format!("this can't be read: {other}"),
                    "Mend the spelling here; see the example site file.",
                ),
            };
            findings.mistake(span, what, remedy);
        }
        findings
    }

    pub(super) fn mistake(&self, span: Range<usize>, what: impl Into<String>, remedy: impl Into<String>) {
        self.push(Severity::Error, span, what.into(), remedy.into());
    }

    /// Something isn't there.
    pub(super) fn missing(&self, span: Range<usize>, what: impl Into<String>, remedy: impl Into<String>) {
        if !self.broken_syntax {
            self.mistake(span, what, remedy);
        }
    }

    pub(super) fn warning(&self, span: Range<usize>, what: impl Into<String>, remedy: impl Into<String>) {
        self.push(Severity::Warning, span, what.into(), remedy.into());
    }

    /// Mistakes, then warnings.
    pub(super) fn into_parts(self) -> (Vec<Mistake>, Vec<Mistake>) {
        self.list.into_inner().into_iter().partition(|found| found.severity == Severity::Error)
    }

    fn push(&self, severity: Severity, span: Range<usize>, what: String, remedy: String) {
        self.list.borrow_mut().push(Mistake { severity, span, what, remedy });
    }
}

const WIDTH: usize = 100;
