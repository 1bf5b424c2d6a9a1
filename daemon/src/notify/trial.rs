//! Tries the ways of one contact with a test that says so, as a notice would go, once each.

use jiff::Timestamp;

use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_store::batch::Channel;
use claymark_words::notice::Wording;

use super::packet::{Letterhead, Packet};
use super::schedule::Attempt;
use super::{Address, Settings, command, mail, smtp, webhook};

/// Writes to one contact by mail what became of a reply, once; the error is why it didn't get there.
pub async fn write_back(
    site: &Site,
    settings: &Settings,
    contact: &Id,
    at: Timestamp,
    said: Wording,
) -> Result<(), String> {
    let packet = Packet::back(site, contact, at, said);
    let trial = settings.address(contact).map(|address| Trial { site, settings, address, packet, at });
    match trial {
        Some(trial) => trial.send(Channel::Email).await,
        None => Err("the contact isn't in the site file any more".to_owned()),
    }
}

/// A test on its way to one contact.
pub struct Trial<'a> {
    site: &'a Site,
    settings: &'a Settings,
    address: &'a Address,
    packet: Packet,
    at: Timestamp,
}

impl<'a> Trial<'a> {
    /// `None`: the site file has no such contact.
    #[must_use]
    pub fn new(site: &'a Site, settings: &'a Settings, contact: &Id, at: Timestamp) -> Option<Self> {
        let address = settings.address(contact)?;
        Some(Self {
            site,
            settings,
            address,
            packet: Packet::to_try(site, contact, at, settings.replies.as_ref()),
            at,
        })
    }

    /// All ways of the contact.
    pub fn ways(&self) -> impl Iterator<Item = Channel> {
        self.settings.ways().of(&self.address.contact)
    }

    /// What goes to the broker: the topic and the payload.
    #[must_use]
    pub fn message(&self) -> (String, &str) {
        (format!("{}/notice/{}", self.settings.prefix, self.address.contact), &self.packet.line)
    }

    /// Sends it by a way other than MQTT; the error is why it didn't get there, or may not have.
    pub async fn send(&self, channel: Channel) -> Result<(), String> {
        let Address { name, email, webhook, command, .. } = self.address;
        let at_once = std::future::ready(());
        let attempt = match channel {
            Channel::Email => match (&self.settings.smtp, email) {
                (Some(server), Some(to)) => {
                    let letterhead = Letterhead::of(self.site);
                    let message = mail::message(&letterhead, server, (name, to), &self.packet)?;
                    Some(smtp::send(server, &message, at_once).await)
                }
                _ => None,
            },
            Channel::Webhook => match webhook {
                Some(webhook) => Some(webhook::send(webhook, &self.packet, self.at, at_once).await),
                None => None,
            },
            Channel::Command => match command {
                Some(command) => {
                    let text = self.packet.for_command(command.short);
                    Some(command::run(command, &text, command::PATIENCE, at_once).await)
                }
                None => None,
            },
            Channel::Mqtt => None,
        };
        match attempt {
            Some(Attempt::Accepted) => Ok(()),
            Some(Attempt::Later(why) | Attempt::Unanswered(why) | Attempt::Never(why)) => Err(why),
            Some(Attempt::Interrupted) | None => Err("there is no such way".to_owned()),
        }
    }
}
