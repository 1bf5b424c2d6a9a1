//! `[[contact]]` and `[email]`: who is told, and by which server.

use lettre::Address as MailAddress;
use lettre::message::Mailbox;
use toml::Spanned;
use toml::de::DeValue;

use claymark_model::site::Contact;

use super::Surroundings;
use super::broker::{certificates, on_this_machine};
use super::keeping::given;
use super::list::List;
use super::roster;
use super::secrets;
use super::table::Table;
use super::value::{self, Wrong};
use super::ways;
use crate::notify::{Address, Patience, Security, Smtp};

/// Who is told, and how.
pub(super) struct People {
    pub(super) contacts: Vec<Contact>,
    pub(super) addresses: Vec<Address>,
    pub(super) smtp: Option<Smtp>,
}

/// Reads both.
pub(super) fn people(file: &Table<'_>, around: &Surroundings) -> Option<People> {
    let email = file.table("email");
    let has_email = email.is_some();
    let mut contacts = Vec::new();
    let list = List::read(file, "contact", |table, contact, name| {
        contacts.push(roster::contact(table, contact.clone(), name.clone()));
        let email = table.maybe("email", mail_address);
        let mqtt = table.or("mqtt", false, value::yes_or_no);
        let webhook = table.table("webhook").map(|table| ways::webhook(table, around));
        let command = table.table("command").map(|table| ways::command(table));
        let other = webhook.is_some() || command.is_some();
        match &email {
            None if other => {}
            None if !mqtt && table.key_span("email").is_none() && table.key_span("mqtt").is_none() => {
                let remedy = "Add email = \"…\", a webhook or a command, or mqtt = true for a device that listens on \
                              <prefix>/notice/<id>.";
                table.lacks("email", "the contact has no address", remedy);
            }
            None if !mqtt && table.key_span("email").is_none() => {
                let remedy = "Add email = \"…\", a webhook or a command, or write mqtt = true.";
                table.findings.mistake(table.span(), "the contact has no address", remedy);
            }
            Some(address) if !has_email => {
                let what = "email: there is no [email] server to send it";
                table.findings.mistake(address.span(), what, "Add [email] with host and from.");
            }
            Some(_) | None => {}
        }
        // A section that was given and can't be used is a mistake, so `?` ends here only after it was told.
        let (webhook, command) = (given(webhook)?, given(command)?);
        Some(Address { contact, name, email: email.map(Spanned::into_inner), mqtt, webhook, command })
    });
    if list.ids.is_empty() && file.key_span("contact").is_none() {
        let remedy = "Add a [[contact]] with id, name and email: first the person who is called first.";
        file.findings.warning(file.span(), "there is no [[contact]]: nobody will be told anything", remedy);
    }
    let smtp = match email {
        Some(table) => {
            let smtp = smtp(&table, around);
            if list.things.iter().all(|address| address.email.is_none()) {
                let what = "there is a mail server, but no contact has a mail address";
                file.findings.warning(table.span(), what, "Add email = \"…\" to a [[contact]].");
            }
            table.finish();
            Some(smtp?)
        }
        None => None,
    };
    let only_mqtt = |address: &Address| address.only_by_mqtt();
    if let (Some(first), true) = (list.things.first(), list.things.iter().all(only_mqtt)) {
        let what = "every contact is told by MQTT alone: nobody can be reached while the broker is down";
        let remedy =
            "Add email, webhook or command to somebody who is called; a lamp or a screen may do with MQTT.";
        file.findings.warning(list.span(&first.contact), what, remedy);
    }
    Some(People { contacts, addresses: list.things, smtp })
}

fn smtp(table: &Table<'_>, around: &Surroundings) -> Option<Smtp> {
    let host = table.need("host", "the name of the mail server", value::host);
    let security = table.maybe("security", value::one_of(SECURITIES));
    let kind = security.as_ref().map_or(Security::Tls, |security| *security.get_ref());
    let usual_port = match kind {
        Security::Tls => 465,
        Security::StartTls => 587,
        Security::None => 25,
    };
    let port = table.or("port", usual_port, value::whole(1, u16::MAX));
    let from = table.need("from", "\"Claymark <claymark@…>\"", sender);
    let login = secrets::login(table, around);
    let ca_pem = certificates(table, around).map(|(_, pem)| pem);
    if let (Some(host), Some(security), Security::None) = (&host, &security, kind)
        && !on_this_machine(host.get_ref())
    {
        let what = format!("security: mail would travel to {} in the clear", host.get_ref());
        let remedy =
            "Write \"tls\" (port 465) or \"starttls\" (port 587); \"none\" is for a server on this machine.";
        table.findings.mistake(security.span(), what, remedy);
    }
    let (host, from) = (host?.into_inner(), from?.into_inner());
    Some(Smtp { host, port, security: kind, ca_pem, login, from, patience: Patience::default() })
}

pub(super) fn mail_address(value: &DeValue<'_>) -> Result<String, Wrong> {
    let text = value::text(value)?;
    text.parse::<MailAddress>().map(|address| address.to_string()).map_err(|error| Wrong {
        what: format!("'{text}' isn't a mail address: {error}"),
        remedy: "Write it as name@example.org, the person's name goes into name.".to_owned(),
    })
}

/// An address, or a name with an address in angle brackets.
fn sender(value: &DeValue<'_>) -> Result<String, Wrong> {
    let text = value::text(value)?;
    text.parse::<Mailbox>().map(|mailbox| mailbox.to_string()).map_err(|error| Wrong {
        what: format!("'{text}' isn't a sender: {error}"),
        remedy: "Write name@example.org or \"Claymark <name@example.org>\".".to_owned(),
    })
}

const SECURITIES: &[(&str, Security)] =
    &[("tls", Security::Tls), ("starttls", Security::StartTls), ("none", Security::None)];
