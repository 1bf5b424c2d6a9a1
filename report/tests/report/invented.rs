//! An invented room and an invented week for the tests: Alder Bend Hatchery doesn't exist, nor do its people.
//!
//! Written into a real store, so that the tests go the way of real readings. The week has what a report must
//! tell: a valve left open on Wednesday evening and the drum that ran dry of it at night, a refill that
//! nobody wrote down, a level that foamed, a turbidity sensor that went silent, and readings that came late.

pub mod week;

use jiff::SignedDuration;
use jiff::civil::time;
use jiff::tz::TimeZone;

use claymark_model::id::Id;
use claymark_model::quality::thresholds::{Span, Thresholds};
use claymark_model::site::{
    ClaySupply, Contact, Draws, Drum, HeadTank, Place, Premix, Pump, Quantity, Senses, Sensor, Site, Staff,
    Tank, WaterLimits,
};
use claymark_model::strapping::StrappingTable;
use claymark_model::units::{GramsPerLitre, Kilograms, Litres, Millimetres, PeopleUnits, Unit};

pub use week::{FAILED_H, RAN_EMPTY_H, REFILLED_H, SILENT_H, store};

/// What the room is like.
#[derive(Debug, Clone)]
pub struct RoomPlan {
    pub tanks: usize,
    pub drums: usize,
    pub zone: &'static str,
    pub long_names: bool,
    pub log_entries: usize,
}

impl RoomPlan {
    pub const ORDINARY: Self =
        Self { tanks: 12, drums: 2, zone: "Europe/Helsinki", long_names: false, log_entries: 0 };
}

pub fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

pub fn site(plan: &RoomPlan) -> Site {
    let drums = drums(plan);
    let tanks: Vec<Tank> = (1..=plan.tanks)
        .map(|n| Tank {
            id: id(&format!("t{n}")),
            name: named(plan, format!("Tank {n}")),
            volume: Litres(280.0),
        })
        .collect();
    let sensors = sensors(&drums, &tanks);
    Site {
        id: id("alder-bend"),
        name: "Alder Bend Hatchery".to_owned(),
        time_zone: TimeZone::get(plan.zone).unwrap(),
        elevation_m: 92.0,
        units: PeopleUnits::default(),
        staff: staff(),
        water: WaterLimits {
            turbidity: Span::new(50.0, 80.0).unwrap(),
            temperature_c: Span::new(18.0, 21.0).unwrap(),
            oxygen_min_mg_l: 7.0,
        },
        batches: Vec::new(),
        stock: None,
        hand_checks: Vec::new(),
        calls: Default::default(),
        clay: clay(),
        pumps: vec![pump()],
        head_tank: HeadTank {
            id: id("head"),
            name: named(plan, "Head tank".to_owned()),
            volume: Litres(450.0),
        },
        contacts: vec![Contact { id: id("lead"), name: "Hatchery lead".to_owned() }],
        drums,
        tanks,
        sensors,
    }
}

fn staff() -> Staff {
    Staff {
        evening_check: time(17, 0, 0, 0),
        next_visit: time(7, 30, 0, 0),
        margin: SignedDuration::from_hours(1),
        mixing: SignedDuration::from_mins(15),
        travel: SignedDuration::from_mins(30),
        response: SignedDuration::from_mins(15),
    }
}

fn clay() -> ClaySupply {
    ClaySupply {
        bag: Kilograms(22.7),
        scale_step: Kilograms(0.05),
        mineral_density_kg_per_l: 2.6,
        thickest: GramsPerLitre(120.0),
        ntu_per_mg_l: None,
        background_ntu: 0.0,
        premix: Premix::default(),
        coarse_um: None,
    }
}

fn pump() -> Pump {
    Pump {
        id: id("p1"),
        name: "Pump 1".to_owned(),
        ml_per_min_per_rpm: Some(2.1),
        max_rpm: Some(100.0),
        min_rpm: None,
        draws: Draws::One,
        levels_out: false,
    }
}

fn named(plan: &RoomPlan, name: String) -> String {
    if plan.long_names {
        format!("{name} behind the Aufzuchtbeckenreinigungsanlage by the east door")
    } else {
        name
    }
}

fn drums(plan: &RoomPlan) -> Vec<Drum> {
    (0..plan.drums)
        .map(|n| {
            let letter = char::from(b'a' + u8::try_from(n).unwrap());
            Drum {
                id: id(&letter.to_string()),
                name: named(plan, format!("Drum {}", letter.to_ascii_uppercase())),
                pump: id("p1"),
                full: Litres(175.0),
                heel: Litres(12.0),
                strapping: StrappingTable::new(vec![
                    (Millimetres(0.0), Litres(0.0)),
                    (Millimetres(800.0), Litres(200.0)),
                ])
                .unwrap(),
                target: GramsPerLitre(18.0),
            }
        })
        .collect()
}

fn sensors(drums: &[Drum], tanks: &[Tank]) -> Vec<Sensor> {
    let mut sensors: Vec<Sensor> = drums
        .iter()
        .map(|drum| sensor(&format!("drum-{}-level", drum.id), Place::Drum(drum.id.clone()), Quantity::Level))
        .collect();
    for place in std::iter::once(Place::Head).chain(tanks.iter().map(|tank| Place::Tank(tank.id.clone()))) {
        let stem = place.to_string().replace(':', "-");
        for (ending, quantity) in
            [("ntu", Quantity::Turbidity), ("temp", Quantity::Temperature), ("o2", Quantity::Oxygen)]
        {
            sensors.push(sensor(&format!("{stem}-{ending}"), place.clone(), quantity));
        }
    }
    sensors
}

fn sensor(name: &str, place: Place, quantity: Quantity) -> Sensor {
    let unit = match quantity {
        Quantity::Turbidity => Unit::Ntu,
        Quantity::Temperature => Unit::Celsius,
        Quantity::Oxygen => Unit::MilligramPerLitre,
        Quantity::Level
        | Quantity::Distance
        | Quantity::Volume
        | Quantity::OxygenSaturation
        | Quantity::Flow
        | Quantity::AirPressure
        | Quantity::AirFlow
        | Quantity::Running => Unit::Millimetre,
    };
    Sensor {
        id: id(name),
        name: name.to_owned(),
        place,
        quantity,
        unit,
        every: EVERY,
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

/// How often each invented sensor speaks.
pub const EVERY: SignedDuration = SignedDuration::from_secs(60);
