//! `claymark alarms`: how much people were called, beside what they can bear.

use clap::Args;
use claymark_notice::Notice;
use claymark_notice::figures::AlarmFigures;
use claymark_store::Reader;
use claymark_words::alarms;
use jiff::SignedDuration;

use super::moment::back_to;
use super::{CommandFailure, SiteFileFlag, past};
use crate::config::{self, Secrets};

#[derive(Debug, Args)]
pub(super) struct AlarmsCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
    /// Since when: "2027-04-20 17:00" or RFC 3339; for thirty days, if left out
    #[arg(long, value_name = "TIME")]
    since: Option<String>,
    /// Look back: up to 17:00, "2027-04-20 17:00" or RFC 3339; now, if left out
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

impl AlarmsCommand {
    /// The figures; of no more time than the store holds readings of.
    pub(super) fn text(self) -> Result<String, CommandFailure> {
        let settings = config::read(&self.site_file.config, Secrets::Left)?.settings;
        let now = past::meant(&settings, self.at.as_deref())?;
        let since = self.since.map(|typed| back_to(&typed, now, &settings.site.time_zone)).transpose()?;
        let reader = Reader::open(&settings.store)?;
        let watched_since = reader.extent()?.map_or(now, |(first, _)| first);
        let from = since.unwrap_or(now - MONTH).max(watched_since);
        // What was called for on the day before may stand.
        let issued = reader.notices(from - A_DAY, now)?;
        let notices: Vec<&Notice> = issued.iter().map(|issued| &issued.notice).collect();
        if notices.iter().all(|notice| notice.at < from) {
            return Ok("Nobody was told anything in that time.\n".to_owned());
        }
        Ok(alarms::figures(&AlarmFigures::of(&notices, (from, now))).join("\n") + "\n")
    }
}

/// The least time over which such figures say something (EEMUA 191, second-hand).
const MONTH: SignedDuration = SignedDuration::from_hours(30 * 24);
const A_DAY: SignedDuration = SignedDuration::from_hours(24);
