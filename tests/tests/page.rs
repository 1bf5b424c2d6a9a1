//! The page, asked as a browser asks it: the real daemon, a real broker, the real store.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::collections::BTreeSet;
use std::net::TcpStream;

use claymark_tests::barn::Barn;
use claymark_tests::binary::Daemon;
use claymark_tests::broker::RunningBroker;
use claymark_tests::mail::MailServer;
use claymark_tests::mqtt::TestPublisher;
use claymark_tests::site::SiteFolder;
use claymark_tests::wait::{free_port, now, wait_for, wait_seeing};
use claymark_tests::web::{self, OpenStream, WebAnswer};
use serde_json::Value;

/// A daemon with a page, and its broker.
struct PagedRoom {
    port: u16,
    broker: Option<RunningBroker>,
    site: SiteFolder,
    _daemon: Daemon,
}

impl PagedRoom {
    fn start(more: &str) -> Self {
        let (broker, port) = (RunningBroker::start(), free_port());
        let site =
            SiteFolder::new(broker.port(), "", &format!("[page]\nlisten = \"127.0.0.1:{port}\"\n{more}"));
        let daemon = Daemon::start(&site.file(), &site.log());
        wait_for("the page is served", || TcpStream::connect(("127.0.0.1", port)).ok());
        // The page is there before the subscription, and what is published before that goes nowhere.
        daemon.says("watching: subscribed");
        Self { port, broker: Some(broker), site, _daemon: daemon }
    }

    fn get(&self, path: &str) -> WebAnswer {
        web::get(self.port, path)
    }

    fn publish(&self, topic: &str, payload: String) {
        let broker = self.broker.as_ref().unwrap();
        TestPublisher::connect(broker.port()).publish(&[(topic.to_owned(), payload.into_bytes())]);
    }

    fn shows(&self, path: &str, words: &str) -> String {
        wait_seeing(words, || {
            let body = self.get(path).body;
            if body.contains(words) { Ok(body) } else { Err(body) }
        })
    }
}

fn level(value: f64) -> String {
    format!(r#"{{"v":{value},"t":"{}"}}"#, now())
}

const MIXED: [(&str, &str); 6] = [
    ("kind", "mixed"),
    ("drum", "a"),
    ("water", "113"),
    ("clay", "2.05"),
    ("ago", "10"),
    ("key", "page0000000000000001"),
];

#[test]
fn the_room_is_shown_and_what_is_not_known_never_looks_good() {
    let room = PagedRoom::start("");
    let page = room.get("/");
    assert_eq!(page.status, 200);
    assert!(page.header("content-security-policy").starts_with("default-src 'none'"), "{}", page.head);
    assert!(page.body.contains("has never spoken"), "{}", page.body);
    assert!(page.body.contains("Nobody knows"), "{}", page.body);
    assert!(!page.body.contains("class=\"value\">0"), "{}", page.body);
    room.publish("farm/drum/a/level", level(412.0));
    let drum = room.shows("/drum/a", "412 mm");
    assert!(drum.contains("Mixed: write it down"), "{drum}");
    assert_eq!(room.get("/wall").status, 200);
    assert_eq!(room.get("/drum/nobody").status, 404);
    assert_eq!(room.get("/notice/12345").status, 404);
    assert!(page.body.len() < 60_000, "{} bytes", page.body.len());
}

#[test]
fn an_open_page_follows_the_room() {
    let room = PagedRoom::start("");
    let mut open = OpenStream::open(room.port, "/live/drum/a");
    open.hears("has never spoken");
    room.publish("farm/drum/a/level", level(412.0));
    open.hears("412 mm");
}

#[test]
fn what_is_written_down_is_kept_without_a_broker_once_and_can_be_taken_back() {
    let mut room = PagedRoom::start("");
    drop(room.broker.take());
    let kept = || room.site.ask("SELECT count(*) FROM field_log");
    // A thumb that taps twice, and one that goes back and sends other figures.
    let other: Vec<_> =
        MIXED.into_iter().map(|(name, value)| (name, if name == "water" { "90" } else { value })).collect();
    for (fields, says) in [
        (MIXED.to_vec(), "Written down: "),
        (MIXED.to_vec(), "Written down already, and counted once: "),
        (other, "Not written down: this form was sent before, and that stands: "),
    ] {
        let said = web::post(room.port, "/log", &fields);
        assert_eq!(said.status, 200, "{}", said.body);
        assert!(said.body.contains(says), "{says}: {}", said.body);
        assert!(said.body.contains("113 L of water and 2.05 kg of clay"), "{}", said.body);
    }
    assert_eq!(kept(), "1");
    assert_eq!(
        room.site.ask("SELECT count(*) FROM notice WHERE kind = 'query'"),
        "0",
        "nobody is asked about it"
    );
    let undo = [("kind", "note"), ("text", "Taken back."), ("replaces", "page0000000000000001")];
    let said = web::post(room.port, "/log", &undo);
    assert!(said.body.contains("Written down: "), "{}", said.body);
    assert_eq!(room.site.ask("SELECT count(*) FROM field_log WHERE replaces = 'page0000000000000001'"), "1");
}

#[test]
fn what_can_hardly_be_meant_is_asked_about_before_it_is_taken() {
    let room = PagedRoom::start("");
    let kept = || room.site.ask("SELECT count(*) FROM field_log");
    let absurd: Vec<_> = MIXED
        .into_iter()
        .map(|(name, value)| if name == "water" { (name, "1500") } else { (name, value) })
        .collect();
    let said = web::post(room.port, "/log", &absurd);
    assert!(
        said.body.contains("Not written down yet. ") && said.body.contains("Is it right?"),
        "{}",
        said.body
    );
    assert_eq!(kept(), "0");
    let sure: Vec<_> = absurd.into_iter().chain([("sure", "yes")]).collect();
    assert!(web::post(room.port, "/log", &sure).body.contains("Written down: "));
    assert_eq!(kept(), "1");
    for (name, typed, why) in [
        ("water", "much", "begin with a number"),
        ("water", "4 lb", "be used here"),
        ("clay", "-3", "zero or more"),
        ("drum", "z", "choose what it is about"),
        ("kind", "paint", "there is no such entry"),
    ] {
        let bad: Vec<_> = MIXED
            .into_iter()
            .map(|(key, value)| if key == name { (key, typed) } else { (key, value) })
            .collect();
        let said = web::post(room.port, "/log", &bad);
        assert!(said.body.contains("Not written down") && said.body.contains(why), "{typed}: {}", said.body);
    }
    assert_eq!(kept(), "1");
}

#[test]
fn only_pages_of_our_own_change_anything_and_only_this_machine_looks() {
    let room = PagedRoom::start("");
    let port = room.port;
    for origin in ["https://elsewhere.example.org", "null", "http://localhost:1"] {
        assert_eq!(web::post_from(port, "/log", &MIXED, origin).status, 403, "{origin}");
    }
    let other = format!("GET / HTTP/1.1\r\nHost: rebound.example.org:{port}\r\nConnection: close\r\n\r\n");
    assert_eq!(web::ask(port, &other).status, 421);
    let large = "x".repeat(40_000);
    let status = web::post(port, "/log", &[("kind", "note"), ("text", &large)]).status;
    assert_eq!(status, 413);
    assert_eq!(room.site.ask("SELECT count(*) FROM field_log"), "0");
    let led = format!(
        "GET /light/night HTTP/1.1\r\nHost: localhost:{port}\r\nReferer: https://elsewhere.example.org//x\r\nConnection: close\r\n\r\n"
    );
    assert_eq!(web::ask(port, &led).header("location"), "/");
}

/// Payloads after the OWASP Cross Site Scripting Prevention and Filter Evasion Cheat Sheets (from memory).
const HOSTILE: [&str; 6] = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "'-alert(1)-'",
    "<svg/onload=alert(1)>",
    "{{7*7}}<% 7*7 %>",
    "javascript:alert(1)//",
];

#[test]
fn what_people_typed_stays_text() {
    let room =
        PagedRoom::start("[[contact]]\nid = \"x\"\nname = \"<script>alert(1)</script>\"\nmqtt = true\n");
    for (n, hostile) in HOSTILE.into_iter().enumerate() {
        let key = format!("page{n}");
        let fields = [("kind", "note"), ("text", hostile), ("by", "x"), ("key", &key)];
        let said = web::post(room.port, "/log", &fields);
        assert_eq!(said.status, 200, "{hostile}");
        assert!(said.body.contains("Written down: "), "{}", said.body);
        let stranger = web::post(room.port, "/log", &[("kind", "note"), ("text", hostile), ("by", hostile)]);
        assert!(stranger.body.contains("choose what it is about"), "{}", stranger.body);
        for tag in ["<script>alert", "<img", "<svg/onload", "49"] {
            assert!(!said.body.contains(tag), "{hostile}: {}", said.body);
        }
    }
    for path in ["/", "/log", "/drum/%3Cscript%3Ealert(1)%3C%2Fscript%3E", "/notice/%3Cimg%20src=x%3E"] {
        let page = room.get(path).body;
        assert!(!page.contains("<script>alert") && !page.contains("<img"), "{path}: {page}");
    }
}

#[test]
fn a_warning_is_answered_on_the_page_and_a_thousand_slow_readers_stop_none() {
    let (mail, port) = (MailServer::start(&[]), free_port());
    let barn = Barn::new(mail.port(), &format!("[page]\nlisten = \"127.0.0.1:{port}\""));
    // By day, so that no evening check was missed that would tell it first.
    barn.set_clock("2027-03-02T09:03:00Z");
    let _daemon = barn.watched();
    let slow: Vec<TcpStream> =
        (0..1000).map_while(|_| TcpStream::connect(("127.0.0.1", port)).ok()).collect();
    assert!(slow.len() >= 900, "{} connections", slow.len());
    barn.runs_dry();
    let warning = barn.tells("the drum is warned of", |told| told.kind == "runout");
    drop(slow);
    let number = warning.number.to_string();
    let room = wait_seeing("the warning stands on the page", || {
        let page = web::get(port, "/").body;
        if page.contains(&format!("/notice/{number}")) { Ok(page) } else { Err(page) }
    });
    assert!(room.contains("nobody has answered"), "{room}");
    let notice = web::get(port, &format!("/notice/{number}")).body;
    assert!(notice.contains("I'm on it") || notice.contains("I&#39;m on it"), "{notice}");
    let said = web::post(port, "/answer", &[("notice", &number), ("by", "duty"), ("there_in", "30")]);
    assert!(said.body.contains("Person on duty"), "{}", said.body);
    assert_eq!(barn.ask(&format!("SELECT count(*) FROM answer WHERE notice = {number}")), "1");
    let room = web::get(port, "/").body;
    assert!(room.contains("Person on duty is on it until"), "{room}");
    let nobody = web::post(port, "/answer", &[("notice", &number), ("by", "")]);
    assert!(nobody.body.contains("choose who goes"), "{}", nobody.body);
}

#[test]
fn json_answers_are_as_their_description_says() {
    let room = PagedRoom::start("");
    room.publish("farm/drum/a/level", level(412.0));
    room.shows("/drum/a", "412 mm");
    let described: Value = serde_json::from_str(&room.get("/api/v1/openapi.json").body).unwrap();
    let paths = described["paths"].as_object().unwrap();
    assert_eq!(paths.len(), 3);
    for (path, operations) in paths {
        let schema = &operations["get"]["responses"]["200"]["content"]["application/json"]["schema"];
        let answer: Value = serde_json::from_str(&room.get(path).body).unwrap();
        fits(&described, schema, &answer, path);
    }
    assert_eq!(room.get("/api/v1/nothing").status, 404);
}

/// Whether an answer has what its schema names, of the types that it names, and nothing else.
fn fits(described: &Value, schema: &Value, answer: &Value, at: &str) {
    if let Some(name) = schema["$ref"].as_str() {
        let schema = described.pointer(name.trim_start_matches('#')).unwrap();
        return fits(described, schema, answer, at);
    }
    let types = &schema["type"];
    let one_of: Vec<&str> = types.as_array().map_or_else(
        || vec![types.as_str().unwrap()],
        |several| several.iter().map(|name| name.as_str().unwrap()).collect(),
    );
    let found = match answer {
        Value::Null => "null",
        Value::Bool(_) => "boolean",
        Value::Number(number) if number.is_f64() => "number",
        Value::Number(_) if one_of.contains(&"integer") => "integer",
        Value::Number(_) => "number",
        Value::String(_) => "string",
        Value::Array(_) => "array",
        Value::Object(_) => "object",
    };
    assert!(one_of.contains(&found), "{at} is {found}, described as {one_of:?}");
    for item in answer.as_array().into_iter().flatten() {
        fits(described, &schema["items"], item, &format!("{at}[]"));
    }
    let (Some(members), Some(known)) = (answer.as_object(), schema["properties"].as_object()) else { return };
    for (name, member) in members {
        let of = known.get(name).unwrap_or_else(|| panic!("{at}.{name} isn't described"));
        fits(described, of, member, &format!("{at}.{name}"));
    }
    let there: BTreeSet<&str> = members.keys().map(String::as_str).collect();
    for name in schema["required"].as_array().into_iter().flatten() {
        assert!(there.contains(name.as_str().unwrap()), "{at} lacks {name}");
    }
}
