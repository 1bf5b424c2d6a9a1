//! The clock is set while messages arrive without a pause: it is noticed against the clock that counts steadily, told,
//! what is due comes, and no reading is lost for having the time of another.

use std::time::Duration;

use claymark_tests::barn::{Barn, NoticeAsSent};
use claymark_tests::mail::MailServer;
use claymark_tests::mqtt::TestPublisher;
use claymark_tests::wait::{wait_for, wait_within};

/// Thirty seconds are promised; the rest is for a loaded machine.
const PROMISED: Duration = Duration::from_secs(45);

#[test]
fn a_clock_set_back_by_an_hour_is_told_and_forecasts_go_on_while_messages_arrive() {
    let (mail, barn) = barn();
    barn.set_clock("2027-03-01T15:28:00Z");
    let _daemon = barn.watched();
    let mut traffic = NumberTraffic::new(&barn);
    traffic.one();
    wait_for("it is kept", || (barn.readings("t1-temperature") == 1).then_some(()));

    barn.set_clock("2027-03-01T14:29:30Z");
    wait_within(PROMISED, "the step is told", || {
        traffic.one();
        barn.told().into_iter().find(of_the_clock)
    });
    // 2027-03-01T14:30:00Z, when forecasts are due, and the next of those times.
    let due = 1_803_911_400.0..1_803_912_100.0;
    let made = || barn.gauge("claymark_forecast_time_seconds{drum=\"a\"}");
    wait_within(PROMISED, "the forecast that is due is made", || {
        traffic.one();
        made().filter(|made| due.contains(made))
    });
    wait_for("no reading was lost", || (barn.readings("t1-temperature") == traffic.sent).then_some(()));
    wait_for("it is told by mail", || mail.mails().into_iter().find(|mail| mail.text.contains("clock")));
}

#[test]
fn the_evening_check_comes_after_the_clock_was_set_back_and_forth() {
    let (_mail, barn) = barn();
    barn.set_clock("2027-03-01T16:20:00Z");
    let _daemon = barn.watched();
    let mut traffic = NumberTraffic::new(&barn);
    for (to, name) in [("2027-03-01T15:20:00Z", "back"), ("2027-03-01T16:59:40Z", "forth")] {
        let before = barn.told().iter().filter(|told| of_the_clock(told)).count();
        barn.set_clock(to);
        wait_within(PROMISED, name, || {
            traffic.one();
            (barn.told().iter().filter(|told| of_the_clock(told)).count() > before).then_some(())
        });
    }
    barn.tells("the evening comes", |told| told.kind == "evening-check");
    wait_for("no reading was lost", || (barn.readings("t1-temperature") == traffic.sent).then_some(()));
}

/// Time servers turn a clock by small steps without anybody being told.
#[test]
fn a_clock_that_is_corrected_by_seconds_is_no_news() {
    let (_mail, barn) = barn();
    let _daemon = barn.watched();
    let mut traffic = NumberTraffic::new(&barn);
    for seconds in [8, -8, -8, 8] {
        barn.turn_clock(seconds);
        for _ in 0..20 {
            traffic.one();
        }
    }
    wait_for("all are kept", || (barn.readings("t1-temperature") == traffic.sent).then_some(()));
    assert_eq!(barn.told().into_iter().find(of_the_clock), None);
}

#[test]
fn bare_numbers_that_arrive_at_once_while_the_clock_goes_back_are_all_kept() {
    let (_mail, barn) = barn();
    let _daemon = barn.watched();
    let mut publisher = barn.publisher();
    let numbers = |first: usize, count: usize| -> Vec<_> {
        (first..first + count).map(|n| temperature(n).clone()).collect()
    };
    publisher.publish(&numbers(0, 50));
    barn.set_clock("2027-03-01T21:03:00Z");
    publisher.publish(&numbers(50, 120));
    wait_for("each has a row", || (barn.readings("t1-temperature") == 170).then_some(()));
    assert_eq!(barn.ask("SELECT count(*) FROM quarantine"), "0");
}

/// Bare numbers, one after the other, each another value.
struct NumberTraffic {
    publisher: TestPublisher,
    sent: usize,
}

impl NumberTraffic {
    fn new(barn: &Barn) -> Self {
        Self { publisher: barn.publisher(), sent: 0 }
    }

    fn one(&mut self) {
        self.publisher.publish(&[temperature(self.sent)]);
        self.sent += 1;
    }
}

fn temperature(n: usize) -> (String, Vec<u8>) {
    let thousandths = n % 900;
    ("farm/t1/temperature".to_owned(), format!("20.{thousandths:03}").into_bytes())
}

fn barn() -> (MailServer, Barn) {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    (mail, barn)
}

fn of_the_clock(told: &NoticeAsSent) -> bool {
    told.names(&["clock"])
}
