//! The site of the invented room, and the plan of its fish.

use claymark_model::plan::{Batch, Plan, Ramp, Row};
use claymark_model::quality::thresholds::{Span, Thresholds};
use claymark_model::site::{
    ClaySupply, Contact, Draws, Drum, HeadTank, Place, Premix, Pump, Quantity, Senses, Sensor, Site, Staff,
    Tank, WaterLimits,
};
use claymark_model::strapping::StrappingTable;
use claymark_model::units::{GramsPerLitre, Kilograms, Litres, Millimetres, PeopleUnits, Unit};
use jiff::SignedDuration;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::night::id;

pub const LITRES_PER_MM: f64 = 0.24;

pub fn site(zone: &TimeZone) -> Site {
    Site {
        id: id("alder-bend"),
        name: "Alder Bend Hatchery (invented)".to_owned(),
        time_zone: zone.clone(),
        elevation_m: 92.0,
        units: PeopleUnits::default(),
        staff: staff(),
        water: WaterLimits {
            turbidity: Span::new(50.0, 80.0).expect("a rising span"),
            temperature_c: Span::new(15.0, 22.0).expect("a rising span"),
            oxygen_min_mg_l: 6.0,
        },
        batches: Vec::new(),
        stock: None,
        hand_checks: Vec::new(),
        calls: Default::default(),
        clay: ClaySupply {
            bag: Kilograms(25.0),
            scale_step: Kilograms(0.05),
            mineral_density_kg_per_l: 2.6,
            thickest: GramsPerLitre(150.0),
            ntu_per_mg_l: None,
            background_ntu: 0.0,
            premix: Premix::default(),
            coarse_um: None,
        },
        pumps: vec![pump("p1"), pump("p2")],
        drums: vec![drum("a", "p1"), drum("b", "p2")],
        head_tank: HeadTank { id: id("head"), name: "Head tank".to_owned(), volume: Litres(450.0) },
        tanks: vec![Tank { id: id("t1"), name: "Tank 1".to_owned(), volume: Litres(280.0) }],
        sensors: vec![
            sensor("drum-a-level", Place::Drum(id("a")), Quantity::Level, Unit::Millimetre),
            sensor("drum-b-level", Place::Drum(id("b")), Quantity::Level, Unit::Millimetre),
            sensor("head-turbidity", Place::Head, Quantity::Turbidity, Unit::Ntu),
            sensor("t1-oxygen", Place::Tank(id("t1")), Quantity::Oxygen, Unit::MilligramPerLitre),
        ],
        contacts: ["ann", "kim", "lee"].map(|name| Contact { id: id(name), name: name.to_owned() }).into(),
    }
}

pub fn ramp(fish_day: i32, date: Date) -> Batch {
    let row =
        |day, low, high| Row { day, turbidity: Some(Span::new(low, high).expect("rises")), ..Row::default() };
    Batch {
        id: id("spring"),
        name: "Spring".to_owned(),
        stocked: date,
        dph_at_stocking: fish_day,
        day_at_stocking: fish_day,
        ended: None,
        tanks: vec![id("t1")],
        plan: Plan::new(Ramp::Linear, vec![row(30, 50.0, 80.0), row(40, 4.0, 6.0)]).expect("two rows"),
    }
}

fn staff() -> Staff {
    let time = |text: &str| text.parse().expect("a time");
    let minutes = SignedDuration::from_mins;
    Staff {
        evening_check: time("17:00"),
        next_visit: time("07:30"),
        margin: minutes(60),
        mixing: minutes(15),
        travel: minutes(30),
        response: minutes(15),
    }
}

fn drum(name: &str, pump: &str) -> Drum {
    let brim = (Millimetres(1500.0), Litres(1500.0 * LITRES_PER_MM));
    Drum {
        id: id(name),
        name: format!("Drum {}", name.to_uppercase()),
        pump: id(pump),
        full: Litres(175.0),
        heel: Litres(12.0),
        strapping: StrappingTable::new(vec![(Millimetres(0.0), Litres(0.0)), brim]).expect("a rising table"),
        target: GramsPerLitre(18.0),
    }
}

fn pump(name: &str) -> Pump {
    Pump {
        id: id(name),
        name: format!("Pump {name}"),
        ml_per_min_per_rpm: Some(2.1),
        max_rpm: Some(200.0),
        min_rpm: None,
        draws: Draws::One,
        levels_out: false,
    }
}

fn sensor(name: &str, place: Place, quantity: Quantity, unit: Unit) -> Sensor {
    Sensor {
        id: id(name),
        name: name.to_owned(),
        place,
        quantity,
        unit,
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
