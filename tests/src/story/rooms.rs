//! The room of the stories with more or fewer instruments.

use super::{sensor, site_file};

/// Levels, turbidity, oxygen and temperature.
#[must_use]
pub fn plain() -> String {
    site_file(&[], "")
}

/// A pump with a contact that says whether it turns.
#[must_use]
pub fn with_contact() -> String {
    site_file(&[], &sensor("pump-turns", "story/pump/turns", "pump:p1", "running", ("/", "")))
}

/// Flow meters at the head tank and at tank 1.
#[must_use]
pub fn with_meters() -> String {
    let head = sensor("head-flow", "story/head/flow", "head", "flow", ("L/min", ""));
    site_file(&[], &(head + &sensor("t1-flow", "story/t1/flow", "tank:t1", "flow", ("L/min", ""))))
}

/// All on the mains but a thermometer in the room.
#[must_use]
pub fn with_battery() -> String {
    let battery =
        sensor("room-temperature", "story/room/temperature", "room", "temperature", ("°C", "mains = false"));
    site_file(&[("every = \"1 min\"", "every = \"1 min\"\nmains = true")], &battery)
}

/// A pump for each drum, both drawn at once.
#[must_use]
pub fn two_pumps() -> String {
    let b = "name = \"Drum B\"\npump = \"p1\"";
    let p2 = "[[pump]]\nid = \"p2\"\nname = \"Pump 2\"\nml_per_min_per_rpm = 2.09\n";
    site_file(&[(b, "name = \"Drum B\"\npump = \"p2\"")], p2)
}

/// Oxygen probes in two tanks.
#[must_use]
pub fn with_tank_oxygen() -> String {
    let of = |tank: &str| {
        let (id, topic) = (format!("{tank}-oxygen"), format!("story/{tank}/oxygen"));
        sensor(&id, &topic, &format!("tank:{tank}"), "oxygen", ("mg/L", ""))
    };
    site_file(&[], &(of("t1") + &of("t2")))
}

/// No turbidity but in the head tank.
#[must_use]
pub fn without_tank_probes() -> String {
    let room = plain();
    let tanks = room.find("[[sensor]]\nid = \"t1-turbidity\"");
    room.get(..tanks.unwrap_or(room.len())).unwrap_or_default().to_owned()
}
