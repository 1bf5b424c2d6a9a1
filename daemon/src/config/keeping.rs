//! `[store]`, `[record]`, `[metrics]`, `[page]`, `[log]`: what is kept and shown on this machine.

use std::net::SocketAddr;
use std::path::PathBuf;

use jiff::SignedDuration;
use toml::de::DeValue;
use tracing_subscriber::EnvFilter;

use super::Surroundings;
use super::table::Table;
use super::value::{self, Wrong, wrong};
use crate::{metrics, page, record};

/// What is kept and shown.
pub(super) struct Keeping {
    pub(super) store: PathBuf,
    pub(super) gather: SignedDuration,
    pub(super) record: Option<record::Settings>,
    pub(super) metrics: Option<metrics::Settings>,
    pub(super) page: Option<page::Settings>,
    pub(super) log: String,
}

/// Reads all five; only the store must be there.
pub(super) fn keeping(file: &Table<'_>, around: &Surroundings) -> Option<Keeping> {
    let record = file.table("record").map(|table| recording(table, around));
    let metrics = file.table("metrics").map(|table| {
        let listen = table.need("listen", "\"127.0.0.1:9464\"", loopback);
        table.finish();
        Some(metrics::Settings { listen: listen?.into_inner() })
    });
    let page = file.table("page").map(|table| {
        let listen = table.need("listen", "\"127.0.0.1:8080\"", loopback);
        table.finish();
        Some(page::Settings { listen: listen?.into_inner() })
    });
    let log = file.table("log").map_or_else(
        || USUAL_LOG.to_owned(),
        |table| {
            let level = table.or("level", USUAL_LOG.to_owned(), log_filter);
            table.finish();
            level
        },
    );
    let table = file.need_table("store", "its path")?;
    let path = table.need("path", "\"claymark.db\"", value::path);
    let gather = table.or("gather", USUAL_GATHER, gather);
    table.finish();
    let store = around.folder.join(path?.into_inner());
    // A section that was given and can't be used is a mistake, so `?` ends here only after it was told.
    Some(Keeping { store, gather, record: given(record)?, metrics: given(metrics)?, page: given(page)?, log })
}

/// `Some(None)` for a section that isn't there, `None` for one with a mistake.
pub(super) fn given<T>(section: Option<Option<T>>) -> Option<Option<T>> {
    match section {
        Some(None) => None,
        usable => Some(usable.flatten()),
    }
}

fn recording(table: Table<'_>, around: &Surroundings) -> Option<record::Settings> {
    let dir = table.need("dir", "\"recordings\"", value::path);
    let keep_days = table.or("keep_days", USUAL_KEEP_DAYS, value::whole(1, 3_650));
    table.finish();
    Some(record::Settings { dir: around.folder.join(dir?.into_inner()), keep_days })
}

fn gather(value: &DeValue<'_>) -> Result<SignedDuration, Wrong> {
    let duration = value::duration_or_none(value)?;
    if (SignedDuration::ZERO..=LONGEST_GATHER).contains(&duration) {
        return Ok(duration);
    }
    wrong(
        format!("{duration:#} is no time for readings to wait for each other"),
        "Write from \"0 s\", each reading at once, to \"1 min\".",
    )
}

fn loopback(value: &DeValue<'_>) -> Result<SocketAddr, Wrong> {
    let text = value::text(value)?;
    let remedy = "Write an address of this machine with a port: \"127.0.0.1:9464\" or \"[::1]:9464\".";
    match text.parse::<SocketAddr>() {
        Ok(address) if address.ip().is_loopback() => Ok(address),
        Ok(_) => wrong(format!("'{text}' could be read from other machines"), remedy),
        Err(_not_an_address) => wrong(format!("'{text}' isn't an address with a port"), remedy),
    }
}

fn log_filter(value: &DeValue<'_>) -> Result<String, Wrong> {
    let text = value::text(value)?;
    match EnvFilter::try_new(&text) {
        Ok(_) => Ok(text),
        Err(error) => wrong(
            format!("'{text}' isn't a log level: {error}"),
            "Write error, warn, info, debug or trace; parts of the program as in \"info,claymark::intake=debug\".",
        ),
    }
}

const USUAL_GATHER: SignedDuration = SignedDuration::from_secs(15);
const LONGEST_GATHER: SignedDuration = SignedDuration::from_mins(1);
const USUAL_LOG: &str = "info";
const USUAL_KEEP_DAYS: u16 = 30;
