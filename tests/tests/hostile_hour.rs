//! An hour in which everything goes wrong at once: 10,000 entries and answers from the edges of every field among
//! good readings, entries and answers, while the disk hangs, fails and fills up, the clock is set, the mail server
//! hangs and refuses, sensors say what no number should, and a stranger takes our place at the broker. Then a
//! crash, a restart, and the report.
//!
//! `HOSTILE_SEED` draws other messages; the seed is printed.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

#[path = "hostile_hour/check.rs"]
mod check;
#[path = "hostile_hour/mail.rs"]
mod mail;

use claymark_tests::barn::{Barn, LEVELS, NoticeAsSent, PREFIX, at, timed, turbidity};
use claymark_tests::hostile::{Hostile, draw};
use claymark_tests::mqtt::{TestPublisher, options};
use claymark_tests::shim::Disk;
use claymark_tests::wait::{free_port, wait_for};
use jiff::SignedDuration;

const MESSAGES: usize = 10_000;
const PARTS: usize = 6;
const SEED: u64 = 2027;
/// Readings in each part.
const READINGS: i64 = 200;

#[test]
fn after_a_hostile_hour_the_watch_goes_on_nothing_good_is_lost_and_the_report_is_made() {
    let seed = std::env::var("HOSTILE_SEED").map_or(SEED, |seed| seed.parse().expect("a whole number"));
    println!("HOSTILE_SEED={seed}");
    let messages = draw(seed, MESSAGES);
    let mut parts = messages.chunks(MESSAGES / PARTS);
    let mail_port = free_port();
    let tarpit = mail::Tarpit::at(mail_port);
    let barn = Barn::new(mail_port, "");
    let daemon = barn.watched();
    let mut hour = HostileHour { barn: &barn, publisher: barn.publisher(), part: 0, numbers: 0 };

    // The first warning of the night goes to a mail server that never answers, and is answered by a person.
    hour.barn.watches_on();
    hour.part(parts.next().unwrap());
    hour.answers_the_newest();
    hour.settles();

    barn.shim.turn(Disk::SyncHangs);
    hour.part(parts.next().unwrap());
    hour.bare_numbers(20);
    barn.tells("the disk is named", of_the_disk);
    barn.shim.turn(Disk::Works);
    hour.settles();

    barn.turn_clock(-3600);
    hour.part(parts.next().unwrap());
    hour.bare_numbers(170);
    hour.absurd_values();
    hour.settles();

    barn.shim.turn(Disk::SyncFails);
    hour.part(parts.next().unwrap());
    wait_for("the disk is noticed", || (barn.gauge("claymark_store_works") == Some(0.0)).then_some(()));
    barn.shim.turn(Disk::Works);
    hour.settles();

    // Whether it is full for what still comes is left to the log's length.
    barn.shim.turn(Disk::Full);
    hour.part(parts.next().unwrap());
    barn.shim.turn(Disk::Works);
    hour.settles();

    drop(tarpit);
    let _refusing = mail::refusing(mail_port);
    hour.a_stranger_takes_our_place();
    // While the daemon waits for its turn the broker keeps what comes, and then somebody pulls the plug.
    for rest in parts {
        hour.part(rest);
    }
    daemon.kill();
    let mut daemon = barn.watched();
    hour.settles();

    barn.comes_to_the_next_forecast();
    let now = barn.now();
    hour.publisher.publish(&[timed("farm/drum/a/level", now, 120.0)]);
    wait_for("it watches: forecasts are made", || {
        let made = barn.gauge("claymark_forecast_time_seconds{drum=\"a\"}")?;
        (made > now.as_duration().as_secs_f64() - 60.0).then_some(())
    });
    hour.nothing_good_is_lost(&messages);
    barn.numbers_name_one_notice_each();
    daemon.signal("TERM");
    assert!(daemon.ends().success());
    assert_eq!(barn.ask("PRAGMA integrity_check"), "ok");
    check::report_is_made(&barn);
}

/// What the test does to the barn, and what it must find again.
struct HostileHour<'a> {
    barn: &'a Barn,
    publisher: TestPublisher,
    /// Parts so far.
    part: i64,
    /// Bare numbers so far.
    numbers: usize,
}

impl HostileHour<'_> {
    /// Some of the messages, good readings among them, and some noise where readings belong.
    fn part(&mut self, messages: &[Hostile]) {
        let hostile =
            messages.iter().map(|message| (format!("{PREFIX}/{}", message.topic), message.payload.clone()));
        let mut all: Vec<_> = hostile.collect();
        let good = turbidity(FIRST_READING_S + self.part * READINGS, READINGS);
        let every = all.len() / good.len();
        for (n, reading) in good.into_iter().enumerate() {
            all.insert(n * (every + 1), reading);
        }
        for topic in ["farm/head/turbidity", "farm/t1/temperature", "farm/nobody", "claymark/farm/log"] {
            for noise in NOISE {
                all.push((topic.to_owned(), noise.to_vec()));
            }
        }
        self.publisher.publish(&all);
        self.part += 1;
    }

    /// Numbers without a time, all at once, each another value.
    fn bare_numbers(&mut self, count: usize) {
        let number = |n: usize| ("farm/t1/temperature".to_owned(), format!("20.{n:03}").into_bytes());
        self.publisher.publish(&(self.numbers..self.numbers + count).map(number).collect::<Vec<_>>());
        self.numbers += count;
    }

    /// Finite, but only just.
    fn absurd_values(&mut self) {
        let bare = ["1.7e308", "-1.7e308", "1.7976931348623157e308", "5e-324", "-0"];
        for value in bare {
            self.publisher.publish(&[("farm/t1/temperature".to_owned(), value.as_bytes().to_vec())]);
        }
        for (n, value) in (0..).zip([1.7e308, -1.7e308]) {
            let time = at(SignedDuration::from_secs(FIRST_READING_S - 60 + n));
            self.publisher.publish(&[timed("farm/head/turbidity", time, value)]);
            self.publisher.publish(&[timed("farm/drum/a/level", time, value)]);
        }
    }

    /// "I'm on it", to the newest notice that there is.
    fn answers_the_newest(&mut self) {
        let newest = self.barn.told().iter().map(|told| told.number).max().unwrap();
        let answer = format!(r#"{{"notice":{newest},"by":"Aino"}}"#);
        self.publisher.publish(&[(format!("{PREFIX}/answer"), answer.into_bytes())]);
    }

    /// Another client with our id: the session stays, so nothing is lost by the standard.
    fn a_stranger_takes_our_place(&mut self) {
        let mut stranger = options("stranger", self.barn.broker.port());
        stranger.set_client_id("claymark".to_owned()).set_clean_session(false);
        TestPublisher::with(stranger).publish(&[("farm/nobody".to_owned(), b"ours".to_vec())]);
        wait_for("the daemon has lost the broker", || {
            let watching = self.barn.gauge("claymark_watching")?;
            let log = std::fs::read_to_string(self.barn.log()).unwrap();
            (watching < 0.5 || log.contains("no connection")).then_some(())
        });
    }

    /// Waits until all that came so far is on the disk and acknowledged.
    fn settles(&mut self) {
        let good = usize::try_from(self.part * READINGS).unwrap();
        let last = || check::good_turbidity(self.barn);
        wait_for("good readings are kept", || (last() == good).then_some(()));
        let waiting = || self.barn.gauge("claymark_messages_waiting");
        wait_for("nothing waits", || (waiting() == Some(0.0)).then_some(()));
        wait_for("the store works", || (self.barn.gauge("claymark_store_works") == Some(1.0)).then_some(()));
    }

    fn nothing_good_is_lost(&self, messages: &[Hostile]) {
        assert_eq!(check::good_turbidity(self.barn), usize::try_from(self.part * READINGS).unwrap());
        let levels = self.barn.readings("drum-a-level");
        assert!(levels > LEVELS, "{levels} levels");
        let numbers = "SELECT count(DISTINCT value) FROM reading JOIN sensor ON sensor.key = reading.sensor
                       WHERE id = 't1-temperature' AND value BETWEEN 20 AND 20.999";
        assert_eq!(self.barn.ask(numbers), self.numbers.to_string());
        assert_ne!(self.barn.ask("SELECT count(*) FROM answer WHERE answered_by = 'Aino'"), "0");
        check::each_message_is_where_it_belongs(self.barn, messages);
    }
}

fn of_the_disk(told: &NoticeAsSent) -> bool {
    told.kind == "readings-missing" && told.names(&["disk"])
}

/// Good readings begin ten hours before the barn's clock, so that a clock that is set back doesn't put them into the
/// future.
const FIRST_READING_S: i64 = -36_000;

const NOISE: &[&[u8]] = &[
    b"",
    b"\0",
    b"\xff\xfe\xfd",
    b"1e309",
    b"NaN",
    b"{\"v\":1e309,\"t\":\"2027-03-01T20:00:00Z\"}",
    b"{\"v\":\"\",\"t\":\"2027-03-01T20:00:00Z\"}",
    b"{\"v\":1,\"t\":\"9999-12-31T23:59:59Z\"}",
    b"{\"v\":1,\"t\":-1e308}",
    "🐟".as_bytes(),
];
