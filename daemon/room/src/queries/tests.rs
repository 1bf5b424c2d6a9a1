//! What people are asked about, how often, and until when.

use super::*;
use claymark_invented::minute as at;
use claymark_notice::query::WhyNot;

fn query(minute: i64) -> Query {
    let why = WhyNot::Unreadable { detail: "not JSON".to_owned() };
    Query { at: at(minute), by: None, about: About::NotTaken { written: "x".to_owned(), why } }
}

/// How many came with each notice, and when.
fn told(asked: &mut Asked, minute: i64) -> Option<usize> {
    let queries = asked.due(at(minute))?;
    asked.told(at(minute), &queries);
    Some(queries.first.len() + usize::try_from(queries.more).unwrap())
}

#[test]
fn ten_thousand_bad_entries_are_a_few_notices_and_none_is_forgotten() {
    let mut asked = Asked::default();
    let mut notices = Vec::new();
    // Seven a minute for a day and a quarter.
    for minute in 0..1800 {
        (0..7).for_each(|_| asked.take(query(minute)));
        notices.extend(told(&mut asked, minute).map(|count| (minute, count)));
    }
    notices.extend(told(&mut asked, 2400).map(|count| (2400, count)));
    assert_eq!(notices.first(), Some(&(0, 7)), "the first at once");
    assert_eq!(notices.get(1), Some(&(1, 7)));
    assert_eq!(notices.get(2), Some(&(3, 14)));
    assert!(notices.len() <= 16, "{notices:?}");
    assert_eq!(notices.iter().map(|(_, count)| count).sum::<usize>(), 7 * 1800);
}

#[test]
fn a_slip_of_the_next_day_is_told_at_once_again() {
    let mut asked = Asked::default();
    asked.take(query(0));
    assert_eq!(told(&mut asked, 0), Some(1));
    asked.take(query(0));
    assert_eq!(asked.wake(), Some(at(1)));
    assert_eq!(told(&mut asked, 0), None);
    assert_eq!(told(&mut asked, 1), Some(1));
    asked.take(query(1));
    assert_eq!(asked.wake(), Some(at(3)), "the pauses grow");
    assert_eq!(told(&mut asked, 3), Some(1));
    asked.take(query(1440));
    assert_eq!(told(&mut asked, 1440), Some(1));
    asked.take(query(1441));
    assert_eq!(asked.wake(), Some(at(1441)), "the pauses begin anew");
}

#[test]
fn the_same_unreadable_rows_are_told_once_over_restarts() {
    let rows = |count| Query {
        at: at(0),
        by: None,
        about: About::Unreadable { count, first: "a notice".to_owned() },
    };
    let mut asked = Asked::default();
    asked.told(at(-60), &Queries { first: vec![rows(2)], more: 0 });
    asked.take(rows(2));
    assert_eq!(told(&mut asked, 0), None);
    asked.take(rows(3));
    assert_eq!(told(&mut asked, 0), Some(1));
}
