//! Entries, answers and records that weren't taken, or are asked about.

use claymark_core::notice::query::{About, Queries, Query, WhyNot};

use crate::fieldlog;
use crate::names::{one_line, short};
use crate::notice::{Teller, Text, Wording, fit};
use crate::{answers, bounds};

pub(super) fn wording(teller: Teller<'_>, queries: &Queries) -> Wording {
    let mut text = Text::default();
    for query in &queries.first {
        text.lines(lines(teller, query)).gap();
    }
    if queries.more > 0 {
        text.line(format!(
            "{} more came meanwhile; they aren't shown. What wasn't taken lies in quarantine in the store.",
            queries.more
        ));
    }
    text.line("The watch goes on, and everything else is kept.");
    text.wording(subject(teller, queries))
}

fn subject(teller: Teller<'_>, queries: &Queries) -> String {
    let count = u64::try_from(queries.first.len()).unwrap_or(u64::MAX).saturating_add(queries.more);
    match queries.first.as_slice() {
        [only] if queries.more == 0 => alone(teller, only),
        [] | [..] => format!("{count} entries or answers weren't taken, or are asked about. Look at them."),
    }
}

fn alone(teller: Teller<'_>, query: &Query) -> String {
    let (who, at) = (writer(query), teller.clock.time(query.at));
    match &query.about {
        About::NotTaken { .. } => {
            fit(|room| format!("Not taken: what {} wrote at {at}. Write it down again.", short(&who, room)))
        }
        About::Unlikely { deed, .. } => {
            let done = fieldlog::done(teller.site, deed);
            fit(|room| format!("Is this right? {}, written at {at}.", short(&one_line(&done), room)))
        }
        About::Answer { notice, standing, meant } => answers::standing(teller.clock, *notice, standing, *meant),
        About::NotKept { what, .. } => {
            fit(|room| format!("One record couldn't be kept: {}. All else is kept.", short(what, room)))
        }
        About::Unreadable { count, .. } => {
            format!("Records in the store can't be read: {count} of them. Claymark goes on without them.")
        }
    }
}

fn lines(teller: Teller<'_>, query: &Query) -> Vec<String> {
    let (who, at) = (writer(query), teller.clock.time(query.at));
    match &query.about {
        About::NotTaken { written, why } => {
            let why = match why {
                WhyNot::Impossible { what } => bounds::impossible(teller.site, what),
                WhyNot::Unreadable { detail } => format!("It can't be read: {}.", one_line(detail)),
            };
            vec![
                format!("{at}, {who}: {}", one_line(written)),
                why,
                "Nothing of it is counted with. To do: write it down again with the right figure and unit."
                    .to_owned(),
            ]
        }
        About::Unlikely { key, deed, done_at, why } => vec![
            one_line(&fieldlog::entry(teller.site, teller.at, (deed, *done_at, query.by.as_deref()))),
            bounds::unlikely(teller.site, why),
            format!(
                "It is kept and counted with as it stands. To do: if it is wrong, write it down again with --replaces {}; if it \
                 is right, nothing.",
                one_line(key)
            ),
        ],
        About::Answer { notice, standing, meant } => {
            let mut said = vec![format!("{at}, {who} answered notice {notice}.")];
            said.push(answers::standing(teller.clock, *notice, standing, *meant));
            said.push(answers::to_do(standing, *meant));
            said
        }
        About::NotKept { what, why } => vec![
            format!("The store couldn't hold one record, {what}: {}.", one_line(why)),
            "It lies in quarantine; what came with it is kept. To do: keep this message and report it.".to_owned(),
        ],
        About::Unreadable { count, first } => vec![
            format!("{count} records in the store can't be read. The first holds: {}", one_line(first)),
            "They were passed over, and stay where they are. What they told isn't counted with; warnings go on by the rest."
                .to_owned(),
            "To do, by daylight: keep a copy of the store and report this.".to_owned(),
        ],
    }
}

/// The name that was given.
fn writer(query: &Query) -> String {
    let name = query.by.as_deref().map(one_line).filter(|name| !name.is_empty());
    name.map_or_else(|| "somebody".to_owned(), |name| short(&name, 40))
}
