//! A notice as a mail: plain text, marked as sent by a machine, recognisable when it comes twice.

use std::time::{Duration, SystemTime};

use jiff::fmt::rfc2822;
use lettre::Message;
use lettre::message::header::{
    ContentTransferEncoding, ContentType, HeaderName, HeaderValue, MIME_VERSION_1_0,
};
use lettre::message::{Body, Mailbox};

use claymark_model::id::Id;
use claymark_words::typed;

use super::letter::Letter;
use super::{Sender, Smtp};

/// Writes the mail; an error says why it can't be written, ever.
pub(super) fn message(
    sender: &Sender,
    server: &Smtp,
    name: &str,
    to: &str,
    letter: &Letter,
) -> Result<Message, String> {
    let notice = letter.notice();
    let mut from: Mailbox =
        server.from.parse().map_err(|error| format!("'{}' isn't a sender: {error}", server.from))?;
    from.name = from.name.or_else(|| Some(one_line(&sender.site_name)));
    let address = to.parse().map_err(|error| format!("'{to}' isn't a mail address: {error}"))?;
    let domain = from.email.domain().to_owned();
    let id = |number| message_id(&sender.site, number, &letter.contact, &domain);

    let since_1970 = Duration::from_secs(u64::try_from(notice.at.as_second()).unwrap_or(0));
    let mut headers = Message::builder()
        .date(SystemTime::UNIX_EPOCH + since_1970)
        .from(from)
        .to(Mailbox::new(Some(one_line(name)), address))
        .subject(one_line(&letter.issued.subject))
        .message_id(Some(id(notice.number)))
        // RFC 3834 section 5: nobody's out-of-office answers to it.
        .raw_header(HeaderValue::new(
            HeaderName::new_from_ascii_str("Auto-Submitted"),
            "auto-generated".to_owned(),
        ));
    if let Some(replaced) = notice.replaces {
        headers = headers.in_reply_to(id(replaced)).references(id(replaced));
    }
    // The end of the mail brings the last line end.
    let text = letter.issued.text.trim_end_matches('\n').to_owned();
    let body = Body::new_with_encoding(text, ContentTransferEncoding::QuotedPrintable)
        .map_err(|_text| "the text can't be written as quoted-printable".to_owned())?;
    let mut message = headers
        .header(MIME_VERSION_1_0)
        .header(ContentType::TEXT_PLAIN)
        .body(body)
        .map_err(|error| format!("the mail can't be written: {error}"))?;

    // The builder writes UTC only; people read the time of their own clock (RFC 5322 section 3.6.1).
    let local = notice.at.to_zoned_datetime(sender.time_zone.clone());
    if let Ok(date) = rfc2822::to_string(&local) {
        message.headers_mut().insert_raw(HeaderValue::new(HeaderName::new_from_ascii_str("Date"), date));
    }
    Ok(message)
}

/// The same for the same notice to the same contact: a repeat after a crash can be recognised.
fn message_id(site: &Id, number: u64, contact: &Id, domain: &str) -> String {
    format!("<{site}.{number}.{contact}@{domain}>")
}

/// A line break or NUL in a name could start a header of its own (RFC 5322 section 2.2). It becomes a space or a code:
/// refusing the whole notice would silence a warning.
fn one_line(text: &str) -> String {
    typed::name(text)
}
