//! `claymark status`: whether the room is watched, by the age of what was forecast last.
//!
//! A retained word says what was true when it was said; a forecast has a time. It is looked for in the store, and where
//! the store says nothing of now, at the broker: while nothing can be kept the watch goes on.

use std::io::Write as _;
use std::time::Duration;

use clap::Args;
use jiff::{SignedDuration, Timestamp};
use serde::Deserialize;

use claymark_store::{Reader, StoreError};
use claymark_words::format::Clock;
use claymark_words::standing::{self, Newest};

use super::{CommandFailure, SiteFileFlag};
use crate::clock::TimeSource;
use crate::config::{self, Secrets};
use crate::intake::hearing::{Hearing, HearingError};
use crate::run::Settings;

#[derive(Debug, Args)]
pub(super) struct StatusCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
}

pub(super) fn run(asked: &StatusCommand) -> Result<(), CommandFailure> {
    let settings = config::read(&asked.site_file.config, Secrets::LookedAt)?.settings;
    let now = TimeSource::system().now();
    let clock = Clock::new(&settings.site, now);
    let (store, unread) = match in_the_store(&settings, now) {
        Ok(newest) => (newest, None),
        Err(error) => (None, Some(error.to_string())),
    };
    let mut newest = store.map(|at| Newest { at, kept: true });
    if !newest.as_ref().is_some_and(|newest| newest.is_of_now(now)) {
        let runtime = tokio::runtime::Runtime::new()?;
        let heard = runtime.block_on(at_the_broker(&settings));
        newest = heard
            .map(|at| Newest { at, kept: false })
            .into_iter()
            .chain(newest)
            .max_by_key(|newest| newest.at);
    }
    match newest {
        Some(newest) if newest.is_of_now(now) => {
            writeln!(std::io::stdout(), "{}", standing::watching(clock, &newest, unread.as_deref()))?;
            Ok(())
        }
        newest => Err(CommandFailure::Failed {
            what: standing::not_watching(clock, newest.as_ref(), unread.as_deref()),
            remedy: "Look at it: systemctl status claymark; journalctl -u claymark -e".to_owned(),
        }),
    }
}

fn in_the_store(settings: &Settings, now: Timestamp) -> Result<Option<Timestamp>, StoreError> {
    let reader = Reader::open(&settings.store)?;
    let from = now.saturating_sub(LOOKED_BACK).unwrap_or(Timestamp::UNIX_EPOCH);
    // One that is dated ahead was made under a clock that has been set back: nothing is known from it.
    let forecasts = reader.forecasts(from, now)?;
    Ok(forecasts.iter().map(|forecast| forecast.at).max())
}

#[derive(Deserialize)]
struct Dated {
    at: Timestamp,
}

/// The newest retained forecast; `None`: none came, whatever the reason.
async fn at_the_broker(settings: &Settings) -> Option<Timestamp> {
    let prefix = &settings.intake.prefix;
    let filters = vec![format!("{prefix}/drum/+/forecast"), format!("{prefix}/supply/+/forecast")];
    let mut newest = None;
    let listening = async {
        let mut hearing = Hearing::open(&settings.intake, filters).await?;
        loop {
            let (_topic, payload) = hearing.next().await?;
            let heard = serde_json::from_slice::<Dated>(&payload).ok().map(|dated| dated.at);
            newest = newest.max(heard);
        }
    };
    // What is retained comes at once; nothing says that all of it has come.
    let ended: Result<Result<(), HearingError>, _> = tokio::time::timeout(FOR_THE_BROKER, listening).await;
    if let Ok(Err(why)) = ended {
        tracing::debug!("the broker can't be asked: {why}");
    }
    newest
}

const FOR_THE_BROKER: Duration = Duration::from_secs(3);
const LOOKED_BACK: SignedDuration = SignedDuration::from_hours(7 * 24);
