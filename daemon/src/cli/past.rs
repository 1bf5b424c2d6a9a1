//! The room as it stands, from the site file and the store alone: beside a running daemon, and without one.
//!
//! The store is only read, and no lock is taken. Its recent past is told to a fresh room, as after a restart.

use std::path::Path;

use clap::Args;
use claymark_room::{Knowledge, Room};
use claymark_store::{Reader, StoreError};
use claymark_words::standing;
use jiff::Timestamp;

use super::moment::back_to;
use super::{CommandFailure, SiteFileFlag};
use crate::clock::TimeSource;
use crate::config::{self, Secrets};
use crate::pipeline::{self, Pipeline};
use crate::run::Settings;

/// The room as it stands, or as it stood.
#[derive(Debug, Args)]
pub(super) struct When {
    #[command(flatten)]
    pub(super) site_file: SiteFileFlag,
    /// As it stood then: 14:30, "2027-04-20 14:30" or RFC 3339; now, if left out
    #[arg(long, value_name = "TIME")]
    pub(super) at: Option<String>,
}

/// The room as it stands at `now`.
pub struct RoomAsOf {
    /// As the site file has it.
    pub settings: Settings,
    /// What is meant by now: the clock, or the time that was asked for.
    pub now: Timestamp,
    /// When the newest reading by then was measured; `None`: there is none.
    pub newest: Option<Timestamp>,
    /// What of the store couldn't be read, if anything.
    unread: Option<StoreError>,
    pipeline: Pipeline,
}

impl RoomAsOf {
    /// By the clock, or as it stood at `at`: a time of day, a local date and time, or RFC 3339, in the past.
    ///
    /// Looking back, only what had arrived by then counts.
    pub fn read(site_file: &Path, at: Option<&str>) -> Result<Self, CommandFailure> {
        let settings = config::read(site_file, Secrets::Left)?.settings;
        let now = meant(&settings, at)?;
        Self::at(settings, now)
    }

    pub(super) fn at(settings: Settings, now: Timestamp) -> Result<Self, CommandFailure> {
        let reader = Reader::open(&settings.store)?;
        let mut pipeline = Pipeline::new(settings.site.clone(), settings.decode.clone(), &settings.notify);
        let unread = pipeline.recall(now, reader.recall(pipeline::recalled_since(now)).until(now));
        if let Some(first) = reader.passed_over().first() {
            let told = standing::passed_over(reader.passed_over().count(), &first);
            // Whoever closed standard error doesn't want to hear it.
            drop(std::io::Write::write_all(&mut std::io::stderr(), told.as_bytes()));
        }
        // Where the way to the newest one can't be read, its age isn't known either.
        let newest = reader.newest_reading(now).unwrap_or_default();
        Ok(Self { newest, unread, pipeline, settings, now })
    }

    /// What the room has taken in of the past.
    #[must_use]
    pub fn known(&self) -> &Knowledge {
        self.room().known()
    }

    /// The room, which was told the past and is live.
    #[must_use]
    pub fn room(&self) -> &Room {
        self.pipeline.room()
    }

    /// When nothing fresh is known, or not all could be read: a sentence on that, and what to do.
    #[must_use]
    pub fn stale(&self) -> Option<String> {
        let unread = self.unread.as_ref().map(|error| standing::unread(&error.to_string()));
        let stale = standing::stale(&self.settings.site, self.now, self.newest);
        let cautions: Vec<String> = unread.into_iter().chain(stale).collect();
        (!cautions.is_empty()).then(|| cautions.join("\n"))
    }
}

/// What is meant by now: the clock, or the time that was asked for.
pub(super) fn meant(settings: &Settings, at: Option<&str>) -> Result<Timestamp, CommandFailure> {
    let clock = TimeSource::system().now();
    let Some(typed) = at else { return Ok(clock) };
    // What was recorded or invented elsewhere may lie ahead of this machine's clock.
    let newest = Reader::open(&settings.store)?.newest_reading(Timestamp::MAX)?;
    back_to(typed, newest.map_or(clock, |newest| newest.max(clock)), &settings.site.time_zone)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::replay::replay;
    use crate::replay::tests::{recorded, settings, text};

    /// The hatchery's first day, from eight to six, and its forecast lines of drum A.
    pub(in crate::cli) fn day(folder: &Path) -> (Settings, Vec<serde_json::Value>) {
        recorded(folder);
        let asked = settings(folder, "out", "messages.ndjson");
        let site = asked.site.clone();
        replay(asked).unwrap();
        let lines = text(folder, "out/forecasts.ndjson");
        let lines = lines.lines().map(|line| serde_json::from_str(line).unwrap());
        let of_a = lines.filter(|line: &serde_json::Value| line["drum"] == "a").collect();
        (Settings { store: folder.join("out/claymark.db"), ..site }, of_a)
    }

    #[test]
    fn looking_back_gives_the_forecast_that_was_given_then() {
        let folder = tempfile::tempdir().unwrap();
        let (settings, lines) = day(folder.path());
        for at in ["2027-04-17T06:10:00Z", "2027-04-17T09:00:00Z", "2027-04-17T14:50:00Z"] {
            let standing = RoomAsOf::at(settings.clone(), at.parse().unwrap()).unwrap();
            let forecast = standing.known().forecasts(standing.now).into_iter().next().unwrap();
            let given = lines.iter().find(|line| line["at"] == at).unwrap();
            assert_eq!(&serde_json::to_value(forecast.line(claymark_words::doubt::unknown)).unwrap(), given);
            assert_eq!(standing.stale(), None);
        }
    }

    #[test]
    fn what_is_old_is_said_to_be_old() {
        let folder = tempfile::tempdir().unwrap();
        let (settings, _) = day(folder.path());
        for (at, told) in [
            ("2027-04-17T18:00:00Z", "CAUTION: the newest reading is 3 h old, from 17:59;"),
            ("2027-04-17T04:00:00Z", "The store holds no reading from before then."),
        ] {
            let standing = RoomAsOf::at(settings.clone(), at.parse().unwrap()).unwrap();
            let said = standing.stale().unwrap();
            assert!(said.starts_with(told), "{said}");
        }
    }

    #[test]
    fn a_store_that_is_not_there_is_said_to_be_missing() {
        let folder = tempfile::tempdir().unwrap();
        let site = settings(folder.path(), "out", "messages.ndjson").site;
        let failure = RoomAsOf::at(site, "2027-04-17T18:00:00Z".parse().unwrap()).err().unwrap();
        assert!(failure.text(false).contains("there is no store at"), "{}", failure.text(false));
    }
}
