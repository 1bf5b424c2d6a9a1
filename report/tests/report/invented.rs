//! An invented room and an invented week for the tests: Alder Bend Hatchery doesn't exist, nor do its people.
//!
//! Written into a real store, so that the tests go the way of real readings. The week has what a report must
//! tell: a valve left open on Wednesday evening and the drum that ran dry of it at night, a refill that
//! nobody wrote down, a level that foamed, a turbidity sensor that went silent, and readings that came late.

pub mod week;

pub use claymark_invented::id;
use claymark_model::site::{ClaySupply, Drum, HeadTank, Place, Pump, Quantity, Sensor, Site, Tank};
use claymark_model::units::{GramsPerLitre, Kilograms};
use jiff::SignedDuration;
use jiff::tz::TimeZone;

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

pub fn site(plan: &RoomPlan) -> Site {
    let drums = drums(plan);
    let tanks: Vec<Tank> = (1..=plan.tanks)
        .map(|n| Tank { name: named(plan, format!("Tank {n}")), ..claymark_invented::tank(n) })
        .collect();
    let sensors = sensors(&drums, &tanks);
    let head_tank =
        HeadTank { name: named(plan, "Head tank".to_owned()), ..claymark_invented::site().head_tank };
    Site {
        time_zone: TimeZone::get(plan.zone).unwrap(),
        water: claymark_invented::water((50.0, 80.0), (18.0, 21.0), 7.0),
        clay: ClaySupply {
            bag: Kilograms(22.7),
            thickest: GramsPerLitre(120.0),
            ..claymark_invented::clay()
        },
        pumps: vec![Pump { max_rpm: Some(100.0), ..claymark_invented::pump("p1") }],
        head_tank,
        contacts: vec![claymark_invented::contact("lead", "Hatchery lead")],
        drums,
        tanks,
        sensors,
        ..claymark_invented::site()
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
            let drum = claymark_invented::drum(&letter.to_string(), "p1");
            let strapping = claymark_invented::strapping(&[(0.0, 0.0), (800.0, 200.0)]);
            Drum { name: named(plan, drum.name), strapping, ..drum }
        })
        .collect()
}

fn sensors(drums: &[Drum], tanks: &[Tank]) -> Vec<Sensor> {
    let mut sensors: Vec<Sensor> = drums
        .iter()
        .map(|drum| {
            claymark_invented::sensor(
                &format!("drum-{}-level", drum.id),
                Place::Drum(drum.id.clone()),
                Quantity::Level,
            )
        })
        .collect();
    for place in std::iter::once(Place::Head).chain(tanks.iter().map(|tank| Place::Tank(tank.id.clone()))) {
        let stem = place.to_string().replace(':', "-");
        for (ending, quantity) in
            [("ntu", Quantity::Turbidity), ("temp", Quantity::Temperature), ("o2", Quantity::Oxygen)]
        {
            sensors.push(claymark_invented::sensor(&format!("{stem}-{ending}"), place.clone(), quantity));
        }
    }
    sensors
}

/// How often each invented sensor speaks.
pub const EVERY: SignedDuration = SignedDuration::from_secs(60);
