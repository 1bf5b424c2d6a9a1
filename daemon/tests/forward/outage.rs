//! Three days without the server: nothing is lost, nothing doubled, and people hear of it once.

use std::collections::BTreeSet;
use std::time::Duration;

use claymark::clock::{Stepper, TimeSource};
use claymark::forward::{Behind, Forwarder, Ports, Progress, Settings};
use claymark::keeper::Keeper;
use claymark_influx::settings::{Server, Token};
use claymark_model::id::Id;
use claymark_model::quality::Flag;
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_store::batch::CommitBatch;
use claymark_store::{Reader, Writer};
use claymark_tests::victoria::Victoria;
use jiff::{SignedDuration, Timestamp};
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

#[tokio::test]
async fn three_days_without_the_server_lose_and_double_nothing_and_are_told_once() {
    let mut server = Victoria::start();
    server.stop();
    let mut barn = ForwardingStore::open(server.port()).await;
    let mut sent = BTreeSet::new();
    for hour in 0..72 {
        barn.keep(hour, &mut sent).await;
        barn.stepper.advance_to(at(hour + 1, 0));
    }
    let told = barn.behind.wait_for(Option::is_some).await.unwrap().clone().unwrap();
    assert_eq!(told.since, at(0, 59), "when the newest of the oldest commit arrived");
    assert!(told.why.starts_with("the server doesn't answer"), "{}", told.why);

    server.run();
    let mut minutes = 0;
    while barn.waits() {
        minutes += 2;
        let sent_so_far = barn.progress.borrow_and_update().points;
        barn.stepper.advance_to(at(72, minutes));
        let goes_on =
            barn.progress.wait_for(|progress| progress.points != sent_so_far || progress.oldest.is_none());
        tokio::time::timeout(Duration::from_secs(60), goes_on).await.unwrap().unwrap();
    }
    barn.behind.wait_for(Option::is_none).await.unwrap();
    barn.stop.cancel();

    let mut arrived = BTreeSet::new();
    for series in server.export("reading_value", at(-1, 0).as_second(), at(72, 0).as_second()) {
        let sensor = series.metric.get("sensor").cloned().unwrap();
        for (ms, value) in series.timestamps.into_iter().zip(series.values) {
            assert!(arrived.insert((sensor.clone(), ms, value.to_bits())), "{sensor} {ms} is there twice");
        }
    }
    assert_eq!(arrived.len(), sent.len());
    assert_eq!(arrived.difference(&sent).next(), None);
    let flags = server.export("reading_flag", at(0, 0).as_second(), at(72, 0).as_second());
    let settled = flags.iter().flat_map(|series| &series.values).filter(|flag| **flag > 2.5).count();
    assert_eq!(settled, 72, "flags that were rewritten during the outage arrive as they are now");
}

/// A store with a forwarder.
struct ForwardingStore {
    dir: tempfile::TempDir,
    keeper: Keeper,
    stepper: Stepper,
    progress: watch::Receiver<Progress>,
    behind: watch::Receiver<Option<Behind>>,
    stop: CancellationToken,
}

impl ForwardingStore {
    async fn open(port: u16) -> Self {
        let site = claymark_invented::two_tanks();
        let dir = tempfile::tempdir().unwrap();
        let store = dir.path().join("claymark.db");
        let (clock, stepper) = TimeSource::stepped(at(0, 0));
        // The forwarder finds a store that is there; the thread opens it again.
        drop(Writer::open(&store, &site).unwrap());
        let (keeper, _thread) = Keeper::start(store.clone(), site.clone(), clock.clone()).unwrap();
        keeper.keep_journal(true).await;
        let (progress, seen) = watch::channel(Progress::default());
        let (behind, heard) = watch::channel(None);
        let stop = CancellationToken::new();
        let ports = Ports { store, keeper: keeper.clone(), progress, behind, stop: stop.clone() };
        let influx = claymark_influx::Settings {
            server: Server::parse(&format!("http://127.0.0.1:{port}")).unwrap(),
            org: "hatchery".to_owned(),
            bucket: "claymark".to_owned(),
            token: Token::new("invented").unwrap(),
            ca_pem: None,
            timeout: Duration::from_secs(30),
        };
        let settings = Settings { influx, lag_limit: SignedDuration::from_hours(2) };
        tokio::spawn(Forwarder::new(settings, site, clock, ports).run());
        Self { dir, keeper, stepper, progress: seen, behind: heard, stop }
    }

    /// One hour of a reading a minute from two sensors; the first of each hour comes an hour late, and a flag
    /// of the hour before is settled otherwise.
    async fn keep(&self, hour: i64, sent: &mut BTreeSet<(String, i64, u64)>) {
        let mut readings = Vec::new();
        for minute in 0_i32..60 {
            for (sensor, base) in [("t1-ntu", 60.0), ("t2-ntu", 70.0)] {
                let late = if minute == 0 { 1 } else { 0 };
                let reading = reading(
                    sensor,
                    at(hour - late, i64::from(minute)),
                    base + f64::from(minute) / 8.0,
                    Flag::Pass,
                );
                sent.insert((
                    sensor.to_owned(),
                    reading.reading.at.as_millisecond(),
                    reading.reading.value.to_bits(),
                ));
                readings.push(reading);
            }
        }
        let mut settled = reading("t1-ntu", at(hour, 30), 60.0 + 30.0 / 8.0, Flag::Suspect);
        settled.tests.spike = Flag::Suspect;
        self.commit(readings).await;
        self.commit(vec![settled]).await;
    }

    async fn commit(&self, readings: Vec<Assessed>) {
        let outcome =
            self.keeper.commit(Box::new(CommitBatch { readings, ..CommitBatch::default() })).await.unwrap();
        outcome.result.unwrap();
    }

    fn waits(&self) -> bool {
        Reader::open(&self.dir.path().join("claymark.db")).unwrap().waiting().unwrap().is_some()
    }
}

fn reading(sensor: &str, at: Timestamp, value: f64, flag: Flag) -> Assessed {
    Assessed {
        reading: Reading::new(Id::new(sensor).unwrap(), at, value),
        received_at: at,
        tests: TestFlags::NOT_EVALUATED,
        flag,
    }
}

fn at(hour: i64, minute: i64) -> Timestamp {
    // 2026-10-05T00:00:00Z: the server drops what lies in its future.
    Timestamp::from_second(1_791_158_400 + hour * 3600 + minute * 60).unwrap()
}
