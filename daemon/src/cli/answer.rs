//! `claymark answer N`: "I'm on it", or why that number takes no call off anybody.

use clap::Args;
use jiff::{SignedDuration, Timestamp};

use claymark_clay::bounds;
use claymark_notice::Answer as Answered;
use claymark_notice::register::{Register, Standing, by_the_clock};
use claymark_store::{Reader, StoreError};
use claymark_words::format::Clock as Wall;
use claymark_words::{answers, bounds as words};

use super::moment::ahead;
use super::{CommandFailure, SiteFileFlag, say};
use crate::clock::TimeSource;
use crate::config::{self, Secrets};
use crate::pipeline;
use crate::run::Settings;
use crate::say::Saying;

#[derive(Debug, Args)]
pub(super) struct AnswerCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
    /// The number of the notice; 0: a test of how somebody is reached
    #[arg(allow_negative_numbers = true, value_parser = number)]
    notice: u64,
    /// Who is on it
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// When they will be there, such as 04:30; else in time for what the notice says
    #[arg(long, value_name = "TIME")]
    there_by: Option<String>,
    /// Print what was sent as JSON, and not as a sentence
    #[arg(long)]
    json: bool,
}

pub(super) fn run(asked: AnswerCommand) -> Result<(), CommandFailure> {
    let AnswerCommand { site_file, notice, by, there_by, json } = asked;
    let settings = config::read(&site_file.config, Secrets::Needed)?.settings;
    if notice == 0 {
        let saying = Saying::answer(&settings.intake.prefix, 0, by, None);
        return say(&settings, &saying, "the test is answered; nobody is called for it.", json);
    }
    possible(&settings, notice, by.as_deref())?;
    let now = TimeSource::system().now();
    let there_by = there_by.map(|typed| ahead(&typed, now, &settings.site.time_zone)).transpose()?;
    let mut urgency = None;
    let doubt = match register(&settings, now) {
        Ok(seen) if seen.may_lack(notice, now) => seen.doubt(&settings, now),
        Ok(seen) => {
            fits(&settings, &seen.register, now, (notice, by.as_deref()))?;
            urgency = seen.register.urgency(notice);
            String::new()
        }
        Err(why) => format!(
            " Whether notice {notice} is open can't be seen from here ({why}); Claymark tells everybody if it isn't."
        ),
    };
    let who = by.as_ref().map_or("somebody", String::as_str);
    let told = if doubt.is_empty() {
        let clock = Wall::new(&settings.site, now);
        answers::taken(clock, &settings.site.staff, (who, notice), urgency, there_by)
    } else {
        format!("{who} is on it, notice {notice}.{doubt}")
    };
    say(&settings, &Saying::answer(&settings.intake.prefix, notice, by, there_by), &told, json)
}

fn number(text: &str) -> Result<u64, String> {
    text.trim().parse().map_err(|_no_number| {
        "a notice's number is a whole number, such as 7; it stands in the message".to_owned()
    })
}

fn possible(settings: &Settings, notice: u64, by: Option<&str>) -> Result<(), CommandFailure> {
    bounds::notice_number(notice).and_then(|()| bounds::name("by", by)).map_err(|why| {
        CommandFailure::Failed {
            what: words::impossible(&settings.site, &why),
            remedy: "Nothing was sent. The number stands in the message: claymark answer 7 --by Aino."
                .to_owned(),
        }
    })
}

/// What the store knows of notices.
struct KnownNotices {
    register: Register,
    /// When it was last written.
    written: Option<Timestamp>,
}

impl KnownNotices {
    /// While nothing can be kept the store lacks the newest notices; their numbers are those of the clock, or it hasn't
    /// been written for long.
    fn may_lack(&self, notice: u64, now: Timestamp) -> bool {
        let by_the_clock = by_the_clock(now - LACKS_FOR)..=by_the_clock(now + SignedDuration::from_mins(1));
        let is_stale = self.written.is_none_or(|written| now.duration_since(written) > NOTED_EVERY * 3);
        let is_next = (self.register.last() + 1..=self.register.last() + MANY).contains(&notice);
        self.register.standing(notice, None) == Standing::Nonexistent
            && (by_the_clock.contains(&notice) || is_stale && is_next)
    }

    fn doubt(&self, settings: &Settings, now: Timestamp) -> String {
        let clock = Wall::new(&settings.site, now);
        let written =
            self.written.map_or("it is new".to_owned(), |at| format!("last written {}", clock.time(at)));
        format!(
            " The store doesn't hold that notice ({written}); it may be one that couldn't be kept. Claymark tells \
             everybody if there is none."
        )
    }
}

/// The notices and answers of late, by the store.
fn register(settings: &Settings, now: Timestamp) -> Result<KnownNotices, StoreError> {
    let store = Reader::open(&settings.store)?;
    let mut register = Register::default();
    let past = store.recall(pipeline::recalled_since(now));
    if let Some(unread) = past.trouble {
        return Err(unread);
    }
    register.numbered_up_to(past.last_notice.unwrap_or(0));
    past.notices.iter().for_each(|issued| register.issue(&issued.notice));
    past.answers.iter().for_each(|answer: &Answered| register.answered(answer));
    Ok(KnownNotices { register, written: store.session_seen()? })
}

/// Refuses an answer that takes no call off anybody, with the number that was probably meant.
fn fits(
    settings: &Settings,
    register: &Register,
    now: Timestamp,
    (notice, by): (u64, Option<&str>),
) -> Result<(), CommandFailure> {
    let (standing, meant) = (register.standing(notice, by), register.meant(notice));
    if standing == Standing::Open {
        return Ok(());
    }
    let clock = Wall::new(&settings.site, now);
    Err(CommandFailure::Failed {
        what: answers::standing(clock, notice, &standing, meant),
        remedy: format!("Nothing was sent. {}", answers::instead(meant)),
    })
}

/// A disk that fails is seen to by then.
const LACKS_FOR: SignedDuration = SignedDuration::from_hours(7 * 24);
/// While the broker is there the daemon writes at least so often.
const NOTED_EVERY: SignedDuration = SignedDuration::from_secs(90);
/// More than are told before the clock numbers them.
const MANY: u64 = 20;
