//! The invented room of the tests: Alder Bend Hatchery, which doesn't exist, nor do its people.
//!
//! [`site`] is whole; a test says by `..site()` what it needs otherwise, and so what matters to it.
#![allow(
    clippy::unwrap_used,
    reason = "all of it is invented, and of tests only; in a crate's own tests the lint is silent anyway"
)]

use claymark_model::id::Id;
use claymark_model::quality::thresholds::{Span, Thresholds};
use claymark_model::site::{
    ClaySupply, Contact, Draws, Drum, HeadTank, Place, Premix, Pump, Quantity, Senses, Sensor, Site, Staff,
    Tank, WaterLimits,
};
use claymark_model::strapping::StrappingTable;
use claymark_model::units::{GramsPerLitre, Kilograms, Litres, Millimetres, PeopleUnits, Unit};
use jiff::civil::time;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

/// An id that is one.
#[must_use]
pub fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

/// So many minutes after a time on which nothing hangs.
#[must_use]
pub fn minute(minute: i64) -> Timestamp {
    Timestamp::from_second(1_800_000_000 + minute * 60).unwrap()
}

/// Two drums on one pump, a head tank and one rearing tank, each with a sensor or two; no plan, no stock.
#[must_use]
pub fn site() -> Site {
    Site {
        id: id("alder-bend"),
        name: "Alder Bend Hatchery".to_owned(),
        time_zone: TimeZone::get("Europe/Helsinki").unwrap(),
        elevation_m: 92.0,
        units: PeopleUnits::default(),
        staff: staff(),
        water: water((50.0, 80.0), (18.0, 22.0), 6.0),
        batches: Vec::new(),
        stock: None,
        hand_checks: Vec::new(),
        clay: clay(),
        pumps: vec![pump("p1")],
        drums: vec![drum("a", "p1"), drum("b", "p1")],
        head_tank: HeadTank { id: id("head"), name: "Head tank".to_owned(), volume: Litres(450.0) },
        tanks: vec![tank(1)],
        sensors: vec![
            sensor("drum-a-level", Place::Drum(id("a")), Quantity::Level),
            sensor("drum-b-level", Place::Drum(id("b")), Quantity::Level),
            sensor("head-turbidity", Place::Head, Quantity::Turbidity),
            sensor("t1-oxygen", Place::Tank(id("t1")), Quantity::Oxygen),
        ],
        contacts: vec![contact("lead", "Lead (invented)")],
        calls: Default::default(),
    }
}

/// Two rearing tanks and one drum, whose sensors speak each 30 s: what stores are filled with.
#[must_use]
pub fn two_tanks() -> Site {
    let half_a_minute = |name, place, quantity| Sensor {
        every: SignedDuration::from_secs(30),
        ..sensor(name, place, quantity)
    };
    Site {
        name: "Alder Bend Hatchery (invented)".to_owned(),
        water: water((50.0, 80.0), (19.0, 21.0), 7.0),
        clay: ClaySupply { bag: Kilograms(22.7), thickest: GramsPerLitre(120.0), ..clay() },
        pumps: vec![Pump { max_rpm: Some(100.0), ..pump("p1") }],
        drums: vec![Drum { strapping: strapping(&[(0.0, 0.0), (800.0, 190.0)]), ..drum("a", "p1") }],
        tanks: vec![tank(1), tank(2)],
        sensors: vec![
            half_a_minute("t1-ntu", Place::Tank(id("t1")), Quantity::Turbidity),
            half_a_minute("t2-ntu", Place::Tank(id("t2")), Quantity::Turbidity),
            half_a_minute("t1-oxygen", Place::Tank(id("t1")), Quantity::Oxygen),
            half_a_minute("drum-a-level", Place::Drum(id("a")), Quantity::Level),
        ],
        contacts: vec![contact("on-call", "On call")],
        ..site()
    }
}

/// From 17:00 to 07:30 nobody is there; an hour of margin, 15 min to mix, 30 min of way, 15 min to get up.
#[must_use]
pub fn staff() -> Staff {
    Staff {
        evening_check: time(17, 0, 0, 0),
        next_visit: time(7, 30, 0, 0),
        other_visits: Vec::new(),
        confirm_by: None,
        morning: None,
        margin: SignedDuration::from_hours(1),
        mixing: SignedDuration::from_mins(15),
        travel: SignedDuration::from_mins(30),
        response: SignedDuration::from_mins(15),
    }
}

/// Limits of turbidity (NTU), temperature (°C) and oxygen (mg/L).
#[must_use]
pub fn water(turbidity: (f64, f64), temperature_c: (f64, f64), oxygen_min_mg_l: f64) -> WaterLimits {
    let span = |(min, max)| Span::new(min, max).unwrap();
    WaterLimits { turbidity: span(turbidity), temperature_c: span(temperature_c), oxygen_min_mg_l }
}

/// Bags of 25 kg, a scale of 50 g, slurry of at most 150 g/L; what it clouds isn't known.
#[must_use]
pub fn clay() -> ClaySupply {
    ClaySupply {
        bag: Kilograms(25.0),
        scale_step: Kilograms(0.05),
        mineral_density_kg_per_l: 2.6,
        thickest: GramsPerLitre(150.0),
        ntu_per_mg_l: None,
        background_ntu: 0.0,
        premix: Premix::default(),
        coarse_um: None,
    }
}

/// A pump that draws from one drum at a time, at most 200 rpm.
#[must_use]
pub fn pump(name: &str) -> Pump {
    Pump {
        id: id(name),
        name: format!("Pump {}", name.trim_start_matches('p')),
        ml_per_min_per_rpm: Some(2.1),
        max_rpm: Some(200.0),
        min_rpm: None,
        draws: Draws::One,
        levels_out: false,
    }
}

/// 175 L full, of which 12 L can't be lifted, for slurry of 18 g/L; 0.24 L for each millimetre.
#[must_use]
pub fn drum(name: &str, pump: &str) -> Drum {
    Drum {
        id: id(name),
        name: format!("Drum {}", name.to_uppercase()),
        pump: id(pump),
        full: Litres(175.0),
        heel: Litres(12.0),
        strapping: strapping(&[(0.0, 0.0), (1500.0, 360.0)]),
        target: GramsPerLitre(18.0),
    }
}

/// Marks of a drum, mm and L.
#[must_use]
pub fn strapping(marks: &[(f64, f64)]) -> StrappingTable {
    StrappingTable::new(marks.iter().map(|(mm, l)| (Millimetres(*mm), Litres(*l))).collect()).unwrap()
}

/// The n-th rearing tank, of 280 L.
#[must_use]
pub fn tank(number: usize) -> Tank {
    Tank { id: id(&format!("t{number}")), name: format!("Tank {number}"), volume: Litres(280.0) }
}

/// A sensor that speaks each minute in the quantity's usual unit; 5 min without a word are a gap, nothing else is judged.
#[must_use]
pub fn sensor(name: &str, place: Place, quantity: Quantity) -> Sensor {
    Sensor {
        id: id(name),
        name: name.to_owned(),
        place,
        quantity,
        device: None,
        unit: usual(quantity),
        every: SignedDuration::from_mins(1),
        senses: Senses::Surface,
        mains: None,
        mount_height: None,
        thresholds: Thresholds {
            gap: SignedDuration::from_mins(5),
            gross_range: None,
            spike: None,
            rate_per_s: None,
            flat_line: None,
        },
    }
}

/// A person, who is called.
#[must_use]
pub fn contact(name: &str, called: &str) -> Contact {
    Contact::always(id(name), called.to_owned())
}

fn usual(quantity: Quantity) -> Unit {
    match quantity {
        Quantity::Level | Quantity::Distance => Unit::Millimetre,
        Quantity::Volume => Unit::Litre,
        Quantity::Turbidity => Unit::Ntu,
        Quantity::Temperature => Unit::Celsius,
        Quantity::Oxygen => Unit::MilligramPerLitre,
        Quantity::OxygenSaturation => Unit::Percent,
        Quantity::Flow | Quantity::AirFlow => Unit::LitrePerMinute,
        Quantity::AirPressure => Unit::Hectopascal,
        Quantity::Running => Unit::Ratio,
    }
}
