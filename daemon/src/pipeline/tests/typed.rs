//! What people type: what can't be is refused and told, what can hardly be is asked about, and an answer must mean
//! something.

use claymark_model::fieldlog::Deed;
use claymark_model::forecast::Forecast;
use claymark_model::quarantine::Reason;
use claymark_notice::query::{About, Queries, WhyNot};
use claymark_notice::register::Standing;
use claymark_notice::{Audience, Content, NoticeKind};
use claymark_room::Event;
use claymark_store::batch::Issued;
use proptest::prelude::*;

use super::door::{at, level, message, pipeline};
use crate::pipeline::{Output, Pipeline};

fn live() -> Pipeline {
    let mut pipeline = pipeline();
    pipeline.event(at("10:00:00"), Event::GoLive);
    pipeline
}

fn sends(pipeline: &mut Pipeline, topic: &str, time: &str, payload: &str) -> Output {
    let sent = message(topic, time, payload);
    pipeline.advance_before(sent.received_at);
    pipeline.message(&sent);
    pipeline.take_output()
}

fn asked(output: &Output) -> Vec<(&Issued, Queries)> {
    let query = |issued: &Issued| {
        if let Content::Query(queries) = &issued.notice.content {
            Some(queries.as_ref().clone())
        } else {
            None
        }
    };
    output.issued.iter().filter_map(|issued| Some((issued, query(issued)?))).collect()
}

#[test]
fn an_entry_under_the_key_of_another_is_kept_aside_and_told_and_a_repeat_of_it_is_not() {
    let mut pipeline = live();
    let note = r#"{"kind":"note","text":"start","key":"tablet-1","by":"lead","at":"2027-04-20T10:00:30Z"}"#;
    let set = r#"{"kind":"pump_setting","pump":"p1","rpm":80,"key":"tablet-1","by":"lead","at":"2027-04-20T10:02:00Z"}"#;
    for time in ["10:01:00", "10:01:30"] {
        let output = sends(&mut pipeline, "claymark/x/log", time, note);
        assert_eq!((&output.batch.quarantined[..], asked(&output).len()), (&[][..], 0), "{time}");
    }
    let output = sends(&mut pipeline, "claymark/x/log", "10:03:00", set);
    assert_eq!((output.batch.log.len(), output.batch.quarantined.len()), (0, 1));
    assert_eq!(output.batch.quarantined[0].reason, Reason::Conflict);
    let told = asked(&output);
    let (issued, queries) = &told[0];
    assert!(matches!(queries.first[0].about, About::KeyTaken { .. }), "{queries:?}");
    assert!(
        issued.text.contains("tablet-1") && issued.text.contains("write it down again"),
        "{}",
        issued.text
    );
}

#[test]
fn a_flow_that_nobody_can_catch_is_refused_and_told_and_counts_nowhere() {
    for figures in [
        r#""volume_ml":1e308,"seconds":1e-300"#,
        r#""volume_ml":500,"seconds":1e-300"#,
        r#""volume_ml":500,"seconds":0"#,
        r#""volume_ml":9000000,"seconds":0.1"#,
    ] {
        let mut pipeline = live();
        let entry = format!(
            r#"{{"kind":"flow_check","place":"head","by":"lead",{figures},"at":"2027-04-20T10:00:30Z"}}"#
        );
        let output = sends(&mut pipeline, "claymark/x/log", "10:01:00", &entry);
        assert_eq!((output.batch.log.len(), output.batch.quarantined.len()), (0, 1), "{figures}");
        assert_eq!(output.batch.quarantined[0].reason, Reason::Impossible, "{figures}");
        let told = asked(&output);
        let (issued, queries) = &told[0];
        assert_eq!((told.len(), issued.notice.kind), (1, NoticeKind::Query));
        // Whoever wrote it is told, and nobody else.
        assert_eq!(issued.notice.to, Audience::one(super::id("lead")));
        let About::NotTaken { written, why: WhyNot::Impossible { .. } } = &queries.first[0].about else {
            panic!("{queries:?}")
        };
        assert!(written.contains(figures), "{written}");
        assert!(
            issued.text.contains("can't be the") && issued.text.contains("write it down again"),
            "{}",
            issued.text
        );
        // Nothing of it leads to any other word, neither now nor when the room is looked at again.
        pipeline.advance_through(at("10:30:00"));
        let later = pipeline.take_output();
        assert!(
            output.issued.len() == 1
                && later.issued.iter().all(|issued| { issued.notice.kind == NoticeKind::ReadingsMissing }),
            "{figures}: {:?}",
            later.issued
        );
    }
}

#[test]
fn what_can_hardly_be_is_kept_and_asked_about_unless_its_writer_is_sure() {
    let refill = |sure: &str| {
        format!(r#"{{"kind":"refill","drum":"a","water_l":1500,"at":"2027-04-20T10:00:30Z"{sure}}}"#)
    };
    let output = sends(&mut live(), "claymark/x/log", "10:01:00", &refill(""));
    assert_eq!((output.batch.log.len(), output.batch.quarantined.len()), (1, 0));
    let told = asked(&output);
    let text = &told[0].0.text;
    assert!(text.contains("1500 L don't fit into Drum a, which holds 190 L"), "{text}");
    assert!(text.contains(&format!("--replaces {}", output.batch.log[0].key)), "{text}");

    let output = sends(&mut live(), "claymark/x/log", "10:01:00", &refill(r#","sure":true"#));
    assert_eq!((output.batch.log.len(), output.batch.quarantined.len()), (1, 0));
    assert!(asked(&output).is_empty());
    let output = sends(&mut live(), "claymark/x/log", "10:01:00", &refill(r#","sure":"yes""#));
    assert_eq!((output.batch.log.len(), output.batch.quarantined[0].reason), (0, Reason::BadLogEntry));
}

#[test]
fn a_text_of_a_book_or_of_nothing_is_told() {
    let note = |text: &str| format!(r#"{{"kind":"note","text":"{text}","at":"2027-04-20T10:00:30Z"}}"#);
    let output = sends(&mut live(), "claymark/x/log", "10:01:00", &note(&"x".repeat(60_000)));
    assert_eq!((output.batch.log.len(), output.batch.quarantined[0].reason), (0, Reason::Impossible));
    let output = sends(&mut live(), "claymark/x/log", "10:01:00", &note(""));
    assert_eq!(output.batch.log.len(), 1);
    assert!(asked(&output)[0].0.text.contains("A note without a word says nothing."));
    // Typed as it was meant: control characters, right-to-left marks, pictures.
    let text = "fed well \u{1F41F}\\u0007\\u0000 \u{202E}abc";
    let output = sends(&mut live(), "claymark/x/log", "10:01:00", &note(text));
    let kept = &output.batch.log[0].deed;
    assert_eq!(*kept, Deed::Note { text: Some("fed well \u{1F41F}\u{7}\0 \u{202E}abc".to_owned()) });
    assert!(asked(&output).is_empty());
}

#[test]
fn ten_thousand_bad_entries_are_a_few_notices() {
    let mut pipeline = live();
    let mut notices = 0;
    for n in 0..10_000 {
        let time = format!("10:{:02}:{:02}", 1 + n / 400, n % 60);
        let sent = message("claymark/x/log", &time, "{\"kind\":\"dance\"}");
        pipeline.message(&sent);
        notices += asked(&pipeline.take_output()).len();
    }
    assert!((2..=6).contains(&notices), "{notices}");
    assert_eq!(pipeline.counters().quarantined.get(&Reason::BadLogEntry), Some(&10_000));
}

/// With notice 1, which somebody should go for.
fn calling() -> Pipeline {
    let mut pipeline = live();
    let why = "no way".to_owned();
    pipeline.event(at("10:00:30"), Event::NotForwarded { since: at("10:00:00"), why });
    assert_eq!(pipeline.take_output().issued[0].notice.number, 1);
    pipeline
}

#[test]
fn an_answer_to_no_notice_is_kept_aside_and_told_with_the_number_that_was_meant() {
    let mut pipeline = calling();
    let output = sends(&mut pipeline, "claymark/x/answer", "10:01:00", r#"{"notice":4711,"by":"Bo"}"#);
    assert_eq!((output.batch.answers.len(), output.batch.quarantined[0].reason), (0, Reason::NoSuchNotice));
    let told = asked(&output);
    let (issued, queries) = &told[0];
    let about = About::Answer { notice: 4711, standing: Standing::Nonexistent, meant: Some(1) };
    assert_eq!(queries.first[0].about, about);
    assert_eq!(issued.subject, "There is no notice 4711. Was 1 meant?");
    assert!(issued.text.contains("Nothing is silenced by it. Notice 1 is open"), "{}", issued.text);
    assert_eq!(issued.notice.to, Audience::Everyone);

    // That a number was tried before it was given means nothing.
    let early = sends(&mut pipeline, "claymark/x/answer", "10:02:00", r#"{"notice":4,"by":"Bo"}"#);
    assert_eq!(early.batch.answers.len(), 0);
    // The sensors of this room never speak, which is told.
    pipeline.advance_through(at("10:30:00"));
    let numbers: Vec<u64> = pipeline.take_output().issued.iter().map(|issued| issued.notice.number).collect();
    assert!(numbers.contains(&4), "{numbers:?}");
    let answered = sends(&mut pipeline, "claymark/x/answer", "10:31:00", r#"{"notice":4,"by":"Bo"}"#);
    assert_eq!(answered.batch.answers.len(), 1, "it isn't taken for a repetition of the early one");
}

#[test]
fn a_number_that_the_store_cannot_hold_goes_to_quarantine() {
    for number in ["9223372036854775808", "18446744073709551615"] {
        let mut pipeline = calling();
        let answer = format!(r#"{{"notice":{number}}}"#);
        let output = sends(&mut pipeline, "claymark/x/answer", "10:01:00", &answer);
        assert_eq!(output.batch.answers, [], "{number}");
        assert_eq!(output.batch.quarantined[0].reason, Reason::Impossible, "{number}");
        assert_eq!(asked(&output).len(), 1, "{number}");
    }
    // It answers the test of a contact's ways: kept aside as all that isn't used, and nobody is told.
    let test = sends(&mut calling(), "claymark/x/answer", "10:01:00", r#"{"notice":0,"by":"lead"}"#);
    assert_eq!((test.batch.answers.len(), test.batch.quarantined.len(), asked(&test).len()), (0, 1, 0));
    for odd in ["-1", "1.5", "\"1\"", "18446744073709551616", "1e3", "null", "[1]"] {
        let output =
            sends(&mut calling(), "claymark/x/answer", "10:01:00", &format!(r#"{{"notice":{odd}}}"#));
        assert_eq!(output.batch.answers, [], "{odd}");
        assert_eq!(output.batch.quarantined[0].reason, Reason::BadAnswer, "{odd}");
        assert_eq!(asked(&output).len(), 1, "{odd}");
    }
}

#[test]
fn a_second_person_hears_who_is_on_it_and_a_late_one_that_it_is_over() {
    let mut pipeline = live();
    pipeline.event(at("10:00:30"), Event::StoreFailed { why: "no room".to_owned() });
    // While nothing can be kept the clock gives the numbers.
    let number = pipeline.take_output().issued[0].notice.number;
    let answers = |pipeline: &mut Pipeline, time, by: &str| {
        let answer = format!(r#"{{"notice":{number},"by":"{by}"}}"#);
        sends(pipeline, "claymark/x/answer", time, &answer)
    };
    let subject = |output: &Output| asked(output)[0].0.subject.clone();
    assert!(asked(&answers(&mut pipeline, "10:01:00", "Aino")).is_empty());
    let second = answers(&mut pipeline, "10:02:00", "Bo");
    assert_eq!(second.batch.answers.len(), 1, "two on the way are better than none");
    assert_eq!(subject(&second), format!("Notice {number} was answered already: Aino, 13:01."));
    pipeline.event(at("10:03:00"), Event::StoreWorks);
    pipeline.advance_through(at("10:30:00"));
    drop(pipeline.take_output());
    let late = answers(&mut pipeline, "10:40:00", "Cai");
    let over = format!("Notice {number} has been over since 13:18.");
    assert!(subject(&late).starts_with(&over), "{}", subject(&late));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// Whatever figures come, what is kept can be read back as it is, and no word that isn't finite leaves the room.
    #[test]
    fn no_figure_makes_a_record_that_cannot_be_read_back(
        mantissa in prop_oneof![1.0..10.0_f64, -10.0..10.0_f64],
        power in prop_oneof![-320..320_i32, 290..310_i32],
        other in prop_oneof![-320..320_i32, -310..-290_i32],
        kind in 0..7_usize,
    ) {
        let (one, two) = (format!("{mantissa}e{power}"), format!("1e{other}"));
        let figures = [
            format!(r#""kind":"flow_check","place":"head","volume_ml":{one},"seconds":{two}"#),
            format!(r#""kind":"refill","drum":"a","water_l":{one},"clay_kg":{two}"#),
            format!(r#""kind":"pump_setting","pump":"p1","rpm":{one}"#),
            format!(r#""kind":"dip","drum":"a","level_mm":{one}"#),
            format!(r#""kind":"grab_sample","place":"head","quantity":"turbidity","value":{one},"unit":"NTU""#),
            format!(r#""kind":"delivery","bags":{one},"kg":{two}"#),
            format!(r#""kind":"flow_check","place":"pump:p1","volume_ml":{one},"seconds":{two}"#),
        ];
        let mut pipeline = pipeline();
        pipeline.event(at("13:30:00"), Event::GoLive);
        // A drum that is drawn, so that what is written has something to work on.
        for minute in 0..20 {
            let time = format!("13:{:02}:00", 30 + minute);
            pipeline.message(&level(&time, &time, 500.0 - f64::from(minute)));
        }
        drop(pipeline.take_output());
        let entry = format!(r#"{{{},"at":"2027-04-20T13:50:30Z"}}"#, figures[kind]);
        let mut output = sends(&mut pipeline, "claymark/x/log", "13:51:00", &entry);
        prop_assert_eq!(output.batch.log.len() + output.batch.quarantined.len(), 1);
        pipeline.advance_through(at("14:01:00"));
        let later = pipeline.take_output();
        output.issued.extend(later.issued);
        output.batch.forecasts.extend(later.batch.forecasts);
        for deed in output.batch.log.iter().map(|entry| &entry.deed) {
            let json = serde_json::to_string(deed).unwrap();
            prop_assert_eq!(&serde_json::from_str::<Deed>(&json).unwrap(), deed);
        }
        for forecast in &output.batch.forecasts {
            let json = serde_json::to_string(forecast).unwrap();
            let back: Option<Forecast> = serde_json::from_str(&json).ok();
            prop_assert_eq!(back.as_ref(), Some(forecast), "{}", json);
        }
        for issued in &output.issued {
            let json = serde_json::to_string(&issued.notice.content).unwrap();
            let back: Result<Content, _> = serde_json::from_str(&json);
            let back = back.ok();
            prop_assert_eq!(back.as_ref(), Some(&issued.notice.content), "{}", json);
        }
    }
}
