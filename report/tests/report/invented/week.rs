//! The invented week: what was true, what the instruments made of it, and what is on record.

use std::path::Path;

use jiff::{SignedDuration, Timestamp};

use claymark_model::doubt::Grounds;
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::{Basis, EmptyAt, Forecast, HORIZON, Outlook, Subject};
use claymark_model::happening::{Happening, What};
use claymark_model::id::Id;
use claymark_model::quality::Flag;
use claymark_model::quarantine::{Quarantined, Reason};
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_model::site::{Place, Quantity, Sensor, Site};
use claymark_model::units::{Kilograms, Litres, LitresPerHour};
use claymark_notice::content::{Content, ReadingsMissing};
use claymark_notice::{Answer, Audience, Call, Calling, Notice, NoticeKind, Priority, Urgency};
use claymark_report::week::Week;
use claymark_store::Writer;
use claymark_store::batch::{Channel, CommitBatch, Delivery, DeliveryState, Issued};

use super::{EVERY, RoomPlan, id, site};

/// Hours since the start of the week, in which everything invented is told.
#[derive(Debug, Clone)]
pub struct WeekClock {
    pub start: Timestamp,
}

impl WeekClock {
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
    base + open + 2.5 * day_wave(hour) - (base - 12.0) * washed * (-back / 1.5).exp()
}

/// A small generator of noise: the same numbers each time.
struct SteadyNoise(u64);

impl SteadyNoise {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(self.0 >> 33).unwrap()) / f64::from(1_u32 << 30) - 1.0
    }
}

/// Writes the invented week into a new store at `path`.
pub fn store(path: &Path, plan: &RoomPlan, week: &Week) -> Site {
    let site = site(plan);
    let clock = WeekClock { start: week.start() };
    let mut writer = Writer::open(path, &site).unwrap();
    let mut noise = SteadyNoise(47);
    let hours = week.length().as_hours();
    for hour in -1..hours {
        let readings = readings(&site, &clock, hour, &mut noise);
        writer.commit(&CommitBatch { readings, ..CommitBatch::default() }).unwrap();
    }
    writer.commit(&record(&site, plan, &clock, hours)).unwrap();
    site
}

fn readings(site: &Site, clock: &WeekClock, hour: i64, noise: &mut SteadyNoise) -> Vec<Assessed> {
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
            let value = value(sensor.quantity, (n, drum), hour, noise);
            let fails = sensor.id.as_str() == "tank-t2-ntu" && (FAILED_H.0..FAILED_H.1).contains(&hour);
            let late = (NETWORK_H.0..NETWORK_H.1).contains(&hour);
            let flag = if fails { Flag::Fail } else { Flag::Pass };
            readings.push(Assessed {
                reading: Reading::new(sensor.id.clone(), at, value),
                received_at: if late { clock.at(NETWORK_H.1) } else { at },
                tests: TestFlags { gross_range: flag, ..TestFlags::NOT_EVALUATED },
                flag,
            });
        }
    }
    readings
}

/// What an instrument makes of it.
fn value(quantity: Quantity, (tank, drum): (usize, usize), hour: f64, noise: &mut SteadyNoise) -> f64 {
    if quantity == Quantity::Level {
        volume(drum, hour) * 4.0 + noise.next() * 1.5
    } else if quantity == Quantity::Turbidity {
        turbidity(tank, hour) + noise.next() * 3.0
    } else if quantity == Quantity::Temperature {
        19.6 + 0.5 * day_wave(hour) + noise.next() * 0.05
    } else {
        8.4 - 0.25 * day_wave(hour) + noise.next() * 0.08
    }
}

/// One wave a day.
fn day_wave(hour: f64) -> f64 {
    (hour / 24.0 * std::f64::consts::TAU).sin()
}

/// The number of a sensor's tank (0: head tank) and of its drum.
fn number(site: &Site, sensor: &Sensor) -> (usize, usize) {
    match &sensor.place {
        Place::Tank(id) => (1 + site.tanks.iter().position(|tank| tank.id == *id).unwrap(), 0),
        Place::Drum(id) => (0, site.drums.iter().position(|drum| drum.id == *id).unwrap()),
        Place::Head | Place::Pump(_) | Place::Room => (0, 0),
    }
}

fn record(site: &Site, plan: &RoomPlan, clock: &WeekClock, hours: i64) -> CommitBatch {
    let mut batch = CommitBatch::default();
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

fn forecast(n: usize, drum: &Id, clock: &WeekClock, hour: f64) -> Forecast {
    let now = volume(n, hour);
    let draw = ((now - volume(n, hour + 0.01)) / 0.01).max(0.0);
    // Two per cent too slow: the likely time comes a little late.
    let left = |factor: f64| {
        if now <= 12.0 {
            return Some(clock.at(hour));
        }
        let hours = (now - 12.0) / draw * factor;
        (hours < HORIZON.as_secs_f64() / 3600.0).then(|| clock.at(hour + hours))
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

fn happenings(n: usize, drum: &Id, clock: &WeekClock, batch: &mut CommitBatch) {
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
                why: Grounds::Earlier(
                    "the level jumps about as it does when foam is on the slurry".to_owned(),
                ),
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

fn notices(site: &Site, clock: &WeekClock, batch: &mut CommitBatch) {
    use NoticeKind::{EveningCheck, ReadingsMissing, Runout};
    for day in 0..7 {
        let hour = 17.0 + 24.0 * f64::from(day);
        issue(
            clock,
            hour,
            (EveningCheck, Priority::Morning, None),
            "Evening check: all drums last the night",
            batch,
        );
        if day == 2 {
            let drum = site.drums.first().map(|drum| drum.id.clone());
            let says = "Drum A dry about 02:20, earliest 01:40: be there by 01:25";
            let notice = issue(clock, OPEN_H + 2.0, (Runout, Priority::Soon, drum), says, batch);
            let by = Some("Invented Kim".to_owned());
            batch.answers.push(Answer { notice, by, at: clock.at(OPEN_H + 2.2), there_by: None });
        }
    }
    let says = "Readings may be missing since Friday 01:00";
    issue(clock, 99.1, (ReadingsMissing, Priority::Soon, None), says, batch);
}

/// The report tells the first line and what became of it; what a notice is made of is tested elsewhere.
fn issue(
    clock: &WeekClock,
    hour: f64,
    (kind, priority, drum): (NoticeKind, Priority, Option<Id>),
    subject: &str,
    batch: &mut CommitBatch,
) -> u64 {
    let number = 1 + u64::try_from(batch.notices.len()).unwrap();
    let at = clock.at(hour);
    let content = Content::ReadingsMissing(ReadingsMissing::SessionLost { since: at, until: at });
    let (cause, to) = (format!("cause {number}"), Audience::Everyone);
    let calling = (kind != NoticeKind::EveningCheck).then(|| Box::new(calling(at, Call::First)));
    let (replaces, tonight) = (None, None);
    let notice = Notice { number, at, kind, cause, drum, priority, replaces, to, calling, tonight, content };
    batch.notices.push(Issued { notice, subject: subject.to_owned(), text: String::new() });
    batch.deliveries.push(Delivery {
        notice: number,
        contact: id("lead"),
        channel: Channel::Email,
        state: DeliveryState::Sent { at: clock.at(hour + 0.01), attempts: 1 },
    });
    number
}

/// People are called because of that.
pub fn calling(at: Timestamp, call: Call) -> Calling {
    Calling {
        call,
        urgency: Urgency::Look,
        earlier: None,
        broken: None,
        holds_until: at,
        later: None,
        also: Vec::new(),
    }
}

#[expect(clippy::cast_precision_loss, reason = "hours of a week")]
fn whole(number: i64) -> f64 {
    number as f64
}
