//! A disk whose sync hangs, fails or lies, under the real daemon by the preloaded shim: it is named at once, the
//! watch goes on, and what was acknowledged is kept once.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::fs;
use std::path::Path;
use std::time::Duration;

use claymark_tests::barn::{Barn, LEVELS, NoticeAsSent, turbidity};
use claymark_tests::mail::{Mail, MailServer};
use claymark_tests::shim::Disk;
use claymark_tests::wait::{wait_for, wait_within};

/// Five seconds are promised; the rest is for a loaded machine.
const PROMISED: Duration = Duration::from_secs(15);

/// Without this the other tests of the disk would pass for nothing.
#[test]
fn the_shim_bites_no_commit_gets_past_a_sync_that_hangs() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let _daemon = barn.watched();
    let mut publisher = barn.publisher();
    publisher.publish(&turbidity(-600, 5));
    wait_for("they are kept", || (barn.readings("head-turbidity") == 5).then_some(()));
    let commits = || barn.gauge("claymark_commits_total").unwrap_or(0.0);
    wait_for("the commits are counted", || (commits() > 0.0).then_some(()));

    barn.shim.turn(Disk::SyncHangs);
    publisher.publish(&turbidity(-500, 5));
    wait_for("they wait", || (barn.gauge("claymark_messages_waiting") == Some(5.0)).then_some(()));
    let before = commits();
    barn.shim.turn(Disk::SyncFails);
    wait_for("it fails", || barn.gauge("claymark_commits_failed_total").filter(|failed| *failed > 0.0));
    assert!((commits() - before).abs() < 0.5, "something was committed while the sync hung or failed");

    barn.shim.turn(Disk::Works);
    wait_for("they are kept, too", || (barn.readings("head-turbidity") == 10).then_some(()));
}

#[test]
fn a_sync_that_hangs_is_told_as_the_disk_while_forecasts_and_warnings_go_on() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "queue = 600");
    let daemon = barn.watched();
    let mut publisher = barn.publisher();
    publisher.publish(&turbidity(-600, 20));
    wait_for("they are kept", || (barn.readings("head-turbidity") == 20).then_some(()));

    barn.shim.turn(Disk::SyncHangs);
    publisher.publish(&turbidity(-300, 1));
    wait_within(PROMISED, "people are told which part is broken", || {
        barn.told().into_iter().find(of_the_disk)
    });
    mailed(&mail, "the disk is told by mail, too", |mail| mail.text.to_lowercase().contains("disk"));
    wait_for("the metrics say so", || (barn.gauge("claymark_store_works") == Some(0.0)).then_some(()));

    barn.runs_dry();
    mailed(&mail, "the drum is warned of", |mail| mail.text.contains("Drum A"));
    let made = || barn.gauge("claymark_forecast_time_seconds{drum=\"a\"}");
    let made_before = wait_for("the drum is known", made);

    // More than the queue holds: the broker keeps the rest, and nobody is sent to look at the network.
    publisher.publish(&turbidity(-9000, 1500));
    barn.set_clock("2027-03-01T22:43:00Z");
    wait_for("forecasts go on", || made().filter(|made| *made > made_before));

    barn.shim.turn(Disk::Works);
    wait_for("all readings are kept", || (barn.readings("head-turbidity") == 1521).then_some(()));
    wait_for("all levels are kept", || (barn.readings("drum-a-level") == LEVELS).then_some(()));
    wait_for("the metrics say so", || (barn.gauge("claymark_store_works") == Some(1.0)).then_some(()));
    barn.keeps_all_told();
    for told in barn.told() {
        assert!(!told.names(&["look at network", "it is likely the network"]), "{told:#?}");
    }
    drop(daemon);
}

#[test]
fn sigterm_is_obeyed_while_a_sync_hangs() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let mut daemon = barn.watched();
    barn.shim.turn(Disk::SyncHangs);
    barn.publisher().publish(&turbidity(-600, 5));
    wait_for("they wait", || (barn.gauge("claymark_messages_waiting") == Some(5.0)).then_some(()));
    daemon.signal("TERM");
    daemon.ends_within(Duration::from_secs(20));
    barn.shim.turn(Disk::Works);
    let _daemon = barn.watched();
    wait_for("the broker had kept them", || (barn.readings("head-turbidity") == 5).then_some(()));
}

#[test]
fn a_sync_that_fails_is_told_and_what_came_meanwhile_is_kept_once() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let daemon = barn.watched();
    let mut publisher = barn.publisher();
    barn.shim.turn(Disk::SyncFails);
    publisher.publish(&turbidity(-3000, 300));
    barn.tells("the disk", of_the_disk);
    mailed(&mail, "the disk is told by mail, too", |mail| mail.text.to_lowercase().contains("disk"));
    wait_for("the metrics say so", || (barn.gauge("claymark_store_works") == Some(0.0)).then_some(()));
    barn.watches_on();

    // A crash in between: nothing of it was acknowledged.
    daemon.kill();
    barn.shim.turn(Disk::Works);
    let _daemon = barn.watched();
    wait_for("all readings are kept", || (barn.readings("head-turbidity") == 300).then_some(()));
    wait_for("all levels are kept", || (barn.readings("drum-a-level") == LEVELS).then_some(()));
    barn.numbers_name_one_notice_each();
}

/// What such a disk lost nobody can know; but the watch goes on, and what came before and after it is there.
#[test]
fn a_disk_that_lied_before_the_power_went_costs_what_it_lied_about() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let daemon = barn.watched();
    let mut publisher = barn.publisher();
    publisher.publish(&turbidity(-9000, 300));
    wait_for("they are kept", || (barn.readings("head-turbidity") == 300).then_some(()));
    barn.shim.turn(Disk::SyncLies);
    let platter = barn.dir().join("platter");
    copy(&barn.shim.disk(), &platter);
    publisher.publish(&turbidity(-8000, 300));
    wait_for("they seem to be kept", || (barn.readings("head-turbidity") == 600).then_some(()));

    daemon.kill();
    fs::remove_dir_all(barn.shim.disk()).unwrap();
    copy(&platter, &barn.shim.disk());
    barn.shim.turn(Disk::Works);
    let _daemon = barn.watched();
    publisher.publish(&turbidity(-7000, 300));
    wait_for("what comes now is kept", || (barn.readings("head-turbidity") == 600).then_some(()));
    assert_eq!(barn.ask("PRAGMA integrity_check"), "ok");
}

/// The worst of it: what the log held was written over before it had reached the store.
#[test]
fn a_store_that_lost_pages_which_its_log_no_longer_holds_does_not_stop_the_watch() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let daemon = barn.watched();
    let mut publisher = barn.publisher();
    publisher.publish(&turbidity(-9000, 300));
    wait_for("they are kept", || (barn.readings("head-turbidity") == 300).then_some(()));
    let platter = barn.dir().join("platter");
    copy(&barn.shim.disk(), &platter);
    barn.shim.turn(Disk::SyncLies);
    // By small commits, so that the log is begun anew several times (SQLite does it after 1000 pages).
    for first in (-8600..-2600).step_by(100) {
        publisher.publish(&turbidity(first, 100));
        let kept = usize::try_from(first + 8600 + 400).unwrap();
        wait_for("they are kept", || (barn.readings("head-turbidity") >= kept).then_some(()));
    }
    daemon.kill();
    fs::copy(platter.join("claymark.db"), barn.store()).unwrap();
    fs::remove_file(barn.store().with_file_name("claymark.db-shm")).unwrap();

    barn.shim.turn(Disk::Works);
    let _daemon = barn.watched();
    let before = barn.readings("head-turbidity");
    publisher.publish(&turbidity(-2000, 100));
    wait_for("what comes now is kept", || (barn.readings("head-turbidity") >= before + 100).then_some(()));
}

fn of_the_disk(told: &NoticeAsSent) -> bool {
    told.kind == "readings-missing" && told.names(&["disk"])
}

fn mailed(server: &MailServer, what: &str, wanted: impl Fn(&Mail) -> bool) {
    wait_for(what, || server.mails().into_iter().find(|mail| wanted(mail)));
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, to.join(path.file_name().unwrap())).unwrap();
    }
}
