//! One table of the site file while it is being read: it knows which keys were asked for, so that
//! all others are mistakes.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::mistake::Findings;
use super::value::{Wrong, kind_of};
use crate::suggest::closest;

/// One table.
pub(super) struct Table<'a> {
    pub(super) findings: &'a Findings,
    entries: &'a DeTable<'a>,
    /// How people find it: `[mqtt]`, `[[drum]]`.
    title: String,
    span: Range<usize>,
    asked: RefCell<Vec<&'static str>>,
    /// Keys that aren't there, until it is known that none of them is only misspelt.
    lacking: RefCell<Vec<LackingKey>>,
}

struct LackingKey {
    key: &'static str,
    what: String,
    remedy: String,
}

impl<'a> Table<'a> {
    /// The whole file.
    pub(super) fn whole(findings: &'a Findings, document: &'a DeTable<'a>) -> Self {
        Self::new(findings, document, "the site file".to_owned(), 0..0)
    }

    fn new(findings: &'a Findings, entries: &'a DeTable<'a>, title: String, span: Range<usize>) -> Self {
        Self { findings, entries, title, span, asked: RefCell::default(), lacking: RefCell::default() }
    }

    /// Where it begins.
    pub(super) fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// The value as it stands in the file.
    pub(super) fn raw(&self, key: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.asked.borrow_mut().push(key);
        self.entries.get(key)
    }

    /// Where the key stands, if it does.
    pub(super) fn key_span(&self, key: &str) -> Option<Range<usize>> {
        self.entries.get_key_value(key).map(|(key, _)| key.span())
    }

    /// An optional key; a value that can't be read is a mistake and counts as absent.
    pub(super) fn maybe<T>(
        &self,
        key: &'static str,
        read: impl FnOnce(&DeValue<'_>) -> Result<T, Wrong>,
    ) -> Option<Spanned<T>> {
        let value = self.raw(key)?;
        match read(value.get_ref()) {
            Ok(good) => Some(Spanned::new(value.span(), good)),
            Err(wrong) => {
                self.findings.mistake(value.span(), format!("{key}: {}", wrong.what), wrong.remedy);
                None
            }
        }
    }

    /// A key of earlier site files: read where it stands, and named to nobody as one that is known.
    pub(super) fn maybe_earlier<T>(
        &self,
        key: &'static str,
        read: impl FnOnce(&DeValue<'_>) -> Result<T, Wrong>,
    ) -> Option<Spanned<T>> {
        self.entries.get(key)?;
        self.maybe(key, read)
    }

    /// A key that somebody else reads and judges.
    pub(super) fn quietly<T>(
        &self,
        key: &str,
        read: impl FnOnce(&DeValue<'_>) -> Result<T, Wrong>,
    ) -> Option<T> {
        read(self.entries.get(key)?.get_ref()).ok()
    }

    /// Likewise the table below such a key.
    pub(super) fn table_earlier(&self, key: &'static str) -> Option<Table<'a>> {
        self.entries.get(key)?;
        self.table(key)
    }

    /// A key that must be there; `example` is what could be written.
    pub(super) fn need<T>(
        &self,
        key: &'static str,
        example: &str,
        read: impl FnOnce(&DeValue<'_>) -> Result<T, Wrong>,
    ) -> Option<Spanned<T>> {
        let found = self.maybe(key, read);
        if found.is_none() && self.entries.get(key).is_none() {
            self.lacks(key, format!("{} has no {key}", self.title), format!("Add {key} = {example}"));
        }
        found
    }

    /// `key` should be there, and isn't; told by [`Table::finish`], unless it turns out to be misspelt.
    pub(super) fn lacks(&self, key: &'static str, what: impl Into<String>, remedy: impl Into<String>) {
        self.lacking.borrow_mut().push(LackingKey { key, what: what.into(), remedy: remedy.into() });
    }

    /// A key with a usual value.
    pub(super) fn or<T>(
        &self,
        key: &'static str,
        usual: T,
        read: impl FnOnce(&DeValue<'_>) -> Result<T, Wrong>,
    ) -> T {
        self.maybe(key, read).map_or(usual, Spanned::into_inner)
    }

    /// The table below that key.
    pub(super) fn table(&self, key: &'static str) -> Option<Table<'a>> {
        self.sub_table(key, format!("[{key}]"), self.raw(key)?)
    }

    /// The table below that key, which must be there.
    pub(super) fn need_table(&self, key: &'static str, what_for: &str) -> Option<Table<'a>> {
        if self.raw(key).is_none() {
            self.lacks(key, format!("{} has no [{key}]", self.title), format!("Add [{key}]: {what_for}."));
        }
        self.table(key)
    }

    /// All tables `[[key]]`; a single `[key]` counts as one.
    pub(super) fn tables(&self, key: &'static str) -> Vec<Table<'a>> {
        let Some(value) = self.raw(key) else { return Vec::new() };
        let title = format!("[[{key}]]");
        match value.get_ref() {
            DeValue::Array(list) => {
                list.iter().filter_map(|item| self.sub_table(key, title.clone(), item)).collect()
            }
            DeValue::Table(_)
            | DeValue::String(_)
            | DeValue::Integer(_)
            | DeValue::Float(_)
            | DeValue::Boolean(_)
            | DeValue::Datetime(_) => self.sub_table(key, title, value).into_iter().collect(),
        }
    }

    /// All tables below this one with their own names, `[key.NAME]`; the names are in `known`.
    pub(super) fn named_tables(&self, known: &[&'static str]) -> Vec<(&'static str, Table<'a>)> {
        known.iter().filter_map(|name| Some((*name, self.table(name)?))).collect()
    }

    /// Every key that nobody asked for is a mistake, and so is every one that was missed.
    pub(super) fn finish(self) {
        let mut known = self.asked.take();
        known.sort_unstable();
        known.dedup();
        let mut lacking = self.lacking.take();
        for (key, _) in self.entries {
            let word = key.get_ref().as_ref();
            if known.contains(&word) {
                continue;
            }
            if names_a_secret(word) {
                self.typed_secret(key.span(), word);
                continue;
            }
            let free = known.iter().copied().filter(|known| !self.entries.contains_key(*known));
            let meant = closest(word, free);
            lacking.retain(|lacking| Some(lacking.key) != meant);
            let hint = meant.map_or_else(String::new, |meant| format!("Did you mean '{meant}'? "));
            let remedy = format!("{hint}Known here: {}.", known.join(", "));
            self.findings.mistake(key.span(), format!("{} knows no '{word}'", self.title), remedy);
        }
        for LackingKey { what, remedy, .. } in lacking {
            self.findings.missing(self.span(), what, remedy);
        }
    }

    /// Whether somebody typed a password into this table.
    pub(super) fn holds_typed_secret(&self) -> bool {
        self.entries.keys().any(|key| names_a_secret(key.get_ref()))
    }

    fn typed_secret(&self, place: Range<usize>, word: &str) {
        let what = format!("{word}: a secret doesn't belong in the site file");
        let remedy = "Put it, alone, into a file that only Claymark may read (chmod 600), name that here with \
                      password_file = \"…\", and change the secret, since it has been written down here.";
        self.findings.mistake(place, what, remedy);
    }

    fn sub_table(&self, key: &str, title: String, value: &'a Spanned<DeValue<'a>>) -> Option<Table<'a>> {
        if let DeValue::Table(entries) = value.get_ref() {
            return Some(Table::new(self.findings, entries, title, value.span()));
        }
        let what = format!("{key}: a table is wanted, this is {}", kind_of(value.get_ref()));
        self.findings.mistake(
            value.span(),
            what,
            format!("Write {title} on a line of its own, its keys below."),
        );
        None
    }
}

/// Whether a key of that name would hold a secret itself.
pub(super) fn names_a_secret(key: &str) -> bool {
    let key = key.to_lowercase();
    SECRET_WORDS.iter().any(|word| key.contains(word)) && !key.ends_with("_file")
}

const SECRET_WORDS: [&str; 6] = ["password", "passwd", "passphrase", "secret", "token", "credentials"];
