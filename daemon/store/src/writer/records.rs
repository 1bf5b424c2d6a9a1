//! Keeps everything that isn't a reading; each has a key, so that a repeat changes nothing.

use jiff::Timestamp;
use rusqlite::{Connection, params};

use claymark_clay::LearnedYield;
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::{Forecast, Outlook, Subject};
use claymark_model::happening::Happening;
use claymark_model::id::Id;
use claymark_model::skill::{Fate, MarkForecast};
use claymark_notice::{Answer, Audience};

use crate::batch::{Channel, Delivery, DeliveryState, Issued};
use crate::columns;
use crate::error::StoreError;

/// Append-only: a key that is already there is the same entry.
pub(crate) fn log(connection: &Connection, entries: &[LogEntry]) -> Result<(), StoreError> {
    let mut insert = connection.prepare_cached(
        "INSERT INTO field_log (entry_key, at, received, written_by, replaces, kind, deed)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT DO NOTHING",
    )?;
    for entry in entries {
        let (kind, deed) = columns::tagged(&entry.deed, "kind")?;
        let (at, received) = (entry.at.as_millisecond(), entry.received_at.as_millisecond());
        insert.execute(params![entry.key, at, received, entry.by, entry.replaces, kind, deed])?;
    }
    Ok(())
}

/// The same answer twice is one.
pub(crate) fn answers(connection: &Connection, answers: &[Answer]) -> Result<(), StoreError> {
    let mut insert = connection.prepare_cached(
        "INSERT INTO answer (notice, at, answered_by, there_by) VALUES (?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING",
    )?;
    for answer in answers {
        let by = answer.by.as_deref().unwrap_or_default();
        let there_by = answer.there_by.map(Timestamp::as_millisecond);
        insert.execute(params![answer.notice, answer.at.as_millisecond(), by, there_by])?;
    }
    Ok(())
}

/// One per time and subject.
pub(crate) fn forecasts(connection: &Connection, forecasts: &[Forecast]) -> Result<(), StoreError> {
    let mut insert = connection.prepare_cached(
        "INSERT OR REPLACE INTO forecast
             (at, about, id, in_use, basis, volume, draw, p05, p25, p50, p75, p95, why)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
    )?;
    for forecast in forecasts {
        let at = forecast.at.as_millisecond();
        let (about, id) = match &forecast.of {
            Subject::Drum(id) => (DRUM, id.as_str()),
            Subject::Supply(id) => (SUPPLY, id.as_str()),
        };
        match &forecast.outlook {
            Outlook::Known { basis, volume, draw, empty_at } => {
                let ms = |time: Option<Timestamp>| time.map(Timestamp::as_millisecond);
                insert.execute(params![
                    at,
                    about,
                    id,
                    forecast.in_use,
                    columns::name(basis)?,
                    volume.0,
                    draw.0,
                    ms(empty_at.p05),
                    ms(empty_at.p25),
                    ms(empty_at.p50),
                    ms(empty_at.p75),
                    ms(empty_at.p95),
                    None::<String>
                ])?
            }
            Outlook::Unknown { why } => {
                let none = None::<f64>;
                insert.execute(params![
                    at,
                    about,
                    id,
                    forecast.in_use,
                    None::<String>,
                    none,
                    none,
                    none,
                    none,
                    none,
                    none,
                    none,
                    why.kept()
                ])?
            }
        };
    }
    Ok(())
}

/// The same thing told again after a restart replaces itself.
pub(crate) fn happenings(connection: &Connection, happenings: &[Happening]) -> Result<(), StoreError> {
    let mut insert = connection
        .prepare_cached("INSERT OR REPLACE INTO happening (at, drum, kind, what) VALUES (?1, ?2, ?3, ?4)")?;
    for happening in happenings {
        let (kind, what) = columns::tagged(&happening.what, "what")?;
        insert.execute(params![happening.at.as_millisecond(), happening.drum.as_str(), kind, what])?;
    }
    Ok(())
}

/// One per time, drum and mark; what became of it takes the place of what was open.
pub(crate) fn marks(connection: &Connection, marks: &[MarkForecast]) -> Result<(), StoreError> {
    let mut insert = connection.prepare_cached(
        "INSERT OR REPLACE INTO mark_forecast (made, drum, mark, lead, p05, p25, p50, p75, p95, fate, came)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
    )?;
    let ms = |time: Option<Timestamp>| time.map(Timestamp::as_millisecond);
    for said in marks {
        let fate = match said.fate {
            Fate::Open => OPEN,
            Fate::Came { .. } => CAME,
            Fate::Dropped => DROPPED,
        };
        insert.execute(params![
            said.made_at.as_millisecond(),
            said.drum.as_str(),
            said.mark.0,
            said.lead.name(),
            ms(said.reached.p05),
            ms(said.reached.p25),
            ms(said.reached.p50),
            ms(said.reached.p75),
            ms(said.reached.p95),
            fate,
            ms(said.came()),
        ])?;
    }
    Ok(())
}

/// One per time.
pub(crate) fn yields(connection: &Connection, yields: &[LearnedYield]) -> Result<(), StoreError> {
    let mut insert = connection.prepare_cached(
        "INSERT OR REPLACE INTO clay_yield (at, ntu_per_mg_l, sd, exponent, since) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    for LearnedYield { learned_at, clay } in yields {
        let since = clay.since.map(Timestamp::as_millisecond);
        insert.execute(params![
            learned_at.as_millisecond(),
            clay.ntu_per_mg_l,
            clay.sd,
            clay.exponent,
            since
        ])?;
    }
    Ok(())
}

/// The same number again is the same notice: the first stays.
pub(crate) fn notices(connection: &Connection, notices: &[Issued]) -> Result<(), StoreError> {
    let mut insert = connection.prepare_cached(
        "INSERT INTO notice (number, at, kind, cause, drum, priority, replaces, audience, facts, subject, text, calling, tonight)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13) ON CONFLICT DO NOTHING",
    )?;
    for Issued { notice, subject, text } in notices {
        let audience = match &notice.to {
            Audience::Everyone => None,
            Audience::Only(contacts) => Some(contacts.iter().map(Id::as_str).collect::<Vec<_>>().join(" ")),
        };
        insert.execute(params![
            notice.number,
            notice.at.as_millisecond(),
            columns::name(&notice.kind)?,
            notice.cause,
            notice.drum.as_ref().map(Id::as_str),
            columns::name(&notice.priority)?,
            notice.replaces,
            audience,
            serde_json::to_string(&notice.content)?,
            subject,
            text,
            notice.calling.as_ref().map(serde_json::to_string).transpose()?,
            notice.tonight.as_ref().map(serde_json::to_string).transpose()?
        ])?;
    }
    Ok(())
}

/// A finished delivery isn't opened again, and one that the server may have isn't new again: after a crash the same
/// notice may be handed in once more.
pub(crate) fn deliveries(connection: &Connection, deliveries: &[Delivery]) -> Result<(), StoreError> {
    let mut upsert = connection.prepare_cached(
        "INSERT INTO delivery (notice, contact, channel, state, attempts, at, error, times)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)
         ON CONFLICT DO UPDATE SET
             state = excluded.state, attempts = excluded.attempts, at = excluded.at, error = excluded.error,
             times = excluded.times
         WHERE state = 'pending' OR excluded.state = 'sent'
             OR (state = 'unanswered' AND excluded.state <> 'pending')",
    )?;
    for delivery in deliveries {
        let channel = match delivery.channel {
            Channel::Email => EMAIL,
            Channel::Mqtt => MQTT,
            Channel::Webhook => WEBHOOK,
            Channel::Command => COMMAND,
        };
        let (state, attempts, at, error, times) = match &delivery.state {
            DeliveryState::Pending { attempts, next_try, last_error } => {
                (PENDING, Some(*attempts), next_try, last_error.as_deref(), None)
            }
            DeliveryState::Sent { at, attempts } => (SENT, Some(*attempts), at, None, None),
            DeliveryState::GivenUp { at, why, attempts } => {
                (GIVEN_UP, Some(*attempts), at, Some(why.as_str()), None)
            }
            DeliveryState::Unanswered { attempts, times, next_try, last_error } => {
                (UNANSWERED, Some(*attempts), next_try, last_error.as_deref(), Some(*times))
            }
        };
        upsert.execute(params![
            delivery.notice,
            delivery.contact.as_str(),
            channel,
            state,
            attempts,
            at.as_millisecond(),
            error,
            times
        ])?;
    }
    Ok(())
}

/// Keeps the last time that the broker session stood.
pub(crate) fn session_seen(connection: &Connection, seen: Option<Timestamp>) -> Result<(), StoreError> {
    if let Some(seen) = seen {
        connection
            .prepare_cached("INSERT OR REPLACE INTO session (only, seen) VALUES (1, ?1)")?
            .execute([seen.as_millisecond()])?;
    }
    Ok(())
}

/// `forecast.about`.
pub(crate) const DRUM: &str = "drum";
/// `forecast.about`.
pub(crate) const SUPPLY: &str = "supply";
pub(crate) const OPEN: &str = "open";
pub(crate) const CAME: &str = "came";
pub(crate) const DROPPED: &str = "dropped";
/// `delivery.channel`.
pub(crate) const EMAIL: &str = "email";
/// `delivery.channel`.
pub(crate) const MQTT: &str = "mqtt";
/// `delivery.channel`.
pub(crate) const WEBHOOK: &str = "webhook";
/// `delivery.channel`.
pub(crate) const COMMAND: &str = "command";
/// `delivery.state`.
pub(crate) const PENDING: &str = "pending";
/// `delivery.state`.
pub(crate) const SENT: &str = "sent";
/// `delivery.state`.
pub(crate) const GIVEN_UP: &str = "given-up";
/// `delivery.state`.
pub(crate) const UNANSWERED: &str = "unanswered";
