//! A reply to the mail answers the notice: a real mail server, a real IMAP server, a real broker and the real daemon.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Stdio};

use claymark_tests::binary::{Daemon, program};
use claymark_tests::broker::RunningBroker;
use claymark_tests::imap::ImapServer;
use claymark_tests::mail::{Mail, MailServer};
use claymark_tests::mqtt::{TestPublisher, options};
use claymark_tests::site::{SiteFolder, level};
use claymark_tests::wait::wait_for;

/// A site with two people who have mail, and the mailbox of replies.
struct ReplyOffice {
    broker: RunningBroker,
    mail: MailServer,
    imap: ImapServer,
    site: SiteFolder,
}

impl ReplyOffice {
    fn open() -> Self {
        let (broker, mail, imap) = (RunningBroker::start(), MailServer::start(&[]), ImapServer::start());
        let site = SiteFolder::new(broker.port(), "", "");
        secret_file(&site.dir().join("imap.password"), "mailbox-pw");
        secret_file(&site.dir().join("replies.secret"), "0123456789abcdef0123456789abcdef");
        let more = format!(
            r#"
[email]
host = "127.0.0.1"
port = {}
security = "none"
from = "Claymark <claymark@barn.example>"

[replies]
host = "localhost"
port = {}
user = "claymark"
password_file = "imap.password"
ca_file = "{}"
secret_file = "replies.secret"

[[contact]]
id = "ann"
name = "Ann (invented)"
email = "ann@barn.example"

[[contact]]
id = "kim"
name = "Kim (invented)"
email = "kim@barn.example"
"#,
            mail.port(),
            imap.port(),
            imap.ca().display()
        );
        site.write(broker.port(), "", &more);
        Self { broker, mail, imap, site }
    }

    fn start(&self) -> Daemon {
        let daemon = Daemon::start(&self.site.file(), &self.site.log());
        daemon.says("replies by mail are read");
        daemon.says("watching");
        daemon
    }

    /// Makes a notice that calls: another client takes our name three times. What Ann and Kim got.
    fn call(&self, daemon: &Daemon) -> [Mail; 2] {
        let subscribed = || {
            fs::read_to_string(self.site.log()).unwrap_or_default().matches("watching: subscribed").count()
        };
        let before = subscribed();
        for round in 0..3 {
            wait_for("the daemon is subscribed", || (subscribed() == before + round).then_some(()));
            let mut other = options("other", self.broker.port());
            other.set_client_id("claymark".to_owned());
            TestPublisher::with(other).publish(&[level(0)]);
        }
        daemon.says("probably another client uses our client id");
        let mut mails = [self.mail.mail(), self.mail.mail()];
        mails.sort_by_key(|mail| mail.to.clone());
        mails
    }

    fn answers(&self) -> String {
        self.site.ask("SELECT notice, answered_by, there_by IS NOT NULL FROM answer ORDER BY at")
    }

    /// The next mail that says back what became of a reply.
    fn told_back(&self) -> Mail {
        let back = self.mail.mail();
        let subject = back.header("Subject");
        assert!(subject.starts_with("Taken") || subject.starts_with("Not "), "{back:?}");
        back
    }
}

fn secret_file(path: &Path, secret: &str) {
    fs::write(path, format!("{secret}\n")).unwrap();
    fs::set_permissions(path, fs::Permissions::from_mode(0o600)).unwrap();
}

/// Number and code, as the mail says them.
fn number_and_code(mail: &Mail) -> (String, String) {
    let line =
        mail.text.lines().find(|line| line.starts_with("Reply with ")).unwrap_or_else(|| panic!("{mail:?}"));
    let mut words = line.split_whitespace().skip(2);
    (words.next().unwrap().to_owned(), words.next().unwrap().to_owned())
}

const QUOTED: &str = "\r\n\r\nOn Monday Claymark wrote:\r\n> Reply with 1 1111\r\n";

#[test]
fn a_reply_with_number_and_code_is_an_answer_once_and_anothers_code_changes_nothing() {
    let mut office = ReplyOffice::open();
    let daemon = office.start();
    let [ann, kim] = office.call(&daemon);
    let (number, code) = number_and_code(&ann);
    let (_, kims) = number_and_code(&kim);
    assert_ne!(code, kims);
    assert_eq!(ann.header("Reply-To"), "claymark@barn.example");

    // Kim's code in Ann's hands, a code of nobody, a stranger with the right one, a machine: nothing.
    office.imap.deliver("ann@barn.example", "", &format!("{number} {kims}{QUOTED}"));
    let back = office.told_back();
    assert_eq!(back.to, ["ann@barn.example"]);
    assert!(back.header("Subject").contains("the code isn't that of notice"), "{back:?}");
    office.imap.deliver("stranger@elsewhere.example", "", &format!("{number} {code}"));
    office.imap.deliver("ann@barn.example", "Auto-Submitted: auto-replied\r\n", &format!("{number} {code}"));
    office.imap.deliver("Ann <ANN@barn.example>", "", "on my way");
    assert!(office.told_back().header("Subject").contains("has no code"));
    wait_for("all were read", || (office.imap.unread() == 0).then_some(()));
    assert_eq!(office.answers(), "");

    // The right one, with a time, as a telephone writes it.
    let soon =
        (claymark_tests::wait::now() + jiff::SignedDuration::from_mins(90)).in_tz("Europe/Helsinki").unwrap();
    office.imap.deliver(
        "Ann <Ann@Barn.example>",
        "",
        &format!("{number} {code} {}{QUOTED}", soon.strftime("%H:%M")),
    );
    let taken = office.told_back();
    assert!(taken.header("Subject").starts_with("Taken") && taken.text.contains("Ann"), "{taken:?}");
    let answer = format!("{number}|Ann (invented)|1");
    assert_eq!(office.answers(), answer);

    // Used is used; and who is late learns who is on it.
    office.imap.deliver("ann@barn.example", "", &format!("{number} {code}"));
    assert!(office.told_back().header("Subject").starts_with("Not needed"));
    office.imap.deliver("kim@barn.example", "", &format!("{number} {kims}"));
    let late = office.told_back();
    assert!(late.to == ["kim@barn.example"] && late.text.contains("answered already: Ann"), "{late:?}");
    wait_for("all were read", || (office.imap.unread() == 0).then_some(()));
    assert_eq!(office.answers(), answer);
    assert_eq!(office.mail.mails(), [], "nothing is told back twice");
}

#[test]
fn replies_are_read_after_a_restart_of_either_side_and_codes_stay() {
    let mut office = ReplyOffice::open();
    let daemon = office.start();
    let [ann, kim] = office.call(&daemon);
    let (number, code) = number_and_code(&ann);
    wait_for("the deliveries are kept", || {
        (office.site.ask("SELECT count(*) FROM delivery WHERE state = 'sent' AND channel = 'email'") == "2")
            .then_some(())
    });
    office.imap.stop();
    daemon.says("replies by mail can't be read");
    daemon.kill();
    office.imap.deliver("ann@barn.example", "", &format!("{number} {code}"));
    let _daemon = Daemon::start(&office.site.file(), &office.site.log());
    office.imap.run();
    assert!(office.told_back().header("Subject").starts_with("Taken"));
    assert_eq!(office.answers(), format!("{number}|Ann (invented)|0"));
    drop(kim);
}

#[test]
fn a_test_of_a_contact_is_answered_by_mail() {
    let mut office = ReplyOffice::open();
    let _daemon = office.start();
    let trial = Command::new(program("claymark"))
        .args(["try-contact", "ann", "--wait", "60s", "--config"])
        .arg(office.site.file())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let (number, code) = number_and_code(&office.mail.mail());
    assert_eq!(number, "0");
    office.imap.deliver("ann@barn.example", "", &format!("0 {code}"));
    let output = trial.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&[output.stdout, output.stderr].concat()).into_owned();
    assert!(output.status.success() && said.contains("Answered by ann."), "{said}");
    assert!(office.told_back().header("Subject").contains("test"));
}
