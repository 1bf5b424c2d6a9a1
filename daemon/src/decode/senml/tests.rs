//! The resolver against vectors made from RFC 8428, and against the RFC's own examples.

use serde_json::Value as Json;

use super::resolve::{Pack, RecordValue};
use super::*;

fn resolved(payload: &[u8], now_s: f64) -> Result<Pack, Problem> {
    read(payload).and_then(|records| resolve::pack(records, now_s))
}

fn number(json: &Json, key: &str) -> Option<f64> {
    json.get(key).and_then(Json::as_f64)
}

#[test]
fn packs_resolve_as_the_vectors_say() {
    let vectors: Vec<Json> =
        serde_json::from_str(include_str!("../../../../tests/data/senml_vectors.json")).unwrap();
    assert_eq!(vectors.len(), 28);
    for vector in vectors {
        let id = vector["id"].as_str().unwrap();
        let pack = resolved(vector["pack"].to_string().as_bytes(), number(&vector, "now").unwrap());
        let Some(expected) = vector.get("resolved") else {
            let refused = pack.map_or(true, |pack| pack.records.is_empty() && !pack.problems.is_empty());
            assert!(refused, "{id} must be refused: {}", vector["error"]);
            continue;
        };
        let pack = pack.unwrap();
        assert_eq!(pack.problems, [], "{id}");
        assert_eq!(pack.records.len(), expected.as_array().unwrap().len(), "{id}");
        for (record, wanted) in pack.records.iter().zip(expected.as_array().unwrap()) {
            assert_eq!(Some(record.name.as_str()), wanted["n"].as_str(), "{id}");
            assert_eq!(record.unit.as_deref(), wanted.get("u").and_then(Json::as_str), "{id}");
            assert!((record.at_s - number(wanted, "t").unwrap()).abs() < 1e-6, "{id}");
            match record.value {
                RecordValue::Number(value) => {
                    assert!((value - number(wanted, "v").unwrap()).abs() < 1e-9, "{id}")
                }
                RecordValue::Other(_) => assert!(wanted.get("v").is_none(), "{id}"),
            }
        }
    }
}

#[test]
fn the_dump_of_rfc_8428_section_6_is_the_example_of_section_5_1_2() {
    let json = br#"[
        {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
        {"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":1.4},
        {"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]"#;
    let cbor = hex(SECTION_6);
    assert_eq!(cbor.len(), 195);
    let from_cbor = resolved(&cbor, 0.0).unwrap();
    let from_json = resolved(json, 0.0).unwrap();
    assert_eq!(from_cbor.records.len(), 7);
    for (a, b) in from_cbor.records.iter().zip(&from_json.records) {
        assert_eq!((&a.name, &a.unit, a.value), (&b.name, &b.unit, b.value));
        assert!((a.at_s - b.at_s).abs() < 1e-6);
    }
    // Resolved, section 5.1.4: times ascend, the last two share the base time.
    let first = from_cbor.records.first().unwrap();
    assert_eq!(
        (first.name.as_str(), first.value),
        ("urn:dev:ow:10e2073a0108006:current", RecordValue::Number(1.2))
    );
    assert!((first.at_s - 1_276_020_071.001).abs() < 1e-6);
}

#[test]
fn bytes_after_a_cbor_pack_are_refused() {
    let mut cbor = hex(SECTION_6);
    cbor.push(0x00);
    assert_eq!(resolved(&cbor, 0.0).unwrap_err().reason, Reason::BadCbor);
    cbor.truncate(100);
    assert_eq!(resolved(&cbor, 0.0).unwrap_err().reason, Reason::BadCbor);
}

#[test]
fn a_cbor_decimal_fraction_is_a_number() {
    // [{"n": "a", 2: 4([-2, 27315])}]: 273.15, the fraction of RFC 8949, section 3.4.4.
    let pack = resolved(&hex("81 a2 00 61 61 02 c4 82 21 19 6a b3"), 0.0).unwrap();
    assert_eq!(pack.records.first().unwrap().value, RecordValue::Number(273.15));
}

#[test]
fn symbols_mean_what_senml_says_and_not_what_a_keyboard_says() {
    // RFC 8428, section 12.1; RFC 8798, section 3.
    for (symbol, expected) in [
        ("%", Some(Unit::Ratio)),
        ("/", Some(Unit::Ratio)),
        ("/100", Some(Unit::Percent)),
        ("Cel", Some(Unit::Celsius)),
        ("K", Some(Unit::Kelvin)),
        ("mg/l", Some(Unit::MilligramPerLitre)),
        ("kg/m3", Some(Unit::KilogramPerCubicMetre)),
        ("mm", Some(Unit::Millimetre)),
        ("m", Some(Unit::Metre)),
        ("l", Some(Unit::Litre)),
        ("l/s", Some(Unit::LitrePerSecond)),
        ("hPa", Some(Unit::Hectopascal)),
        ("NTU", Some(Unit::Ntu)),
        ("C", None),
        ("F", None),
        ("ppm", None),
        ("V", None),
    ] {
        assert_eq!(unit(symbol).ok(), expected, "{symbol}");
    }
}

fn hex(dump: &str) -> Vec<u8> {
    dump.split_whitespace().map(|byte| u8::from_str_radix(byte, 16).unwrap()).collect()
}

/// The hex dump of RFC 8428, section 6.
const SECTION_6: &str = "
    87 a7 21 78 1b 75 72 6e 3a 64 65 76 3a 6f 77 3a
    31 30 65 32 30 37 33 61 30 31 30 38 30 30 36 3a
    22 fb 41 d3 03 a1 5b 00 10 62 23 61 41 20 05 00
    67 76 6f 6c 74 61 67 65 01 61 56 02 fb 40 5e 06
    66 66 66 66 66 a3 00 67 63 75 72 72 65 6e 74 06
    24 02 fb 3f f3 33 33 33 33 33 33 a3 00 67 63 75
    72 72 65 6e 74 06 23 02 fb 3f f4 cc cc cc cc cc
    cd a3 00 67 63 75 72 72 65 6e 74 06 22 02 fb 3f
    f6 66 66 66 66 66 66 a3 00 67 63 75 72 72 65 6e
    74 06 21 02 f9 3e 00 a3 00 67 63 75 72 72 65 6e
    74 06 20 02 fb 3f f9 99 99 99 99 99 9a a3 00 67
    63 75 72 72 65 6e 74 06 00 02 fb 3f fb 33 33 33
    33 33 33";
