//! One record that can't be held, or read back, costs none of the others.

use claymark_clay::bounds::{Figure, FigureBounds, Unlikely};
use claymark_clay::{LearnedYield, Yield};
use claymark_model::fieldlog::Deed;
use claymark_model::forecast::{Basis, Outlook};
use claymark_model::happening::{Happening, What};
use claymark_model::quality::Flag;
use claymark_model::quarantine::Reason;
use claymark_model::units::{Litres, LitresPerHour};
use claymark_notice::query::{About, Queries, Query};
use claymark_notice::{Answer, Content, NoticeKind};
use claymark_store::batch::{CommitBatch, Issued};
use jiff::Timestamp;
use proptest::prelude::*;
use rusqlite::Connection;

use crate::fixture::{StoreFolder, at, id, reading};
use crate::keeping::full_batch;

/// SQLite's integers end at 9223372036854775807.
const TOO_MUCH: u64 = 9_223_372_036_854_775_808;

fn answer(notice: u64, ms: i64) -> Answer {
    Answer { notice, by: None, at: at(ms), there_by: None }
}

#[test]
fn an_answer_that_no_store_can_hold_goes_to_quarantine_and_all_else_is_kept() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    let mut batch = full_batch();
    let good = batch.answers.clone();
    batch.answers.insert(1, answer(TOO_MUCH, 55));
    batch.answers.push(answer(u64::MAX, 70));
    batch.readings.extend((0..200).map(|n| reading("t1-ntu", 1_000 + n, 60.0, Flag::Pass)));

    let done = writer.commit(&batch).unwrap();
    assert_eq!(done.stored, 202);
    let refused: Vec<_> = done.refused.iter().map(|record| (record.reason, record.received_at)).collect();
    assert_eq!(refused, [(Reason::NotKept, at(55)), (Reason::NotKept, at(70))]);
    assert!(done.refused[0].detail.starts_with("answer: "), "{}", done.refused[0].detail);

    let reader = barn.reader();
    let (from, to) = (at(0), at(3_600_000));
    assert_eq!(reader.answers(from, to).unwrap(), good);
    assert_eq!(reader.log(from, to).unwrap(), batch.log);
    assert_eq!(reader.notices(from, to).unwrap(), batch.notices);
    assert_eq!(reader.forecasts(from, to).unwrap(), batch.forecasts);
    let payload = String::from_utf8(reader.quarantined(1).unwrap()[0].payload.clone()).unwrap();
    assert!(payload.contains("18446744073709551615"), "{payload}");
    let counted = reader.quarantine_counts(from, to).unwrap();
    assert!(counted.iter().any(|row| row.reason == Reason::NotKept && row.count == 2), "{counted:?}");
    let counted: u64 =
        reader.rollups(from, to).unwrap().iter().map(claymark_store::reader::Rollup::count).sum();
    assert_eq!(counted, 202, "what was tried and rolled back isn't counted");

    // The writer goes on, alone with such a record, too.
    let done = writer
        .commit(&CommitBatch { answers: vec![answer(TOO_MUCH, 80)], ..CommitBatch::default() })
        .unwrap();
    assert_eq!(done.refused.len(), 1);
}

pub fn asked(number: u64, found: f64) -> Issued {
    let mut issued = full_batch().notices.remove(0);
    let why =
        Unlikely::Figure { figure: Figure::Flow, found, bounds: FigureBounds { least: 0.0, most: 1.0 } };
    let deed = Deed::Note { text: None };
    let about = About::Unlikely { key: "k".to_owned(), deed, done_at: at(0), why };
    let query = Query { at: at(0), by: None, about };
    issued.notice.number = number;
    issued.notice.kind = NoticeKind::Query;
    issued.notice.content = Content::Query(Box::new(Queries { first: vec![query], more: 0 }));
    issued
}

#[test]
fn what_is_not_finite_is_never_written_as_null() {
    let barn = StoreFolder::new();
    let mut batch = full_batch();
    let good = batch.clone();
    let mut forecast = batch.forecasts[0].clone();
    if let Outlook::Known { basis: Basis::Level, draw, .. } = &mut forecast.outlook {
        *draw = LitresPerHour(f64::INFINITY);
    }
    forecast.at = at(1);
    batch.forecasts.insert(0, forecast);
    let what = What::Refilled { added: Litres(f64::NAN), to: Litres(1.0), logged: false };
    batch.happenings.push(Happening { drum: id("a"), at: at(9), what });
    let mut mark = batch.marks[0].clone();
    mark.mark = Litres(f64::NEG_INFINITY);
    batch.marks.push(mark);
    let clay = Yield { ntu_per_mg_l: 0.8, sd: f64::INFINITY, since: None, exponent: 1.0 };
    batch.yields.push(LearnedYield { learned_at: at(12), clay });
    batch.notices.insert(0, asked(8, f64::INFINITY));
    batch.log[0].deed = Deed::PumpSetting { pump: None, rpm: Some(f64::INFINITY) };

    let done = barn.writer().commit(&batch).unwrap();
    let kinds: Vec<&str> =
        done.refused.iter().map(|record| record.detail.split(':').next().unwrap()).collect();
    let all = ["field-log entry", "forecast", "happening", "mark forecast", "clay yield", "notice"];
    assert_eq!(kinds, all);
    assert!(done.refused.iter().all(|record| record.reason == Reason::NotFinite));
    let reader = barn.reader();
    let (from, to) = (at(0), at(3_600_000));
    assert_eq!(reader.forecasts(from, to).unwrap(), good.forecasts);
    assert_eq!(reader.happenings(from, to).unwrap(), good.happenings);
    assert_eq!(reader.marks(from, to).unwrap(), good.marks);
    assert_eq!(reader.yields(from, to).unwrap(), good.yields);
    assert_eq!(reader.notices(from, to).unwrap(), good.notices);
    assert_eq!(reader.passed_over().count(), 0);
}

/// An older version kept an infinity inside a notice's facts as null, and after that nothing could be read any more.
#[test]
fn rows_that_cannot_be_read_back_are_passed_over_and_counted() {
    let barn = StoreFolder::new();
    let mut batch = full_batch();
    batch.readings.push(reading("t1-ntu", 40_000, 60.0, Flag::Pass));
    batch.notices.push(asked(8, 1.5));
    batch.log.push(claymark_model::fieldlog::LogEntry { key: "k2".to_owned(), ..batch.log[0].clone() });
    barn.writer().commit(&batch).unwrap();
    let store = Connection::open(barn.path()).unwrap();
    let harmed =
        "UPDATE notice SET facts = replace(facts, '\"found\":1.5', '\"found\":null') WHERE number = 8;
                  UPDATE field_log SET deed = '{\"kind\":\"dance\"}' WHERE entry_key = 'k2';
                  UPDATE reading SET flag = 7 WHERE at = (SELECT max(at) FROM reading);
                  UPDATE answer SET notice = -1 WHERE answered_by = '';";
    store.execute_batch(harmed).unwrap();

    let reader = barn.reader();
    let recall = reader.recall(at(0));
    assert_eq!(recall.last_notice, Some(8), "its number stays given");
    assert_eq!((recall.notices.len(), recall.log.len(), recall.answers.len()), (1, 1, 1));
    assert_eq!(recall.readings.map(Result::unwrap).count(), 2);
    assert_eq!(reader.passed_over().count(), 4);
    let first = reader.passed_over().first().unwrap();
    assert!(first.contains("field-log entry that can't be understood"), "{first}");

    // What the report asks for comes, too.
    let reader = barn.reader();
    let (from, to) = (Timestamp::UNIX_EPOCH, at(3_600_000));
    assert_eq!(reader.notices(from, to).unwrap().len(), 1);
    assert_eq!(reader.log(from, to).unwrap().len(), 1);
    assert_eq!(reader.passed_over().count(), 2);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, ..ProptestConfig::default() })]

    #[test]
    fn whichever_records_cannot_be_held_exactly_the_others_are_kept(poisoned in prop::collection::vec(any::<bool>(), 1..40)) {
        let barn = StoreFolder::new();
        let numbered = (1..).zip(&poisoned);
        let answers: Vec<Answer> = numbered
            .map(|(ms, poisoned)| answer(if *poisoned { TOO_MUCH } else { 7 }, ms))
            .collect();
        let done = barn.writer().commit(&CommitBatch { answers: answers.clone(), ..CommitBatch::default() }).unwrap();
        prop_assert_eq!(done.refused.len(), poisoned.iter().filter(|poisoned| **poisoned).count());
        let good: Vec<Answer> = answers.into_iter().filter(|answer| answer.notice == 7).collect();
        prop_assert_eq!(barn.reader().answers(at(0), at(1_000)).unwrap(), good);
    }
}
