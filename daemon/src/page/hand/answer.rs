//! "I'm on it", "not me", and a shelf: from the page of a notice, or by the link in its message.

use std::time::Duration;

use axum::extract::State;
use axum::response::Response;
use jiff::{SignedDuration, Timestamp};
use tokio::sync::oneshot;

use claymark_model::fieldlog::Deed;
use claymark_notice::Answer;
use claymark_notice::calling::DeclineFate;
use claymark_words::format::Clock;
use claymark_words::{answers, bounds, page as words, replies as told, typed};

use super::entry;
use super::{NotShown, fresh_key, page, plain, remember, written};
use crate::page::Desk;
use crate::page::asks::{PageAsk, WriteOutcome};
use crate::page::feed::NoAnswer;
use crate::page::visitor::{Fields, OwnForm, SignedAs, Visitor};
use crate::pipeline::AgainstEntry;
use crate::replies::{Reply, ReplyOutcome};
use crate::say::{Saying, Signature};

/// `POST /answer`: "I'm on it".
pub(in crate::page) async fn answer(
    State(desk): State<Desk>,
    OwnForm { visitor, fields }: OwnForm,
) -> Result<Response, NotShown> {
    let notice = number(&fields)?;
    let Some(who) = who(&desk, &visitor, &fields) else {
        return shown(&desk, &visitor, (words::who_is_it().to_owned(), notice), None);
    };
    let says = promised(&desk, notice, &who, field(&fields, "there_in")).await?;
    shown(&desk, &visitor, (says, notice), Some(&who))
}

/// `POST /decline`: "not me".
pub(in crate::page) async fn decline(
    State(desk): State<Desk>,
    OwnForm { visitor, fields }: OwnForm,
) -> Result<Response, NotShown> {
    let notice = number(&fields)?;
    let Some(who) = who(&desk, &visitor, &fields) else {
        return shown(&desk, &visitor, (words::nobody_called_so().to_owned(), notice), None);
    };
    let says = declined(&desk, notice, &who, field(&fields, "key")).await?;
    shown(&desk, &visitor, (says, notice), Some(&who))
}

/// `POST /shelve`
pub(in crate::page) async fn shelve(
    State(desk): State<Desk>,
    OwnForm { visitor, fields }: OwnForm,
) -> Result<Response, NotShown> {
    let notice = number(&fields)?;
    let (now, why) = (desk.clock.now(), field(&fields, "why"));
    let lasts = entry::minutes(field(&fields, "lasts")).ok().flatten();
    let (Some(lasts), false) = (lasts.filter(SignedDuration::is_positive), why.is_empty()) else {
        return shown(&desk, &visitor, (words::why_missing().to_owned(), notice), None);
    };
    let (until, who) = (now + lasts, who(&desk, &visitor, &fields));
    let deed = Deed::Shelve { notice, until, why: why.to_owned() };
    let clock = Clock::new(&desk.site, now);
    let says = match kept(&desk, &deed, (who.as_ref(), field(&fields, "key")), now).await? {
        None => words::taken_not_kept(),
        Some(WriteOutcome::Kept) => words::shelved(clock, notice, until),
        // The first one stands, with its end.
        Some(WriteOutcome::NotTaken(AgainstEntry::SentBefore(entries))) => {
            if let Deed::Shelve { notice, until, .. } = entries.0.deed {
                words::shelved(clock, notice, until)
            } else {
                words::no_such_entry().to_owned()
            }
        }
        Some(WriteOutcome::NotTaken(AgainstEntry::NotShelved(why))) => words::not_shelved(notice, why),
        Some(WriteOutcome::NotTaken(against)) => refused(&desk, &against),
    };
    shown(&desk, &visitor, (says, notice), who.as_ref())
}

/// Somebody is on it, there within so many minutes where they say so; what it came to.
pub(in crate::page) async fn promised(
    desk: &Desk,
    notice: u64,
    who: &SignedAs,
    there_in: &str,
) -> Result<String, NoAnswer> {
    let now = desk.clock.now();
    let Ok(there_in) = entry::minutes(there_in) else { return Ok(words::no_such_entry().to_owned()) };
    let there_by = there_in.map(|minutes| now + minutes);
    // As an answer by mail has it.
    let answer = Answer { notice, by: Some(who.by.clone()), at: now, there_by };
    let clock = Clock::new(&desk.site, now);
    Ok(match handed_over(desk, answer).await? {
        None => words::taken_not_kept(),
        Some(ReplyOutcome::Taken { urgency }) => {
            answers::taken(clock, &desk.site.staff, (&typed::name(&who.by), notice), urgency, there_by)
        }
        Some(ReplyOutcome::NotTaken(why)) => told::not_taken(clock, &why).text,
    })
}

/// Somebody can't go; what it comes to.
pub(in crate::page) async fn declined(
    desk: &Desk,
    notice: u64,
    who: &SignedAs,
    key: &str,
) -> Result<String, NoAnswer> {
    let Some(contact) = &who.contact else { return Ok(words::nobody_called_so().to_owned()) };
    let fate = desk.feed.ask(|to| PageAsk::Decline(notice, contact.clone(), to)).await?;
    match fate {
        DeclineFate::NextAsked { .. } | DeclineFate::NobodyElse | DeclineFate::OthersAsked => {}
        DeclineFate::OnIt { .. } | DeclineFate::NobodyCalled | DeclineFate::NothingStands => {
            return Ok(words::declined(&desk.site, notice, &fate));
        }
    }
    Ok(match kept(desk, &Deed::Decline { notice }, (Some(who), key), desk.clock.now()).await? {
        None => words::taken_not_kept(),
        // What was sent before isn't asked once more.
        Some(WriteOutcome::Kept) => words::declined(&desk.site, notice, &fate),
        Some(WriteOutcome::NotTaken(AgainstEntry::SentBefore(_))) => {
            words::declined(&desk.site, notice, &DeclineFate::OthersAsked)
        }
        Some(WriteOutcome::NotTaken(against)) => refused(desk, &against),
    })
}

/// What it came to once it is on the disk; `None`: it is taken, and the disk is late.
async fn handed_over(desk: &Desk, answer: Answer) -> Result<Option<ReplyOutcome>, NoAnswer> {
    let (kept, outcome) = oneshot::channel();
    desk.replies.send(Reply { answer, kept }).await.map_err(|_gone| NoAnswer)?;
    let kept = tokio::time::timeout(FOR_THE_DISK, outcome).await;
    desk.feed.forget().await;
    match kept {
        Ok(Ok(outcome)) => Ok(Some(outcome)),
        Ok(Err(_gone)) => Err(NoAnswer),
        Err(_late) => Ok(None),
    }
}

async fn kept(
    desk: &Desk,
    deed: &Deed,
    (who, key): (Option<&SignedAs>, &str),
    at: Timestamp,
) -> Result<Option<WriteOutcome>, NoAnswer> {
    let key = if key.is_empty() { fresh_key() } else { key.to_owned() };
    let by = who.map(|who| who.by.clone());
    let signature = Signature { key, at, by, replaces: None, sure: false };
    written(desk, Saying::entry(&desk.prefix, deed, signature).payload.to_string().into_bytes()).await
}

fn refused(desk: &Desk, against: &AgainstEntry) -> String {
    match against {
        AgainstEntry::Unreadable(why) => words::refused(why),
        AgainstEntry::Unlikely(why) => words::asked(&bounds::unlikely(&desk.site, why)),
        AgainstEntry::SentBefore(_) | AgainstEntry::NotShelved(_) => words::no_such_entry().to_owned(),
    }
}

/// Whoever is logged in, or whom the form names.
fn who(desk: &Desk, visitor: &Visitor, fields: &Fields) -> Option<SignedAs> {
    let chosen = || {
        let by = Some(field(fields, "by")).filter(|by| !by.is_empty());
        entry::chosen(&desk.site, by).unwrap_or(None)
    };
    visitor.signed(&desk.site).or_else(chosen)
}

fn number(fields: &Fields) -> Result<u64, NotShown> {
    let number = field(fields, "notice");
    number.parse().map_err(|_no_number| NotShown::Nothing(words::no_notice(number)))
}

fn field<'a>(fields: &'a Fields, name: &str) -> &'a str {
    fields.get(name).map(|text| text.trim()).unwrap_or_default()
}

fn shown(
    desk: &Desk,
    visitor: &Visitor,
    (says, notice): (String, u64),
    who: Option<&SignedAs>,
) -> Result<Response, NotShown> {
    let mut shown = page(desk, visitor, plain(says, format!("/notice/{notice}")))?;
    let contact = who.and_then(|who| who.contact.as_ref()).filter(|_| visitor.name().is_none());
    if let Some(contact) = contact {
        remember(&mut shown, contact.as_str());
    }
    Ok(shown)
}

/// So long somebody waits at a form; what they wrote isn't lost after it.
const FOR_THE_DISK: Duration = Duration::from_secs(10);
