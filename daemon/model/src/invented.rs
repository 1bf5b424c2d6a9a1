//! An invented site, for the tests of several floors.

use claymark_model::site::Site;

/// Three tanks and nothing else, as it would come from a store.
pub fn site() -> Site {
    let tank = |id: &str| serde_json::json!({ "id": id, "name": id, "volume": 280.0 });
    serde_json::from_value(serde_json::json!({
        "id": "alder-bend", "name": "Alder Bend Hatchery", "time_zone": "Europe/Helsinki", "elevation_m": 92.0,
        "units": { "mass": "kg", "volume": "L", "strength": "g/L", "temperature": "°C" },
        "staff": {
            "evening_check": "17:00:00", "next_visit": "07:30:00",
            "margin": "PT1H", "mixing": "PT15M", "travel": "PT30M", "response": "PT15M",
        },
        "water": { "turbidity": { "min": 45.0, "max": 85.0 }, "temperature_c": { "min": 19.0, "max": 21.0 }, "oxygen_min_mg_l": 5.0 },
        "clay": { "bag": 25.0, "scale_step": 0.05, "mineral_density_kg_per_l": 2.6, "thickest": 60.0 },
        "pumps": [], "drums": [], "sensors": [], "contacts": [],
        "head_tank": { "id": "head", "name": "Head tank", "volume": 450.0 },
        "tanks": [tank("t1"), tank("t2"), tank("t3")],
    }))
    .unwrap()
}
