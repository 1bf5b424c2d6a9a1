//! What the store costs the disk, and how soon a reading is on it: `cargo bench -p claymark-tests --bench writes`.
//!
//! Beside the release binary as it is usually set runs one that commits each reading at once (`gather = "0 s"`), at
//! the same broker, on the same messages: its former way. No limit is asserted. Goals: at most 200 MB a day for
//! 44 sensors that each speak every 30 s, and 20 ms from a sensor to the disk for 99 of 100 readings at 1000 a second.
//!
//! `-- --minutes N` measures for so long (usually 6; 0: only the delays), after some minutes in which the broker's window is learned. What
//! is counted is what the process wrote into files, whole pages of 4 KiB; the file system's own journal comes on top.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::time::Duration;

use claymark_store::Reader;
use claymark_tests::binary::Daemon;
use claymark_tests::broker::RunningBroker;
use claymark_tests::metrics::metric;
use claymark_tests::mqtt::TestPublisher;
use claymark_tests::site::SiteFolder;
use claymark_tests::wait::{free_port, now, wait_for};
use jiff::{SignedDuration, Timestamp};

/// A daemon under measurement.
struct MeasuredDaemon {
    way: &'static str,
    site: SiteFolder,
    daemon: Daemon,
    metrics: u16,
}

/// Its counters at a moment.
struct Count {
    at: Timestamp,
    bytes: f64,
    commits: f64,
}

#[expect(clippy::print_stdout, reason = "a benchmark prints its result")]
fn main() {
    let mut words = std::env::args().skip_while(|word| word != "--minutes").skip(1);
    let minutes = words.next().map_or(MINUTES, |word| word.parse().expect("--minutes N"));
    if minutes > 0 {
        println!("{SENSORS} sensors, each every {} s, for {minutes} min:", EVERY.as_secs());
        wear(SignedDuration::from_mins(minutes)).iter().for_each(|line| println!("  {line}"));
    }
    println!("{A_SECOND} readings a second, from the sensor to the disk:");
    for pair in 0..PAIRS {
        for (way, longest) in WAYS {
            let [half, most, all] = delays(way, longest);
            println!(
                "  pair {pair}, {way}: half within {half} ms, 99 % within {most} ms, all within {all} ms"
            );
        }
    }
}

/// A line for each way.
fn wear(span: SignedDuration) -> [String; 2] {
    let broker = RunningBroker::start();
    let both = WAYS.map(|(way, longest)| MeasuredDaemon::start(broker.port(), way, longest));
    let mut publisher = TestPublisher::connect(broker.port());
    speak(&mut publisher, LEARNING);
    let before = both.each_ref().map(MeasuredDaemon::count);
    speak(&mut publisher, span);
    let mut before = before.into_iter();
    both.map(|measured| {
        let (before, after) = (before.next().expect("one for each"), measured.count());
        let days = after.at.duration_since(before.at).as_secs_f64() / 86_400.0;
        let (bytes, commits) = (after.bytes - before.bytes, after.commits - before.commits);
        // The pages in the log are written once more when it is worked off, those before were already.
        let to_come = pages_in_log(&measured.site.store()) * PAGE_BYTES * (bytes / after.bytes).min(1.0);
        format!(
            "{}: {:.0} MB a day, {:.0} commits a day, {:.1} KiB a commit; {:.0} MB of them when the log is worked off",
            measured.way,
            (bytes + to_come) / 1e6 / days,
            commits / days,
            bytes / commits / 1024.0,
            to_come / 1e6 / days,
        )
    })
}

/// Milliseconds from the sensor to the disk: the median, the 99th percentile, the longest.
fn delays(way: &'static str, longest: &str) -> [i128; 3] {
    let broker = RunningBroker::start();
    let measured = MeasuredDaemon::start(broker.port(), way, longest);
    let reader = Reader::open(&measured.site.store()).expect("the daemon has made it");
    let port = broker.port();
    let sender = std::thread::spawn(move || send_fast(&mut TestPublisher::connect(port)));
    // What can be read is on the disk: SQLite shows a commit after its fsync. And they come in order.
    let mut seen: Vec<(Timestamp, Timestamp)> = Vec::new();
    loop {
        let over = sender.is_finished();
        let newest = reader.newest_reading(Timestamp::MAX).expect("it can be read");
        match newest {
            Some(newest) if seen.last().is_none_or(|(_, before)| *before < newest) => {
                seen.push((now(), newest))
            }
            Some(_) | None if over => break,
            Some(_) | None => std::thread::sleep(BETWEEN_LOOKS),
        }
    }
    let sent = sender.join().expect("it sends");
    let mut seen = seen.into_iter().peekable();
    let mut delays = Vec::new();
    for at in sent.into_iter().skip(FIRST) {
        while seen.next_if(|(_, newest)| *newest < at).is_some() {}
        delays.extend(seen.peek().map(|(when, _)| when.duration_since(at).as_millis()));
    }
    delays.sort_unstable();
    let within = |of_a_thousand: usize| delays.get(delays.len() * of_a_thousand / 1000).copied();
    [within(500), within(990), delays.last().copied()].map(|found| found.expect("some were stored"))
}

impl MeasuredDaemon {
    fn start(broker: u16, way: &'static str, longest: &str) -> Self {
        let metrics = free_port();
        let more = format!("[metrics]\nlisten = \"127.0.0.1:{metrics}\"\n{}", tanks());
        let site = SiteFolder::new(broker, "", &more);
        let text = fs::read_to_string(site.file()).expect("it was written");
        // Two daemons at one broker have each their own session and topics.
        let name = format!("claymark{metrics}");
        let text = text.replace("client_id = \"claymark\"", &format!("client_id = \"{name}\""));
        fs::write(site.file(), text.replace("claymark/test-site", &name)).expect("writable");
        site.gather(longest);
        let daemon = Daemon::start(&site.file(), &site.log());
        wait_for("it watches", || (metric(metrics, "claymark_watching") == Some(1.0)).then_some(()));
        Self { way, site, daemon, metrics }
    }

    fn count(&self) -> Count {
        let commits = wait_for("it answers", || metric(self.metrics, "claymark_commits_total"));
        let bytes = u32::try_from(self.daemon.written_bytes() / 1024).expect("less than 4 TiB");
        Count { at: now(), bytes: f64::from(bytes) * 1024.0, commits }
    }
}

/// Each sensor at its own moment of the half minute, in real time.
fn speak(publisher: &mut TestPublisher, span: SignedDuration) {
    let begin = now();
    for turn in 0.. {
        let sensor = turn % SENSORS;
        let due = begin + EVERY * (turn / SENSORS) + EVERY * sensor / SENSORS;
        if due.duration_since(begin) >= span {
            return;
        }
        std::thread::sleep(due.duration_since(now()).try_into().unwrap_or_default());
        publisher.publish(&[message(sensor, now(), turn)]);
    }
}

/// When each reading was sent.
fn send_fast(publisher: &mut TestPublisher) -> Vec<Timestamp> {
    let begin = now();
    let mut sent = Vec::new();
    let mut due = begin;
    while due.duration_since(begin) < FAST {
        std::thread::sleep(due.duration_since(now()).try_into().unwrap_or_default());
        // As many as are due by now; each at its own millisecond, in order.
        let mut some = Vec::new();
        while due <= now() {
            let turn = i32::try_from(sent.len()).expect("some thousands");
            let at = Timestamp::from_millisecond(due.as_millisecond()).expect("a time of today");
            some.push(message(turn % SENSORS, at, turn));
            sent.push(at);
            due += SignedDuration::from_secs(1) / A_SECOND;
        }
        publisher.publish(&some);
    }
    sent
}

fn message(sensor: i32, at: Timestamp, turn: i32) -> (String, Vec<u8>) {
    let value = 7.0 + f64::from(turn * 37 % 101) / 200.0;
    (format!("farm/oxygen/{sensor}"), format!(r#"{{"v":{value},"t":"{at}"}}"#).into_bytes())
}

/// As many tanks with an oxygen sensor each.
fn tanks() -> String {
    let tank = |n: i32| {
        format!(
            "[[tank]]\nid = \"o{n}\"\nvolume_l = 280\n[[sensor]]\nid = \"oxygen-{n}\"\ntopic = \"farm/oxygen/{n}\"\n\
             at = \"tank:o{n}\"\nmeasures = \"oxygen\"\nunit = \"mg/L\"\n\
             payload = {{ json = \"/v\", time = \"/t\" }}\nevery = \"30 s\"\n"
        )
    };
    (0..SENSORS).map(tank).collect()
}

/// How many different pages stand in the log of the store. Its format: <https://sqlite.org/fileformat2.html#walformat>.
fn pages_in_log(store: &Path) -> f64 {
    let log = fs::read(format!("{}-wal", store.display())).unwrap_or_default();
    let salt = log.get(16..24).unwrap_or_default();
    let frames = log.get(32..).unwrap_or_default().chunks_exact(24 + 4096);
    let of_this_round = frames.take_while(|frame| frame.get(8..16) == Some(salt));
    let pages: BTreeSet<_> = of_this_round.filter_map(|frame| frame.get(..4)).collect();
    f64::from(u32::try_from(pages.len()).expect("some thousands"))
}

const WAYS: [(&str, &str); 2] = [("as usual", "15 s"), ("each at once", "0 s")];
const SENSORS: i32 = 44;
const EVERY: SignedDuration = SignedDuration::from_secs(30);
const LEARNING: SignedDuration = SignedDuration::from_mins(5);
const MINUTES: i64 = 6;
const PAGE_BYTES: f64 = 4096.0;
const A_SECOND: i32 = 1000;
/// The first second is left out: until it is known that readings come fast, some hundred wait as slow ones do.
const FIRST: usize = 1000;
const FAST: SignedDuration = SignedDuration::from_secs(20);
const PAIRS: u32 = 3;
const BETWEEN_LOOKS: Duration = Duration::from_millis(1);
