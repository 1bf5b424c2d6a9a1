//! Payloads as the invented hatchery's devices and people send them: numbers, JSON, SenML in JSON and CBOR.

use ciborium::Value;
use jiff::Timestamp;
use rand::rngs::StdRng;
use serde_json::json;

use super::instruments::{plain, turbidity};
use super::physics::InventedRoom;

/// A drum's level, mm, with its time.
pub fn level(at: Timestamp, level_mm: f64) -> Vec<u8> {
    format!(r#"{{"v":{level_mm:.1},"t":"{at}"}}"#).into_bytes()
}

/// The distance from the sensor down to the slurry, cm, as a bare number.
pub fn distance(level_mm: f64) -> Vec<u8> {
    format!("{:.1}", (MOUNT_MM - level_mm) / MM_PER_CM).into_bytes()
}

/// The head tank's station: turbidity, temperature, oxygen and flow, SenML in JSON.
pub fn head(at: Timestamp, room: &InventedRoom, rng: &mut StdRng) -> Vec<u8> {
    let turbidity = turbidity(room.water.head_ntu(), rng);
    let temperature = plain(room.water.head_temperature_c(), 0.03, 0.01, rng);
    let oxygen = plain(room.water.head_oxygen_mg_l(), 0.04, 0.01, rng);
    let flow = plain(room.water.flow_l_per_min(), 0.2, 0.1, rng) / SECONDS_PER_MINUTE;
    format!(
        r#"[{{"bn":"urn:dev:x-alder-bend:head:","bt":{},"n":"turbidity","u":"NTU","v":{turbidity:.1}}},{{"n":"temperature","u":"Cel","v":{temperature:.2}}},{{"n":"oxygen","u":"mg/l","v":{oxygen:.2}}},{{"n":"flow","u":"l/s","v":{flow:.4}}}]"#,
        at.as_second()
    )
    .into_bytes()
}

/// The barometer, SenML in CBOR: labels are numbers (RFC 8428, section 6).
pub fn air_pressure(at: Timestamp, rng: &mut StdRng) -> Vec<u8> {
    let cycles = at.as_duration().as_secs_f64() / WEATHER_S;
    let truth = 1002.0 + 9.0 * (cycles * std::f64::consts::TAU).sin();
    let label = |number: i8| Value::Integer(number.into());
    let record = Value::Map(vec![
        (label(0), Value::Text("urn:dev:x-alder-bend:barometer".to_owned())),
        (label(6), Value::Integer(at.as_second().into())),
        (label(1), Value::Text("hPa".to_owned())),
        (label(2), Value::Float(plain(truth, 0.1, 0.1, rng))),
    ]);
    let mut payload = Vec::new();
    ciborium::into_writer(&Value::Array(vec![record]), &mut payload).expect("a Vec takes every byte");
    payload
}

/// The probe in a rearing tank: three quantities in one JSON message.
pub fn tank(at: Timestamp, room: &InventedRoom, index: usize, rng: &mut StdRng) -> Option<Vec<u8>> {
    let tank = room.water.tanks().get(index)?;
    let turbidity = turbidity(tank.ntu(), rng);
    let temperature = plain(tank.temperature_c(), 0.03, 0.01, rng);
    let oxygen = plain(tank.oxygen_mg_l(), 0.04, 0.01, rng);
    let text = format!(
        r#"{{"time":"{at}","turbidity":{turbidity:.1},"temperature":{temperature:.2},"oxygen":{oxygen:.2}}}"#
    );
    Some(text.into_bytes())
}

/// A refill as it is written down: litres and grams as they were read.
pub fn refill(at: Timestamp, by: &str, drum: usize, water_l: f64, clay_kg: f64) -> String {
    let (water_l, clay_kg) = (water_l.round(), (clay_kg * 100.0).round() / 100.0);
    json!({"kind": "refill", "at": at, "by": by, "drum": drum_id(drum), "water_l": water_l, "clay_kg": clay_kg})
        .to_string()
}

/// A pump's new speed.
pub fn pump_setting(at: Timestamp, by: &str, pump: usize, rpm: f64) -> String {
    json!({"kind": "pump_setting", "at": at, "by": by, "pump": pump_id(pump), "rpm": rpm}).to_string()
}

/// Another drum is drawn.
pub fn in_use(at: Timestamp, by: &str, drum: usize) -> String {
    json!({"kind": "in_use", "at": at, "by": by, "pump": pump_id(1), "drum": drum_id(drum)}).to_string()
}

/// A new tube.
pub fn tube_change(at: Timestamp, by: &str, pump: usize) -> String {
    json!({"kind": "tube_change", "at": at, "by": by, "pump": pump_id(pump)}).to_string()
}

/// A tank was cleaned.
pub fn cleaning(at: Timestamp, by: &str, tank: usize) -> String {
    json!({"kind": "cleaning", "at": at, "by": by, "place": format!("tank:t{}", tank + 1), "minutes": 15})
        .to_string()
}

/// The hand meter in the head tank.
pub fn sample(at: Timestamp, by: &str, ntu: f64) -> String {
    let value = (ntu * 10.0).round() / 10.0;
    json!({"kind": "grab_sample", "at": at, "by": by, "place": "head", "quantity": "turbidity", "value": value, "unit": "NTU"})
        .to_string()
}

/// A minute's catch.
pub fn flow_check(at: Timestamp, by: &str, pump: usize, ml: f64) -> String {
    let place = format!("pump:{}", pump_id(pump));
    json!({"kind": "flow_check", "at": at, "by": by, "place": place, "volume_ml": ml.round(), "seconds": 60})
        .to_string()
}

/// "I'm on it."
pub fn answer(notice: u64, by: &str) -> Vec<u8> {
    json!({"notice": notice, "by": by}).to_string().into_bytes()
}

fn drum_id(drum: usize) -> &'static str {
    ["a", "b", "c"].get(drum).copied().unwrap_or("a")
}

fn pump_id(pump: usize) -> &'static str {
    ["p1", "p2"].get(pump).copied().unwrap_or("p1")
}

/// As the site file says.
const MOUNT_MM: f64 = 950.0;
const MM_PER_CM: f64 = 10.0;
const SECONDS_PER_MINUTE: f64 = 60.0;
/// Highs and lows follow each other in six days.
const WEATHER_S: f64 = 6.0 * 86_400.0;
