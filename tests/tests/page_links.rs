//! A notice is declined, shelved and answered on the page and by the link in its mail: real daemon, broker and mail server.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::fs;
use std::net::TcpStream;
use std::os::unix::fs::PermissionsExt as _;

use claymark_tests::barn::{Barn, NoticeAsSent};
use claymark_tests::binary::Daemon;
use claymark_tests::mail::{Mail, MailServer};
use claymark_tests::mqtt::Ear;
use claymark_tests::wait::{free_port, wait_for, wait_seeing};
use claymark_tests::web;

/// A barn at night with a page, and two people: Ann is called before the person on duty.
struct NightWithPage {
    barn: Barn,
    mail: MailServer,
    port: u16,
}

impl NightWithPage {
    fn new() -> Self {
        let (mail, port) = (MailServer::start(&[]), free_port());
        let barn = Barn::new(mail.port(), "");
        let secret = barn.dir().join("page.secret");
        fs::write(&secret, "0123456789abcdef0123456789abcdef").unwrap();
        fs::set_permissions(&secret, fs::Permissions::from_mode(0o600)).unwrap();
        let more = format!(
            "[page]\nlisten = \"127.0.0.1:{port}\"\naddress = \"http://localhost:{port}\"\nsecret_file = \"page.secret\"\n\
             [record]\ndir = \"recorded\"\n\
             [[contact]]\nid = \"ann\"\nname = \"Ann (invented)\"\nemail = \"ann@farm.example\"\n"
        );
        barn.write_site(&barn.store(), mail.port(), &more);
        Self { barn, mail, port }
    }

    /// Starts the daemon before the evening check and lets that come in its time, so that a later call is one of the night.
    fn watched(&self) -> Daemon {
        self.barn.set_clock("2027-03-01T16:58:30Z");
        let daemon = self.barn.watched();
        self.barn.set_clock("2027-03-01T17:00:30Z");
        self.barn.publisher().publish(&[("farm/nobody".to_owned(), Vec::new())]);
        self.barn.tells("the evening check", |told| told.kind == "evening-check");
        daemon
    }

    /// The mail to Ann that warns of the drum, and the number of its notice.
    fn warned(&self) -> (Mail, String) {
        let mail = wait_for("Ann is called", || {
            let mail = self.mail.mail();
            let is_it = mail.to == ["ann@farm.example"] && mail.header("Subject").contains("dry");
            (is_it && mail.text.contains("Answer notice")).then_some(mail)
        });
        let number = mail.text.split_once("Answer notice ").unwrap().1;
        let number = number.chars().take_while(char::is_ascii_digit).collect();
        (mail, number)
    }

    fn ask(&self, sql: &str) -> String {
        self.barn.ask(sql)
    }
}

fn path_of_link(mail: &Mail, port: u16) -> String {
    let origin = format!("http://localhost:{port}");
    let line =
        mail.text.lines().find(|line| line.starts_with(&origin)).unwrap_or_else(|| panic!("{}", mail.text));
    line.trim().strip_prefix(&origin).unwrap().to_owned()
}

#[test]
fn not_me_by_the_link_asks_the_next_person_at_once_and_the_link_stands_nowhere_else() {
    let night = NightWithPage::new();
    let ear = Ear::listen(night.barn.broker.port(), "#");
    let _daemon = night.watched();
    night.barn.runs_dry();
    let (mail, number) = night.warned();
    let (path, port) = (path_of_link(&mail, night.port), night.port);
    let token = path.rsplit('/').next().unwrap().to_owned();
    assert_eq!(token.len(), 32, "{path}");

    // Scanners open what they find, several times.
    for _ in 0..3 {
        let page = web::get(port, &path);
        assert!(page.status == 200 && page.body.contains("Ann (invented)"), "{}", page.body);
        assert!(page.body.contains("Not me") && !page.body.contains("Shelve"), "{}", page.body);
    }
    assert_eq!(night.ask("SELECT (SELECT count(*) FROM answer) + (SELECT count(*) FROM field_log)"), "0");
    // Bound to contact and notice, and good for answering only.
    for other in [
        path.replace("/ann/", "/duty/"),
        path.replace(&format!("/{number}/"), "/1/"),
        path.replace(&token, &"0".repeat(32)),
        path.replace(&token, &token.to_uppercase()),
    ] {
        assert!(other == path || web::get(port, &other).status == 403, "{other}");
        assert!(other == path || web::post(port, &other, &[("says", "not-me")]).status == 403, "{other}");
    }
    assert_eq!(
        web::post_from(port, &path, &[("says", "not-me")], "https://elsewhere.example.org").status,
        403
    );
    let odd =
        web::post(port, &path, &[("says", "shelve"), ("lasts", "60"), ("why", "<script>alert(1)</script>")]);
    assert!(
        odd.body.contains("there is no such entry") && !odd.body.contains("<script>alert"),
        "{}",
        odd.body
    );
    assert_eq!(night.ask("SELECT count(*) FROM field_log"), "0");

    let form = [("says", "not-me"), ("key", "page00000000000000dd")];
    let said = web::post(port, &path, &form);
    assert!(said.body.contains("Person on duty is asked now"), "{}", said.body);
    let next = night.barn.tells("the next person is called", |told| told.text.contains("can't go"));
    assert!(next.text.contains("Ann (invented) was told at"), "{}", next.text);
    let again = web::post(port, &path, &form);
    assert!(again.body.contains("Others have been asked already"), "{}", again.body);
    assert_eq!(night.ask("SELECT count(*) FROM field_log WHERE kind = 'decline'"), "1");

    // Whoever said so may still go.
    let said = web::post(port, &path, &[("says", "on-it"), ("there_in", "30")]);
    assert!(said.body.contains("is on it, notice"), "{}", said.body);
    assert_eq!(night.ask("SELECT answered_by FROM answer"), "Ann (invented)");

    stands_nowhere(&night, &ear, &token);
}

fn stands_nowhere(night: &NightWithPage, ear: &Ear, token: &str) {
    assert!(!ear.heard().iter().any(|heard| heard.payload.contains(token)), "over MQTT");
    assert!(!fs::read_to_string(night.barn.log()).unwrap().contains(token), "in the log");
    assert!(!night.ask("SELECT group_concat(text) FROM notice").contains("answer-by-link"));
    let mut files = vec![night.barn.dir().to_owned(), night.barn.store().parent().unwrap().to_owned()];
    let mut looked = 0;
    while let Some(path) = files.pop() {
        if path.is_dir() {
            files.extend(fs::read_dir(path).unwrap().map(|entry| entry.unwrap().path()));
        } else if let Ok(held) = fs::read(&path) {
            looked += 1;
            let found = held.windows(token.len()).any(|window| window == token.as_bytes());
            assert!(!found, "in {}", path.display());
        }
    }
    assert!(looked >= 3, "{looked} files");
}

#[test]
fn danger_is_not_shelved_and_what_only_needs_looking_at_is_with_an_end_and_a_reason() {
    let night = NightWithPage::new();
    let port = night.port;
    let _daemon = night.watched();
    night.barn.runs_dry();
    let told = |kind: &str| {
        wait_for(kind, || {
            let number = night.ask(&format!("SELECT max(number) FROM notice WHERE kind = '{kind}'"));
            (!number.is_empty()).then_some(number)
        })
    };
    let number = told("runout");
    let page = web::get(port, &format!("/notice/{number}")).body;
    assert!(
        page.contains("Not me") && page.contains("it can&#39;t be shelved")
            || page.contains("can't be shelved"),
        "{page}"
    );
    let shelf = [("notice", number.as_str()), ("lasts", "60"), ("why", "its cable is being changed")];
    let said = web::post(port, "/shelve", &shelf);
    assert!(said.body.contains("what endangers fish"), "{}", said.body);
    assert_eq!(night.ask("SELECT count(*) FROM field_log"), "0");

    let number = told("readings-missing");
    for (lasts, why) in [("", "its cable is being changed"), ("60", "  "), ("0", "x"), ("much", "x")] {
        let said = web::post(port, "/shelve", &[("notice", &number), ("lasts", lasts), ("why", why)]);
        assert!(said.body.contains("Nothing was shelved"), "{}", said.body);
    }
    let hostile = "<img src=x onerror=alert(1)>";
    let form = [
        ("notice", number.as_str()),
        ("lasts", "60"),
        ("why", hostile),
        ("by", "ann"),
        ("key", "page00000000000000ee"),
    ];
    for _ in 0..2 {
        let said = web::post(port, "/shelve", &form);
        assert!(said.body.contains("is shelved: nobody is called for it until"), "{}", said.body);
    }
    assert_eq!(night.ask("SELECT count(*) FROM field_log WHERE kind = 'shelve'"), "1");
    let room = wait_seeing("it stands as shelved", || {
        let page = web::get(port, "/").body;
        if page.contains("helved") { Ok(page) } else { Err(page) }
    });
    assert!(!room.contains("<img"), "{room}");
}

#[test]
fn two_thousand_slow_connections_stop_no_warning() {
    let night = NightWithPage::new();
    let daemon = night.watched();
    let wanted = 2000;
    let mut slow = Vec::new();
    for n in 0..wanted {
        let Ok(mut stream) = TcpStream::connect(("127.0.0.1", night.port)) else { break };
        // Half a head, which goes on for as long as it may.
        if n % 2 == 0 {
            drop(std::io::Write::write_all(&mut stream, b"GET / HTTP/1.1\r\nHost: local"));
        }
        slow.push(stream);
    }
    assert!(slow.len() >= 1900, "{} connections", slow.len());
    night.barn.runs_dry();
    let (mail, _) = night.warned();
    assert!(mail.header("Subject").contains("Drum A"), "{mail:?}");
    let is_of_the_drum = |told: &NoticeAsSent| told.is_of_the_drum();
    assert!(
        night.barn.gauge("claymark_watching") == Some(1.0) || night.barn.told().iter().any(is_of_the_drum)
    );
    drop(slow);
    drop(daemon);
}
