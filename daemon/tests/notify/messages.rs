//! The mail itself, as Python's email package reads it.

use claymark_notice::Priority;
use claymark_store::batch::Issued;

use crate::office::{Office, notice, settings};
use claymark_tests::mail::{Mail, MailServer};

#[tokio::test]
async fn a_mail_says_what_it_is_and_is_read_back_without_a_defect() {
    let mut replacing = notice(8, Priority::Now);
    replacing.notice.replaces = Some(7);
    replacing.subject = "Drum A: dry about 03:10 – be there by 02:25 (Äyskäri)".to_owned();
    replacing.text =
        format!("Litres now: 40,5 °C…\n.\n..dots\ntrailing space \n\n{}\nFrom here\n", "x".repeat(2_000));
    let mail = sent(replacing.clone(), |_| {}).await;
    assert_eq!(mail.header("Subject"), replacing.subject);
    assert_eq!(mail.text, replacing.text);
    assert_eq!(mail.date, "2027-04-20T17:00:00+03:00");
    assert_eq!(mail.header("From"), "Alder Bend Hatchery <claymark@barn.example>");
    assert_eq!(mail.header("To"), "On call <on-call@barn.example>");
    assert_eq!(mail.from, "claymark@barn.example");
    assert_eq!(mail.header("Auto-Submitted"), "auto-generated");
    assert_eq!(mail.header("Message-ID"), "<alder-bend.8.on-call@barn.example>");
    assert_eq!(mail.header("In-Reply-To"), "<alder-bend.7.on-call@barn.example>");
    assert_eq!(mail.header("References"), "<alder-bend.7.on-call@barn.example>");
    assert_eq!(mail.header("MIME-Version"), "1.0");
    assert_eq!(mail.header("Content-Type"), "text/plain; charset=\"utf-8\"");
    assert_eq!(mail.header("Content-Transfer-Encoding"), "quoted-printable");
    assert!(mail.headers.iter().all(|(name, _)| name != "List-Unsubscribe"), "{:?}", mail.headers);
    sound(&mail);
}

#[tokio::test]
async fn a_line_break_in_a_name_starts_no_header() {
    let mut issued = notice(7, Priority::Now);
    issued.subject = "Drum A\r\nBcc: all@barn.example\r\n\r\nbody\0".to_owned();
    let mail = sent(issued, |name| *name = "On call\r\nX-Evil: yes".to_owned()).await;
    assert_eq!(mail.header("Subject"), "Drum A Bcc: all@barn.example body[U+0000 null]");
    assert_eq!(mail.header("To"), "\"On call X-Evil: yes\" <on-call@barn.example>");
    assert_eq!(mail.to, ["on-call@barn.example"]);
    let evil = |name: &str| mail.headers.iter().any(|(found, _)| found.eq_ignore_ascii_case(name));
    assert!(!evil("Bcc") && !evil("X-Evil"), "{:?}", mail.headers);
    sound(&mail);
}

#[tokio::test]
async fn a_sender_with_a_name_of_its_own_keeps_it() {
    let server = MailServer::start(&[]);
    let mut settings = settings(server.port());
    settings.smtp.as_mut().unwrap().from = "\"Larval room\" <room@barn.example>".to_owned();
    let mut office = Office::open(settings, vec![]);
    office.tell(notice(7, Priority::Now)).await;
    office.outcome().await;
    assert_eq!(server.mail().header("From"), "Larval room <room@barn.example>");
    office.close().await;
}

async fn sent(issued: Issued, rename: impl FnOnce(&mut String)) -> Mail {
    let server = MailServer::start(&[]);
    let mut settings = settings(server.port());
    rename(&mut settings.addresses[0].name);
    let mut office = Office::open(settings, vec![]);
    office.tell(issued).await;
    office.outcome().await;
    office.close().await;
    server.mail()
}

/// RFC 5322 section 2.1.1: lines of at most 998, CRLF only; and Python finds no defect.
fn sound(mail: &Mail) {
    assert_eq!(mail.defects, Vec::<String>::new());
    assert_eq!(mail.changed_by_writing_again, Vec::<String>::new());
    assert!(mail.ascii);
    assert!(mail.longest_line <= 78, "{}", mail.longest_line);
    assert_eq!(mail.bare_line_ends, 0);
}
