//! The pipeline's tests, and the small room that they and the decoder's share.

use jiff::SignedDuration;
use jiff::civil::time;
use jiff::tz::TimeZone;

use claymark_core::id::Id;
use claymark_core::quality::thresholds::{Span, Thresholds};
use claymark_core::site::{
    ClaySupply, Contact, Drum, HeadTank, Place, Pump, Quantity, Sensor, Site, Staff, Tank, WaterLimits,
};
use claymark_core::strapping::StrappingTable;
use claymark_core::units::{GramsPerLitre, Kilograms, Litres, Millimetres, PeopleUnits, Unit};

pub(crate) fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

/// Two drums on one pump, a head tank and a rearing tank; invented.
pub(crate) fn site() -> Site {
    Site {
        id: id("x"),
        name: "Invented".to_owned(),
        time_zone: TimeZone::get("Europe/Helsinki").unwrap(),
        elevation_m: 92.0,
        units: PeopleUnits::default(),
        staff: Staff {
            evening_check: time(17, 0, 0, 0),
            next_visit: time(7, 30, 0, 0),
            margin: SignedDuration::from_hours(1),
            mixing: SignedDuration::from_mins(15),
            travel: SignedDuration::from_mins(30),
            response: SignedDuration::from_mins(15),
        },
        water: WaterLimits {
            turbidity: Span::new(50.0, 80.0).unwrap(),
            temperature_c: Span::new(18.0, 22.0).unwrap(),
            oxygen_min_mg_l: 6.0,
        },
        clay: ClaySupply {
            bag: Kilograms(22.7),
            scale_step: Kilograms(0.01),
            mineral_density_kg_per_l: 2.6,
            thickest: GramsPerLitre(200.0),
        },
        pumps: vec![Pump {
            id: id("p1"),
            name: "Pump".to_owned(),
            ml_per_min_per_rpm: Some(2.1),
            max_rpm: Some(100.0),
        }],
        drums: ["a", "b"].map(drum).to_vec(),
        head_tank: HeadTank { id: id("head"), name: "Head tank".to_owned(), volume: Litres(450.0) },
        tanks: vec![Tank { id: id("t1"), name: "Tank 1".to_owned(), volume: Litres(280.0) }],
        sensors: vec![
            sensor("drum-a-level", Place::Drum(id("a")), Quantity::Level, Unit::Millimetre),
            sensor("head-turbidity", Place::Head, Quantity::Turbidity, Unit::Ntu),
            sensor("head-temperature", Place::Head, Quantity::Temperature, Unit::Celsius),
        ],
        contacts: vec![Contact { id: id("lead"), name: "Lead".to_owned() }],
    }
}

fn drum(name: &str) -> Drum {
    let rows = [(0.0, 0.0), (800.0, 190.0)].map(|(mm, l)| (Millimetres(mm), Litres(l)));
    Drum {
        id: id(name),
        name: format!("Drum {name}"),
        pump: id("p1"),
        full: Litres(175.0),
        heel: Litres(12.0),
        strapping: StrappingTable::new(rows.to_vec()).unwrap(),
        target: GramsPerLitre(18.0),
    }
}

fn sensor(name: &str, place: Place, quantity: Quantity, unit: Unit) -> Sensor {
    Sensor {
        id: id(name),
        name: name.to_owned(),
        place,
        quantity,
        unit,
        every: SignedDuration::from_secs(60),
        mount_height: None,
        thresholds: Thresholds {
            gap: SignedDuration::from_mins(10),
            gross_range: None,
            spike: None,
            rate_per_s: None,
            flat_line: None,
        },
    }
}
