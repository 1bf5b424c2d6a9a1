//! `claymark try-contact ID`: a test by each way of a contact, and whether the contact answers.

use std::io::Write as _;
use std::time::Duration;

use clap::Args;
use jiff::SignedDuration;
use serde::Deserialize;

use claymark_model::id::Id;
use claymark_store::batch::Channel;
use claymark_words::{format, names, typed};

use super::{CommandFailure, SiteFileFlag};
use crate::clock::TimeSource;
use crate::config::{self, Secrets};
use crate::intake::hearing::{Hearing, HearingError};
use crate::intake::one_shot;
use crate::notify::Trial;
use crate::run::Settings;
use crate::suggest::did_you_mean;

#[derive(Debug, Args)]
pub(super) struct TryCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
    /// The contact's id in the site file
    contact: String,
    /// How long to wait for the answer: 10m, 30s; 0s: not at all
    #[arg(long, value_name = "TIME", default_value = "10m")]
    wait: SignedDuration,
}

/// Sends, says what became of each way, and waits. An error unless each way took it and somebody answered.
pub(super) fn run(asked: &TryCommand) -> Result<(), CommandFailure> {
    let settings = config::read(&asked.site_file.config, Secrets::Needed)?.settings;
    let contact = known(&settings, &asked.contact)?;
    let runtime = tokio::runtime::Runtime::new()?;
    runtime.block_on(try_out(&settings, &contact, asked.wait))
}

async fn try_out(settings: &Settings, contact: &Id, wait: SignedDuration) -> Result<(), CommandFailure> {
    let filter = format!("{}/answer", settings.intake.prefix);
    let listening = Hearing::open(&settings.intake, vec![filter]);
    let mut hearing = match tokio::time::timeout(FOR_THE_BROKER, listening).await {
        Ok(heard) => heard.map_err(|why| why.to_string()),
        Err(_elapsed) => Err("the broker doesn't answer".to_owned()),
    };
    let failed = send(settings, contact).await?;
    if wait > SignedDuration::ZERO {
        let mut out = std::io::stdout();
        match &mut hearing {
            Ok(hearing) => {
                writeln!(
                    out,
                    "Waiting up to {} for the answer: claymark answer 0 --by {contact}",
                    format::duration(wait)
                )?;
                out.flush()?;
                answered(hearing, settings, contact, wait).await?;
            }
            Err(why) => {
                return Err(CommandFailure::Failed {
                    what: format!("An answer can't be heard: {}.", typed::line(why)),
                    remedy: "Look at [mqtt] in the site file and at the broker's rights, then try again."
                        .to_owned(),
                });
            }
        }
    }
    match failed.as_slice() {
        [] => Ok(()),
        some => Err(CommandFailure::Failed {
            what: format!("{contact} can't be reached by {}.", names::list(some)),
            remedy: "Mend what stands above, then try it again: a call in the night goes the same way."
                .to_owned(),
        }),
    }
}

/// Tries each way and says what became of it; gives those that failed.
async fn send(settings: &Settings, contact: &Id) -> Result<Vec<String>, CommandFailure> {
    let now = TimeSource::system().now();
    let Some(trial) = Trial::new(&settings.site, &settings.notify, contact, now) else {
        return Ok(vec!["no way at all".to_owned()]);
    };
    let (mut out, mut failed) = (std::io::stdout(), Vec::new());
    for channel in trial.ways() {
        let way = names::channel(channel);
        let sent = match channel {
            Channel::Mqtt => publish(settings, &trial).await,
            Channel::Email | Channel::Webhook | Channel::Command => trial.send(channel).await,
        };
        match sent {
            Ok(()) => writeln!(out, "{way}: taken")?,
            Err(why) => {
                writeln!(out, "{way}: failed: {}", typed::line(&why))?;
                failed.push(way.to_owned());
            }
        }
    }
    Ok(failed)
}

async fn publish(settings: &Settings, trial: &Trial<'_>) -> Result<(), String> {
    let (topic, payload) = trial.message();
    let (intake, payload) = (settings.intake.clone(), payload.as_bytes().to_vec());
    let client_id = format!("try{:016x}", rand::random::<u64>());
    let sent = tokio::task::spawn_blocking(move || one_shot::publish(&intake, &client_id, &topic, &payload));
    match sent.await {
        Ok(Ok(one_shot::Taken::Acknowledged)) => Ok(()),
        Ok(Ok(one_shot::Taken::NobodyListens)) => Err("nobody listens there".to_owned()),
        Ok(Err(error)) => Err(error.to_string()),
        Err(fault) => Err(fault.to_string()),
    }
}

#[derive(Deserialize)]
struct TestAnswer {
    notice: u64,
    by: Option<String>,
}

async fn answered(
    hearing: &mut Hearing,
    settings: &Settings,
    contact: &Id,
    wait: SignedDuration,
) -> Result<(), CommandFailure> {
    let name = names::contact(&settings.site, contact);
    let theirs = |answer: &TestAnswer| {
        let by = answer.by.as_deref();
        answer.notice == 0 && by.is_none_or(|by| by == contact.as_str() || typed::name(by) == name)
    };
    let heard = async {
        loop {
            let (_topic, payload) = hearing.next().await?;
            if let Some(answer) = serde_json::from_slice(&payload).ok().filter(theirs) {
                return Ok::<_, HearingError>(answer);
            }
        }
    };
    match tokio::time::timeout(Duration::try_from(wait).unwrap_or(Duration::MAX), heard).await {
        Ok(Ok(answer)) => {
            let by = answer.by.map_or("somebody".to_owned(), |by| typed::name(&by));
            writeln!(std::io::stdout(), "Answered by {by}.")?;
            Ok(())
        }
        Ok(Err(why)) => Err(CommandFailure::Failed {
            what: format!("The connection to the broker ended: {why}."),
            remedy: "Try it again when the broker is there.".to_owned(),
        }),
        Err(_elapsed) => Err(CommandFailure::Failed {
            what: format!("{name} didn't answer within {}.", format::duration(wait)),
            remedy: "Ask whether the test arrived, and whether the telephone makes a sound for it at night."
                .to_owned(),
        }),
    }
}

fn known(settings: &Settings, typed: &str) -> Result<Id, CommandFailure> {
    let ids = || settings.notify.addresses.iter().map(|address| &address.contact);
    ids().find(|id| id.as_str() == typed).cloned().ok_or_else(|| CommandFailure::Wrong {
        what: format!("there is no contact '{typed}' in the site file."),
        remedy: format!(
            "{}Known: {}.",
            did_you_mean(typed, ids().map(Id::as_str)),
            names::list(&ids().map(ToString::to_string).collect::<Vec<_>>())
        ),
    })
}

const FOR_THE_BROKER: Duration = Duration::from_secs(10);
