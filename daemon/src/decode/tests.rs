//! Payloads of one small site: what is used, what is kept aside, and why.

use proptest::prelude::*;

use claymark_model::fieldlog::Deed;
use claymark_model::site::Place;
use claymark_model::units::{Kilograms, Litres};
use claymark_notice::query::{About, WhyNot};

use super::*;

const NOW: &str = "2027-04-20T14:03:11.250Z";

/// The sensors of the tests on the room of the pipeline's tests.
fn decoder() -> Decoder {
    let site = crate::pipeline::tests::site();
    let sensor = |id: &str| site.sensor(&Id::new(id).unwrap()).unwrap().clone();
    let binding =
        |topic: &str, id: &str, payload| Binding { sensor: sensor(id), topic: topic.to_owned(), payload };
    let json = |value: &str, time: Option<&str>, unit: Option<&str>| Payload::Json {
        value: value.to_owned(),
        time: time.map(str::to_owned),
        unit: unit.map(str::to_owned),
    };
    let senml = |name: &str| Payload::Senml { name: name.to_owned() };
    Decoder::new(
        &site,
        Settings {
            prefix: "claymark/x".to_owned(),
            bindings: vec![
                binding("x/level", "drum-a-level", Payload::Number),
                binding("x/json", "drum-a-level", json("/v", Some("/t"), Some("/u"))),
                binding("x/plain", "drum-a-level", json("/v/0", None, None)),
                binding("x/pack", "head-turbidity", senml("head:turbidity")),
                binding("x/pack", "head-temperature", senml("head:temp")),
            ],
        },
    )
}

fn message(topic: &str, payload: impl AsRef<[u8]>) -> Message {
    Message {
        topic: topic.to_owned(),
        payload: payload.as_ref().to_vec(),
        retained: false,
        received_at: NOW.parse().unwrap(),
    }
}

/// What comes of it, a word per reading (sensor, time, value) and the reasons.
fn told(decoded: &Decoded) -> (Vec<String>, Vec<Reason>) {
    let readings = decoded
        .readings
        .iter()
        .map(|r| format!("{} {} {}", r.sensor, r.at, (r.value * 1e6).round() / 1e6))
        .collect();
    (readings, decoded.quarantined.iter().map(|q| q.reason).collect())
}

fn check(topic: &str, payload: impl AsRef<[u8]>, readings: &[&str], reasons: &[Reason]) {
    let shown = String::from_utf8_lossy(payload.as_ref()).into_owned();
    let (found, why) = told(&decoder().decode(&message(topic, payload)));
    assert_eq!(
        (found, why),
        (readings.iter().map(|r| (*r).to_owned()).collect(), reasons.to_vec()),
        "{shown:.60}"
    );
}

#[test]
fn a_bare_number_takes_its_arrival_time() {
    check("x/level", "412", &["drum-a-level 2027-04-20T14:03:11.25Z 412"], &[]);
    check("x/level", [0xFF, 0xFE], &[], &[Reason::NotUtf8]);
    check("x/level", "nan", &[], &[Reason::NotFinite]);
    check("x/level", "1e999", &[], &[Reason::OutOfNumberRange]);
    check("x/level", "", &[], &[Reason::NotANumber]);
    check("x/elsewhere", "412", &[], &[Reason::UnknownTopic]);
}

#[test]
fn a_megabyte_of_noise_is_kept_aside_cut_short_with_its_length() {
    let decoded = decoder().decode(&message("x/level", vec![b'7'; 1 << 20]));
    assert_eq!(told(&decoded), (vec![], vec![Reason::TooLarge]));
    let kept = &decoded.quarantined[0];
    assert_eq!((kept.payload.len(), kept.payload_length), (KEPT_PAYLOAD_BYTES, 1 << 20));
}

#[test]
fn json_brings_its_own_time_and_unit() {
    let ok = r#"{"v":41.2,"u":"cm","t":"2027-04-20T13:00:00Z","other":1e999}"#;
    check("x/json", ok, &["drum-a-level 2027-04-20T13:00:00Z 412"], &[]);
    // Whether a device's clock can be right isn't for the decoder to say.
    let ahead = r#"{"v":41.2,"u":"cm","t":"2027-04-20T15:04:11.0004Z"}"#;
    check("x/json", ahead, &["drum-a-level 2027-04-20T15:04:11Z 412"], &[]);
    for (payload, reason) in [
        (r#"{"v":41.2,"u":"cm","t":"2027-04-20 13:00:00Z"}"#, Reason::BadTime),
        (r#"{"v":41.2,"u":"cm","t":1808229600}"#, Reason::MissingField),
        (r#"{"v":41.2,"u":"cm"}"#, Reason::MissingField),
        (r#"{"v":41.2,"u":"furlong","t":"2027-04-20T13:00:00Z"}"#, Reason::UnknownUnit),
        (r#"{"v":41.2,"u":"°C","t":"2027-04-20T13:00:00Z"}"#, Reason::UnknownUnit),
        (r#"{"v":1e999,"u":"cm","t":"2027-04-20T13:00:00Z"}"#, Reason::OutOfNumberRange),
        (r#"{"v":1e308,"u":"cm","t":"2027-04-20T13:00:00Z"}"#, Reason::OutOfNumberRange),
        (r#"{"v":"41.2","u":"cm","t":"2027-04-20T13:00:00Z"}"#, Reason::MissingField),
        (r#"{"v":null,"u":"cm","t":"2027-04-20T13:00:00Z"}"#, Reason::MissingField),
        (r#"{"v":NaN}"#, Reason::BadJson),
        (r#"{"v":41.2"#, Reason::BadJson),
        ("412 tail", Reason::BadJson),
    ] {
        check("x/json", payload, &[], &[reason]);
    }
}

#[test]
fn a_retained_message_is_a_reading_only_with_a_time_of_its_own() {
    let retained = |topic: &str, payload: &str| {
        told(&decoder().decode(&Message { retained: true, ..message(topic, payload) }))
    };
    assert_eq!(retained("x/level", "412").1, [Reason::RetainedWithoutTime]);
    assert_eq!(retained("x/plain", r#"{"v":[412]}"#).1, [Reason::RetainedWithoutTime]);
    assert_eq!(retained("x/pack", r#"[{"n":"head:temp","v":20}]"#).1, [Reason::RetainedWithoutTime]);
    let timed = retained("x/json", r#"{"v":412,"u":"mm","t":"2027-04-20T13:00:00Z"}"#);
    assert_eq!(timed, (vec!["drum-a-level 2027-04-20T13:00:00Z 412".to_owned()], vec![]));
}

#[test]
fn each_sensor_of_a_pack_takes_its_records_and_the_rest_is_kept_aside() {
    // 1808229600 s is 2027-04-20T14:00:00Z.
    check(
        "x/pack",
        r#"[{"bn":"head:","bt":1808229600,"n":"turbidity","u":"NTU","v":64.5},{"n":"temp","u":"K","v":293.15},
            {"n":"temp","u":"Cel","t":-600,"v":19.5}]"#,
        &[
            "head-temperature 2027-04-20T13:50:00Z 19.5",
            "head-turbidity 2027-04-20T14:00:00Z 64.5",
            "head-temperature 2027-04-20T14:00:00Z 20",
        ],
        &[],
    );
    check(
        "x/pack",
        r#"[{"n":"head:temp","v":20},{"n":"battery","v":3.6},{"n":"battery","t":-1,"v":3.6}]"#,
        &["head-temperature 2027-04-20T14:03:11.25Z 20"],
        &[Reason::UnknownTopic],
    );
}

#[test]
fn one_bad_record_never_spoils_the_rest_of_its_pack() {
    let good = &["head-temperature 2027-04-20T14:03:11.25Z 20"];
    for (bad, reason) in [
        (r#"{"n":"head:turbidity","v":1e999}"#, Reason::OutOfNumberRange),
        (r#"{"n":"head:turbidity","v":60,"u":"FNU"}"#, Reason::UnknownUnit),
        (r#"{"n":"head:turbidity","v":60,"u":"bogus"}"#, Reason::UnknownUnit),
        (r#"{"n":"head:turbidity","v":"60"}"#, Reason::BadSenml),
        (r#"{"n":"head:turbidity","vs":"60"}"#, Reason::MissingField),
        (r#"{"n":"head:turbidity","s":60}"#, Reason::MissingField),
        (r#"{"n":"head:turbidity","v":60,"vb":true}"#, Reason::BadSenml),
        (r#"{"n":"head turbidity","v":60}"#, Reason::BadSenml),
        (r#"{"n":"head:turbidity","v":60,"t":-86401}"#, Reason::BadTime),
        (r#"{"n":"head:turbidity","v":60,"t":1e300}"#, Reason::BadTime),
    ] {
        check("x/pack", format!(r#"[{bad},{{"n":"head:temp","v":20}}]"#), good, &[reason]);
    }
    for (whole, reason) in [
        (r#"[{"n":"head:temp","v":20,"must_":1}]"#, Reason::BadSenml),
        (r#"[{"bver":11,"n":"head:temp","v":20}]"#, Reason::BadSenml),
        (r#"[{"bt":"x","n":"head:temp","v":20}]"#, Reason::BadSenml),
        (r#"{"n":"head:temp","v":20}"#, Reason::BadSenml),
        ("[]", Reason::MissingField),
        ("", Reason::BadSenml),
    ] {
        check("x/pack", whole, &[], &[reason]);
    }
}

#[test]
fn a_refill_needs_only_kind_and_time() {
    let decoded = decoder().decode(&message(
        "claymark/x/log",
        r#"{"kind":"refill","drum":"a","water_l":150,"clay_kg":4.2,"at":"2027-04-20T16:50:00+03:00","by":"Aino"}"#,
    ));
    assert_eq!(decoded.quarantined, []);
    let entry = &decoded.log[0];
    assert_eq!(entry.at.to_string(), "2027-04-20T13:50:00Z");
    assert_eq!(entry.by.as_deref(), Some("Aino"));
    let drum = Some(Id::new("a").unwrap());
    assert_eq!(entry.deed, Deed::Refill { drum, water: Some(Litres(150.0)), clay: Some(Kilograms(4.2)) });

    let bare =
        decoder().decode(&message("claymark/x/log", r#"{"kind":"refill","at":"2027-04-20T08:00:00Z"}"#));
    assert_eq!(bare.log[0].deed, Deed::Refill { drum: None, water: None, clay: None });
    assert_eq!(bare.quarantined, []);
}

#[test]
fn every_kind_of_entry_is_read_with_its_figures() {
    for (entry, deed) in [
        (
            r#""kind":"pump_setting","pump":"p1","rpm":45"#,
            "PumpSetting { pump: Some(Id(p1)), rpm: Some(45.0) }",
        ),
        (r#""kind":"in_use","pump":"p1","drum":"b""#, "InUse { pump: Some(Id(p1)), drum: Some(Id(b)) }"),
        (
            r#""kind":"flow_check","place":"pump:p1","volume_ml":470,"seconds":60"#,
            "FlowCheck { place: Some(Pump(Id(p1))), volume: Some(Litres(0.47)), seconds: Some(60.0) }",
        ),
        (
            r#""kind":"grab_sample","place":"head","quantity":"turbidity","value":61,"unit":"NTU""#,
            r#"GrabSample { place: Some(Head), quantity: Some("turbidity"), value: Some(61.0), unit: Some("NTU") }"#,
        ),
        (
            r#""kind":"cleaning","place":"tank:t1","minutes":12"#,
            "Cleaning { place: Some(Tank(Id(t1))), minutes: Some(12.0) }",
        ),
        (
            r#""kind":"dip","drum":"a","volume_l":120"#,
            "Dip { drum: Some(Id(a)), level: None, volume: Some(Litres(120.0)) }",
        ),
        (
            r#""kind":"dip","drum":"a","level_mm":500"#,
            "Dip { drum: Some(Id(a)), level: Some(Millimetres(500.0)), volume: None }",
        ),
        (r#""kind":"wipe","sensor":"head-turbidity""#, "Wipe { sensor: Some(Id(head-turbidity)) }"),
        (r#""kind":"tube_change","pump":"p1""#, "TubeChange { pump: Some(Id(p1)) }"),
        (r#""kind":"clog_cleared","pump":"p1""#, "ClogCleared { pump: Some(Id(p1)) }"),
        (
            r#""kind":"delivery","bags":20,"kg":453.6,"lot":"L7""#,
            r#"Delivery { bags: Some(20.0), mass: Some(Kilograms(453.6)), lot: Some("L7") }"#,
        ),
        (
            r#""kind":"fish","place":"tank:t1","what":"stocked","number":5000"#,
            r#"Fish { place: Some(Tank(Id(t1))), what: Some("stocked"), number: Some(5000.0) }"#,
        ),
        (r#""kind":"note","text":"siphon moved""#, r#"Note { text: Some("siphon moved") }"#),
    ] {
        let decoded = decoder()
            .decode(&message("claymark/x/log", format!(r#"{{{entry},"at":"2027-04-20T08:00:00Z"}}"#)));
        assert_eq!(decoded.quarantined, [], "{entry}");
        assert_eq!(format!("{:?}", decoded.log[0].deed), deed);
    }
}

#[test]
fn an_entry_that_cannot_be_right_is_kept_aside_and_says_what_there_is() {
    for (entry, detail) in [
        (
            r#"{"kind":"refill","drum":"z","at":"2027-04-20T08:00:00Z"}"#,
            "there is no drum 'z'; there is a, b",
        ),
        (r#"{"kind":"refill","drum":"a"}"#, "'at' is missing"),
        (r#"{"at":"2027-04-20T08:00:00Z"}"#, "'kind' is missing"),
        (
            r#"{"kind":"refil","at":"2027-04-20T08:00:00Z"}"#,
            "'refil' isn't a kind of field-log entry: refill",
        ),
        (
            r#"{"kind":"refill","water_l":"150","at":"2027-04-20T08:00:00Z"}"#,
            "'water_l' is \"150\", expected a number",
        ),
        (
            r#"{"kind":"refill","water_l":-1,"at":"2027-04-20T08:00:00Z"}"#,
            "'water_l' is -1, it can't be below zero",
        ),
        (r#"{"kind":"cleaning","place":"tank","at":"2027-04-20T08:00:00Z"}"#, "'tank' is not a place"),
        (r#"{"kind":"refill","at":"2027-04-20 08:00"}"#, "isn't a time as RFC 3339 writes it"),
        (r#"{"kind":"refill","at":"2027-04-20T18:00:00Z"}"#, "after its arrival"),
        ("[]", "a field-log entry is a JSON object"),
        ("refill a", "not JSON"),
    ] {
        let decoded = decoder().decode(&message("claymark/x/log", entry));
        assert_eq!(decoded.log, [], "{entry}");
        assert!(decoded.quarantined[0].detail.contains(detail), "{entry}: {}", decoded.quarantined[0].detail);
    }
}

#[test]
fn people_are_asked_in_their_own_words_where_the_form_is_broken() {
    let asked = |topic: &str, sent: &str| {
        let decoded = decoder().decode(&message(topic, sent));
        assert_eq!(decoded.queries.len(), 1, "{sent}");
        decoded.queries[0].about.clone()
    };
    let form = |topic: &str, sent: &str| {
        let about = asked(topic, sent);
        let About::NotTaken { why: WhyNot::Form { line, column }, .. } = about else { panic!("{about:?}") };
        (line, column)
    };
    assert_eq!(form("claymark/x/log", r#"{"kind":"refill" "at":"2027-04-20T08:00:00Z"}"#), (1, 18));
    assert_eq!(form("claymark/x/answer", r#"{"notice":7"#), (1, 11));
    // What fits the form and is no answer is told by what is missing.
    let about = asked("claymark/x/answer", r#"{"note":7}"#);
    let About::NotTaken { why: WhyNot::Unreadable { detail }, .. } = about else { panic!("{about:?}") };
    assert!(!detail.contains("missing field") && !detail.contains("column"), "{detail}");
}

#[test]
fn a_misspelt_figure_is_told_but_the_refill_counts() {
    let misspelt = r#"{"kind":"refill","drum":"a","watter_l":150,"at":"2027-04-20T08:00:00Z"}"#;
    let decoded = decoder().decode(&message("claymark/x/log", misspelt));
    assert_eq!(decoded.log.len(), 1);
    assert!(decoded.quarantined[0].detail.ends_with("watter_l"), "{}", decoded.quarantined[0].detail);
}

#[test]
fn the_same_entry_has_the_same_key_and_another_has_another() {
    let key = |json: &str, at: &str| {
        let sent = Message { received_at: at.parse().unwrap(), ..message("claymark/x/log", json) };
        decoder().decode(&sent).log[0].key.clone()
    };
    let entry = r#"{"kind":"refill","drum":"a","water_l":150,"at":"2027-04-20T08:00:00Z"}"#;
    let respaced = r#"{ "at":"2027-04-20T11:00:00+03:00","drum":"a", "kind":"refill","water_l":150.0 }"#;
    let other = r#"{"kind":"refill","drum":"a","water_l":151,"at":"2027-04-20T08:00:00Z"}"#;
    assert_eq!(key(entry, NOW), key(respaced, "2027-04-21T00:00:00Z"));
    assert_ne!(key(entry, NOW), key(other, NOW));
    // Fixed for ever: stores hold these keys.
    assert_eq!(key(entry, NOW), "4bb511c36d776abc2b41b9fc0d85869c");
    assert_eq!(key(r#"{"kind":"note","id":"n-1","at":"2027-04-20T08:00:00Z"}"#, NOW), "n-1");
}

#[test]
fn an_answer_names_a_notice() {
    let decoded = decoder().decode(&message("claymark/x/answer", r#"{"notice":7,"by":"Aino"}"#));
    let answer = &decoded.answers[0];
    assert_eq!((answer.notice, answer.by.as_deref()), (7, Some("Aino")));
    for bad in [r#"{"by":"Aino"}"#, r#"{"notice":-1}"#, "7", "ok"] {
        let decoded = decoder().decode(&message("claymark/x/answer", bad));
        assert_eq!((decoded.answers.len(), decoded.quarantined[0].reason), (0, Reason::BadAnswer), "{bad}");
    }
}

#[test]
fn a_place_that_is_not_in_the_room_is_refused() {
    let entry = r#"{"kind":"cleaning","place":"tank:t99","at":"2027-04-20T08:00:00Z"}"#;
    let decoded = decoder().decode(&message("claymark/x/log", entry));
    assert!(decoded.quarantined[0].detail.starts_with("there is no tank 't99'"));
    assert_eq!(Place::parse("tank:t99").unwrap().to_string(), "tank:t99");
}

const TOPICS: [&str; 7] =
    ["x/level", "x/json", "x/plain", "x/pack", "claymark/x/log", "claymark/x/answer", "x/unknown"];

/// Bytes, text, and text that nearly is what is expected.
fn payloads() -> impl Strategy<Value = Vec<u8>> {
    let nearly = prop::collection::vec(
        prop::sample::select(vec![
            "[",
            "]",
            "{",
            "}",
            ",",
            ":",
            "\"v\"",
            "\"n\"",
            "\"bn\"",
            "\"t\"",
            "\"u\"",
            "\"bt\"",
            "\"bv\"",
            "\"vs\"",
            "\"head:temp\"",
            "\"kind\"",
            "\"refill\"",
            "\"at\"",
            "\"2027-04-20T08:00:00Z\"",
            "1e999",
            "-5",
            "20.5",
            "null",
            "true",
            "\"Cel\"",
            "\"notice\"",
            "\\u0000",
            "é",
        ]),
        0..24,
    )
    .prop_map(|parts| parts.concat().into_bytes());
    let cbor = prop::collection::vec(any::<u8>(), 0..40).prop_map(|mut bytes| {
        bytes.insert(0, 0x82);
        bytes
    });
    prop_oneof![prop::collection::vec(any::<u8>(), 0..200), nearly, cbor]
}

proptest! {
    #[test]
    fn whatever_arrives_is_used_or_kept_aside_with_a_reason(
        topic in prop::sample::select(TOPICS.to_vec()),
        payload in payloads(),
        retained in any::<bool>(),
    ) {
        let decoded = decoder().decode(&Message { retained, ..message(topic, &payload) });
        prop_assert!(!decoded.is_empty());
        let now = message(topic, "").received_at;
        for reading in &decoded.readings {
            prop_assert!(reading.value.is_finite());
            prop_assert!(reading.at.duration_since(now) <= jiff::SignedDuration::from_secs(60));
        }
        for kept in &decoded.quarantined {
            prop_assert!(!kept.detail.is_empty());
            prop_assert_eq!(&kept.payload, &payload);
        }
    }
}
