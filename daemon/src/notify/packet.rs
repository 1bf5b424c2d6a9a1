//! What one contact is sent, whatever the way: made once, then only carried.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_words::notice::{Wording, short};
use claymark_words::{replies, try_out};

use super::letter::Letter;
use super::{ReplyCodes, line};
use crate::replies::code;

/// One notice, or the test of a way, to one contact.
#[derive(Debug, Clone)]
pub(super) struct Packet {
    /// The same each time that the same goes to the same contact; of ids and numbers only, so that it fits any header.
    pub(super) id: String,
    /// When it was decided.
    pub(super) at: Timestamp,
    /// First line.
    pub(super) subject: String,
    /// The rest.
    pub(super) text: String,
    /// For a short message.
    pub(super) short: String,
    /// JSON for the broker.
    pub(super) line: String,
    /// JSON for a webhook.
    pub(super) body: String,
    /// The id of what it replaces.
    pub(super) replaces: Option<String>,
    /// How to answer by mail, and where to; `None`: no answer is wanted, or none can be given so.
    pub(super) reply: Option<ReplyLine>,
}

/// How a mail is answered.
#[derive(Debug, Clone)]
pub(super) struct ReplyLine {
    pub(super) how: String,
    pub(super) to: String,
}

impl ReplyLine {
    fn of(codes: &ReplyCodes, contact: &Id, notice: u64) -> Self {
        let code = code::of(&codes.secret, contact, notice);
        Self { how: replies::how(notice, &code), to: codes.address.clone() }
    }
}

/// Who writes.
#[derive(Debug, Clone)]
pub(super) struct Letterhead {
    pub(super) site_name: String,
    pub(super) time_zone: TimeZone,
}

impl Letterhead {
    pub(super) fn of(site: &Site) -> Self {
        Self { site_name: site.name.clone(), time_zone: site.time_zone.clone() }
    }
}

impl Packet {
    pub(super) fn of(site: &Site, letter: &Letter, codes: Option<&ReplyCodes>) -> Self {
        let (notice, contact) = (letter.notice(), &letter.contact);
        let id = |number| format!("{}.{number}.{contact}", site.id);
        let short = short(site, notice);
        Self {
            id: id(notice.number),
            at: notice.at,
            subject: letter.issued.subject.clone(),
            text: letter.issued.text.clone(),
            line: line::notice(&letter.issued),
            body: line::to_contact(&letter.issued, contact, &short),
            short,
            replaces: notice.replaces.map(id),
            reply: codes.filter(|_| notice.asks()).map(|codes| ReplyLine::of(codes, contact, notice.number)),
        }
    }

    /// What a command reads.
    pub(super) fn for_command(&self, short: bool) -> String {
        if short { format!("{}\n", self.short) } else { format!("{}\n\n{}", self.subject, self.text) }
    }

    /// The test of a contact's ways.
    pub(super) fn to_try(site: &Site, contact: &Id, at: Timestamp, codes: Option<&ReplyCodes>) -> Self {
        let (subject, text) = (try_out::SUBJECT.to_owned(), try_out::text(contact));
        let short = subject.clone();
        Self {
            id: format!("{}.try-{}.{contact}", site.id, at.as_millisecond()),
            at,
            line: line::to_try(contact, at, (&subject, &text), None),
            body: line::to_try(contact, at, (&subject, &text), Some(&short)),
            subject,
            text,
            short,
            replaces: None,
            reply: codes.map(|codes| ReplyLine::of(codes, contact, 0)),
        }
    }

    /// What is said back to whoever wrote.
    pub(super) fn back(site: &Site, contact: &Id, at: Timestamp, said: Wording) -> Self {
        let Wording { subject, text } = said;
        let (line, body, short) = (String::new(), String::new(), String::new());
        let id = format!("{}.reply-{}.{contact}", site.id, at.as_millisecond());
        Self { id, at, subject, text, short, line, body, replaces: None, reply: None }
    }
}
