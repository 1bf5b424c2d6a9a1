//! `claymark outlook`: will it last, and what would make it last.

use clap::Args;
use claymark_notice::content::Visit;
use jiff::SignedDuration;

use super::moment::ahead;
use super::past::RoomAsOf;
use super::{CommandFailure, SiteFileFlag, names};

#[derive(Debug, Args)]
pub(super) struct OutlookCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
    /// Only this drum: its id or name
    #[arg(long, value_name = "DRUM")]
    drum: Option<String>,
    /// Until when: 07:00, "tomorrow 07:00", "2027-04-21 07:00" or RFC 3339; the next visit, if left out
    #[arg(long, value_name = "TIME")]
    until: Option<String>,
    /// Look back: as it stood at 17:00, "2027-04-20 17:00" or RFC 3339; now, if left out
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

impl OutlookCommand {
    /// What is to be read.
    pub(super) fn text(self) -> Result<String, CommandFailure> {
        let standing = RoomAsOf::read(&self.site_file.config, self.at.as_deref())?;
        answer(&standing, self.drum.as_deref(), self.until.as_deref())
    }
}

pub(super) fn answer(
    standing: &RoomAsOf,
    drum: Option<&str>,
    until: Option<&str>,
) -> Result<String, CommandFailure> {
    let (known, now) = (standing.known(), standing.now);
    let site = known.site();
    let only = drum.map(|word| names::drum(site, word)).transpose()?;
    let next = known.next_visit(now);
    let visit = match until.map(|typed| ahead(typed, now, &site.time_zone)).transpose()? {
        // The margin belongs to the visit, which may come late.
        Some(at) => next.filter(|next| next.at == at).unwrap_or(Visit { at, margin: SignedDuration::ZERO }),
        None => next.ok_or_else(|| CommandFailure::Wrong {
            what: "the next visit can't be told from [staff].".to_owned(),
            remedy: "Say until when with --until.".to_owned(),
        })?,
    };
    // What must be there is wanted when people go home.
    let from = known.next_evening(now).filter(|evening| *evening < visit.at).unwrap_or(now);
    let (mut drums, mut supplies) = known.outlook(now, &visit, from);
    if let Some(only) = only {
        drums.retain(|drum| drum.state.drum == only);
        supplies.clear();
    }
    let stale = standing.stale().map(|words| format!("{words}\n\n")).unwrap_or_default();
    Ok(stale + &claymark_words::notice::outlook(site, now, &visit, &drums, &supplies))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::past::tests::day;

    /// The invented hatchery at four in the afternoon of its first day.
    fn told(drum: Option<&str>, until: Option<&str>) -> Result<String, String> {
        let folder = tempfile::tempdir().unwrap();
        let (settings, _) = day(folder.path());
        let standing = RoomAsOf::at(settings, "2027-04-17T13:00:00Z".parse().unwrap()).unwrap();
        answer(&standing, drum, until).map_err(|failure| failure.text(false))
    }

    #[test]
    fn every_drum_and_supply_is_told_until_the_next_visit() {
        let told = told(None, None).unwrap();
        assert!(
            told.starts_with("As of Sat 17 Apr 16:00, until Sun 07:30 and 1 h beyond:\n\nDrum A: "),
            "{told}"
        );
        // Dry before midnight it isn't, and hands are there again at five.
        assert!(told.contains("\nAt 17:00 it must hold "), "{told}");
        for drum in ["\nDrum B: ", "\nDrum C: NOT IN USE", "\nAll drums of Pump 2 together: dry about "] {
            assert!(told.contains(drum), "{drum}: {told}");
        }
    }

    #[test]
    fn one_drum_is_told_until_the_time_that_was_asked_for() {
        let told = told(Some("Drum A"), Some("tomorrow 23:00")).unwrap();
        assert!(
            told.starts_with("As of Sat 17 Apr 16:00, until Sun 23:00:\n\nDrum A: WILL NOT LAST."),
            "{told}"
        );
        // It was filled three minutes before, and the level hasn't settled.
        assert!(told.contains("\nDon't add anything now: ") && !told.contains("Drum B"), "{told}");
    }

    #[test]
    fn the_margin_belongs_to_the_visit_and_to_no_other_time() {
        let visit = told(Some("a"), Some("tomorrow 07:30")).unwrap();
        assert!(visit.contains("until Sun 07:30 and 1 h beyond"), "{visit}");
        let later = told(Some("a"), Some("tomorrow 07:31")).unwrap();
        assert!(later.contains("until Sun 07:31:"), "{later}");
    }

    #[test]
    fn a_drum_or_a_time_that_is_none_is_refused() {
        let unknown = told(Some("q"), None).unwrap_err();
        assert!(unknown.contains("there is no drum 'q'"), "{unknown}");
        let past = told(None, Some("2027-04-17 08:00")).unwrap_err();
        assert!(past.contains("is past"), "{past}");
    }
}
