//! Entries, answers and records that weren't taken, or are asked about.

use claymark_clay::refill::books::MassDoubt;
use claymark_model::site::Place;
use claymark_notice::query::{About, NotShelved, Queries, Query, WhyNot};

use crate::names::{self, short};
use crate::notice::{Teller, Text, Wording, fit};
use crate::{answers, bounds, fieldlog, format, refill, typed, unseen};

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
            fit(|room| format!("Is this right? {}, written at {at}.", short(&typed::line(&done), room)))
        }
        About::KeyTaken { .. } => {
            fit(|room| format!("Not taken: what {} wrote at {at}. Write it down again.", short(&who, room)))
        }
        About::Mass { drum, doubt, .. } => {
            let clay = format::mass(&teller.site.units, doubt.typed, teller.site.clay.scale_step);
            let expected = refill::expected(teller.site, doubt.expected);
            let name = names::drum(teller.site, drum);
            fit(|room| format!("Is this right? {clay} of clay into {}; {expected}.", short(&name, room)))
        }
        About::Unseen { drum, refill } => {
            let (name, at) = (names::drum(teller.site, drum), teller.clock.time(refill.at));
            fit(|room| {
                format!(
                    "Is this right? {} was filled at {at}, and its level shows nothing of it.",
                    short(&name, room)
                )
            })
        }
        About::Answer { notice, standing, meant } => {
            answers::standing(teller.clock, *notice, standing, *meant)
        }
        About::TooLate { notice, needed_by, .. } => format!(
            "Notice {notice}: somebody must be there by {}. Others are called as well.",
            teller.clock.by(*needed_by)
        ),
        About::NotShelved { notice, why } => {
            let because = match why {
                NotShelved::Danger => "fish are in danger",
                NotShelved::NothingStands => "nothing stands by that number",
                NotShelved::Over => "its end had come already",
            };
            format!("Notice {notice} isn't shelved: {because}.")
        }
        About::NotKept { what, .. } => {
            fit(|room| format!("One record couldn't be kept: {}. All else is kept.", short(what, room)))
        }
        About::Unreadable { count, .. } => {
            format!("{} in the store can't be read. Claymark goes on without.", records(*count))
        }
    }
}

fn lines(teller: Teller<'_>, query: &Query) -> Vec<String> {
    let (who, at) = (writer(query), teller.clock.time(query.at));
    match &query.about {
        About::NotShelved { why, .. } => vec![not_shelved(*why).to_owned()],
        About::Mass { doubt, head, .. } => mass(teller, doubt, *head),
        About::Unseen { refill, .. } => unseen::asked(teller.site, teller.clock, refill),
        About::NotTaken { written, why } => {
            vec![
                format!("{at}, {who}: {}", typed::line(written)),
                why_not(teller, why),
                "Nothing of it is counted with. To do: write it down again with the right figure and unit."
                    .to_owned(),
            ]
        }
        About::Unlikely { key, deed, done_at, why } => vec![
            typed::line(&fieldlog::entry(teller.site, teller.at, (deed, *done_at, query.by.as_deref()))),
            bounds::unlikely(teller.site, why),
            format!(
                "It is kept and counted with as it stands. To do: if it is wrong, write it down again with --replaces {}; if it \
                 is right, nothing.",
                typed::line(key)
            ),
        ],
        About::KeyTaken { key, deed, done_at, kept, kept_at } => vec![
            typed::line(&fieldlog::entry(teller.site, teller.at, (deed, *done_at, query.by.as_deref()))),
            format!(
                "It came with the key {}, which is that of another entry: {}. Nothing of it is counted with.",
                typed::line(key),
                typed::line(&fieldlog::entry(teller.site, teller.at, (kept, *kept_at, None)))
            ),
            "To do: write it down again, under a key of its own or none. If it was to correct the other one, say so with \
             replaces."
                .to_owned(),
        ],
        About::Answer { notice, standing, meant } => {
            let mut said = vec![format!("{at}, {who} answered notice {notice}.")];
            said.push(answers::standing(teller.clock, *notice, standing, *meant));
            said.push(answers::to_do(standing, *meant));
            said
        }
        About::TooLate { notice, there_by, needed_by } => vec![
            format!(
                "{at}, {who} answered notice {notice}, to be there by {}. Somebody must be there by {}.",
                teller.clock.by(*there_by),
                teller.clock.by(*needed_by)
            ),
            "To do: come sooner if you can, and say so with another answer; the next person is called meanwhile.".to_owned(),
        ],
        About::NotKept { what, why } => vec![
            format!("The store couldn't hold one record, {what}: {}.", typed::line(why)),
            "It lies in quarantine; what came with it is kept. To do: keep this message and report it.".to_owned(),
        ],
        About::Unreadable { count, first } => vec![
            format!("{} in the store can't be read. The first: {}", records(*count), typed::line(first)),
            "They were passed over, and stay where they are. What they told isn't counted with; warnings go on by the rest."
                .to_owned(),
            "To do, by daylight: keep a copy of the store and report this.".to_owned(),
        ],
    }
}

fn why_not(teller: Teller<'_>, why: &WhyNot) -> String {
    match why {
        WhyNot::Impossible { what } => bounds::impossible(teller.site, what),
        WhyNot::Unreadable { detail } => format!("It can't be read: {}.", typed::line(detail)),
        WhyNot::Form { line, column } => format!(
            "It can't be read: its form breaks at character {column} of line {line}, where a quote, a comma or a \
             bracket may be missing. claymark log and claymark answer write that form by themselves."
        ),
    }
}

fn not_shelved(why: NotShelved) -> &'static str {
    match why {
        NotShelved::Danger => {
            "What endangers fish can't be shelved: people are called until somebody has promised to come."
        }
        NotShelved::NothingStands => {
            "Only what was told and still stands can be shelved, by the number of its message."
        }
        NotShelved::Over => "Nothing was changed. Shelve it again with a later time, if it still should be.",
    }
}

/// What speaks against a mass, and what the head tank shows of it.
fn mass(teller: Teller<'_>, doubt: &MassDoubt, head: Option<f64>) -> Vec<String> {
    let shows = head.map(|head| teller.turbidity(&Place::Head, head));
    std::iter::once(refill::doubt(teller.site, teller.clock, doubt))
        .chain(shows.map(|shows| format!("The head tank is at {shows} by now: measure it by hand.")))
        .collect()
}

pub(crate) fn records(count: u64) -> String {
    if count == 1 { "1 record".to_owned() } else { format!("{count} records") }
}

/// The name that was given.
fn writer(query: &Query) -> String {
    let name = query.by.as_deref().map(typed::line).filter(|name| !name.is_empty());
    name.map_or_else(|| "somebody".to_owned(), |name| short(&name, 40))
}

#[cfg(test)]
mod tests {
    use claymark_clay::bounds::Impossible;
    use claymark_model::fieldlog::Deed;
    use claymark_notice::register::Standing;
    use claymark_notice::{Audience, Content, Notice, NoticeKind, Priority};

    use super::*;
    use crate::notice::tests::room::{at, site};
    use crate::notice::{SUBJECT_CHARS, wording};

    fn told(first: Vec<Query>, more: u64) -> Wording {
        let notice = Notice {
            number: 9,
            at: at("2027-04-20T20:10:00Z"),
            kind: NoticeKind::Query,
            cause: "query".to_owned(),
            drum: None,
            priority: Priority::Morning,
            replaces: None,
            to: Audience::Everyone,
            calling: None,
            tonight: None,
            content: Content::Query(Box::new(Queries { first, more })),
        };
        wording(&site(), &notice)
    }

    fn query(by: &str, about: About) -> Query {
        Query { at: at("2027-04-20T20:09:00Z"), by: Some(by.to_owned()), about }
    }

    fn every(by: &str, long: &str) -> Vec<Query> {
        let standings = [
            Standing::Nonexistent,
            Standing::TooOld,
            Standing::CallsNobody,
            Standing::Over { at: at("2027-04-18T20:09:00Z") },
            Standing::Answered { by: Some(long.to_owned()), at: at("2027-04-18T20:09:00Z") },
        ];
        let answer = |standing| About::Answer { notice: i64::MAX.unsigned_abs(), standing, meant: Some(46) };
        let what = Impossible::NoticeNumber { found: u64::MAX };
        let about = [
            About::NotTaken { written: long.to_owned(), why: WhyNot::Impossible { what } },
            About::NotTaken { written: long.to_owned(), why: WhyNot::Unreadable { detail: long.to_owned() } },
            About::Unlikely {
                key: long.to_owned(),
                deed: Deed::Note { text: Some(long.to_owned()) },
                done_at: at("2027-04-20T20:00:00Z"),
                why: claymark_clay::bounds::Unlikely::NothingWritten,
            },
            About::NotTaken { written: long.to_owned(), why: WhyNot::Form { line: 1, column: 14 } },
            About::NotKept { what: "field-log entry".to_owned(), why: long.to_owned() },
            About::Unreadable { count: 3, first: long.to_owned() },
        ];
        about.into_iter().chain(standings.map(answer)).map(|about| query(by, about)).collect()
    }

    #[test]
    fn an_answer_to_no_notice_is_told_with_the_number_that_was_meant() {
        let about = About::Answer { notice: 4711, standing: Standing::Nonexistent, meant: Some(47) };
        let Wording { subject, text } = told(vec![query("Aino", about)], 0);
        assert_eq!(subject, "There is no notice 4711. Was 47 meant?");
        assert_eq!(
            text,
            "23:09, Aino answered notice 4711.\n\
             There is no notice 4711. Was 47 meant?\n\
             Nothing is silenced by it. Notice 47 is open and nobody is on it: whoever goes answers that one (claymark \
             answer 47).\n\n\
             The watch goes on, and everything else is kept.\n"
        );
    }

    #[test]
    fn whatever_was_written_the_first_line_fits_and_no_control_character_gets_through() {
        let long = "\u{7}\u{1b}[31mred\n\r\t\u{1F41F}".repeat(40);
        for by in ["Aino", long.as_str(), ""] {
            for query in every(by, &long) {
                let Wording { subject, text } = told(vec![query.clone()], 0);
                let length = subject.chars().count();
                assert!(
                    length <= SUBJECT_CHARS && !subject.contains(char::is_control),
                    "{length}: {subject}"
                );
                let in_lines = text.lines().all(|line| !line.contains(char::is_control));
                assert!(in_lines && text.ends_with(".\n"), "{query:?}: {text:?}");
            }
            let Wording { subject, text } = told(every(by, &long), 9_989);
            assert_eq!(subject, "10000 entries or answers weren't taken, or are asked about. Look at them.");
            assert!(text.contains("9989 more came meanwhile"), "{text}");
        }
    }
}
