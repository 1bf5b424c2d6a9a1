//! A notice as a mail: plain text, marked as sent by a machine, recognisable when it comes twice.

use std::time::{Duration, SystemTime};

use jiff::fmt::rfc2822;
use lettre::Message;
use lettre::message::header::{
    ContentTransferEncoding, ContentType, HeaderName, HeaderValue, MIME_VERSION_1_0,
};
use lettre::message::{Body, Mailbox};

use claymark_words::typed;

use super::Smtp;
use super::packet::{Letterhead, Packet};

/// Writes the mail; an error says why it can't be written, ever.
pub(super) fn message(
    letterhead: &Letterhead,
    server: &Smtp,
    (name, to): (&str, &str),
    packet: &Packet,
) -> Result<Message, String> {
    let mut from: Mailbox =
        server.from.parse().map_err(|error| format!("'{}' isn't a sender: {error}", server.from))?;
    from.name = from.name.or_else(|| Some(one_line(&letterhead.site_name)));
    let address = to.parse().map_err(|error| format!("'{to}' isn't a mail address: {error}"))?;
    let domain = from.email.domain().to_owned();
    // The same for the same notice to the same contact: a repeat after a crash can be recognised.
    let message_id = |id: &str| format!("<{id}@{domain}>");

    let since_1970 = Duration::from_secs(u64::try_from(packet.at.as_second()).unwrap_or(0));
    let mut headers = Message::builder()
        .date(SystemTime::UNIX_EPOCH + since_1970)
        .from(from)
        .to(Mailbox::new(Some(one_line(name)), address))
        .subject(one_line(&packet.subject))
        .message_id(Some(message_id(&packet.id)))
        // RFC 3834 section 5: nobody's out-of-office answers to it.
        .raw_header(HeaderValue::new(
            HeaderName::new_from_ascii_str("Auto-Submitted"),
            "auto-generated".to_owned(),
        ));
    if let Some(replaced) = &packet.replaces {
        headers = headers.in_reply_to(message_id(replaced)).references(message_id(replaced));
    }
    if let Some(reply) = &packet.reply {
        let to = reply.to.parse().map_err(|error| format!("'{}' isn't a mail address: {error}", reply.to))?;
        headers = headers.reply_to(Mailbox::new(None, to));
    }
    // The end of the mail brings the last line end.
    let mut text = packet.text.trim_end_matches('\n').to_owned();
    if let Some(reply) = &packet.reply {
        text.push_str("\n\n");
        text.push_str(&reply.how);
    }
    let body = Body::new_with_encoding(text, ContentTransferEncoding::QuotedPrintable)
        .map_err(|_text| "the text can't be written as quoted-printable".to_owned())?;
    let mut message = headers
        .header(MIME_VERSION_1_0)
        .header(ContentType::TEXT_PLAIN)
        .body(body)
        .map_err(|error| format!("the mail can't be written: {error}"))?;

    // The builder writes UTC only; people read the time of their own clock (RFC 5322 section 3.6.1).
    let local = packet.at.to_zoned_datetime(letterhead.time_zone.clone());
    if let Ok(date) = rfc2822::to_string(&local) {
        message.headers_mut().insert_raw(HeaderValue::new(HeaderName::new_from_ascii_str("Date"), date));
    }
    Ok(message)
}

/// A line break or NUL in a name could start a header of its own (RFC 5322 section 2.2). It becomes a space or a code:
/// refusing the whole notice would silence a warning.
fn one_line(text: &str) -> String {
    typed::name(text)
}
