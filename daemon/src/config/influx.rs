//! `[influx]`: the central database, where what is kept here also goes.

use std::time::Duration;

use jiff::SignedDuration;
use toml::Spanned;
use toml::de::DeValue;

use claymark_influx::settings::{Server, Token};

use super::broker::certificates;
use super::keeping::given;
use super::table::Table;
use super::value::{self, Wrong, wrong};
use super::{Surroundings, secrets};
use crate::forward::Settings;

/// Reads the section, where there is one.
#[expect(clippy::option_option, reason = "outside: after a mistake; inside: nothing is forwarded")]
pub(super) fn influx(file: &Table<'_>, around: &Surroundings) -> Option<Option<Settings>> {
    given(file.table("influx").map(|table| section(table, around)))
}

fn section(table: Table<'_>, around: &Surroundings) -> Option<Settings> {
    let url = table.need("url", "\"http://127.0.0.1:8086\"", server);
    let org = table.need("org", "the organisation's name in InfluxDB", value::text);
    let bucket = table.need("bucket", "\"claymark\"", value::text);
    let token = secrets::token(&table, around).and_then(|secret| token(&table, secret));
    let ca = certificates(&table, around);
    let timeout = table.or(
        "timeout",
        USUAL_TIMEOUT,
        between(SHORTEST_TIMEOUT, LONGEST_TIMEOUT, "\"1 s\" to \"5 min\""),
    );
    let lag_limit =
        table.or("lag_limit", USUAL_LAG, between(SHORTEST_LAG, LONGEST_LAG, "\"5 min\" to \"31 days\""));
    if let Some(url) = &url {
        let (server, place) = (url.get_ref(), url.span());
        if !server.is_encrypted() && !server.is_loopback() {
            let what = format!("url: the token and all readings travel to {server} in the clear");
            table.findings.warning(
                place.clone(),
                what,
                "Write https://, with ca_file when its certificate is your own.",
            );
        }
        if let (Some((ca, _)), false) = (&ca, server.is_encrypted()) {
            let what = "ca_file: it is used with https:// only";
            table.findings.mistake(ca.clone(), what, "Write https:// in url, or take ca_file out.");
        }
    }
    table.finish();
    let influx = claymark_influx::Settings {
        server: url?.into_inner(),
        org: org?.into_inner(),
        bucket: bucket?.into_inner(),
        token: token?,
        ca_pem: ca.map(|(_, pem)| pem),
        timeout: Duration::try_from(timeout).unwrap_or(Duration::ZERO),
    };
    Some(Settings { influx, lag_limit })
}

fn server(value: &DeValue<'_>) -> Result<Server, Wrong> {
    let text = value::text(value)?;
    Server::parse(&text).map_err(|bad| Wrong { what: bad.to_string(), remedy: bad.remedy().to_owned() })
}

fn token(table: &Table<'_>, secret: Spanned<String>) -> Option<Token> {
    if secret.get_ref().is_empty() {
        return Some(Token::none());
    }
    let token = Token::new(secret.get_ref());
    if token.is_none() {
        let what = "the token has blanks, line breaks or letters in it that no token has";
        table.findings.mistake(secret.span(), what, "Copy the API token from InfluxDB into the file, alone.");
    }
    token
}

fn between(
    least: SignedDuration,
    most: SignedDuration,
    range: &'static str,
) -> impl FnOnce(&DeValue<'_>) -> Result<SignedDuration, Wrong> {
    move |value| {
        let duration = value::duration(value)?;
        if (least..=most).contains(&duration) {
            return Ok(duration);
        }
        wrong(format!("{duration:#} is too short or too long"), format!("Write {range}."))
    }
}

const USUAL_TIMEOUT: SignedDuration = SignedDuration::from_secs(30);
const SHORTEST_TIMEOUT: SignedDuration = SignedDuration::from_secs(1);
const LONGEST_TIMEOUT: SignedDuration = SignedDuration::from_secs(300);
/// A line that is down over lunch isn't worth a message.
const USUAL_LAG: SignedDuration = SignedDuration::from_hours(2);
const SHORTEST_LAG: SignedDuration = SignedDuration::from_mins(5);
const LONGEST_LAG: SignedDuration = SignedDuration::from_hours(31 * 24);
