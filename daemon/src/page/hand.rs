//! What people answer and write down on the page.

mod entry;

use std::collections::BTreeMap;
use std::time::Duration;

use askama::Template;
use axum::extract::{Form, State};
use axum::http::HeaderMap;
use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse, Response};
use tokio::sync::oneshot;

use claymark_clay::refill::Refill;
use claymark_model::fieldlog::Deed;
use claymark_model::id::Id;
use claymark_model::site::{Place, Site};
use claymark_model::units::PeopleUnits;
use claymark_notice::Answer;
use claymark_notice::glance::DrumAtAGlance;
use claymark_words::format::{self, Clock};
use claymark_words::{answers, bounds, fieldlog, names, page as words, replies as told, typed};

use super::asks::{PageAsk, WriteOutcome};
use super::look::{self, NotShown};
use super::{Desk, feed::NoAnswer};
use crate::pipeline::AgainstEntry;
use crate::replies::{Reply, ReplyOutcome};
use crate::say::Saying;

type Fields = BTreeMap<String, String>;

/// One of several.
pub(super) struct Choice {
    pub(super) value: String,
    pub(super) name: String,
    pub(super) chosen: bool,
}

/// What the forms of the log need.
pub(super) struct LogForms {
    pub(super) people: Vec<Choice>,
    pub(super) drums: Vec<Choice>,
    pub(super) places: Vec<Choice>,
    pub(super) volume: &'static str,
    pub(super) mass: &'static str,
    /// Names an entry, so that what is sent twice counts once.
    pub(super) key: String,
}

/// What the forms of one drum need, filled in as far as it is known.
pub(super) struct DrumForms {
    pub(super) all: LogForms,
    pub(super) id: String,
    pub(super) water: String,
    pub(super) clay: String,
    pub(super) pump: String,
}

impl LogForms {
    pub(super) fn of(desk: &Desk, who: Option<&str>) -> Self {
        let site = &desk.site;
        let tanks = site.tanks.iter().map(|tank| Place::Tank(tank.id.clone()));
        let places = std::iter::once(Place::Head).chain(tanks);
        let choice = |value: String, name: String| {
            let chosen = who == Some(&value);
            Choice { value, name, chosen }
        };
        Self {
            people: site.contacts.iter().map(|c| choice(c.id.to_string(), typed::name(&c.name))).collect(),
            drums: site.drums.iter().map(|d| choice(d.id.to_string(), typed::name(&d.name))).collect(),
            places: places.map(|place| choice(place.to_string(), names::place(site, &place))).collect(),
            volume: site.units.volume.symbol(),
            mass: site.units.mass.symbol(),
            key: format!("page{:016x}", rand::random::<u64>()),
        }
    }
}

impl DrumForms {
    pub(super) fn of(desk: &Desk, drum: &DrumAtAGlance, who: Option<&str>) -> Self {
        let site = &desk.site;
        let state = &drum.outlook.state;
        let (water, clay) = filled_in(site, drum.sheet.refill.as_ref());
        Self {
            all: LogForms::of(desk, who),
            id: state.drum.to_string(),
            water,
            clay,
            pump: state.pump.pump.to_string(),
        }
    }
}

/// Water and clay as the sheet has them; empty where it has none.
fn filled_in(site: &Site, refill: Option<&Refill>) -> (String, String) {
    match refill {
        Some(Refill::Mix(mix)) => {
            let clay = format::mass(&site.units, mix.clay, site.clay.scale_step);
            let clay = clay.split(' ').next().unwrap_or_default().to_owned();
            (bare(&site.units, mix.water.0), clay)
        }
        Some(Refill::WaterOnly { water, .. }) => (bare(&site.units, water.0), "0".to_owned()),
        Some(
            Refill::TooStrong(_)
            | Refill::NoRoom
            | Refill::DrumTooSmall { .. }
            | Refill::TooThick { .. }
            | Refill::LookFirst { .. }
            | Refill::WrittenDown(_),
        )
        | None => (String::new(), String::new()),
    }
}

fn bare(units: &PeopleUnits, litres: f64) -> String {
    let value = units.volume.from_base(litres);
    format::number(value, usize::from(value < 99.95))
}

/// Whoever wrote last at this machine.
pub(super) fn whoever(headers: &HeaderMap) -> Option<&str> {
    look::cookie(headers, "who")
}

/// What became of it, and what can be done next.
#[derive(Template)]
#[template(path = "said.html")]
struct SaidPart {
    says: String,
    /// The same again, as it stands: the fields to send, where somebody must say that they are right.
    again: Vec<(String, String)>,
    /// The key of what can be taken back.
    undo: Option<String>,
    back: String,
    by: String,
}

/// `POST /answer`: "I'm on it".
pub(super) async fn answer(
    State(desk): State<Desk>,
    headers: HeaderMap,
    Form(fields): Form<Fields>,
) -> Result<Response, NotShown> {
    let field = |name: &str| fields.get(name).map(String::as_str).unwrap_or_default();
    let number = field("notice");
    let notice: u64 = number.parse().map_err(|_no_number| NotShown::Nothing(words::no_notice(number)))?;
    let now = desk.clock.now();
    let Some(contact) = desk.site.contacts.iter().find(|contact| contact.id.as_str() == field("by")) else {
        return page(&desk, &headers, plain(words::who_is_it().to_owned(), format!("/notice/{notice}")));
    };
    let Ok(there_in) = entry::minutes(field("there_in")) else {
        return page(&desk, &headers, plain(words::no_such_entry().to_owned(), format!("/notice/{notice}")));
    };
    let there_by = there_in.map(|minutes| now + minutes);
    // As an answer by mail has it.
    let answer = Answer { notice, by: Some(contact.name.clone()), at: now, there_by };
    let clock = Clock::new(&desk.site, now);
    let says = match handed_over(&desk, answer).await? {
        None => words::taken_not_kept(),
        Some(ReplyOutcome::Taken { urgency }) => {
            let name = typed::name(&contact.name);
            answers::taken(clock, &desk.site.staff, (&name, notice), urgency, there_by)
        }
        Some(ReplyOutcome::NotTaken(why)) => told::not_taken(clock, &why).text,
    };
    let mut shown = page(&desk, &headers, plain(says, "/".to_owned()))?;
    remember(&mut shown, contact.id.as_str());
    Ok(shown)
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

/// `POST /log`
pub(super) async fn log(
    State(desk): State<Desk>,
    headers: HeaderMap,
    Form(fields): Form<Fields>,
) -> Result<Response, NotShown> {
    let field = |name: &str| fields.get(name).map(String::as_str).unwrap_or_default().trim();
    let back = back(&desk.site, field("drum"));
    let now = desk.clock.now();
    let (deed, signature, who) = match entry::read(&desk.site, &fields, now) {
        Ok(read) => read,
        Err(why) => return page(&desk, &headers, plain(why, back)),
    };
    let undone = signature.replaces.is_some();
    let (key, at, by) = (signature.key.clone(), signature.at, signature.by.clone());
    let told = |deed: &Deed, at, by: Option<&str>| fieldlog::entry(&desk.site, now, (deed, at, by));
    let saying = Saying::entry(&desk.prefix, &deed, signature);
    let (says, again, undo) = match written(&desk, saying.payload.to_string().into_bytes()).await? {
        Some(WriteOutcome::Kept) => {
            (words::kept(&told(&deed, at, by.as_deref())), Vec::new(), (!undone).then_some(key))
        }
        None => (words::taken_not_kept(), Vec::new(), None),
        Some(WriteOutcome::NotTaken(AgainstEntry::SentBefore(entries))) => {
            let (before, new) = *entries;
            let said = told(&before.deed, before.at, before.by.as_deref());
            let same = before.deed == new.deed && before.replaces == new.replaces;
            (words::sent_before(&said, same), Vec::new(), (!undone).then_some(key))
        }
        Some(WriteOutcome::NotTaken(AgainstEntry::Unlikely(why))) => {
            let again: Vec<_> = fields.clone().into_iter().filter(|(name, _)| name != "sure").collect();
            (words::asked(&bounds::unlikely(&desk.site, &why)), again, None)
        }
        Some(WriteOutcome::NotTaken(AgainstEntry::Unreadable(why))) => {
            (words::refused(&why), Vec::new(), None)
        }
    };
    let who = who.map(Id::to_string);
    let part = SaidPart { says, again, undo, back, by: who.clone().unwrap_or_default() };
    let mut shown = page(&desk, &headers, part)?;
    if let Some(who) = who {
        remember(&mut shown, &who);
    }
    Ok(shown)
}

async fn written(desk: &Desk, payload: Vec<u8>) -> Result<Option<WriteOutcome>, NoAnswer> {
    let (to, outcome) = oneshot::channel();
    desk.asks.send(PageAsk::Write(payload, to)).await.map_err(|_gone| NoAnswer)?;
    let kept = tokio::time::timeout(FOR_THE_DISK, outcome).await;
    desk.feed.forget().await;
    match kept {
        Ok(Ok(outcome)) => Ok(Some(outcome)),
        Ok(Err(_gone)) => Err(NoAnswer),
        Err(_late) => Ok(None),
    }
}

fn plain(says: String, back: String) -> SaidPart {
    SaidPart { says, again: Vec::new(), undo: None, back, by: String::new() }
}

fn page(desk: &Desk, headers: &HeaderMap, part: SaidPart) -> Result<Response, NotShown> {
    Ok(look::said(desk, headers, "Claymark", &part)?.into_response())
}

/// The page of the drum that an entry was about.
fn back(site: &Site, drum: &str) -> String {
    let known = site.drums.iter().find(|known| known.id.as_str() == drum);
    known.map_or_else(|| "/".to_owned(), |drum| format!("/drum/{}", drum.id))
}

/// The next form has the same name filled in.
fn remember(shown: &mut Response, who: &str) {
    let kept = format!("who={who}; Path=/; Max-Age=31536000; SameSite=Strict; HttpOnly");
    if let Ok(value) = kept.parse() {
        shown.headers_mut().append(SET_COOKIE, value);
    }
}

/// So long somebody waits at a form; what they wrote isn't lost after it.
const FOR_THE_DISK: Duration = Duration::from_secs(10);
