//! What a mail says, as far as an answer needs it.

use mail_parser::decoders::html::html_to_text;
use mail_parser::{HeaderValue, MessageParser};

/// One mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReplyMail {
    /// The address that it says to come from.
    pub from: String,
    /// The first line that was written and not quoted.
    pub first_line: String,
    /// A machine sent it: an absence note, a bounce, a list.
    pub by_a_machine: bool,
}

impl ReplyMail {
    /// Reads one, or the beginning of a long one. `None`: it has no sender, or no head.
    #[must_use]
    pub fn read(raw: &[u8]) -> Option<Self> {
        let mail = MessageParser::default().parse(raw)?;
        let from = mail.from()?.first()?.address()?.to_owned();
        let text = if mail.text_part(0).is_some_and(|part| part.is_text_html()) {
            of_html(&mail.body_html(0).unwrap_or_default())
        } else {
            mail.body_text(0).unwrap_or_default().into_owned()
        };
        let written = |line: &&str| !line.is_empty() && !line.starts_with('>');
        let first_line = text.lines().map(str::trim).find(written).unwrap_or_default().to_owned();
        let says = |name: &'static str| match mail.header(name) {
            Some(HeaderValue::Text(said)) => Some(said.trim().to_ascii_lowercase()),
            Some(_) => Some(String::new()),
            None => None,
        };
        // RFC 3834 section 5, and what older machines write.
        let by_a_machine = says("Auto-Submitted").is_some_and(|said| said != "no")
            || says("Precedence")
                .is_some_and(|said| ["bulk", "list", "junk", "auto_reply"].contains(&said.as_str()))
            || mail.header("List-Id").is_some()
            || says("Return-Path").is_some_and(|said| said == "<>");
        Some(Self { from, first_line, by_a_machine })
    }
}

/// The text of a page, each block in lines of its own: the library runs them together.
fn of_html(page: &str) -> String {
    let lower = page.to_ascii_lowercase();
    let begins = |tag: &&str| BLOCKS.iter().any(|block| tag.starts_with(block));
    let mut text = String::new();
    let mut begun = 0;
    for (place, _) in lower.match_indices('<') {
        if lower.get(place..).is_some_and(|tag| begins(&tag)) {
            text.push_str(&html_to_text(page.get(begun..place).unwrap_or_default()));
            text.push('\n');
            begun = place;
        }
    }
    text.push_str(&html_to_text(page.get(begun..).unwrap_or_default()));
    text
}

const BLOCKS: [&str; 8] = ["<br", "<div", "</div", "<p", "</p", "<blockquote", "<table", "<hr"];

#[cfg(test)]
mod tests {
    use super::*;

    fn read(head: &str, body: &str) -> ReplyMail {
        let raw = format!("From: Ann <ann@barn.example>\r\n{head}\r\n{body}");
        ReplyMail::read(raw.as_bytes()).unwrap()
    }

    #[test]
    fn the_first_line_is_what_was_written_above_the_quoted_notice() {
        let quoted = "\r\n\r\nOn Tuesday, Claymark wrote:\r\n> Reply with 8 4711\r\n";
        assert_eq!(read("", &format!("\r\n  8 4711 04:30 {quoted}")).first_line, "8 4711 04:30");
        assert_eq!(read("", &format!("> On it? 8 4711\r\n\r\n8 4711{quoted}")).first_line, "8 4711");
        assert_eq!(read("", "").first_line, "");
        let html = "Content-Type: text/html; charset=utf-8\r\n";
        assert_eq!(
            read(html, "<div>8&nbsp;4711</div><blockquote>9 9999</blockquote>")
                .first_line
                .replace('\u{a0}', " "),
            "8 4711"
        );
        let encoded = "Content-Type: text/plain; charset=utf-8\r\nContent-Transfer-Encoding: base64\r\n";
        assert_eq!(read(encoded, "OCA0NzExCg==").first_line, "8 4711");
    }

    #[test]
    fn what_a_machine_sent_is_known_as_such() {
        for (head, by_a_machine) in [
            ("", false),
            ("Auto-Submitted: no\r\n", false),
            ("Auto-Submitted: auto-replied\r\n", true),
            ("Precedence: bulk\r\n", true),
            ("List-Id: <barn.example>\r\n", true),
        ] {
            assert_eq!(read(head, "8 4711").by_a_machine, by_a_machine, "{head}");
        }
    }

    #[test]
    fn what_is_no_mail_is_none_and_no_byte_ends_us() {
        assert_eq!(ReplyMail::read(b""), None);
        assert_eq!(ReplyMail::read(b"Subject: no sender\r\n\r\n8 4711"), None);
        let mut raw =
            b"From: a@b.example\r\nContent-Type: multipart/mixed; boundary=x\r\n\r\n--x\r\n".to_vec();
        raw.extend(0..=255);
        assert!(ReplyMail::read(&raw).is_some());
    }
}
