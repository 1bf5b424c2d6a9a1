//! An invented room and an invented week for the tests: Alder Bend Hatchery doesn't exist, nor do its people.
//!
//! Written into a real store, so that the tests go the way of real readings. The week has what a report must
//! tell: a valve left open on Wednesday evening and the drum that ran dry of it at night, a refill that
//! nobody wrote down, a level that foamed, a turbidity sensor that went silent, and readings that came late.

use std::path::Path;

use jiff::civil::time;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use claymark_core::fieldlog::{Deed, LogEntry};
use claymark_core::forecast::{Basis, EmptyAt, Forecast, HORIZON, Outlook, Subject};
use claymark_core::happening::{Happening, What};
use claymark_core::id::Id;
use claymark_core::notice::content::{Content, ReadingsMissing};
use claymark_core::notice::{Answer, Audience, Notice, NoticeKind, Priority};
use claymark_core::quality::Flag;
use claymark_core::quality::thresholds::{Span, Thresholds};
use claymark_core::quarantine::{Quarantined, Reason};
use claymark_core::reading::{Assessed, Reading, TestFlags};
use claymark_core::site::{
    ClaySupply, Contact, Drum, HeadTank, Place, Pump, Quantity, Sensor, Site, Staff, Tank, WaterLimits,
};
use claymark_core::strapping::StrappingTable;
use claymark_core::units::{GramsPerLitre, Kilograms, Litres, LitresPerHour, Millimetres, PeopleUnits, Unit};
use claymark_report::week::Week;
use claymark_store::Writer;
use claymark_store::batch::{Batch, Channel, Delivery, DeliveryState, Issued};

/// What the room is like.
#[derive(Debug, Clone)]
pub struct Plan {
    pub tanks: usize,
    pub drums: usize,
    pub zone: &'static str,
    pub long_names: bool,
    pub log_entries: usize,
}

impl Plan {
    pub const ORDINARY: Self =
        Self { tanks: 12, drums: 2, zone: "Europe/Helsinki", long_names: false, log_entries: 0 };
}

pub fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

pub fn site(plan: &Plan) -> Site {
    let long = |name: String| {
        if plan.long_names {
            format!("{name} behind the Aufzuchtbeckenreinigungsanlage by the east door")
        } else {
            name
        }
    };
    let drums: Vec<Drum> = (0..plan.drums)
        .map(|n| {
            let letter = char::from(b'a' + u8::try_from(n).unwrap());
            Drum {
                id: id(&letter.to_string()),
                name: long(format!("Drum {}", letter.to_ascii_uppercase())),
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
        .collect();
    let tanks: Vec<Tank> = (1..=plan.tanks)
        .map(|n| Tank { id: id(&format!("t{n}")), name: long(format!("Tank {n}")), volume: Litres(280.0) })
        .collect();
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
    Site {
        id: id("alder-bend"),
        name: "Alder Bend Hatchery".to_owned(),
        time_zone: TimeZone::get(plan.zone).unwrap(),
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
            temperature_c: Span::new(18.0, 21.0).unwrap(),
            oxygen_min_mg_l: 7.0,
        },
        clay: ClaySupply {
            bag: Kilograms(22.7),
            scale_step: Kilograms(0.05),
            mineral_density_kg_per_l: 2.6,
            thickest: GramsPerLitre(120.0),
        },
        pumps: vec![Pump {
            id: id("p1"),
            name: "Pump 1".to_owned(),
            ml_per_min_per_rpm: Some(2.1),
            max_rpm: Some(100.0),
        }],
        head_tank: HeadTank { id: id("head"), name: long("Head tank".to_owned()), volume: Litres(450.0) },
        contacts: vec![Contact { id: id("lead"), name: "Hatchery lead".to_owned() }],
        drums,
        tanks,
        sensors,
    }
}

fn sensor(name: &str, place: Place, quantity: Quantity) -> Sensor {
    let unit = match quantity {
        Quantity::Turbidity => Unit::Ntu,
        Quantity::Temperature => Unit::Celsius,
        Quantity::Oxygen => Unit::MilligramPerLitre,
        _ => Unit::Millimetre,
    };
    Sensor {
        id: id(name),
        name: name.to_owned(),
        place,
        quantity,
        unit,
        every: EVERY,
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

/// Hours since the start of the week, in which everything invented is told.
#[derive(Debug, Clone)]
pub struct Clock {
    pub start: Timestamp,
}

impl Clock {
    pub fn at(&self, hours: f64) -> Timestamp {
        self.start.checked_add(SignedDuration::from_secs_f64(hours * 3600.0)).unwrap()
    }

    fn hours(&self, at: Timestamp) -> f64 {
        at.duration_since(self.start).as_secs_f64() / 3600.0
    }
}

/// When drum A ran empty, in hours of the week: Thursday 02:12.
pub const RAN_EMPTY_H: f64 = 72.0 + 2.2;
/// When it was filled again: Thursday 07:40.
pub const REFILLED_H: f64 = 72.0 + 7.0 + 2.0 / 3.0;
/// The draw after the valve was left open on Wednesday at 17:30.
const OPEN_H: f64 = 48.0 + 17.5;
/// The turbidity sensor of tank 3 is silent from Saturday noon to the end.
pub const SILENT_H: (f64, f64) = (5.0 * 24.0 + 12.0, 168.0);
/// The turbidity of tank 2 fails its tests.
pub const FAILED_H: (f64, f64) = (30.0, 36.0);
/// Nothing gets through from Friday 01:00 to 03:00; it all arrives at 03:00.
pub const NETWORK_H: (f64, f64) = (97.0, 99.0);

/// Volume of drum `n` at an hour of the week.
pub fn volume(n: usize, hour: f64) -> f64 {
    if n == 0 && (OPEN_H..REFILLED_H).contains(&hour) {
        let draw = (volume(0, OPEN_H - 0.001) - 12.0) / (RAN_EMPTY_H - OPEN_H);
        return (volume(0, OPEN_H - 0.001) - draw * (hour - OPEN_H)).max(12.0);
    }
    let shift = if n == 0 { 0.0 } else { 1.0 };
    let since = (hour - REFILLED_H + shift).rem_euclid(24.0);
    170.0 - (5.2 + shift) * since
}

/// Turbidity of tank `n` (0: the head tank), before noise.
fn turbidity(n: usize, hour: f64) -> f64 {
    let base = 66.0 + 3.0 * (f64::from(u32::try_from(n).unwrap()) * 1.7).sin();
    let dry = (hour - RAN_EMPTY_H).clamp(0.0, REFILLED_H - RAN_EMPTY_H);
    let back = (hour - REFILLED_H).max(0.0);
    let washed = 1.0 - (-dry / 2.5).exp();
    let open = if (OPEN_H..RAN_EMPTY_H).contains(&hour) { 9.0 } else { 0.0 };
    base + open + 2.5 * (hour / 24.0 * 6.283).sin() - (base - 12.0) * washed * (-back / 1.5).exp()
}

/// A small generator of noise: the same numbers each time.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(self.0 >> 33).unwrap()) / f64::from(1_u32 << 30) - 1.0
    }
}

/// Writes the invented week into a new store at `path`.
pub fn store(path: &Path, plan: &Plan, week: &Week) -> Site {
    let site = site(plan);
    let clock = Clock { start: week.start() };
    let mut writer = Writer::open(path, &site).unwrap();
    let mut noise = Noise(47);
    let hours = week.length().as_hours();
    for hour in -1..hours {
        let readings = readings(&site, &clock, hour, &mut noise);
        writer.commit(&Batch { readings, ..Batch::default() }).unwrap();
    }
    writer.commit(&record(&site, plan, &clock, hours)).unwrap();
    site
}

fn readings(site: &Site, clock: &Clock, hour: i64, noise: &mut Noise) -> Vec<Assessed> {
    let mut readings = Vec::new();
    let start = clock.at(whole(hour));
    let steps = 3600 / EVERY.as_secs();
    for step in 0..steps {
        let at = start.checked_add(EVERY * i32::try_from(step).unwrap()).unwrap();
        let hour = clock.hours(at);
        for sensor in &site.sensors {
            let (n, drum) = number(site, sensor);
            let silent = sensor.id.as_str() == "tank-t3-ntu" && (SILENT_H.0..SILENT_H.1).contains(&hour);
            if silent {
                continue;
            }
            let value = match sensor.quantity {
                Quantity::Level => volume(drum, hour) * 4.0 + noise.next() * 1.5,
                Quantity::Turbidity => turbidity(n, hour) + noise.next() * 3.0,
                Quantity::Temperature => 19.6 + 0.5 * (hour / 24.0 * 6.283).sin() + noise.next() * 0.05,
                _ => 8.4 - 0.25 * (hour / 24.0 * 6.283).sin() + noise.next() * 0.08,
            };
            let fails = sensor.id.as_str() == "tank-t2-ntu" && (FAILED_H.0..FAILED_H.1).contains(&hour);
            let late = (NETWORK_H.0..NETWORK_H.1).contains(&hour);
            let flag = if fails { Flag::Fail } else { Flag::Pass };
            readings.push(Assessed {
                reading: Reading { sensor: sensor.id.clone(), at, value },
                received_at: if late { clock.at(NETWORK_H.1) } else { at },
                tests: TestFlags { gross_range: flag, ..TestFlags::NOT_EVALUATED },
                flag,
            });
        }
    }
    readings
}

/// The number of a sensor's tank (0: head tank) and of its drum.
fn number(site: &Site, sensor: &Sensor) -> (usize, usize) {
    match &sensor.place {
        Place::Tank(id) => (1 + site.tanks.iter().position(|tank| tank.id == *id).unwrap(), 0),
        Place::Drum(id) => (0, site.drums.iter().position(|drum| drum.id == *id).unwrap()),
        _ => (0, 0),
    }
}

fn record(site: &Site, plan: &Plan, clock: &Clock, hours: i64) -> Batch {
    let mut batch = Batch::default();
    for (n, drum) in site.drums.iter().enumerate() {
        for tenth in 0..=hours * 6 {
            batch.forecasts.push(forecast(n, &drum.id, clock, whole(tenth) / 6.0));
        }
        happenings(n, &drum.id, clock, &mut batch);
    }
    notices(site, clock, &mut batch);
    batch.log.push(entry(
        "pump",
        clock.at(48.5),
        Deed::PumpSetting { pump: Some(id("p1")), rpm: Some(76.0) },
    ));
    let text = "Invented: a torn tube at the head tank, mended".to_owned();
    batch.log.push(entry("tube", clock.at(60.0), Deed::Note { text: Some(text) }));
    for n in 0..plan.log_entries {
        let text = format!(
            "Invented note {n}: a long remark about the water, the pumps and the weather of that day"
        );
        batch.log.push(entry(
            &format!("n{n}"),
            clock.at(1.0 + whole(i64::try_from(n).unwrap()) / 4.0),
            Deed::Note { text: Some(text) },
        ));
    }
    batch.quarantined.push(Quarantined {
        received_at: clock.at(50.0),
        topic: "alder-bend/tank/t5/ntu".to_owned(),
        sensor: Some(id("tank-t5-ntu")),
        reason: Reason::NotANumber,
        detail: "found 'ERR 7', expected a decimal number".to_owned(),
        payload: b"ERR 7".to_vec(),
        payload_length: 5,
    });
    batch
}

fn forecast(n: usize, drum: &Id, clock: &Clock, hour: f64) -> Forecast {
    let now = volume(n, hour);
    let draw = ((now - volume(n, hour + 0.01)) / 0.01).max(0.0);
    // Two per cent too slow: the likely time comes a little late.
    let left = |factor: f64| {
        if now <= 12.0 {
            return Some(clock.at(hour));
        }
        let hours = (now - 12.0) / draw * factor;
        (hours < HORIZON.as_hours() as f64).then(|| clock.at(hour + hours))
    };
    Forecast {
        at: clock.at(hour),
        of: Subject::Drum(drum.clone()),
        in_use: true,
        outlook: Outlook::Known {
            basis: Basis::Level,
            volume: Litres(now),
            draw: LitresPerHour(draw),
            empty_at: EmptyAt {
                p05: left(0.9),
                p25: left(0.98),
                p50: left(1.02),
                p75: left(1.06),
                p95: left(1.15),
            },
        },
    }
}

fn happenings(n: usize, drum: &Id, clock: &Clock, batch: &mut Batch) {
    let mut happen = |hour: f64, what: What| {
        batch.happenings.push(Happening { drum: drum.clone(), at: clock.at(hour), what })
    };
    let first = if n == 0 { REFILLED_H } else { REFILLED_H - 1.0 };
    for day in 0..7 {
        let hour = first.rem_euclid(24.0) + 24.0 * f64::from(day);
        let before = volume(n, hour - 0.02);
        happen(hour, What::Refilled { added: Litres(170.0 - before), to: Litres(170.0), logged: day != 5 });
        if day != 5 {
            let deed = Deed::Refill {
                drum: Some(drum.clone()),
                water: Some(Litres(170.0 - before)),
                clay: Some(Kilograms(2.2)),
            };
            batch.log.push(entry(&format!("r-{drum}-{day}"), clock.at(hour + 0.2), deed));
        }
    }
    if n == 0 {
        happen(OPEN_H, What::DrawChanged { from: LitresPerHour(5.2), to: LitresPerHour(12.2) });
        happen(RAN_EMPTY_H, What::RanEmpty);
        // A second sign of the same emptiness.
        happen(RAN_EMPTY_H + 1.5, What::RanEmpty);
    } else {
        happen(
            35.0,
            What::LevelDoubted {
                why: "the level jumps about as it does when foam is on the slurry".to_owned(),
            },
        );
        happen(37.5, What::LevelBelieved);
    }
}

pub fn entry(key: &str, at: Timestamp, deed: Deed) -> LogEntry {
    LogEntry {
        key: key.to_owned(),
        at,
        received_at: at,
        by: Some("Invented Kim".to_owned()),
        replaces: None,
        deed,
    }
}

fn notices(site: &Site, clock: &Clock, batch: &mut Batch) {
    let drum = &site.drums[0].id;
    // The report tells the first line and what became of it; what a notice is made of is tested elsewhere.
    let lost = |hour: f64| {
        Content::ReadingsMissing(ReadingsMissing::SessionLost {
            since: clock.at(hour),
            until: clock.at(hour),
        })
    };
    let mut number = 0;
    let mut issue = |hour: f64, kind, priority, drum: Option<Id>, subject: &str, content: Content| {
        number += 1;
        let notice = Notice {
            number,
            at: clock.at(hour),
            kind,
            cause: format!("cause {number}"),
            drum,
            priority,
            replaces: None,
            to: Audience::Everyone,
            content,
        };
        batch.notices.push(Issued { notice, subject: subject.to_owned(), text: String::new() });
        batch.deliveries.push(Delivery {
            notice: number,
            contact: id("lead"),
            channel: Channel::Email,
            state: DeliveryState::Sent { at: clock.at(hour + 0.01) },
        });
        number
    };
    for day in 0..7 {
        let hour = 17.0 + 24.0 * f64::from(day);
        issue(
            hour,
            NoticeKind::EveningCheck,
            Priority::Morning,
            None,
            "Evening check: all drums last the night",
            lost(hour),
        );
        if day == 2 {
            let says = "Drum A dry about 02:20, earliest 01:40: be there by 01:25";
            let number = issue(
                OPEN_H + 2.0,
                NoticeKind::Runout,
                Priority::Soon,
                Some(drum.clone()),
                says,
                lost(OPEN_H),
            );
            batch.answers.push(Answer {
                notice: number,
                by: Some("Invented Kim".to_owned()),
                at: clock.at(OPEN_H + 2.2),
            });
        }
    }
    issue(
        99.1,
        NoticeKind::ReadingsMissing,
        Priority::Soon,
        None,
        "Readings may be missing since Friday 01:00",
        lost(99.1),
    );
}

#[expect(clippy::cast_precision_loss, reason = "hours of a week")]
fn whole(number: i64) -> f64 {
    number as f64
}

/// How often each invented sensor speaks.
pub const EVERY: SignedDuration = SignedDuration::from_secs(60);
