//! What people write down on the page, and the forms for it; `answer`: what they answer, decline and shelve.

pub(super) mod answer;
mod entry;

use std::time::Duration;

use askama::Template;
use axum::extract::State;
use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse, Response};
use tokio::sync::oneshot;

use claymark_clay::refill::Refill;
use claymark_model::fieldlog::Deed;
use claymark_model::site::{Place, Site};
use claymark_model::units::PeopleUnits;
use claymark_notice::glance::DrumAtAGlance;
use claymark_notice::query::NotShelved;
use claymark_words::format;
use claymark_words::{bounds, fieldlog, names, page as words, typed};

use super::asks::{NoticeNow, PageAsk, WriteOutcome};
use super::look::{self, NotShown};
use super::visitor::{OwnForm, Visitor};
use super::{Desk, feed::NoAnswer};
use crate::pipeline::AgainstEntry;
use crate::say::Saying;
use crate::users::PageRole;

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
    /// As whom somebody is logged in: then nobody is chosen. Empty: not at all.
    pub(super) signed: String,
    /// Says that the form is theirs.
    pub(super) csrf: String,
}

/// What the forms of a notice need.
pub(super) struct NoticeForms {
    pub(super) all: LogForms,
    pub(super) may_answer: bool,
    pub(super) may_decline: bool,
    pub(super) may_shelve: bool,
    /// It would be shelved, were it not for the fish.
    pub(super) danger: bool,
}

impl NoticeForms {
    pub(super) fn of(desk: &Desk, visitor: &Visitor, notice: &NoticeNow) -> Self {
        let stands = stands(notice);
        let may_set = visitor.may(PageRole::Set);
        Self {
            all: LogForms::of(desk, visitor),
            may_answer: visitor.may(PageRole::Answer),
            may_decline: stands && visitor.may(PageRole::Answer),
            may_shelve: may_set && notice.unshelvable.is_none(),
            danger: may_set && notice.unshelvable == Some(NotShelved::Danger),
        }
    }
}

/// Whether what it told still stands, so that it can be declined.
pub(super) fn stands(notice: &NoticeNow) -> bool {
    notice.unshelvable != Some(NotShelved::NothingStands)
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
    pub(super) fn of(desk: &Desk, visitor: &Visitor) -> Self {
        let site = &desk.site;
        let who = visitor.wrote_last.as_deref();
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
            key: fresh_key(),
            signed: visitor.signed(site).map_or_else(String::new, |signed| words::signed_as(&signed.by)),
            csrf: visitor.form_token(desk),
        }
    }
}

impl DrumForms {
    pub(super) fn of(desk: &Desk, drum: &DrumAtAGlance, visitor: &Visitor) -> Self {
        let site = &desk.site;
        let state = &drum.outlook.state;
        let (water, clay) = filled_in(site, drum.sheet.refill.as_ref());
        Self {
            all: LogForms::of(desk, visitor),
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

/// What became of it, and what can be done next.
#[derive(Template)]
#[template(path = "said.html")]
pub(super) struct SaidPart {
    says: String,
    /// The same again, as it stands: the fields to send, where somebody must say that they are right.
    again: Vec<(String, String)>,
    /// The key of what can be taken back.
    undo: Option<String>,
    back: String,
    by: String,
    csrf: String,
}

/// `POST /log`
pub(super) async fn log(
    State(desk): State<Desk>,
    OwnForm { visitor, fields }: OwnForm,
) -> Result<Response, NotShown> {
    let field = |name: &str| fields.get(name).map(String::as_str).unwrap_or_default().trim();
    if field("kind") == "tonight" && !visitor.may(PageRole::Set) {
        return Err(NotShown::Refused(may_not(&visitor, PageRole::Set)));
    }
    let back = back(&desk.site, field("drum"));
    let now = desk.clock.now();
    let (deed, signature, who) = match entry::read(&desk.site, &fields, now, visitor.signed(&desk.site)) {
        Ok(read) => read,
        Err(why) => return page(&desk, &visitor, plain(why, back)),
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
            let again: Vec<_> =
                fields.clone().into_iter().filter(|(name, _)| name != "sure" && name != "csrf").collect();
            (words::asked(&bounds::unlikely(&desk.site, &why)), again, None)
        }
        Some(WriteOutcome::NotTaken(AgainstEntry::Unreadable(why))) => {
            (words::refused(&why), Vec::new(), None)
        }
        // None of these forms shelves anything.
        Some(WriteOutcome::NotTaken(AgainstEntry::NotShelved(_))) => {
            (words::no_such_entry().to_owned(), Vec::new(), None)
        }
    };
    let who = who.map(|who| who.to_string());
    let part =
        SaidPart { says, again, undo, by: who.clone().unwrap_or_default(), ..plain(String::new(), back) };
    let mut shown = page(&desk, &visitor, part)?;
    if let Some(who) = who.filter(|_| visitor.name().is_none()) {
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

pub(super) fn plain(says: String, back: String) -> SaidPart {
    SaidPart { says, again: Vec::new(), undo: None, back, by: String::new(), csrf: String::new() }
}

pub(super) fn page(desk: &Desk, visitor: &Visitor, part: SaidPart) -> Result<Response, NotShown> {
    let part = SaidPart { csrf: visitor.form_token(desk), ..part };
    Ok(look::said(desk, visitor, "Claymark", &part)?.into_response())
}

/// What somebody may not do.
pub(super) fn may_not(visitor: &Visitor, role: PageRole) -> String {
    words::may_not(visitor.name().unwrap_or("a screen"), words::deed_of(role.name()))
}

pub(super) fn fresh_key() -> String {
    format!("page{:016x}", rand::random::<u64>())
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
