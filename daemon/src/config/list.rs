//! Things of one kind, `[[drum]]` and the like: their ids and names are known even where the rest is wrong.

use std::ops::Range;

use toml::Spanned;

use claymark_model::id::Id;

use super::table::Table;
use super::value;

/// All things of one kind.
pub(super) struct List<T> {
    /// Every id that was given, also of things that have other mistakes.
    pub(super) ids: Vec<Spanned<Id>>,
    /// Those without a mistake of their own.
    pub(super) things: Vec<T>,
}

impl<T> List<T> {
    /// Reads all `[[kind]]`; `build` reads what is special about one.
    pub(super) fn read(
        file: &Table<'_>,
        kind: &'static str,
        mut build: impl FnMut(&Table<'_>, Id, String) -> Option<T>,
    ) -> Self {
        let mut list = Self { ids: Vec::new(), things: Vec::new() };
        let mut names: Vec<Spanned<String>> = Vec::new();
        for table in file.tables(kind) {
            let id = table.need("id", "a short word of its own, for instance \"a\"", value::id);
            let name = table.maybe("name", value::text);
            // Something to go on with, so that the other mistakes of this table are found too.
            let stand_in = || Id::new("unnamed").expect("it fits the rule for ids");
            let known_id = id.as_ref().map_or_else(stand_in, |id| id.get_ref().clone());
            let text = name.as_ref().map_or_else(|| known_id.to_string(), |name| name.get_ref().clone());
            let thing = build(&table, known_id, text);
            if let Some(id) = id {
                twice(&table, kind, "id", &id, &list.ids);
                list.things.extend(thing);
                list.ids.push(id);
            }
            if let Some(name) = name {
                twice(&table, kind, "name", &name, &names);
                names.push(name);
            }
            table.finish();
        }
        list
    }

    /// Whether something goes by that id.
    pub(super) fn has(&self, id: &Id) -> bool {
        self.ids.iter().any(|known| known.get_ref() == id)
    }

    /// For suggestions.
    pub(super) fn words(&self) -> impl Iterator<Item = &str> {
        self.ids.iter().map(|id| id.get_ref().as_str())
    }

    /// Where the id of a thing stands.
    pub(super) fn span(&self, id: &Id) -> Range<usize> {
        self.ids.iter().find(|known| known.get_ref() == id).map_or(0..0, Spanned::span)
    }
}

/// The same id or name a second time.
fn twice<V: PartialEq + std::fmt::Display>(
    table: &Table<'_>,
    kind: &str,
    key: &str,
    new: &Spanned<V>,
    earlier: &[Spanned<V>],
) {
    if earlier.iter().any(|old| old.get_ref() == new.get_ref()) {
        let what = format!("two [[{kind}]] have the {key} '{}'", new.get_ref());
        table.findings.mistake(new.span(), what, format!("Give each {kind} its own {key}."));
    }
}
