//! `claymark happened`: what the data say has happened to the drums, whether or not anybody wrote it down.
//!
//! What befell a single drum stands in the store as a happening; what several sensors together betray (a stopped
//! pump, a split tube, a swapped drum, …) as the notice by which it was told. Both make one list.

use clap::Args;
use claymark_model::happening::WRITTEN_APART;
use claymark_notice::Content;
use claymark_store::Reader;
use claymark_words::format::Clock;
use claymark_words::{happening, standing};
use jiff::{SignedDuration, Timestamp};

use super::moment::back_to;
use super::{CommandFailure, SiteFileFlag, names, past};
use crate::config::{self, Secrets};
use crate::run::Settings;

#[derive(Debug, Args)]
pub(super) struct HappenedCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
    /// Only to this drum: its id or name
    #[arg(long, value_name = "DRUM")]
    drum: Option<String>,
    /// Since when: 17:00, "2027-04-20 17:00" or RFC 3339; for a day, if left out
    #[arg(long, value_name = "TIME")]
    since: Option<String>,
    /// Look back: up to 17:00, "2027-04-20 17:00" or RFC 3339; now, if left out
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

impl HappenedCommand {
    /// What is to be read.
    pub(super) fn text(self) -> Result<String, CommandFailure> {
        let settings = config::read(&self.site_file.config, Secrets::Left)?.settings;
        let now = past::meant(&settings, self.at.as_deref())?;
        list(&settings, now, self.since.as_deref(), self.drum.as_deref())
    }
}

fn list(
    settings: &Settings,
    now: Timestamp,
    since: Option<&str>,
    drum: Option<&str>,
) -> Result<String, CommandFailure> {
    let site = &settings.site;
    let from = since.map(|typed| back_to(typed, now, &site.time_zone)).transpose()?.unwrap_or(now - A_DAY);
    let only = drum.map(|word| names::drum(site, word)).transpose()?;
    let is_ours = |drum: Option<&_>| only.as_ref().is_none_or(|only| drum == Some(only));
    let reader = Reader::open(&settings.store)?;
    // The range ends before its second time; what is of this very moment counts.
    let to = now + SignedDuration::from_millis(1);
    let mut lines: Vec<(Timestamp, String)> = Vec::new();
    let log = reader.log(from - WRITTEN_APART, to)?;
    for happened in reader.happenings(from, to)? {
        if is_ours(Some(&happened.drum)) {
            lines.push((happened.at, happening::line(site, now, &happened, &log)));
        }
    }
    for issued in reader.notices(from, to)? {
        if matches!(issued.notice.content, Content::Failure(_)) && is_ours(issued.notice.drum.as_ref()) {
            let at = Clock::new(site, now).time(issued.notice.at);
            lines.push((
                issued.notice.at,
                format!("{at}: told as notice {}: {}", issued.notice.number, issued.subject),
            ));
        }
    }
    lines.sort_by_key(|(at, _)| *at);
    let clock = Clock::new(site, now);
    let mut text = standing::stale(site, now, reader.newest_reading(now)?)
        .map(|words| format!("{words}\n\n"))
        .unwrap_or_default();
    if lines.is_empty() {
        text += &format!("Since {} nothing was seen to happen.\n", clock.time(from));
    }
    for (_, line) in lines {
        text += &line;
        text.push('\n');
    }
    Ok(text)
}

const A_DAY: SignedDuration = SignedDuration::from_hours(24);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::past::tests::day;

    fn told(at: &str, since: Option<&str>, drum: Option<&str>) -> Result<String, String> {
        let folder = tempfile::tempdir().unwrap();
        let (settings, _) = day(folder.path());
        list(&settings, at.parse().unwrap(), since, drum).map_err(|failure| failure.text(false))
    }
    #[test]
    fn what_the_sensors_saw_is_listed_with_its_time_for_one_drum_or_all() {
        let all = told("2027-04-17T15:00:00Z", None, None).unwrap();
        let of_a = told("2027-04-17T15:00:00Z", Some("2027-04-17 08:00"), Some("Drum A")).unwrap();
        assert!(all.contains(": Drum B was refilled: the level rose by "), "{all}");
        assert!(of_a.starts_with("15:53: Drum A was refilled: the level rose by 6"), "{of_a}");
        assert!(!of_a.contains("Drum B"), "{of_a}");
    }

    #[test]
    fn that_nothing_was_seen_is_said_and_so_is_that_nothing_was_read() {
        let morning = told("2027-04-17T07:00:00Z", Some("09:00"), None).unwrap();
        assert_eq!(morning, "Since 09:00 nothing was seen to happen.\n");
        let later = told("2027-04-17T20:00:00Z", Some("22:00"), None).unwrap();
        assert!(later.starts_with("CAUTION: the newest reading is 5 h old"), "{later}");
        let unknown = told("2027-04-17T15:00:00Z", None, Some("q")).unwrap_err();
        assert!(unknown.contains("there is no drum 'q'"), "{unknown}");
    }
}
