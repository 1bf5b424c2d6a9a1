//! Rows back into core types.

use jiff::{SignedDuration, Timestamp};
use rusqlite::{Params, Row};

use claymark_clay::{LearnedYield, Yield};
use claymark_model::doubt::Grounds;
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::{EmptyAt, Forecast, Outlook, Subject};
use claymark_model::happening::Happening;
use claymark_model::quality::Flag;
use claymark_model::quarantine::Quarantined;
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_model::skill::{Fate, Lead, MarkForecast};
use claymark_model::units::{Litres, LitresPerHour};
use claymark_notice::{Answer, Audience, Notice};

use super::Reader;
use crate::batch::{Channel, Delivery, DeliveryState, Issued};
use crate::columns;
use crate::error::StoreError;
use crate::writer::records::{
    CAME, COMMAND, DROPPED, DRUM, EMAIL, GIVEN_UP, MQTT, OPEN, PENDING, SENT, SUPPLY, UNANSWERED, WEBHOOK,
};

/// All rows of a query that can be understood.
pub(super) fn collect<T>(
    reader: &Reader,
    sql: &str,
    params: impl Params,
    read: impl Fn(&Row<'_>) -> Result<T, StoreError>,
) -> Result<Vec<T>, StoreError> {
    let mut all = Vec::new();
    collect_into(&mut all, reader, sql, params, read)?;
    Ok(all)
}

/// Likewise; what comes before an error is there all the same.
pub(super) fn collect_into<T>(
    all: &mut Vec<T>,
    reader: &Reader,
    sql: &str,
    params: impl Params,
    read: impl Fn(&Row<'_>) -> Result<T, StoreError>,
) -> Result<(), StoreError> {
    let mut statement = reader.connection.prepare_cached(sql)?;
    let mut rows = statement.query(params)?;
    while let Some(row) = rows.next()? {
        all.extend(reader.passed_over.row(read(row))?);
    }
    Ok(())
}

/// Columns of [`reading`].
pub(super) const READING: &str = "r.at, r.sensor, s.id, r.value, r.flag, r.tests, r.lag, r.ahead";

pub(super) fn reading(row: &Row<'_>) -> Result<Assessed, StoreError> {
    let (at, lag, ahead): (i64, i64, i64) = (row.get(0)?, row.get(6)?, row.get(7)?);
    let sensor = columns::id(row.get_ref(2)?.as_str().map_err(rusqlite::Error::from)?)?;
    let (flag, tests): (u8, u32) = (row.get(4)?, row.get(5)?);
    let bad = |found: String| StoreError::BadRow { what: "flag", found };
    Ok(Assessed {
        reading: Reading {
            ahead: SignedDuration::from_millis(ahead),
            ..Reading::new(sensor, columns::time(at - ahead)?, row.get(3)?)
        },
        received_at: columns::time(at + lag)?,
        flag: Flag::try_from(flag).map_err(|_not_one| bad(flag.to_string()))?,
        tests: TestFlags::unpack(tests).ok_or_else(|| bad(tests.to_string()))?,
    })
}

/// Columns of [`log_entry`].
pub(super) const LOG_ENTRY: &str = "entry_key, at, received, written_by, replaces, deed";

pub(super) fn log_entry(row: &Row<'_>) -> Result<LogEntry, StoreError> {
    Ok(LogEntry {
        key: row.get(0)?,
        at: columns::time(row.get(1)?)?,
        received_at: columns::time(row.get(2)?)?,
        by: row.get(3)?,
        replaces: row.get(4)?,
        deed: columns::record("field-log entry", row.get(5)?)?,
    })
}

/// Columns of [`answer`].
pub(super) const ANSWER: &str = "notice, at, answered_by, there_by";

pub(super) fn answer(row: &Row<'_>) -> Result<Answer, StoreError> {
    let by: String = row.get(2)?;
    Ok(Answer {
        notice: row.get(0)?,
        at: columns::time(row.get(1)?)?,
        by: (!by.is_empty()).then_some(by),
        there_by: row.get::<_, Option<i64>>(3)?.map(columns::time).transpose()?,
    })
}

/// Columns of [`notice`].
pub(super) const NOTICE: &str = "n.number, n.at, n.kind, n.cause, n.drum, n.priority, n.replaces, n.audience, n.facts, n.subject, n.text, n.calling, n.tonight";

pub(super) fn notice(row: &Row<'_>) -> Result<Issued, StoreError> {
    let (drum, audience): (Option<String>, Option<String>) = (row.get(4)?, row.get(7)?);
    Ok(Issued {
        notice: Notice {
            number: row.get(0)?,
            at: columns::time(row.get(1)?)?,
            kind: columns::named("kind of notice", row.get(2)?)?,
            cause: row.get(3)?,
            drum: drum.as_deref().map(columns::id).transpose()?,
            priority: columns::named("priority", row.get(5)?)?,
            replaces: row.get(6)?,
            to: match audience {
                None => Audience::Everyone,
                Some(contacts) => {
                    Audience::Only(contacts.split(' ').map(columns::id).collect::<Result<_, _>>()?)
                }
            },
            calling: row
                .get::<_, Option<String>>(11)?
                .map(|calling| columns::record("call", calling))
                .transpose()?,
            tonight: row
                .get::<_, Option<String>>(12)?
                .map(|tonight| columns::record("night", tonight))
                .transpose()?,
            content: columns::record("notice", row.get(8)?)?,
        },
        subject: row.get(9)?,
        text: row.get(10)?,
    })
}

/// Columns of [`delivery`].
pub(super) const DELIVERY: &str =
    "d.notice, d.contact, d.channel, d.state, d.attempts, d.at, d.error, d.times";

/// `first`: the number of columns before it.
pub(super) fn delivery(row: &Row<'_>, first: usize) -> Result<Delivery, StoreError> {
    let (contact, channel, state): (String, String, String) =
        (row.get(first + 1)?, row.get(first + 2)?, row.get(first + 3)?);
    let at = columns::time(row.get(first + 5)?)?;
    let error: Option<String> = row.get(first + 6)?;
    let attempts: Option<u32> = row.get(first + 4)?;
    Ok(Delivery {
        notice: row.get(first)?,
        contact: columns::id(&contact)?,
        channel: match channel.as_str() {
            EMAIL => Channel::Email,
            MQTT => Channel::Mqtt,
            WEBHOOK => Channel::Webhook,
            COMMAND => Channel::Command,
            _ => return Err(StoreError::BadRow { what: "channel", found: channel }),
        },
        state: match state.as_str() {
            PENDING => {
                DeliveryState::Pending { attempts: row.get(first + 4)?, next_try: at, last_error: error }
            }
            SENT => DeliveryState::Sent { at, attempts: attempts.unwrap_or_default() },
            GIVEN_UP => {
                let (why, attempts) = (error.unwrap_or_default(), attempts.unwrap_or_default());
                DeliveryState::GivenUp { at, why, attempts }
            }
            UNANSWERED => DeliveryState::Unanswered {
                attempts: row.get(first + 4)?,
                times: row.get(first + 7)?,
                next_try: at,
                last_error: error,
            },
            _ => return Err(StoreError::BadRow { what: "delivery state", found: state }),
        },
    })
}

/// Columns of [`forecast`].
pub(super) const FORECAST: &str = "at, about, id, in_use, basis, volume, draw, p05, p25, p50, p75, p95, why";

pub(super) fn forecast(row: &Row<'_>) -> Result<Forecast, StoreError> {
    let empty = |column: usize| -> Result<Option<Timestamp>, StoreError> {
        row.get::<_, Option<i64>>(column)?.map(columns::time).transpose()
    };
    Ok(Forecast {
        at: columns::time(row.get(0)?)?,
        of: subject(row, 1)?,
        in_use: row.get(3)?,
        outlook: match row.get::<_, Option<String>>(4)? {
            None => Outlook::Unknown { why: Grounds::from_kept(row.get(12)?) },
            Some(basis) => Outlook::Known {
                basis: columns::named("basis", basis)?,
                volume: Litres(row.get(5)?),
                draw: LitresPerHour(row.get(6)?),
                empty_at: EmptyAt {
                    p05: empty(7)?,
                    p25: empty(8)?,
                    p50: empty(9)?,
                    p75: empty(10)?,
                    p95: empty(11)?,
                },
            },
        },
    })
}

/// Columns of [`mark`].
pub(super) const MARK: &str = "made, drum, mark, lead, p05, p25, p50, p75, p95, fate, came";

pub(super) fn mark(row: &Row<'_>) -> Result<MarkForecast, StoreError> {
    let time = |column: usize| -> Result<Option<Timestamp>, StoreError> {
        row.get::<_, Option<i64>>(column)?.map(columns::time).transpose()
    };
    let (drum, lead, fate): (String, String, String) = (row.get(1)?, row.get(3)?, row.get(9)?);
    let bad = |what, found: &str| StoreError::BadRow { what, found: found.to_owned() };
    Ok(MarkForecast {
        made_at: columns::time(row.get(0)?)?,
        drum: columns::id(&drum)?,
        mark: Litres(row.get(2)?),
        lead: Lead::parse(&lead).ok_or_else(|| bad("lead of a forecast", &lead))?,
        reached: EmptyAt { p05: time(4)?, p25: time(5)?, p50: time(6)?, p75: time(7)?, p95: time(8)? },
        fate: match (fate.as_str(), time(10)?) {
            (OPEN, None) => Fate::Open,
            (CAME, Some(at)) => Fate::Came { at },
            (DROPPED, None) => Fate::Dropped,
            _ => return Err(bad("fate of a forecast", &fate)),
        },
    })
}

/// Columns of [`learned`].
pub(super) const YIELD: &str = "at, ntu_per_mg_l, sd, exponent, since";

pub(super) fn learned(row: &Row<'_>) -> Result<LearnedYield, StoreError> {
    let since: Option<i64> = row.get(4)?;
    Ok(LearnedYield {
        learned_at: columns::time(row.get(0)?)?,
        clay: Yield {
            ntu_per_mg_l: row.get(1)?,
            sd: row.get(2)?,
            exponent: row.get(3)?,
            since: since.map(columns::time).transpose()?,
        },
    })
}

/// `about` and `id`, from that column on.
pub(super) fn subject(row: &Row<'_>, column: usize) -> Result<Subject, StoreError> {
    let (about, id): (String, String) = (row.get(column)?, row.get(column + 1)?);
    let id = columns::id(&id)?;
    match about.as_str() {
        DRUM => Ok(Subject::Drum(id)),
        SUPPLY => Ok(Subject::Supply(id)),
        _ => Err(StoreError::BadRow { what: "subject of a forecast", found: about }),
    }
}

/// Columns of [`happening`].
pub(super) const HAPPENING: &str = "at, drum, what";

pub(super) fn happening(row: &Row<'_>) -> Result<Happening, StoreError> {
    let drum: String = row.get(1)?;
    Ok(Happening {
        at: columns::time(row.get(0)?)?,
        drum: columns::id(&drum)?,
        what: columns::record("happening", row.get(2)?)?,
    })
}

/// Columns of [`quarantined`].
pub(super) const QUARANTINED: &str = "received, topic, sensor, reason, detail, payload, payload_length";

pub(super) fn quarantined(row: &Row<'_>) -> Result<Quarantined, StoreError> {
    let sensor: Option<String> = row.get(2)?;
    Ok(Quarantined {
        received_at: columns::time(row.get(0)?)?,
        topic: row.get(1)?,
        sensor: sensor.as_deref().map(columns::id).transpose()?,
        reason: columns::named("reason", row.get(3)?)?,
        detail: row.get(4)?,
        payload: row.get(5)?,
        payload_length: row.get(6)?,
    })
}
