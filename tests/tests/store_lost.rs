//! The store deleted, damaged, of a newer version, on a full or read-only disk, without its folder: the watch begins
//! and goes on, people are told what is wrong and what it costs, and all comes right by itself when it can.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::fs;
use std::os::unix::fs::FileExt;
use std::path::PathBuf;
use std::process::Command;

use claymark_tests::barn::{Barn, LEVELS, NoticeAsSent, PREFIX, readings, turbidity};
use claymark_tests::binary::Daemon;
use claymark_tests::mail::MailServer;
use claymark_tests::shim::Disk;
use claymark_tests::wait::wait_for;

#[test]
fn a_store_that_is_deleted_is_begun_anew_and_what_was_lost_is_counted() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let daemon = barn.watched();
    let mut publisher = barn.publisher();
    publisher.publish(&turbidity(-9000, 137));
    wait_for("they are kept", || (barn.readings("head-turbidity") == 137).then_some(()));

    for file in store_files(&barn) {
        fs::remove_file(file).unwrap();
    }
    publisher.publish(&turbidity(-8000, 41));
    barn.tells("the store", of_the_store);
    wait_for("what comes now is kept", || (barn.readings("head-turbidity") >= 41).then_some(()));
    // What the open file still gave is in the new store, or its loss is told in figures.
    wait_for("what was acknowledged is saved, or counted", || {
        let saved = barn.readings("head-turbidity") == 137 + 41;
        (saved || barn.told().iter().any(|told| told.names(&["137 "]))).then_some(())
    });
    barn.watches_on();

    daemon.kill();
    let _daemon = barn.watched();
    publisher.publish(&turbidity(-7000, 10));
    wait_for("and after a restart", || (barn.readings("head-turbidity") >= 51).then_some(()));
    barn.numbers_name_one_notice_each();
}

#[test]
fn a_store_that_is_exchanged_for_another_file_is_noticed() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let _daemon = barn.watched();
    let mut publisher = barn.publisher();
    publisher.publish(&turbidity(-9000, 20));
    wait_for("they are kept", || (barn.readings("head-turbidity") == 20).then_some(()));
    let copy = barn.dir().join("copy.db");
    fs::copy(barn.store(), &copy).unwrap();
    fs::rename(&copy, barn.store()).unwrap();
    publisher.publish(&turbidity(-8000, 41));
    barn.tells("the store", of_the_store);
    wait_for("what comes now is kept", || (barn.readings("head-turbidity") >= 61).then_some(()));
}

#[test]
fn a_damaged_page_among_the_recent_ones_does_not_keep_the_watch_from_beginning() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    stopped_with_readings(&barn, 6000);
    let damaged = damage(&barn);

    let _daemon = barn.watched();
    barn.tells("the store", |told| of_the_store(told) && told.names(&["damaged"]));
    let mut publisher = barn.publisher();
    publisher.publish(&turbidity(-1000, 41));
    wait_for("what is readable is saved over", || {
        (barn.readings("head-turbidity") >= 3000 + 41).then_some(())
    });
    assert_eq!(barn.ask("PRAGMA integrity_check"), "ok");
    let aside = put_aside(&barn);
    assert!(aside.iter().any(|file| holds(file, &damaged)), "the damaged store isn't there: {aside:?}");
    barn.watches_on();
    barn.numbers_name_one_notice_each();
}

#[test]
fn a_file_that_is_no_store_any_more_does_not_keep_the_watch_from_beginning() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let numbers = stopped_with_readings(&barn, 500);
    let wreck = vec![0xa5; 300_000];
    fs::write(barn.store(), &wreck).unwrap();

    let _daemon = barn.watched();
    let mut publisher = barn.publisher();
    publisher.publish(&turbidity(-1000, 41));
    let told = barn.tells("the store", of_the_store);
    assert!(told.number > numbers, "notice {} may have been told before", told.number);
    wait_for("what comes now is kept", || (barn.readings("head-turbidity") == 41).then_some(()));
    assert!(put_aside(&barn).iter().any(|file| holds(file, &wreck)));
    barn.watches_on();
    barn.numbers_name_one_notice_each();
}

#[test]
fn a_store_of_a_newer_version_is_left_as_it_is_while_the_watch_goes_on() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let numbers = stopped_with_readings(&barn, 500);
    let version = barn.ask("PRAGMA user_version");
    set_version(&barn, "99");
    let before = fs::read(barn.store()).unwrap();

    let daemon = barn.watched();
    let told = barn.tells("the version", |told| of_the_store(told) && told.names(&["newer"]));
    assert!(told.number > numbers, "notice {} may have been told before", told.number);
    wait_for("the metrics say so", || (barn.gauge("claymark_store_works") == Some(0.0)).then_some(()));
    let mut publisher = barn.publisher();
    publisher.publish(&turbidity(-1000, 41));
    barn.watches_on();
    daemon.kill();
    assert!(before == fs::read(barn.store()).unwrap(), "the newer store was changed");

    set_version(&barn, &version);
    let _daemon = barn.watched();
    wait_for("the broker had kept it", || (barn.readings("head-turbidity") == 541).then_some(()));
    barn.numbers_name_one_notice_each();
}

#[test]
fn a_full_disk_at_the_start_is_told_and_the_watch_begins_without_a_store() {
    begins_without_a_disk(Disk::Full);
}

#[test]
fn a_read_only_disk_at_the_start_is_told_and_the_watch_begins_without_a_store() {
    begins_without_a_disk(Disk::ReadOnly);
}

fn begins_without_a_disk(disk: Disk) {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    barn.shim.turn(disk);
    let _daemon = barn.watched();
    barn.tells("the disk", |told| of_the_store(told) && told.names(&["disk"]));
    wait_for("by mail, too", || {
        mail.mails().into_iter().find(|mail| mail.text.to_lowercase().contains("disk"))
    });
    wait_for("the metrics say so", || (barn.gauge("claymark_store_works") == Some(0.0)).then_some(()));
    barn.publisher().publish(&turbidity(-1000, 41));
    barn.watches_on();
    barn.shim.turn(Disk::Works);
    comes_right(&barn, 41);
}

#[test]
fn a_disk_that_is_full_at_the_start_still_shows_what_the_store_held() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let daemon = barn.watched();
    barn.watches_on();
    wait_for("it is kept", || (barn.readings("drum-a-level") == LEVELS).then_some(()));
    daemon.kill();
    for disk in [Disk::Full, Disk::ReadOnly] {
        barn.shim.turn(disk);
        let daemon = barn.watched();
        barn.comes_to_the_next_forecast();
        let volume = "claymark_forecast_volume_litres{drum=\"a\"}";
        wait_for("the drum is known without a new reading", || barn.gauge(volume));
        daemon.kill();
    }
    barn.shim.turn(Disk::Works);
    let _daemon = barn.watched();
    barn.publisher().publish(&turbidity(-1000, 41));
    // What was told while nothing could be kept died with its daemon; its numbers must not be given again.
    all_kept(&barn, 41);
    barn.numbers_name_one_notice_each();
}

#[test]
fn a_disk_that_becomes_full_is_told_warnings_go_on_and_the_broker_keeps_the_rest() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let _daemon = barn.watched();
    let mut publisher = barn.publisher();
    publisher.publish(&turbidity(-9000, 300));
    wait_for("they are kept", || (barn.readings("head-turbidity") == 300).then_some(()));
    barn.shim.turn(Disk::Full);
    // More than fits into what the files have already.
    publisher.publish(&turbidity(-8000, 2000));
    barn.tells("the disk", |told| of_the_store(told) && told.names(&["disk"]));
    wait_for("the metrics say so", || (barn.gauge("claymark_store_works") == Some(0.0)).then_some(()));
    barn.watches_on();
    // The call isn't in the store, and whoever answers it is heard.
    let call = barn.tells("the drum", NoticeAsSent::is_of_the_drum);
    let (status, said) = barn.answer(call.number);
    assert!(status == Some(0) && said.contains("Aino is on it"), "{said}");
    let (status, said) = barn.answer(4711);
    assert!(status == Some(1) && said.contains("There is no notice 4711"), "{said}");
    // And more than the queue holds.
    publisher.publish(&turbidity(-6000, 5000));
    barn.shim.turn(Disk::Works);
    comes_right(&barn, 7300);
}

#[test]
fn a_folder_that_is_missing_does_not_keep_the_watch_from_beginning() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let folder = barn.shim.disk().join("not/there");
    barn.write_site(&folder.join("claymark.db"), mail.port(), "");
    let _daemon = barn.watched();
    if !folder.exists() {
        barn.tells("the folder", of_the_store);
        fs::create_dir_all(&folder).unwrap();
    }
    barn.publisher().publish(&turbidity(-1000, 41));
    let store = folder.join("claymark.db");
    wait_for("what comes is kept", || (readings(&store, "head-turbidity") == 41).then_some(()));
    barn.watches_on();
}

/// The evening of the day before was answered, the store is gone, and the number of that notice isn't given again.
#[test]
fn an_answer_to_a_notice_of_a_lost_store_silences_nothing() {
    let mail = MailServer::start(&[]);
    let barn = Barn::new(mail.port(), "");
    let daemon = barn.watched();
    barn.runs_dry();
    let first = barn.tells("the drum", NoticeAsSent::is_of_the_drum);
    daemon.kill();
    for file in store_files(&barn) {
        fs::remove_file(file).unwrap();
    }
    barn.set_clock("2027-03-03T22:03:00Z");
    let _daemon = barn.watched();
    let answer = format!(r#"{{"notice":{},"by":"Aino"}}"#, first.number);
    let mut publisher = barn.publisher();
    publisher.publish(&[(format!("{PREFIX}/answer"), answer.into_bytes())]);
    barn.shim.turn(Disk::SyncFails);
    publisher.publish(&turbidity(-1000, 10));
    barn.tells("something new", |told| of_the_store(told) && told.names(&["disk"]));
}

fn comes_right(barn: &Barn, turbidity: usize) {
    all_kept(barn, turbidity);
    barn.keeps_all_told();
    barn.numbers_name_one_notice_each();
}

fn all_kept(barn: &Barn, turbidity: usize) {
    wait_for("all readings are kept", || (barn.readings("head-turbidity") == turbidity).then_some(()));
    wait_for("all levels are kept", || (barn.readings("drum-a-level") == LEVELS).then_some(()));
    wait_for("the metrics say so", || (barn.gauge("claymark_store_works") == Some(1.0)).then_some(()));
}

/// Leaves a store with so many readings and a notice behind; the number of its last notice.
fn stopped_with_readings(barn: &Barn, count: i64) -> u64 {
    let mut daemon: Daemon = barn.watched();
    barn.publisher().publish(&turbidity(-20_000, count));
    let all = usize::try_from(count).unwrap();
    wait_for("they are kept", || (barn.readings("head-turbidity") == all).then_some(()));
    barn.watches_on();
    wait_for("it is kept", || (barn.ask("SELECT count(*) > 0 FROM notice") == "1").then_some(()));
    daemon.signal("TERM");
    assert!(daemon.ends().success());
    barn.ask("SELECT max(number) FROM notice").parse().unwrap()
}

/// Writes over the leaf with the newest turbidity; what stands there now.
fn damage(barn: &Barn) -> Vec<u8> {
    let sql =
        "SELECT pageno FROM dbstat WHERE name = 'reading' AND pagetype = 'leaf' ORDER BY path DESC LIMIT 1";
    let page: u64 = barn.ask(sql).parse().expect("sqlite3 knows where its pages lie");
    let size: u64 = barn.ask("PRAGMA page_size").parse().unwrap();
    let garbage = vec![0xa5; usize::try_from(size).unwrap()];
    let file = fs::OpenOptions::new().write(true).open(barn.store()).unwrap();
    file.write_all_at(&garbage, (page - 1) * size).unwrap();
    garbage
}

fn set_version(barn: &Barn, version: &str) {
    let mut sqlite = Command::new("sqlite3");
    sqlite.arg(barn.store()).arg(format!("PRAGMA user_version = {version}; PRAGMA wal_checkpoint(TRUNCATE)"));
    assert!(sqlite.output().unwrap().status.success());
}

fn store_files(barn: &Barn) -> Vec<PathBuf> {
    let in_folder = fs::read_dir(barn.shim.disk()).unwrap().map(|entry| entry.unwrap().path());
    let is_store = |path: &PathBuf| path.file_name().unwrap().to_string_lossy().starts_with("claymark.db");
    in_folder.filter(is_store).collect()
}

/// Files beside the store that aren't its own.
fn put_aside(barn: &Barn) -> Vec<PathBuf> {
    let own = ["claymark.db", "claymark.db-wal", "claymark.db-shm", "claymark.db.lock"];
    let in_folder = fs::read_dir(barn.shim.disk()).unwrap().map(|entry| entry.unwrap().path());
    in_folder.filter(|path| !own.contains(&path.file_name().unwrap().to_str().unwrap())).collect()
}

fn holds(file: &PathBuf, bytes: &[u8]) -> bool {
    let part = bytes.get(..bytes.len().min(4096)).unwrap();
    fs::read(file).unwrap().windows(part.len()).any(|window| window == part)
}

fn of_the_store(told: &NoticeAsSent) -> bool {
    told.kind == "readings-missing" && told.names(&["store", "disk"])
}
