//! Notices through real programs: what they get, and what becomes of one that hangs.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use claymark::notify::{Address, LocalCommand, Settings};
use claymark_notice::{NoticeKind, Priority};
use claymark_store::batch::{Channel, DeliveryState};
use claymark_tests::wait::wait_for;
use tempfile::TempDir;

use crate::office::{Office, address, at, id, notice, settings};

/// A contact who is told by a script; `{}` in it is the folder.
fn by_script(dir: &Path, script: &str, arguments: &[&str], short: bool) -> Settings {
    let program = dir.join("tell");
    fs::write(&program, script.replace("{}", &dir.display().to_string())).unwrap();
    fs::set_permissions(&program, fs::Permissions::from_mode(0o700)).unwrap();
    let arguments = arguments.iter().map(|&argument| argument.to_owned()).collect();
    let command = Some(LocalCommand { program, arguments, short });
    let mut settings = settings(1);
    settings.addresses = vec![Address { command, ..address("on-call", None, false) }];
    settings
}

const HOSTILE: &str = "-oProxyCommand=x; $(touch {}/broken) `touch {}/broken` '\"\r\nX-Evil: 1\0\u{202e}";

#[tokio::test]
async fn typed_text_reaches_standard_input_and_nothing_else() {
    let dir = TempDir::new().unwrap();
    let script =
        "#!/bin/sh\n/bin/cat > {}/text\n/usr/bin/env > {}/env\nprintf '%s\\n' \"$@\" > {}/arguments\n";
    let fixed = ["--to", "+1 $(touch {}/broken)", "a b", ""];
    let mut office = Office::open(by_script(dir.path(), script, &fixed, false), vec![]);
    let hostile = HOSTILE.replace("{}", &dir.path().display().to_string());
    let mut issued = notice(7, Priority::Now);
    issued.subject.clone_from(&hostile);
    issued.text = format!("{hostile}\n");
    office.tell(issued).await;
    let done = office.outcome().await;
    assert_eq!(
        (done.channel, done.state),
        (Channel::Command, DeliveryState::Sent { at: at(0), attempts: 1 })
    );
    let kept = |name: &str| fs::read_to_string(dir.path().join(name)).unwrap();
    assert_eq!(kept("text"), format!("{hostile}\n\n{hostile}\n"));
    assert_eq!(kept("arguments"), format!("{}\n", fixed.join("\n")));
    // The shell of the script adds these of its own.
    let shells_own =
        |line: &&str| !["PWD=", "_=", "SHLVL=", "OLDPWD="].iter().any(|own| line.starts_with(own));
    let env = kept("env");
    assert_eq!(env.lines().filter(shells_own).collect::<Vec<_>>(), Vec::<&str>::new());
    assert!(!dir.path().join("broken").exists());
    office.close().await;
}

#[tokio::test]
async fn the_short_form_is_one_short_message() {
    let dir = TempDir::new().unwrap();
    let mut office =
        Office::open(by_script(dir.path(), "#!/bin/sh\n/bin/cat > {}/text\n", &[], true), vec![]);
    office.tell(notice(7, Priority::Now)).await;
    office.outcome().await;
    let text = fs::read_to_string(dir.path().join("text")).unwrap();
    let line = text.strip_suffix('\n').unwrap();
    assert!(line.chars().count() <= 160 && !line.contains('\n') && line.ends_with("Notice 7."), "{line}");
    office.close().await;
}

#[tokio::test]
async fn what_a_failing_command_says_is_told_and_it_is_tried_again() {
    let dir = TempDir::new().unwrap();
    let script = "#!/bin/sh\n[ -e {}/again ] && exit 0\n/bin/touch {}/again\necho 'no carrier' >&2\nexit 3\n";
    let mut office = Office::open(by_script(dir.path(), script, &[], false), vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let (_, _, why) = office.try_again().await;
    assert!(why.contains("exit status: 3") && why.contains("no carrier"), "{why}");
    assert!(matches!(office.outcome().await.state, DeliveryState::Sent { .. }));
    office.close().await;
}

#[tokio::test]
async fn a_program_that_is_not_there_is_a_failure_and_not_the_end() {
    let dir = TempDir::new().unwrap();
    let settings = by_script(dir.path(), "", &[], false);
    fs::remove_file(dir.path().join("tell")).unwrap();
    let mut office = Office::open(settings, vec![]);
    let mut issued = notice(7, Priority::Now);
    issued.notice.kind = NoticeKind::Air;
    office.tell(issued).await;
    let (_, _, why) = office.try_again().await;
    assert!(why.contains("can't be started"), "{why}");
    assert!(matches!(office.other().await, claymark::notify::Outcome::Undelivered { missed, .. }
        if missed.contact == id("on-call") && missed.tried_on));
    office.close().await;
}

/// The real patience, twenty seconds.
#[tokio::test]
async fn a_command_that_hangs_is_ended_with_all_that_it_started() {
    let dir = TempDir::new().unwrap();
    let script = "#!/bin/sh\n/bin/sleep 600 &\necho $! > {}/child\necho $$ > {}/self\nwait\n";
    let mut office = Office::open(by_script(dir.path(), script, &[], false), vec![]);
    office.tell(notice(7, Priority::Now)).await;
    let DeliveryState::Unanswered { last_error, .. } = office.outcome().await.state else {
        panic!("it may have told somebody")
    };
    assert!(last_error.is_some_and(|why| why.contains("hadn't ended after 20 s")));
    for name in ["child", "self"] {
        let pid = fs::read_to_string(dir.path().join(name)).unwrap();
        let status = format!("/proc/{}/stat", pid.trim());
        let gone = || fs::read_to_string(&status).map_or(true, |stat| stat.contains(") Z "));
        wait_for(&format!("{name} is gone"), || gone().then_some(()));
    }
    office.close().await;
}
