//! `[mqtt]`: the broker, and what is heard and said there.

use std::net::IpAddr;
use std::ops::Range;
use std::path::Path;

use jiff::SignedDuration;
use toml::Spanned;
use toml::de::DeValue;

use super::table::Table;
use super::value::{self, Wrong, wrong};
use super::{Surroundings, secrets};
use crate::intake::{Protocol, Settings, Tls};

/// The broker's settings with the places of the filters.
pub(super) struct Broker {
    pub(super) settings: Settings,
    pub(super) filters: Vec<Spanned<String>>,
}

/// Reads `[mqtt]`.
pub(super) fn broker(file: &Table<'_>, around: &Surroundings) -> Option<Broker> {
    let table = file.need_table("mqtt", "its host, client_id, subscribe and prefix")?;
    let host = table.need("host", "\"127.0.0.1\"", value::host);
    let tls = tls(&table, around);
    let port = table.or("port", if tls.is_some() { TLS_PORT } else { PORT }, value::whole(1, u16::MAX));
    let client_id = table.need("client_id", "\"claymark\"", client_id);
    let protocol = table.or("protocol", Protocol::V5, value::one_of(PROTOCOLS));
    let subscribe = table.need("subscribe", "[\"alder-bend/#\"]", value::texts);
    let filters = subscribe.map(Spanned::into_inner).unwrap_or_default();
    for filter in filters.iter().filter(|filter| !rumqttc::v5::mqttbytes::valid_filter(filter.get_ref())) {
        let what = format!("subscribe: '{}' isn't a topic filter", filter.get_ref());
        let remedy =
            "# stands alone at the end, + alone between slashes: \"alder-bend/#\", \"alder-bend/+/level\".";
        table.findings.mistake(filter.span(), what, remedy);
    }
    let prefix = table.need("prefix", "\"claymark/alder-bend\", below which Claymark publishes", prefix);
    let login = secrets::login(&table, around);
    if let (Some(host), Some(_), None) = (&host, &login, &tls)
        && !on_this_machine(host.get_ref())
    {
        let what = format!("the password travels to {} in the clear", host.get_ref());
        table.findings.warning(
            host.span(),
            what,
            "Set tls = true, with ca_file when the broker has a certificate of your own.",
        );
    }
    let session_expiry = table.maybe("session_expiry", value::duration);
    if let Some(short) = session_expiry.as_ref().filter(|expiry| *expiry.get_ref() < SHORTEST_SESSION) {
        let what = "session_expiry: the broker would forget what was sent during a night without Claymark";
        table.findings.warning(short.span(), what, "Write \"7 days\", or at least \"1 day\".");
    }
    let session_expiry = session_expiry.map_or(USUAL_SESSION, Spanned::into_inner);
    let max_packet_bytes =
        table.or("max_packet_bytes", USUAL_PACKET, value::whole(SMALLEST_PACKET, LARGEST_PACKET));
    let queue = table.or("queue", USUAL_QUEUE, value::whole(1, LARGEST_QUEUE));
    table.finish();
    let settings = Settings {
        host: host?.into_inner(),
        port,
        client_id: client_id?.into_inner(),
        protocol,
        subscribe: filters.iter().map(|filter| filter.get_ref().clone()).collect(),
        prefix: prefix?.into_inner(),
        login,
        tls,
        session_expiry,
        max_packet_bytes,
        queue: usize::from(queue),
    };
    Some(Broker { settings, filters })
}

/// Whether what is sent there stays on this machine.
pub(super) fn on_this_machine(host: &str) -> bool {
    host == "localhost" || host.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

/// The certificates in the file that `ca_file` names.
pub(super) fn certificates(table: &Table<'_>, around: &Surroundings) -> Option<(Range<usize>, Vec<u8>)> {
    let file = table.maybe("ca_file", value::path)?;
    let path = around.folder.join(file.get_ref());
    let remedy = "Name the PEM file of the authority that signed the server's certificate.";
    match read_certificates(&path) {
        Ok(pem) => Some((file.span(), pem)),
        Err(why) => {
            table.findings.mistake(file.span(), format!("ca_file: {}: {why}", path.display()), remedy);
            None
        }
    }
}

fn read_certificates(path: &Path) -> Result<Vec<u8>, String> {
    let pem = std::fs::read(path).map_err(|error| error.to_string())?;
    let found = rustls_pemfile::certs(&mut pem.as_slice()).collect::<Result<Vec<_>, _>>();
    match found {
        Ok(certificates) if certificates.is_empty() => Err("there is no certificate in it".to_owned()),
        Ok(_) => Ok(pem),
        Err(error) => Err(error.to_string()),
    }
}

fn tls(table: &Table<'_>, around: &Surroundings) -> Option<Tls> {
    let wanted = table.or("tls", false, value::yes_or_no);
    let ca = certificates(table, around);
    match (wanted, ca) {
        (true, ca) => Some(Tls { ca_pem: ca.map(|(_, pem)| pem) }),
        (false, Some((place, _))) => {
            let what = "ca_file: it is used with TLS only, and TLS is off";
            table.findings.mistake(place, what, "Add tls = true, or take ca_file out.");
            None
        }
        (false, None) => None,
    }
}

/// What every server accepts (MQTT 5, 3.1.3-5).
fn client_id(value: &DeValue<'_>) -> Result<String, Wrong> {
    let id = value::text(value)?;
    if id.len() <= LONGEST_CLIENT_ID && id.bytes().all(|b| b.is_ascii_alphanumeric()) {
        Ok(id)
    } else {
        let what = format!("'{id}' isn't accepted by every broker");
        wrong(what, "Write 1 to 23 letters and digits, no other signs (MQTT 5, section 3.1.3.1).")
    }
}

/// A topic to publish below.
fn prefix(value: &DeValue<'_>) -> Result<String, Wrong> {
    let prefix = value::text(value)?;
    if prefix.contains(['+', '#', '\0']) || prefix.starts_with(['$', '/']) || prefix.ends_with('/') {
        return wrong(
            format!("'{prefix}' can't stand at the head of a topic"),
            "Write words with slashes between, without +, # or $: \"claymark/alder-bend\".",
        );
    }
    Ok(prefix)
}

const PROTOCOLS: &[(&str, Protocol)] = &[("5", Protocol::V5), ("3.1.1", Protocol::V311)];
const PORT: u16 = 1883;
const TLS_PORT: u16 = 8883;
const LONGEST_CLIENT_ID: usize = 23;
const USUAL_SESSION: SignedDuration = SignedDuration::from_hours(7 * 24);
const SHORTEST_SESSION: SignedDuration = SignedDuration::from_hours(24);
/// Twice the largest message that deploy/mosquitto lets through.
const USUAL_PACKET: u32 = 2 * 1024 * 1024;
const SMALLEST_PACKET: u32 = 10 * 1024;
const LARGEST_PACKET: u32 = 256 * 1024 * 1024;
const USUAL_QUEUE: u16 = 5_000;
const LARGEST_QUEUE: u16 = 20_000;
