//! Who comes in at the page, as whom, and what they may: the real daemon, real files, real TLS.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::fs;
use std::io::Write as _;
use std::net::TcpStream;
use std::os::unix::fs::PermissionsExt as _;
use std::process::{Command, Stdio};

use claymark_tests::binary::{Daemon, program};
use claymark_tests::broker::RunningBroker;
use claymark_tests::browser::Browser;
use claymark_tests::certificates;
use claymark_tests::mqtt::Ear;
use claymark_tests::site::SiteFolder;
use claymark_tests::wait::{free_port, wait_for, wait_seeing};
use claymark_tests::web;

/// A site whose page has users, and its broker.
struct GuardedRoom {
    port: u16,
    broker: RunningBroker,
    site: SiteFolder,
}

impl GuardedRoom {
    /// With these lines more below `[page]`.
    fn new(listen: &str, more: &str) -> Self {
        let (broker, port) = (RunningBroker::start(), free_port());
        let page = format!("[page]\nlisten = \"{listen}:{port}\"\n{more}\n");
        let site = SiteFolder::new(broker.port(), "", &page);
        Self { port, broker, site }
    }

    /// `claymark user …`, with this on its standard input.
    fn user(&self, typed: &[&str], input: &str) -> (Option<i32>, String) {
        self.claymark(&[&["user"], typed].concat(), input)
    }

    fn claymark(&self, typed: &[&str], input: &str) -> (Option<i32>, String) {
        let mut child = Command::new(program("claymark"))
            .args(typed)
            .arg("--config")
            .arg(self.site.file())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
        let output = child.wait_with_output().unwrap();
        let said = [output.stdout, output.stderr].concat();
        // Long lines are broken to fit a terminal.
        let words: Vec<_> = String::from_utf8_lossy(&said)
            .split_whitespace()
            .filter(|word| *word != "|")
            .map(str::to_owned)
            .collect();
        (output.status.code(), words.join(" "))
    }

    fn add(&self, name: &str, role: &str) {
        let (status, said) = self.user(&["add", name, "--role", role], PASSWORD);
        assert_eq!(status, Some(0), "{said}");
    }

    fn start(&self) -> Daemon {
        let daemon = Daemon::start(&self.site.file(), &self.site.log());
        wait_for("the page is served", || TcpStream::connect(("127.0.0.1", self.port)).ok());
        daemon
    }

    fn browser(&self) -> Browser {
        Browser::new(self.port)
    }

    fn inside(&self, name: &str) -> Browser {
        let mut browser = self.browser();
        let led = browser.log_in(name, PASSWORD.trim());
        assert_eq!((led.status, led.header("location")), (303, "/"), "{}", led.body);
        browser
    }
}

const PASSWORD: &str = "clay drum pike nine\n";

const NOTE: [(&str, &str); 2] = [("kind", "note"), ("text", "Blower sounds rough.")];

#[test]
fn who_has_no_login_sees_the_door_alone_and_each_role_does_no_more_than_it_may() {
    let room = GuardedRoom::new("127.0.0.1", "");
    for (name, role) in [("Loo", "look"), ("Logan", "log"), ("duty", "answer"), ("Seth", "set")] {
        room.add(name, role);
    }
    let _daemon = room.start();
    let mut nobody = room.browser();
    for path in ["/", "/wall", "/drum/a", "/notice/1", "/log"] {
        let answer = nobody.get(path);
        assert_eq!(answer.status, 303, "{path}: {}", answer.body);
        assert!(answer.header("location").starts_with("/login?to="), "{}", answer.head);
        assert!(!answer.body.contains("Test"), "{}", answer.body);
    }
    for path in ["/api/v1/room", "/live/room"] {
        assert_eq!(nobody.get(path).status, 401, "{path}");
    }
    for path in ["/log", "/answer", "/decline", "/shelve", "/logout"] {
        assert_eq!(nobody.post(path, &NOTE).status, 403, "{path}");
    }
    let mut wrong = room.browser();
    let refused = wrong.log_in("duty", "clay drum pike ten");
    assert!(
        refused.status == 403 && refused.body.contains("no such name with that password"),
        "{}",
        refused.body
    );
    assert_eq!(
        wrong.log_in("nobody", "clay drum pike nine").body,
        refused.body.replace("duty", "nobody").replace(&refused_form(&refused.body), &wrong.form)
    );

    let tonight = [("kind", "tonight"), ("person", "duty")];
    let shelf = [("notice", "1"), ("lasts", "60"), ("why", "its cable is being changed")];
    for (name, may) in [("Loo", 0), ("logan", 1), ("duty", 2), ("Seth", 3)] {
        let mut browser = room.inside(name);
        let page = browser.get("/log");
        assert_eq!(page.body.contains("Note: write it down"), may >= 1, "{name}: {}", page.body);
        assert_eq!(page.body.contains("Tonight: write it down"), may >= 3, "{name}: {}", page.body);
        let mut status = |path, fields: &[(&str, &str)]| browser.post(path, fields).status;
        assert_eq!(status("/log", &NOTE), if may >= 1 { 200 } else { 403 }, "{name} writes down");
        assert_eq!(status("/answer", &[("notice", "1")]), if may >= 2 { 200 } else { 403 }, "{name} answers");
        assert_eq!(
            status("/decline", &[("notice", "1")]),
            if may >= 2 { 200 } else { 403 },
            "{name} declines"
        );
        assert_eq!(status("/shelve", &shelf), if may >= 3 { 200 } else { 403 }, "{name} shelves");
        assert_eq!(status("/log", &tonight), if may >= 3 { 200 } else { 403 }, "{name} gives the night");
    }
    // Who wrote is who was logged in, whatever the form says; a contact by their own name.
    assert_eq!(room.site.ask("SELECT count(*) FROM field_log"), "4");
    let mut duty = room.inside("duty");
    duty.get("/log");
    let key = ("key", "page00000000000000aa");
    let said = duty.post("/log", &[NOTE[0], NOTE[1], key, ("by", "x")]);
    assert!(said.body.contains("Person on duty"), "{}", said.body);
    let by = room.site.ask("SELECT written_by FROM field_log WHERE entry_key = 'page00000000000000aa'");
    assert_eq!(by, "Person on duty");
}

fn refused_form(body: &str) -> String {
    body.split_once("name=\"csrf\" value=\"").unwrap().1.split('"').next().unwrap().to_owned()
}

#[test]
fn a_form_of_somebody_else_changes_nothing_and_who_logs_out_is_out() {
    let room = GuardedRoom::new("127.0.0.1", "");
    room.add("Logan", "log");
    let _daemon = room.start();
    let (mut one, mut other) = (room.inside("Logan"), room.inside("Logan"));
    other.get("/log");
    let kept = || room.site.ask("SELECT count(*) FROM field_log");
    let fields = |token: String| {
        [NOTE[0], NOTE[1]]
            .into_iter()
            .map(|(n, v)| (n, v.to_owned()))
            .chain([("csrf", token)])
            .collect::<Vec<_>>()
    };
    for token in [String::new(), other.form.clone(), "0".repeat(64)] {
        let fields = fields(token);
        let fields: Vec<_> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
        let said = one.post_bare("/log", &fields);
        assert!(said.status == 403 && said.body.contains("isn't yours"), "{}", said.body);
    }
    one.get("/log");
    "https://elsewhere.example.org".clone_into(&mut one.origin);
    assert_eq!(one.post("/log", &NOTE).status, 403, "another origin, with the token");
    assert_eq!(kept(), "0");
    one.origin = other.origin.clone();
    let cookie = one.cookies.clone();
    assert_eq!(one.post("/log", &NOTE).status, 200);
    assert_eq!(kept(), "1");

    one.get("/log");
    assert_eq!(one.post("/logout", &[]).status, 303);
    one.cookies = cookie;
    assert_eq!(one.get("/").status, 303, "what was kept is worth nothing any more");
    assert_eq!(other.get("/").status, 200);
    let (status, said) = room.user(&["remove", "logan"], "");
    assert_eq!(status, Some(0), "{said}");
    wait_seeing("whoever is removed is out", || {
        let status = other.get("/").status;
        if status == 303 { Ok(()) } else { Err(status.to_string()) }
    });
}

#[test]
fn guessing_takes_longer_and_longer_and_keeps_out_nobody_else() {
    let room = GuardedRoom::new("127.0.0.1", "");
    room.add("Seth", "set");
    room.add("Logan", "log");
    let _daemon = room.start();
    let mut guesser = room.browser();
    let mut statuses = Vec::new();
    for n in 0..6 {
        statuses.push(guesser.log_in("Seth", &format!("a wrong password {n}")).status);
    }
    assert!(statuses.starts_with(&[403, 403, 403]) && statuses.contains(&429), "{statuses:?}");
    room.inside("Logan");
    // The pause is no lock: the right password opens after it.
    wait_seeing("Seth logs in", || {
        let answer = room.browser().log_in("Seth", PASSWORD.trim());
        if answer.status == 303 { Ok(()) } else { Err(answer.body) }
    });
}

#[test]
fn passwords_are_kept_by_argon2id_for_their_owner_alone_and_are_no_argument() {
    let room = GuardedRoom::new("127.0.0.1", "");
    let (status, said) = room.user(&["list"], "");
    assert!(status == Some(0) && said.starts_with("Nobody"), "{said}");
    room.add("Seth", "set");
    let file = room.site.store().with_file_name("users.toml");
    let kept = || fs::read_to_string(&file).unwrap();
    let hash = |text: &str| text.lines().find(|line| line.contains("$argon2id$v=19$")).unwrap().to_owned();
    let before = hash(&kept());
    assert!(!kept().contains(PASSWORD.trim()));
    assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
    for (typed, input, status, why) in [
        (vec!["add", "seth", "--role", "log"], PASSWORD, 2, "taken"),
        (vec!["add", "Kim", "--role", "admin"], PASSWORD, 2, "look, log, answer or set"),
        (vec!["add", "Kim", "--role", "log"], "short\n", 2, "at least 10"),
        (vec!["add", "Kim", "--role", "log"], "", 2, "no password was typed"),
        (vec!["add", "<b>", "--role", "log"], PASSWORD, 2, "can't be the name"),
        (vec!["add", "Kim", "--role", "log", "a password as argument"], "", 2, "unexpected argument"),
        (vec!["remove", "Kim"], "", 2, "nobody called"),
        (vec!["password", "seth"], "another long password\n", 0, "logs in anew"),
        (vec!["list"], "", 0, "Seth: set"),
    ] {
        let (ended, said) = room.user(&typed, input);
        assert!(ended == Some(status) && said.contains(why), "{typed:?}: {said}");
    }
    assert_ne!(hash(&kept()), before);
    // Others could guess at leisure.
    fs::set_permissions(&file, fs::Permissions::from_mode(0o644)).unwrap();
    let (_, said) = room.claymark(&["check"], "");
    assert!(said.contains("users aren't known") && said.contains("mode 644"), "{said}");
}

#[test]
fn a_screen_looks_by_its_token_alone_across_a_restart_and_only_the_hash_is_kept() {
    let room = GuardedRoom::new("127.0.0.1", "");
    room.add("Seth", "set");
    let (status, said) = room.user(&["wall", "hall"], "");
    assert_eq!(status, Some(0), "{said}");
    let token = said.trim().rsplit('/').next().unwrap().to_owned();
    assert_eq!(token.len(), 64, "{said}");
    let file = room.site.store().with_file_name("users.toml");
    assert!(!fs::read_to_string(&file).unwrap().contains(&token));
    let daemon = room.start();
    let mut screen = room.browser();
    assert_eq!(screen.get("/wall").status, 303);
    assert_eq!(screen.get(&format!("/screen/{}", "0".repeat(64))).status, 403);
    let led = screen.get(&format!("/screen/{token}"));
    assert_eq!((led.status, led.header("location")), (303, "/wall"));
    assert!(led.header("set-cookie").contains("HttpOnly; SameSite=Strict"), "{}", led.head);
    assert_eq!(screen.get("/wall").status, 200);
    for path in ["/log", "/answer", "/decline", "/shelve"] {
        assert_eq!(screen.post(path, &NOTE).status, 403, "{path}");
    }
    let mut program = room.browser();
    program.more = format!("Authorization: Bearer {token}\r\n");
    assert_eq!(program.get("/api/v1/room").status, 200);
    drop(daemon);
    let _daemon = room.start();
    assert_eq!(screen.get("/wall").status, 200, "after a restart, without anybody's hand");
    assert_eq!(room.user(&["remove", "hall"], "").0, Some(0));
    wait_for("the screen is out", || (screen.get("/wall").status == 303).then_some(()));
}

#[test]
fn it_listens_wider_with_users_and_tls_alone_and_else_the_watch_goes_on_and_people_are_told() {
    let room = GuardedRoom::new("0.0.0.0", "");
    let ear = Ear::listen(room.broker.port(), "claymark/#");
    let (status, said) = room.claymark(&["check"], "");
    assert!(
        status == Some(0)
            && said.contains("The page isn't served")
            && said.contains("passwords would travel"),
        "{said}"
    );
    let daemon = Daemon::start(&room.site.file(), &room.site.log());
    daemon.says("The page isn't served");
    daemon.says("watching");
    let told = wait_for("people are told", || {
        ear.heard().into_iter().find(|heard| heard.payload.contains("The page isn't served"))
    });
    assert!(told.payload.contains("claymark user add") || told.payload.contains("cert_file"), "{told:?}");
    let (_, said) = room.claymark(&["status"], "");
    assert!(said.contains("The page isn't served"), "{said}");
    assert!(TcpStream::connect(("127.0.0.1", room.port)).is_err());
    drop(daemon);

    let dir = room.site.dir();
    certificates::make(dir);
    fs::set_permissions(dir.join("server.key"), fs::Permissions::from_mode(0o600)).unwrap();
    let port = room.port;
    let page = format!(
        "[page]\nlisten = \"0.0.0.0:{port}\"\ncert_file = \"server.pem\"\nkey_file = \"server.key\"\naddress = \"https://localhost:{port}\"\n"
    );
    room.site.write(room.broker.port(), "", &page);
    let (_, said) = room.claymark(&["check"], "");
    assert!(said.contains("names no users"), "{said}");
    room.add("Seth", "set");
    let (_, said) = room.claymark(&["check"], "");
    assert!(
        !said.contains("isn't served") && said.contains("others reach it at https://localhost"),
        "{said}"
    );
    let _daemon = room.start();
    let (_, said) = room.claymark(&["status"], "");
    assert!(!said.contains("isn't served"), "{said}");
    let mut browser = Browser::with_tls(port, &dir.join("ca.pem"));
    let led = browser.log_in("Seth", PASSWORD.trim());
    assert_eq!(led.status, 303, "{}", led.body);
    let cookie = led.header("set-cookie");
    for part in ["__Host-claymark=", "HttpOnly", "SameSite=Strict", "Secure", "Path=/"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    assert!(browser.get("/").header("strict-transport-security").starts_with("max-age"));
    browser.host = format!("rebound.example.org:{port}");
    assert_eq!(browser.get("/").status, 421);
}

#[test]
fn a_port_that_is_taken_is_told_to_people_too() {
    let room = GuardedRoom::new("127.0.0.1", "");
    let ear = Ear::listen(room.broker.port(), "claymark/#");
    let _other = std::net::TcpListener::bind(("127.0.0.1", room.port)).unwrap();
    let daemon = Daemon::start(&room.site.file(), &room.site.log());
    daemon.says("watching");
    wait_for("people are told", || {
        ear.heard().into_iter().find(|heard| heard.payload.contains("the address can't be had"))
    });
}

#[test]
fn behind_a_proxy_only_the_proxy_is_answered_and_who_is_guessing_is_who_it_names() {
    let port = free_port();
    let broker = RunningBroker::start();
    let page = |proxy: &str| {
        format!(
            "[page]\nlisten = \"127.0.0.1:{port}\"\nbehind = \"{proxy}\"\naddress = \"https://barn.example.org\"\n"
        )
    };
    let site = SiteFolder::new(broker.port(), "", &page("127.0.0.1"));
    let room = GuardedRoom { port, broker, site };
    room.add("Seth", "set");
    let daemon = room.start();
    let mut browser = room.browser();
    "https://barn.example.org".clone_into(&mut browser.origin);
    // As a proxy passes it on: by the name that others know, or by ours.
    for host in ["barn.example.org".to_owned(), format!("127.0.0.1:{port}")] {
        browser.host = host;
        browser.cookies.clear();
        let led = browser.log_in("Seth", PASSWORD.trim());
        assert!(led.status == 303 && led.header("set-cookie").contains("Secure"), "{}", led.head);
    }
    // One of many who guess behind the same proxy waits; others don't.
    browser.cookies.clear();
    "X-Forwarded-For: 10.9.9.9, 198.51.100.3\r\n".clone_into(&mut browser.more);
    let guesses: Vec<u16> =
        (0..12).map(|n| browser.log_in(&format!("user {n}"), "a wrong password").status).collect();
    assert!(guesses.contains(&429), "{guesses:?}");
    "X-Forwarded-For: 198.51.100.3, 198.51.100.4\r\n".clone_into(&mut browser.more);
    assert_eq!(browser.log_in("Seth", PASSWORD.trim()).status, 303);
    drop(daemon);
    room.site.write(room.broker.port(), "", &page("192.0.2.7"));
    let _daemon = room.start();
    let nobody = std::panic::catch_unwind(|| web::get(port, "/login"));
    assert!(nobody.is_err() || nobody.unwrap().status == 0, "nobody but the proxy is answered");
}

/// Payloads after the OWASP Cross Site Scripting Prevention and Filter Evasion Cheat Sheets (from memory).
const HOSTILE: [&str; 5] = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "'-alert(1)-'",
    "<svg/onload=alert(1)>",
    "javascript:alert(1)//",
];

#[test]
fn what_strangers_type_at_the_door_stays_text_and_leads_nowhere_else() {
    let room = GuardedRoom::new("127.0.0.1", "");
    room.add("Seth", "set");
    let _daemon = room.start();
    let mut seth = room.inside("Seth");
    for hostile in HOSTILE {
        let mut stranger = room.browser();
        stranger.get("/login");
        let mut pages =
            vec![stranger.post("/login", &[("name", hostile), ("password", hostile), ("to", hostile)])];
        let escaped = hostile.replace(['<', '>', '"', ' '], "%3C");
        for path in ["/login?to=", "/screen/", "/answer-by-link/7/ann/", "/answer-by-link/x/"] {
            pages.push(stranger.get(&format!("{path}{escaped}")));
        }
        seth.get("/log");
        for path in ["/answer", "/decline", "/shelve"] {
            pages.push(seth.post(path, &[("notice", hostile), ("by", hostile), ("why", hostile)]));
            pages.push(seth.post(
                path,
                &[("notice", "1"), ("by", hostile), ("why", hostile), ("lasts", "60"), ("key", hostile)],
            ));
        }
        for page in pages {
            assert!(page.status >= 200 && page.status < 500, "{hostile}: {}", page.head);
            for tag in ["<script>alert", "<img", "<svg/onload"] {
                assert!(!page.body.contains(tag), "{hostile}: {}", page.body);
            }
        }
    }
    let mut led = room.browser();
    led.get("/login?to=//elsewhere.example.org/x");
    let form = [("name", "Seth"), ("password", PASSWORD.trim()), ("to", "//elsewhere.example.org/x")];
    let answer = led.post("/login", &form);
    assert_eq!((answer.status, answer.header("location")), (303, "/"), "{}", answer.body);
}
