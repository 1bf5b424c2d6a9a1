//! Quality flags against the reference library, asked live, and against the manuals: equal on every vector, except where
//! `exceptions.rs` says which flags differ, and why.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    reason = "the lints excuse test functions, but not what these call"
)]

#[path = "quality_oracle/exceptions.rs"]
mod exceptions;

use std::error::Error;

use claymark_model::quality::thresholds::{
    FlatLine, GrossRange, Levels, Span, Spike, SpikeMethod, Thresholds,
};
use claymark_model::quality::{Assessor, Flag, aggregate, gap};
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_model::site::{Place, Quantity, Sensor};
use claymark_tests::oracle;
use exceptions::{BOTH_REFUSE, Claymark, NOT_AS_THE_MANUALS, NOT_RUN, RULES};
use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};

/// What one side says of a vector: the flags, or that it can't be asked this.
type VectorFlags = Result<Vec<u8>, String>;

#[test]
fn flags_equal_those_of_ioos_qc_except_where_a_rule_of_ours_says_why() {
    let vectors = vectors();
    let ruled: Vec<_> = RULES.iter().flat_map(|rule| rule.shown_by).collect();
    let mut wrong = Vec::new();
    let (mut exceptions, mut refused) = (0, 0);
    for (vector, ioos) in vectors.iter().zip(ask_ioos(&vectors)) {
        let id = vector["id"].as_str().unwrap();
        let ours = claymark(vector);
        let same = match (ruled.iter().find(|(name, _)| *name == id), &ours, &ioos) {
            (Some((_, Claymark::Differs(places))), Ok(ours), _) => {
                exceptions += 1;
                *ours == differing(places, &ioos)
            }
            (Some((_, Claymark::Refuses(words))), Err(error), _) => {
                exceptions += 1;
                error.contains(words)
            }
            (None, Ok(ours), Ok(ioos)) => ours == ioos,
            (None, Err(ours), Err(ioos)) => {
                let both = BOTH_REFUSE.iter().find(|(name, ..)| *name == id);
                refused += usize::from(both.is_some());
                both.is_some_and(|(_, theirs, words)| ioos.starts_with(theirs) && ours.contains(words))
            }
            _ => false,
        };
        if !same {
            wrong.push(format!("{id}: {}", difference(&ours, &ioos)));
        }
    }
    println!("{} vectors asked of ioos_qc, {exceptions} exceptions by {} rules", vectors.len(), RULES.len());
    for rule in RULES {
        println!("  {:2}: {} [{}]", rule.shown_by.len(), rule.why, rule.standard);
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
    assert_eq!(exceptions, ruled.len(), "every exception names a vector");
    assert_eq!(refused, BOTH_REFUSE.len(), "every refusal names a vector");
}

#[test]
fn flags_equal_the_manuals_coding_tables_where_their_thresholds_are_accepted() {
    let mut compared = 0;
    for vector in vectors() {
        let Some(manual) = vector.get("flags_manual") else { continue };
        let (id, ours) = (vector["id"].as_str().unwrap(), claymark(&vector));
        if NOT_AS_THE_MANUALS.contains(&id) {
            assert!(ours.is_err(), "{id}: an exception that is none any more");
        } else {
            assert_eq!(json!(ours.unwrap()), *manual, "{id}");
            compared += 1;
        }
    }
    // A vector without `flags_manual` would be passed over in silence.
    assert_eq!(compared, 25, "vectors with flags by the manuals");
}

#[test]
fn ioos_qc_still_gives_the_flags_that_the_vectors_were_made_from() {
    let vectors = vectors();
    for (vector, live) in vectors.iter().zip(ask_ioos(&vectors)) {
        match (live, vector.get("flags_ioos")) {
            (Ok(live), Some(kept)) => assert_eq!(json!(live), *kept, "{}", vector["id"]),
            (Err(live), None) => {
                assert_eq!(live.lines().next(), vector["ioos_error"].as_str(), "{}", vector["id"]);
            }
            (live, kept) => panic!("{}: {live:?} but {kept:?}", vector["id"]),
        }
    }
}

#[test]
fn every_vector_is_either_asked_or_left_out_for_a_reason() {
    let all: Value = serde_json::from_str(VECTORS).unwrap();
    let asked = vectors();
    for vector in all["vectors"].as_array().unwrap() {
        let test = vector["test"].as_str().unwrap();
        let left_out = NOT_RUN.iter().filter(|(tests, _)| tests.contains(&test)).count();
        let asked = usize::from(asked.iter().any(|asked| asked["id"] == vector["id"]));
        assert_eq!(asked + left_out, 1, "{test} {}", vector["id"]);
    }
}

/// The vectors of the tests that Claymark runs, with series and flags written out.
fn vectors() -> Vec<Value> {
    let all: Value = serde_json::from_str(VECTORS).unwrap();
    let long = &all["series"]["LONG"];
    let mut vectors: Vec<Value> = all["vectors"].as_array().unwrap().clone();
    vectors
        .retain(|vector| !NOT_RUN.iter().any(|(tests, _)| tests.contains(&vector["test"].as_str().unwrap())));
    for vector in &mut vectors {
        if vector["series"] == "LONG" {
            let count = long["x"].as_array().unwrap().len();
            let (t0, step) = (long["t0"].as_i64().unwrap(), long["step_s"].as_i64().unwrap());
            vector["x"] = long["x"].clone();
            vector["t"] = (0..).take(count).map(|i: i64| t0 + step * i).collect();
            let mut flags = vec![1_u8; count];
            for (flag, places) in vector["flags_ioos_index"].as_object().unwrap() {
                for place in places.as_array().unwrap() {
                    flags[place.as_u64().unwrap() as usize] = flag.parse().unwrap();
                }
            }
            vector["flags_ioos"] = json!(flags);
        }
    }
    vectors
}

fn ask_ioos(vectors: &[Value]) -> Vec<VectorFlags> {
    let is_long_aggregate = |vector: &Value| vector["id"] == "LONG_aggregate";
    let asked: Vec<&Value> = vectors.iter().filter(|vector| !is_long_aggregate(vector)).collect();
    let mut answers = answers(&oracle::ask("qartod.py", &json!(asked)));
    // The aggregate of what it has just said of the four tests of the long series.
    let rows: Vec<&Vec<u8>> = asked
        .iter()
        .zip(&answers)
        .filter(|(vector, _)| vector["series"] == "LONG")
        .map(|(_, answer)| answer.as_ref().unwrap())
        .collect();
    assert_eq!(rows.len(), 4);
    let question = json!([{"test": "aggregate", "params": {}, "rows": rows}]);
    let aggregate = self::answers(&oracle::ask("qartod.py", &question)).remove(0);
    answers.insert(vectors.iter().position(is_long_aggregate).unwrap(), aggregate);
    answers
}

fn answers(given: &Value) -> Vec<VectorFlags> {
    let one = |answer: &Value| match answer.get("flags") {
        Some(flags) => Ok(serde_json::from_value(flags.clone()).unwrap()),
        None => Err(answer["error"].as_str().unwrap().to_owned()),
    };
    given.as_array().unwrap().iter().map(one).collect()
}

/// The Claymark column: what `ioos` says, but for these flags, each of which must really differ.
fn differing(places: &[(usize, u8)], ioos: &VectorFlags) -> Vec<u8> {
    let mut flags = ioos.clone().unwrap_or_default();
    for (place, flag) in places {
        if *place == flags.len() {
            flags.push(9);
        }
        assert_ne!(flags[*place], *flag, "an exception that is none any more");
        flags[*place] = *flag;
    }
    flags
}

fn difference(ours: &VectorFlags, expected: &VectorFlags) -> String {
    match (ours, expected) {
        (Ok(ours), Ok(expected)) if ours.len() == expected.len() => (0..ours.len())
            .filter(|place| ours[*place] != expected[*place])
            .map(|place| format!("{} instead of {} at {place}; ", ours[place], expected[place]))
            .collect(),
        _ => format!("{ours:?} instead of {expected:?}"),
    }
}

fn claymark(vector: &Value) -> VectorFlags {
    match vector["test"].as_str().unwrap() {
        "aggregate" if vector["series"].is_null() => aggregates(&vector["rows"]),
        "data_reception" => Ok(receptions(vector)),
        test => {
            let sensor = sensor(thresholds(vector).map_err(|error| error.to_string())?);
            let flag = |assessed: &Assessed| match test {
                "gross_range" => assessed.tests.gross_range,
                "spike" => assessed.tests.spike,
                "rate_of_change" => assessed.tests.rate,
                "flat_line" => assessed.tests.flat_line,
                "time_gap" => assessed.tests.gap,
                _ => assessed.flag,
            };
            Ok(assess(&sensor, vector)
                .iter()
                .map(|given| given.as_ref().map_or(9, |a| flag(a).into()))
                .collect())
        }
    }
}

/// Feeds the series in the order given; what has no time or no finite value never becomes a reading.
fn assess(sensor: &Sensor, vector: &Value) -> Vec<Option<Assessed>> {
    let mut assessor = Assessor::new(sensor);
    let count = vector["t"].as_array().or(vector["x"].as_array()).unwrap().len();
    let mut given: Vec<Option<Assessed>> = Vec::new();
    for i in 0..count {
        // Without times a series has a reading a minute; without values it has one that always changes.
        let at = if vector["t"].is_null() {
            Some(time(60.0 * i as f64))
        } else {
            vector["t"][i].as_f64().map(time)
        };
        let value = if vector["x"].is_null() { Some(i as f64) } else { vector["x"][i].as_f64() };
        let (Some(at), Some(value)) = (at, value) else {
            given.push(None);
            continue;
        };
        let mut out = assessor.assess(Reading::new(sensor.id.clone(), at, value), at).into_iter();
        given.push(out.next());
        for settled in out {
            let place = given.iter().rposition(|g| g.as_ref().is_some_and(|g| g.reading == settled.reading));
            given[place.unwrap()] = Some(settled);
        }
    }
    given
}

fn thresholds(vector: &Value) -> Result<Thresholds, Box<dyn Error>> {
    let p = &vector["params"];
    let number = |name: &str| p[name].as_f64();
    let span = |name: &str| {
        p[name]
            .as_array()
            .map(|span| Span::new(span[0].as_f64().unwrap(), span[1].as_f64().unwrap()))
            .transpose()
    };
    let seconds = |name: &str| number(name).map(SignedDuration::from_secs_f64);
    let levels = |suspect: &str, fail: &str| {
        number(suspect).map(|suspect| Levels::new(suspect, number(fail))).transpose()
    };
    let mut thresholds = Thresholds {
        // A missing minute is a gap; what isn't about gaps has none.
        gap: seconds("fail_span_h").map_or(SignedDuration::from_secs(90), |hours| hours * 3600),
        gross_range: span("fail_span")?
            .map(|outer| GrossRange::new(outer, span("suspect_span")?))
            .transpose()?,
        spike: None,
        rate_per_s: levels("threshold_per_s", "fail_threshold_per_s")?,
        flat_line: None,
    };
    if let Some(method) = p["method"].as_str() {
        let method = match method {
            "average" => SpikeMethod::Average,
            "differential" => SpikeMethod::Differential,
            other => return Err(format!("no spike method '{other}'").into()),
        };
        thresholds.spike =
            levels("suspect_threshold", "fail_threshold")?.map(|levels| Spike { method, levels });
    }
    if let (Some(suspect), Some(eps)) = (seconds("suspect_threshold_s"), number("tolerance")) {
        let every = SignedDuration::from_mins(1);
        thresholds.flat_line = Some(FlatLine::new(eps, suspect, seconds("fail_threshold_s"), every)?);
    }
    let complete = vector["x"].as_array().is_some_and(|values| !values.contains(&Value::Null));
    if vector["test"] == "rate_of_change" && complete {
        thresholds.gap = SignedDuration::from_hours(2);
    }
    if vector["id"] == "LONG_aggregate" {
        let all: Value = serde_json::from_str(VECTORS).unwrap();
        let of = |id: &str| {
            let vectors = all["vectors"].as_array().unwrap();
            self::thresholds(vectors.iter().find(|vector| vector["id"] == id).unwrap())
        };
        thresholds.gross_range = of("LONG_gross_range")?.gross_range;
        thresholds.spike = of("LONG_spike")?.spike;
        thresholds.rate_per_s = of("LONG_rate_of_change")?.rate_per_s;
        thresholds.flat_line = of("LONG_flat_line")?.flat_line;
    }
    Ok(thresholds)
}

fn sensor(thresholds: Thresholds) -> Sensor {
    Sensor { thresholds, ..claymark_invented::sensor("s", Place::Head, Quantity::Turbidity) }
}

/// The first row as the required tests, the second as one that is recommended.
fn aggregates(rows: &Value) -> VectorFlags {
    let rows: Vec<Vec<u8>> = serde_json::from_value(rows.clone()).unwrap();
    let flag = |row: usize, place: usize| {
        let number = *rows.get(row).map_or(Ok(&2), |row| row.get(place).ok_or("rows of different length"))?;
        Flag::try_from(number).map_err(|error| error.to_string())
    };
    (0..rows[0].len())
        .map(|place| {
            let required = flag(0, place)?;
            let tests = TestFlags {
                gap: required,
                syntax: required,
                gross_range: required,
                rate: flag(1, place)?,
                ..TestFlags::NOT_EVALUATED
            };
            Ok(aggregate::flag(tests, false).into())
        })
        .collect()
}

/// The newest-age rule: whether each time is too old to be the newest.
fn receptions(vector: &Value) -> Vec<u8> {
    let now = time(vector["params"]["now"].as_f64().unwrap());
    let limit = SignedDuration::from_hours(vector["params"]["fail_span_h"].as_i64().unwrap());
    let times = vector["t"].as_array().unwrap();
    let flag = |at: &Value| if gap::is_gap(time(at.as_f64().unwrap()), now, limit) { 4 } else { 1 };
    times.iter().map(flag).collect()
}

fn time(seconds: f64) -> Timestamp {
    Timestamp::from_millisecond((seconds * 1000.0).round() as i64).unwrap()
}

const VECTORS: &str = include_str!("../data/qartod_vectors.json");
