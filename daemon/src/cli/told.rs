//! `claymark told`: what went to whom, when it arrived, who answered.

use std::io::Write as _;

use clap::Args;
use jiff::{SignedDuration, Timestamp};

use claymark_store::Reader;
use claymark_store::batch::{Delivery, DeliveryState};
use claymark_words::format::Clock;
use claymark_words::told::{self, Came, WentBy};

use super::{CommandFailure, SiteFileFlag};
use crate::clock::TimeSource;
use crate::config::{self, Secrets};

#[derive(Debug, Args)]
pub(super) struct ToldCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
    /// Only this notice
    notice: Option<u64>,
    /// How far to look back
    #[arg(long, value_name = "TIME", default_value = "24h")]
    since: SignedDuration,
}

pub(super) fn run(asked: &ToldCommand) -> Result<(), CommandFailure> {
    let settings = config::read(&asked.site_file.config, Secrets::Left)?.settings;
    let (site, now) = (&settings.site, TimeSource::system().now());
    let reader = Reader::open(&settings.store)?;
    let to = now.saturating_add(A_DAY).unwrap_or(Timestamp::MAX);
    let from = match asked.notice {
        Some(_) => Timestamp::UNIX_EPOCH,
        None => now.saturating_sub(asked.since.abs()).unwrap_or(Timestamp::UNIX_EPOCH),
    };
    let mut notices = reader.notices(from, to)?;
    notices.retain(|issued| asked.notice.is_none_or(|number| issued.notice.number == number));
    let (deliveries, answers) = (reader.deliveries(from, to)?, reader.answers(from, to)?);
    let mut out = std::io::stdout();
    if notices.is_empty() {
        return match asked.notice {
            Some(number) => Err(CommandFailure::Failed {
                what: format!("The store holds no notice {number}."),
                remedy: "claymark told, without a number, shows those of the last day.".to_owned(),
            }),
            None => Ok(writeln!(out, "{}", told::nothing(Clock::new(site, now), from))?),
        };
    }
    for issued in &notices {
        let number = issued.notice.number;
        let ways: Vec<WentBy> = deliveries.iter().filter(|row| row.notice == number).map(way).collect();
        let answers: Vec<_> = answers.iter().filter(|answer| answer.notice == number).cloned().collect();
        for line in told::lines(site, now, (&issued.notice, &issued.subject), &ways, &answers) {
            writeln!(out, "{line}")?;
        }
    }
    Ok(())
}

fn way(row: &Delivery) -> WentBy {
    let (attempts, came) = match &row.state {
        DeliveryState::Sent { at, attempts } => (*attempts, Came::Accepted(*at)),
        DeliveryState::GivenUp { at, why, attempts } => (*attempts, Came::GivenUp(*at, why.clone())),
        DeliveryState::Pending { attempts, next_try, last_error } => {
            (*attempts, Came::Waits(*next_try, last_error.clone()))
        }
        DeliveryState::Unanswered { attempts, next_try, .. } => (*attempts, Came::Unanswered(*next_try)),
    };
    WentBy { contact: row.contact.clone(), channel: row.channel, attempts, came }
}

/// What was decided under a clock that has been set back since is told, too.
const A_DAY: SignedDuration = SignedDuration::from_hours(24);
