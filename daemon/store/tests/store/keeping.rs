//! What is committed comes back, once and unchanged.

use claymark_clay::{LearnedYield, Yield};
use claymark_model::doubt::WhyUnknown;
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::{Basis, EmptyAt, Forecast, Outlook, Subject};
use claymark_model::happening::{Happening, What};
use claymark_model::quality::Flag;
use claymark_model::quarantine::{Quarantined, Reason};
use claymark_model::reading::Assessed;
use claymark_model::skill::{Fate, Lead, MarkForecast};
use claymark_model::units::{Kilograms, Litres, LitresPerHour};
use claymark_notice::content::{Content, ReadingsMissing};
use claymark_notice::{
    Answer, Audience, Call, Calling, Notice, NoticeKind, OnTonight, Priority, Promise, Urgency,
};
use claymark_store::batch::{Channel, CommitBatch, Delivery, DeliveryState, Issued};
use jiff::Timestamp;

use crate::fixture::{StoreFolder, at, id, reading, readings, recalled};

#[test]
fn everything_in_a_batch_comes_back_as_it_went_in() {
    let barn = StoreFolder::new();
    let batch = full_batch();
    let mut writer = barn.writer();
    writer.commit(&batch).unwrap();
    writer.commit(&batch).unwrap();

    let reader = barn.reader();
    let (from, to) = (at(0), at(3_600_000));
    assert_eq!(reader.site().unwrap(), barn.site);
    assert_eq!(recalled(&barn), batch.readings);
    assert_eq!(reader.log(from, to).unwrap(), batch.log);
    assert_eq!(reader.answers(from, to).unwrap(), batch.answers);
    assert_eq!(reader.forecasts(from, to).unwrap(), batch.forecasts);
    assert_eq!(reader.happenings(from, to).unwrap(), batch.happenings);
    assert_eq!(reader.marks(from, to).unwrap(), batch.marks);
    assert_eq!(reader.yields(from, to).unwrap(), batch.yields);
    assert_eq!(reader.notices(from, to).unwrap(), batch.notices);
    assert_eq!(reader.deliveries(from, to).unwrap(), batch.deliveries);
    assert_eq!(reader.quarantined(1).unwrap(), batch.quarantined);
    assert_eq!(reader.session_seen().unwrap(), batch.session_seen);
    assert_eq!(reader.extent().unwrap(), Some((at(0), at(30_000))));

    let recall = reader.recall(at(0));
    assert_eq!((recall.log, recall.answers), (batch.log, batch.answers));
    assert_eq!((recall.notices, recall.marks), (batch.notices, batch.marks));
    assert_eq!(recall.yields, batch.yields);
}

#[test]
fn a_reading_is_kept_once_and_another_value_for_its_time_is_put_aside() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    let first = reading("t1-ntu", 0, 61.5, Flag::Pass);
    let other = reading("t1-ntu", 0, 62.0, Flag::Pass);
    let done = writer.commit(&readings(vec![first.clone(), first.clone(), other])).unwrap();
    assert_eq!((done.stored, done.duplicates, done.conflicts.len()), (1, 1, 1));
    assert_eq!(done.conflicts[0].reason, Reason::Conflict);
    assert_eq!(done.conflicts[0].sensor, Some(id("t1-ntu")));
    assert_eq!(recalled(&barn), vec![first]);
    assert_eq!(barn.reader().quarantined(9).unwrap(), done.conflicts);
}

#[test]
fn a_minus_zero_that_comes_twice_is_one_reading() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    let done = writer.commit(&readings(vec![reading("t1-ntu", 0, -0.0, Flag::Pass); 2])).unwrap();
    assert_eq!((done.stored, done.duplicates), (1, 1));
}

#[test]
fn what_is_no_number_or_of_no_sensor_is_put_aside_and_spoils_nothing() {
    let barn = StoreFolder::new();
    let good = reading("t1-ntu", 0, 60.0, Flag::Pass);
    let batch = readings(vec![
        reading("t1-ntu", 1, f64::NAN, Flag::Pass),
        reading("gone", 0, 1.0, Flag::Pass),
        good.clone(),
    ]);
    let done = barn.writer().commit(&batch).unwrap();
    let reasons: Vec<Reason> = done.conflicts.iter().map(|thing| thing.reason).collect();
    assert_eq!(reasons, [Reason::NotFinite, Reason::UnknownTopic]);
    assert_eq!(recalled(&barn), vec![good]);
}

#[test]
fn a_spike_flag_is_settled_once_and_a_redelivery_does_not_unsettle_it() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    let waiting = reading("t1-ntu", 0, 300.0, Flag::NotEvaluated);
    let settled = reading("t1-ntu", 0, 300.0, Flag::Fail);
    let batches = [
        (waiting.clone(), (1, 0, 0)),
        (settled.clone(), (0, 1, 0)),
        (waiting, (0, 0, 1)),
        (settled.clone(), (0, 0, 1)),
    ];
    for (row, expected) in batches {
        let done = writer.commit(&readings(vec![row])).unwrap();
        assert_eq!((done.stored, done.rewritten, done.duplicates), expected);
    }
    assert_eq!(recalled(&barn), vec![settled]);
}

#[test]
fn late_readings_come_back_in_their_place() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    for ms in [60_000, 0, 90_000, 30_000] {
        writer.commit(&readings(vec![reading("t1-ntu", ms, 60.0, Flag::Pass)])).unwrap();
    }
    let times: Vec<Timestamp> = recalled(&barn).iter().map(|row| row.reading.at).collect();
    assert_eq!(times, [at(0), at(30_000), at(60_000), at(90_000)]);
}

#[test]
fn a_delivery_that_is_done_is_not_opened_again() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    let mut batch = full_batch();
    writer.commit(&batch).unwrap();
    assert_eq!(barn.reader().pending_deliveries().unwrap(), vec![(batch.notices[0].clone(), pending())]);
    let sent = Delivery { state: DeliveryState::Sent { at: at(5_000), attempts: 2 }, ..pending() };
    batch.deliveries = vec![sent.clone()];
    writer.commit(&batch).unwrap();
    batch.deliveries = vec![pending()];
    writer.commit(&batch).unwrap();
    assert_eq!(barn.reader().pending_deliveries().unwrap(), vec![]);
    assert_eq!(barn.reader().deliveries(at(0), at(1)).unwrap(), vec![sent]);
}

#[test]
fn how_often_a_server_took_a_mail_without_a_word_outlives_a_restart() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    let mut batch = full_batch();
    writer.commit(&batch).unwrap();
    let state = DeliveryState::Unanswered { attempts: 5, times: 2, next_try: at(9_000), last_error: None };
    let unanswered = Delivery { state, ..pending() };
    batch.deliveries = vec![unanswered.clone()];
    writer.commit(&batch).unwrap();
    // The notice is handed in once more: what the server may have isn't new again.
    batch.deliveries = vec![pending()];
    writer.commit(&batch).unwrap();
    assert_eq!(barn.reader().pending_deliveries().unwrap(), vec![(batch.notices[0].clone(), unanswered)]);
}

#[test]
fn what_is_done_of_a_notice_is_told_with_what_is_still_to_be_done() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    let mut batch = full_batch();
    let sent = Delivery {
        contact: id("kim"),
        state: DeliveryState::Sent { at: at(5_000), attempts: 2 },
        ..pending()
    };
    batch.deliveries.push(sent.clone());
    writer.commit(&batch).unwrap();
    let notice = batch.notices[0].clone();
    let expected = vec![(notice.clone(), sent), (notice, pending())];
    assert_eq!(barn.reader().pending_deliveries().unwrap(), expected);
}

#[test]
fn numbers_of_notices_go_on_however_old_the_last_one_is() {
    let barn = StoreFolder::new();
    barn.writer().commit(&full_batch()).unwrap();
    let reader = barn.reader();
    let much_later = reader.recall(at(400 * 86_400_000));
    assert_eq!(much_later.notices.first().map(|issued| issued.notice.number), Some(7));
    assert!(much_later.log.is_empty());
}

#[test]
fn the_quarantine_keeps_the_newest_and_counts_all() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    for hour in 0..3 {
        let quarantined = (0..5_000).map(|n| noise(hour * 3_600_000, n, 20)).collect();
        writer.commit(&CommitBatch { quarantined, ..CommitBatch::default() }).unwrap();
    }
    let reader = barn.reader();
    let kept = reader.quarantined(20_000).unwrap();
    assert_eq!((kept.len(), kept[0].received_at), (10_000, at(2 * 3_600_000)));
    let counted: Vec<u64> =
        reader.quarantine_counts(at(0), at(9 * 3_600_000)).unwrap().iter().map(|hour| hour.count).collect();
    assert_eq!(counted, [5_000, 5_000, 5_000]);
}

#[test]
fn large_noise_does_not_fill_a_small_disk() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    for _ in 0..10 {
        let quarantined = (0..60).map(|n| noise(0, n, 64 * 1024)).collect();
        writer.commit(&CommitBatch { quarantined, ..CommitBatch::default() }).unwrap();
    }
    let kept = barn.reader().quarantined(10_000).unwrap();
    let bytes: usize = kept.iter().map(|thing| thing.payload.len()).sum();
    assert!((15 << 20..=16 << 20).contains(&bytes), "{bytes}");
}

#[test]
fn a_sensor_that_changes_its_unit_keeps_its_old_readings_apart() {
    let mut barn = StoreFolder::new();
    let mut writer = barn.writer();
    writer.commit(&readings(vec![reading("t1-ntu", 0, 60.0, Flag::Pass)])).unwrap();
    barn.site.sensors[0].unit = claymark_model::units::Unit::Fnu;
    writer.set_site(&barn.site).unwrap();
    let new = reading("t1-ntu", 0, 71.0, Flag::Pass);
    writer.commit(&readings(vec![new.clone()])).unwrap();
    assert_eq!(recalled(&barn), vec![new]);
    let reader = barn.reader();
    let old = reader.sensors().unwrap().into_iter().find(|sensor| !sensor.in_site).unwrap();
    let kept: Vec<f64> =
        reader.readings(&[old.key], at(0), at(1)).map(|row| row.unwrap().reading.value).collect();
    assert_eq!(kept, [60.0]);
}

#[test]
fn recall_streams_more_readings_than_it_holds_at_once() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    let sensors = ["t1-ntu", "t2-ntu", "t1-oxygen"];
    let all: Vec<_> =
        (0..4_000).flat_map(|n| sensors.map(|sensor| reading(sensor, n * 1_000, 60.0, Flag::Pass))).collect();
    writer.commit(&readings(all.clone())).unwrap();
    let reader = barn.reader();
    let some: Vec<_> = reader.recall(at(500_000)).readings.map(Result::unwrap).collect();
    assert_eq!(some.len(), 3 * 3_500);
    assert_eq!(some, all[3 * 500..]);
}

#[test]
fn recall_until_a_time_knows_only_what_had_arrived_by_then() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    let (early, newest) =
        (reading("t1-ntu", 0, 60.0, Flag::Pass), reading("t1-ntu", 1_000, 61.0, Flag::Pass));
    let late = Assessed { received_at: at(9_000), ..reading("t2-ntu", 500, 59.0, Flag::Pass) };
    writer.commit(&readings(vec![early.clone(), late.clone(), newest.clone()])).unwrap();
    let reader = barn.reader();
    let known =
        |ms| -> Vec<Assessed> { reader.recall(at(0)).until(at(ms)).readings.map(Result::unwrap).collect() };
    assert_eq!(known(249), []);
    assert_eq!(known(1_249), std::slice::from_ref(&early));
    assert_eq!(known(1_250), [early.clone(), newest.clone()]);
    assert_eq!(known(9_000), [early, late, newest]);
    assert_eq!(reader.newest_reading(at(999)).unwrap(), Some(at(500)));
    assert_eq!(reader.newest_reading(at(-1)).unwrap(), None);
}

fn noise(ms: i64, n: usize, bytes: usize) -> Quarantined {
    Quarantined {
        received_at: at(ms),
        topic: format!("noise/{n}"),
        sensor: None,
        reason: Reason::NotUtf8,
        detail: "byte 0xFF at 0".to_owned(),
        payload: vec![0xFF; bytes],
        payload_length: bytes,
    }
}

fn pending() -> Delivery {
    Delivery {
        notice: 7,
        contact: id("on-call"),
        channel: Channel::Email,
        state: DeliveryState::Pending {
            attempts: 2,
            next_try: at(60_000),
            last_error: Some("451 later".to_owned()),
        },
    }
}

pub fn full_batch() -> CommitBatch {
    let happening = |ms, what| Happening { drum: id("a"), at: at(ms), what };
    CommitBatch {
        readings: vec![
            reading("t1-ntu", 0, 61.5, Flag::Pass),
            reading("drum-a-level", 30_000, 0.1 + 0.2, Flag::NotEvaluated),
        ],
        quarantined: vec![noise(0, 1, 3)],
        log: vec![log_entry()],
        answers: vec![
            Answer { notice: 7, by: None, at: at(50), there_by: None },
            Answer { notice: 7, by: Some("on-call".to_owned()), at: at(60), there_by: None },
        ],
        forecasts: forecasts(),
        happenings: vec![
            happening(5, What::Refilled { added: Litres(80.0), to: Litres(170.0), logged: false }),
            happening(6, What::RanEmpty),
        ],
        marks: vec![
            mark(12.0 + 0.1 + 0.2, Lead::To24h, Fate::Dropped),
            mark(30.0, Lead::To6h, Fate::Came { at: at(9) }),
            mark(40.0, Lead::To3h, Fate::Open),
        ],
        yields: vec![learned(11, 0.1 + 0.2)],
        notices: vec![issued()],
        deliveries: vec![pending()],
        session_seen: Some(at(99)),
    }
}

fn log_entry() -> LogEntry {
    LogEntry {
        key: "k1".to_owned(),
        at: at(10),
        received_at: at(20),
        by: Some("lead".to_owned()),
        replaces: Some("k0".to_owned()),
        deed: Deed::Refill {
            drum: Some(id("a")),
            water: Some(Litres(150.0)),
            clay: Some(Kilograms(0.1 + 0.2)),
        },
    }
}

fn forecasts() -> Vec<Forecast> {
    let known = Outlook::Known {
        basis: Basis::Level,
        volume: Litres(131.2),
        draw: LitresPerHour(9.4),
        empty_at: soon(),
    };
    let unknown = Outlook::Unknown { why: WhyUnknown::NotDrawn.into() };
    vec![
        Forecast { at: at(0), of: Subject::Drum(id("a")), in_use: true, outlook: known },
        Forecast { at: at(0), of: Subject::Supply(id("p1")), in_use: false, outlook: unknown },
    ]
}

fn mark(litres: f64, lead: Lead, fate: Fate) -> MarkForecast {
    MarkForecast { drum: id("a"), made_at: at(7), mark: Litres(litres), lead, reached: soon(), fate }
}

fn learned(ms: i64, ntu_per_mg_l: f64) -> LearnedYield {
    let clay = Yield { ntu_per_mg_l, sd: 0.01, since: Some(at(ms - 9)), exponent: 0.95 };
    LearnedYield { learned_at: at(ms), clay }
}

fn soon() -> EmptyAt {
    EmptyAt { p05: Some(at(1)), p25: Some(at(2)), p50: Some(at(3)), p75: None, p95: None }
}

fn issued() -> Issued {
    let missing = ReadingsMissing::SessionLost { since: at(-9_000), until: at(0) };
    Issued {
        notice: Notice {
            number: 7,
            at: at(0),
            kind: NoticeKind::Runout,
            cause: "runout:a".to_owned(),
            drum: Some(id("a")),
            priority: Priority::Now,
            replaces: Some(6),
            to: Audience::Only(vec![id("on-call"), id("lead")]),
            calling: Some(Box::new(Calling {
                also: Vec::new(),
                call: Call::PromiseBroken,
                urgency: Urgency::Danger { by: Some(at(900)) },
                earlier: None,
                broken: Some(Promise {
                    by: Some("Aino".to_owned()),
                    at: at(-60),
                    until: at(0),
                    comes_late: None,
                    unspoken: false,
                }),
                holds_until: at(900),
                later: None,
            })),
            tonight: Some(OnTonight { person: id("lead"), confirmed: Some(at(-90)) }),
            content: Content::ReadingsMissing(missing),
        },
        subject: "Drum A: dry about 03:10".to_owned(),
        text: "Litres now: 40.\n".to_owned(),
    }
}
