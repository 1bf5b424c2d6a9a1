//! `claymark answer N`: "I'm on it", or why that number takes no call off anybody.

use clap::Args;
use jiff::Timestamp;

use claymark_clay::bounds;
use claymark_notice::Answer as Answered;
use claymark_notice::register::{Register, Standing};
use claymark_store::{Reader, StoreError};
use claymark_words::format::Clock as Wall;
use claymark_words::{answers, bounds as words};

use super::{Failure, SiteFile, say};
use crate::clock::Clock;
use crate::config::{self, Secrets};
use crate::pipeline;
use crate::run::Settings;
use crate::say::Saying;

#[derive(Debug, Args)]
pub(super) struct Answer {
    #[command(flatten)]
    site_file: SiteFile,
    /// The number of the notice
    #[arg(allow_negative_numbers = true)]
    notice: u64,
    /// Who is on it
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Print what was sent as JSON, and not as a sentence
    #[arg(long)]
    json: bool,
}

pub(super) fn run(asked: Answer) -> Result<(), Failure> {
    let Answer { site_file, notice, by, json } = asked;
    let settings = config::read(&site_file.config, Secrets::Needed)?.settings;
    possible(&settings, notice, by.as_deref())?;
    let now = Clock::system().now();
    let doubt = match register(&settings, now) {
        Ok(register) => fits(&settings, &register, now, (notice, by.as_deref())).map(|()| String::new())?,
        Err(why) => format!(
            " Whether notice {notice} is open can't be seen from here ({why}); Claymark tells everybody if it isn't."
        ),
    };
    let who = by.as_ref().map_or("somebody", String::as_str);
    let told = if doubt.is_empty() {
        format!("{who} is on it, notice {notice}. Nobody else is called for it.")
    } else {
        format!("{who} is on it, notice {notice}.{doubt}")
    };
    say(&settings, &Saying::answer(&settings.intake.prefix, notice, by), &told, json)
}

fn possible(settings: &Settings, notice: u64, by: Option<&str>) -> Result<(), Failure> {
    bounds::notice_number(notice).and_then(|()| bounds::name("by", by)).map_err(|why| Failure::Failed {
        what: words::impossible(&settings.site, &why),
        remedy: "Nothing was sent. The number stands in the message: claymark answer 7 --by Aino.".to_owned(),
    })
}

/// The notices and answers of late, by the store.
fn register(settings: &Settings, now: Timestamp) -> Result<Register, StoreError> {
    let store = Reader::open(&settings.store)?;
    let mut register = Register::default();
    let past = store.recall(pipeline::recalled_since(now));
    if let Some(unread) = past.trouble {
        return Err(unread);
    }
    register.numbered_up_to(past.last_notice.unwrap_or(0));
    past.notices.iter().for_each(|issued| register.issue(&issued.notice));
    past.answers.iter().for_each(|answer: &Answered| register.answered(answer));
    Ok(register)
}

/// Refuses an answer that takes no call off anybody, with the number that was probably meant.
fn fits(
    settings: &Settings,
    register: &Register,
    now: Timestamp,
    (notice, by): (u64, Option<&str>),
) -> Result<(), Failure> {
    let (standing, meant) = (register.standing(notice, by), register.meant(notice));
    if standing == Standing::Open {
        return Ok(());
    }
    let clock = Wall::new(&settings.site, now);
    Err(Failure::Failed {
        what: answers::standing(clock, notice, &standing, meant),
        remedy: format!("Nothing was sent. {}", answers::instead(meant)),
    })
}
