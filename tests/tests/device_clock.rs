//! A gateway whose clock is an hour fast, at a real broker: nothing is lost, it is named, and forecasts are right.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::fs;
use std::time::Duration;

use claymark_tests::barn::{Barn, LEVELS, NoticeAsSent, a_drum_that_runs_dry, timed};
use claymark_tests::mail::MailServer;
use claymark_tests::mqtt::TestPublisher;
use claymark_tests::wait::{wait_for, wait_within};
use jiff::{SignedDuration, Timestamp};

/// Ten minutes are promised; five readings a quarter of a minute apart take one. The rest is for a loaded machine.
const PROMISED: Duration = Duration::from_secs(180);
const HOUR: SignedDuration = SignedDuration::from_hours(1);

#[test]
fn a_gateway_an_hour_fast_loses_nothing_is_named_and_forecasts_are_right() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    behind_a_gateway(&barn);
    let daemon = barn.watched();
    let began = barn.now();
    barn.publisher().publish(&a_drum_that_runs_dry(began));
    wait_for("the past is kept", || (barn.readings("drum-a-level") == LEVELS).then_some(()));

    // From now on by a clock that is an hour fast; the head tank's sensor has a clock of its own.
    let mut traffic = GatewayTraffic { publisher: barn.publisher(), began, last: began, sent: 0 };
    let told = wait_within(PROMISED, "the gateway is named", || {
        traffic.one(&barn);
        barn.told().into_iter().find(|told| told.cause == "clock:device:gateway-1")
    });
    assert!(told.subject.contains("device gateway-1 is 1 h fast"), "{}", told.subject);
    let clocks = |told: &NoticeAsSent| told.cause.starts_with("clock");
    assert_eq!(barn.told().iter().filter(|told| clocks(told)).count(), 1, "{:#?}", barn.told());
    everything_is_kept(&barn, &traffic);

    // 80 mm stand over what the pump can't lift, and fall by 83 mm an hour. A forecast is made with each notice.
    let dry = began + SignedDuration::from_mins(58);
    let said = barn.ask("SELECT p50 FROM forecast WHERE id = 'a' ORDER BY at DESC LIMIT 1");
    let said = Timestamp::from_millisecond(said.parse().unwrap()).unwrap();
    assert!(said.duration_since(dry).abs() < SignedDuration::from_mins(12), "{said} is said, {dry} it is");

    // A restart knows the clock from what it kept.
    daemon.kill();
    let _daemon = barn.watched();
    let aside = barn.ask("SELECT count(*) FROM quarantine");
    traffic.last = began;
    traffic.one(&barn);
    everything_is_kept(&barn, &traffic);
    assert_eq!(barn.ask("SELECT count(*) FROM quarantine"), aside, "it is taken at once");
}

/// Each reading of the gateway stands there once, under the time that it said, and is used at the right one.
fn everything_is_kept(barn: &Barn, traffic: &GatewayTraffic) {
    for (sensor, before) in [("drum-a-level", LEVELS), ("t1-turbidity", 0)] {
        let sent = before + traffic.sent;
        wait_for("nothing is lost", || (barn.readings(sensor) == sent).then_some(()));
    }
    let wrong = "SELECT count(*) FROM reading WHERE ahead <> 0 AND abs(ahead - 3600000) > 5000
                 OR ahead = 0 AND lag < -60000 OR abs(lag + ahead) > 60000 AND ahead <> 0";
    assert_eq!(barn.ask(wrong), "0");
    let shifted: usize = barn.ask("SELECT count(*) FROM reading WHERE ahead <> 0").parse().unwrap();
    assert_eq!(shifted, 2 * traffic.sent);
}

/// Two of the barn's sensors speak by one gateway.
fn behind_a_gateway(barn: &Barn) {
    let site = fs::read_to_string(barn.site_file()).unwrap();
    let drum = "[[sensor]]\nid = \"drum-a-level\"";
    assert!(site.contains(drum));
    let site = site.replace(drum, &format!("{drum}\ndevice = \"gateway-1\""));
    let more = r#"
[[sensor]]
id = "t1-turbidity"
device = "gateway-1"
topic = "farm/t1/turbidity"
at = "tank:t1"
measures = "turbidity"
unit = "NTU"
payload = { json = "/v", time = "/t" }
every = "30 s"
"#;
    fs::write(barn.site_file(), format!("{site}{more}")).unwrap();
}

/// What comes each second or so while a test waits.
struct GatewayTraffic {
    publisher: TestPublisher,
    began: Timestamp,
    last: Timestamp,
    /// Messages of each sensor of the gateway.
    sent: usize,
}

impl GatewayTraffic {
    fn one(&mut self, barn: &Barn) {
        let now = barn.now();
        if now.duration_since(self.last) < SignedDuration::from_secs(1) {
            return;
        }
        self.last = now;
        let level = 130.0 - 83.0 * now.duration_since(self.began).as_secs_f64() / HOUR.as_secs_f64();
        self.publisher.publish(&[
            timed("farm/drum/a/level", now + HOUR, level),
            timed("farm/t1/turbidity", now + HOUR, 65.0),
            timed("farm/head/turbidity", now, 66.0),
        ]);
        self.sent += 1;
    }
}
