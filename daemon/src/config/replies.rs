//! `[replies]`: the mailbox in which replies to the mails arrive.

use lettre::message::Mailbox as Sender;

use super::Surroundings;
use super::broker::certificates;
use super::keeping::given;
use super::people::mail_address;
use super::secrets;
use super::table::Table;
use super::value;
use crate::intake::Tls;
use crate::notify::ReplyCodes;
use crate::replies::Settings;

/// The mailbox, and what mails say of it.
pub(super) struct ReplyMailbox {
    pub(super) settings: Settings,
    pub(super) codes: ReplyCodes,
}

/// Reads the section, where there is one.
#[expect(clippy::option_option, reason = "outside: after a mistake; inside: there is none")]
pub(super) fn replies(file: &Table<'_>, around: &Surroundings) -> Option<Option<ReplyMailbox>> {
    given(file.table("replies").map(|table| section(file, table, around)))
}

fn section(file: &Table<'_>, table: Table<'_>, around: &Surroundings) -> Option<ReplyMailbox> {
    let host = table.need("host", "\"imap.example.org\"", value::host);
    let port = table.or("port", IMAPS, value::whole(1, u16::MAX));
    let folder = table.or("folder", "INBOX".to_owned(), value::text);
    let login = secrets::login(&table, around);
    if login.is_none() && table.key_span("user").is_none() && !table.holds_typed_secret() {
        table.lacks("user", "nobody logs in at the mailbox", "Add user = \"…\" and password_file = \"…\".");
    }
    let secret = secrets::codes(&table, around);
    let ca = certificates(&table, around);
    let address = table.maybe("address", mail_address).map(toml::Spanned::into_inner);
    // What `people` finds wrong with it is told there.
    let from = file.table("email").and_then(|email| email.quietly("from", value::text));
    let from = from.and_then(|from| from.parse::<Sender>().ok()).map(|sender| sender.email.to_string());
    if file.key_span("email").is_none() {
        let what = "[replies]: there is no [email], so no mail that could be answered";
        table.findings.mistake(table.span(), what, "Add [email] with host and from, or take [replies] out.");
    }
    table.finish();
    let secret = secret?;
    let codes = ReplyCodes { secret: secret.clone(), address: address.or(from)? };
    let settings = Settings {
        host: host?.into_inner(),
        port,
        tls: Tls { ca_pem: ca.map(|(_, pem)| pem) },
        login: login?,
        folder,
        secret,
    };
    Some(ReplyMailbox { settings, codes })
}

/// TLS from the first byte (RFC 8314, from memory).
const IMAPS: u16 = 993;
