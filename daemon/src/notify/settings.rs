//! Where people are reached, and through which mail server.

use std::time::Duration;

use claymark_model::id::Id;
use claymark_notice::{Content, Notice};
use claymark_store::batch::{Channel, Delivery, DeliveryState};

use super::{LocalCommand, Webhook};
use crate::intake::Login;

/// Where one contact is reached.
#[derive(Clone, PartialEq, Eq)]
pub struct Address {
    /// The contact.
    pub contact: Id,
    /// For the To: line.
    pub name: String,
    /// Mail address; checked.
    pub email: Option<String>,
    /// Whether notices are also published below `<prefix>/notice/<contact>`.
    pub mqtt: bool,
    /// Where notices are posted.
    pub webhook: Option<Webhook>,
    /// The command that tells them.
    pub command: Option<LocalCommand>,
}

impl Address {
    /// Whether nothing gets there while the broker is down.
    #[must_use]
    pub fn only_by_mqtt(&self) -> bool {
        self.mqtt && self.email.is_none() && self.webhook.is_none() && self.command.is_none()
    }
}

/// How the connection to the mail server is protected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Security {
    /// TLS from the first byte (port 465).
    Tls,
    /// STARTTLS, required (port 587).
    StartTls,
    /// None: only to a server on this machine.
    None,
}

/// The mail server.
#[derive(Clone, PartialEq, Eq)]
pub struct Smtp {
    /// Host name.
    pub host: String,
    /// TCP port.
    pub port: u16,
    /// How it is protected.
    pub security: Security,
    /// PEM of the own certificate authority; `None`: the system's roots.
    pub ca_pem: Option<Vec<u8>>,
    /// Who we are.
    pub login: Option<Login>,
    /// The address that notices come from.
    pub from: String,
    /// How long it is waited for.
    pub patience: Patience,
}

/// How long one attempt may take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// From the connection to the word that the data may come: a server that dribbles mustn't hold up the next letter.
    pub dialogue: Duration,
    /// From the data to the word that they are taken. RFC 5321 section 4.5.3.2.6 has 10 minutes (from memory), since
    /// who waits less gets doubles; but a call to the same person can't wait behind this one for so long.
    pub data: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        Self { dialogue: Duration::from_secs(60), data: Duration::from_secs(60) }
    }
}

/// What sending needs.
#[derive(Clone, PartialEq, Eq)]
pub struct Settings {
    /// `None`: no mail is sent.
    pub smtp: Option<Smtp>,
    /// In the order of the site file.
    pub addresses: Vec<Address>,
    /// MQTT notices go below it.
    pub prefix: String,
    /// How a mail is answered by a reply; `None`: it can't be.
    pub replies: Option<ReplyCodes>,
}

/// What a mail says of how to answer it.
#[derive(Clone, PartialEq, Eq)]
pub struct ReplyCodes {
    /// What the codes are made from.
    pub secret: String,
    /// Where replies go; checked.
    pub address: String,
}

impl Settings {
    /// By which ways each contact is reached, in the order of the site file.
    #[must_use]
    pub fn ways(&self) -> ContactWays {
        let of = |address: &Address| {
            let email = (self.smtp.is_some() && address.email.is_some()).then_some(Channel::Email);
            let mqtt = address.mqtt.then_some(Channel::Mqtt);
            let webhook = address.webhook.is_some().then_some(Channel::Webhook);
            let command = address.command.is_some().then_some(Channel::Command);
            let contact = address.contact.clone();
            [email, mqtt, webhook, command]
                .into_iter()
                .flatten()
                .map(move |channel| (contact.clone(), channel))
        };
        ContactWays(self.addresses.iter().flat_map(of).collect())
    }

    /// Who has that mail address; letters count in either case.
    #[must_use]
    pub fn contact_of(&self, email: &str) -> Option<&Address> {
        let has =
            |address: &&Address| address.email.as_ref().is_some_and(|own| own.eq_ignore_ascii_case(email));
        self.addresses.iter().find(has)
    }

    pub(super) fn address(&self, contact: &Id) -> Option<&Address> {
        self.addresses.iter().find(|address| address.contact == *contact)
    }
}

/// By which ways people are reached, without their addresses.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ContactWays(Vec<(Id, Channel)>);

impl ContactWays {
    /// The ways of one contact.
    pub(super) fn of(self, contact: &Id) -> impl Iterator<Item = Channel> {
        let contact = contact.clone();
        self.0.into_iter().filter(move |(of, _)| *of == contact).map(|(_, channel)| channel)
    }

    /// The deliveries that a notice needs: to each contact that it is for, by each way to reach it. One that tells of
    /// a way that fails doesn't go by that way.
    ///
    /// They belong into the commit that keeps the notice, so that a restart goes on with them.
    pub fn deliveries(&self, notice: &Notice) -> impl Iterator<Item = Delivery> {
        let works = |contact: &Id, channel: Channel| match &notice.content {
            Content::Undelivered(undelivered) => !undelivered.failed(contact, channel),
            Content::EveningCheck(_)
            | Content::Runout(_)
            | Content::Withdrawn(_)
            | Content::LevelDoubt(_)
            | Content::ReadingsMissing(_)
            | Content::Failure(_)
            | Content::Unattended(_)
            | Content::Handover(_)
            | Content::Morning(_)
            | Content::TestCall(_)
            | Content::Query(_) => true,
        };
        let go = move |(contact, channel): &&(Id, Channel)| {
            notice.to.includes(contact) && works(contact, *channel)
        };
        self.0.iter().filter(go).map(|(contact, channel)| Delivery {
            notice: notice.number,
            contact: contact.clone(),
            channel: *channel,
            state: DeliveryState::Pending { attempts: 0, next_try: notice.at, last_error: None },
        })
    }
}
