//! The pages that only look.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, LOCATION, REFERER, SET_COOKIE};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Response};

use claymark_model::id::Id;
use claymark_words::page as words;

use super::asks::PageAsk;
use super::course::{self, Course, DrumPast};
use super::feed::{NoAnswer, RoomSeen};
use super::hand::{self, DrumForms, LogForms};
use super::view::{self, DrumPart, PageFrame, RoomNowPart, WallPart};
use super::{Desk, api};

/// What a page can't show.
pub(super) enum NotShown {
    /// The engine doesn't answer: nothing may look as if it did.
    NoAnswer,
    /// There is no such thing.
    Nothing(String),
    /// A template has failed.
    Broken(askama::Error),
}

impl From<NoAnswer> for NotShown {
    fn from(NoAnswer: NoAnswer) -> Self {
        Self::NoAnswer
    }
}

impl From<askama::Error> for NotShown {
    fn from(error: askama::Error) -> Self {
        Self::Broken(error)
    }
}

impl IntoResponse for NotShown {
    fn into_response(self) -> Response {
        let (status, says) = match self {
            Self::NoAnswer => (StatusCode::SERVICE_UNAVAILABLE, words::no_answer().to_owned()),
            Self::Nothing(what) => (StatusCode::NOT_FOUND, words::nothing_here(&what)),
            Self::Broken(error) => {
                tracing::error!("a page can't be made: {error}");
                (StatusCode::INTERNAL_SERVER_ERROR, words::no_answer().to_owned())
            }
        };
        (status, Html(format!("<!doctype html><title>Claymark</title><p>{says}</p>"))).into_response()
    }
}

type Page = Result<Html<String>, NotShown>;

/// `/`
pub(super) async fn room(State(desk): State<Desk>, headers: HeaderMap) -> Page {
    let seen = desk.feed.seen().await?;
    let now = part(&desk, &seen, "room").ok_or(NoAnswer)?;
    frame(&desk, &headers, ("", "room", "/live/room"), &now, "")
}

/// `/wall`
pub(super) async fn wall(State(desk): State<Desk>, headers: HeaderMap) -> Page {
    let seen = desk.feed.seen().await?;
    let now = part(&desk, &seen, "wall").ok_or(NoAnswer)?;
    frame(&desk, &headers, ("", "wall", "/live/wall"), &now, "")
}

/// A part that many look at, made once; `None`: there is none of that name.
pub(super) fn part(desk: &Desk, seen: &RoomSeen, name: &str) -> Option<std::sync::Arc<str>> {
    let made = |template: Result<String, askama::Error>| {
        template.unwrap_or_else(|error| {
            tracing::error!("a part of the page can't be made: {error}");
            words::no_answer().to_owned()
        })
    };
    let room = || RoomNowPart::of(&desk.site, seen);
    match name {
        "room" => Some(seen.part(name, || made(room().render()))),
        "wall" => Some(seen.part(name, || made(WallPart::of(room()).render()))),
        _ => None,
    }
}

/// The part of one drum; `None`: there is no such drum.
pub(super) fn drum_part(desk: &Desk, seen: &RoomSeen, id: &str) -> Option<std::sync::Arc<str>> {
    let drum = seen.room.glance.drums.iter().find(|drum| drum.outlook.state.drum.as_str() == id)?;
    Some(seen.part(&format!("drum {id}"), || {
        DrumPart::of(&desk.site, seen, drum).render().unwrap_or_else(|error| {
            tracing::error!("the page of drum {id} can't be made: {error}");
            words::no_answer().to_owned()
        })
    }))
}

/// What stands below a drum: its last day, and what may be written down of it.
#[derive(Template)]
#[template(path = "drum_below.html")]
struct DrumBelow {
    course: Option<Course>,
    forms: DrumForms,
}

/// `/drum/a`
pub(super) async fn drum(
    State(desk): State<Desk>,
    headers: HeaderMap,
    Path(id): Path<String>,
) -> Result<Response, NotShown> {
    let seen = desk.feed.seen().await?;
    let Some(now) = drum_part(&desk, &seen, &id) else {
        return Err(NotShown::Nothing(words::no_drum(&id)));
    };
    let of_it = seen.room.glance.drums.iter().find(|drum| drum.outlook.state.drum.as_str() == id);
    let drum = of_it.ok_or(NoAnswer)?;
    let course = course_of(&desk, &drum.outlook.state.drum, &seen).await;
    let forms = DrumForms::of(&desk, drum, hand::whoever(&headers));
    let below = DrumBelow { course, forms }.render()?;
    let name = view::DrumPart::name(&desk.site, drum);
    Ok(frame(&desk, &headers, (&name, "room", &format!("/live/drum/{id}")), &now, &below)?.into_response())
}

/// Without a store that can be read there is no course, and the page is shown all the same.
async fn course_of(desk: &Desk, id: &Id, seen: &RoomSeen) -> Option<Course> {
    let drum = desk.site.drum(id)?.clone();
    let glance = &seen.room.glance;
    let newest =
        glance.drums.iter().find(|drum| drum.outlook.state.drum == *id)?.outlook.state.forecast.clone();
    let (store, site, of, now) =
        (std::sync::Arc::clone(&desk.store), std::sync::Arc::clone(&desk.site), id.clone(), glance.at);
    let drawn = tokio::task::spawn_blocking(move || {
        DrumPast::read(&store, &of, now).map(|past| course::of(&site, &drum, &past, &newest))
    });
    match drawn.await {
        Ok(Ok(course)) => Some(course),
        Ok(Err(error)) => {
            tracing::warn!("the course of drum {id} can't be read: {error}");
            None
        }
        Err(fault) => {
            tracing::error!("the course of drum {id} can't be drawn: {fault}");
            None
        }
    }
}

/// A notice, and how to answer it.
#[derive(Template)]
#[template(path = "notice.html")]
struct NoticePart {
    number: u64,
    subject: String,
    text: String,
    at: String,
    /// What an answer would come to; `None`: it waits for one.
    over: Option<String>,
    forms: LogForms,
}

/// `/notice/8`
pub(super) async fn notice(
    State(desk): State<Desk>,
    headers: HeaderMap,
    Path(number): Path<String>,
) -> Result<Response, NotShown> {
    let nothing = || NotShown::Nothing(words::no_notice(&number));
    let wanted: u64 = number.parse().map_err(|_no_number| nothing())?;
    let found = desk.feed.ask(|to| PageAsk::Notice(wanted, to)).await?.ok_or_else(nothing)?;
    let clock = claymark_words::format::Clock::new(&desk.site, desk.clock.now());
    let part = NoticePart {
        number: wanted,
        at: view::as_of(&desk.site, found.issued.notice.at),
        subject: found.issued.subject,
        text: found.issued.text,
        over: (!found.standing.fits())
            .then(|| claymark_words::answers::standing(clock, wanted, &found.standing, None)),
        forms: LogForms::of(&desk, hand::whoever(&headers)),
    };
    let title = format!("Notice {wanted}");
    Ok(frame(&desk, &headers, (&title, "room", ""), &part.render()?, "")?.into_response())
}

/// What may be written down.
#[derive(Template)]
#[template(path = "log.html")]
struct LogFormPart {
    forms: LogForms,
}

/// `/log`
pub(super) async fn log(State(desk): State<Desk>, headers: HeaderMap) -> Page {
    let part = LogFormPart { forms: LogForms::of(&desk, hand::whoever(&headers)) };
    frame(&desk, &headers, ("Write down", "room", ""), &part.render()?, "")
}

/// A page of what became of something.
pub(super) fn said(desk: &Desk, headers: &HeaderMap, title: &str, part: &impl Template) -> Page {
    frame(desk, headers, (title, "room", ""), &part.render()?, "")
}

fn frame(
    desk: &Desk,
    headers: &HeaderMap,
    (title, kind, live): (&str, &str, &str),
    now: &str,
    below: &str,
) -> Page {
    let site = view::site_name(&desk.site);
    let light = cookie(headers, "light").filter(|light| LIGHTS.contains(light)).unwrap_or_default();
    let title = if title.is_empty() { site.clone() } else { format!("{title}: {site}") };
    Ok(Html(PageFrame { title: &title, site: &site, light, kind, live, now, below }.render()?))
}

/// `/light/night`: how bright the pages are from now on at this machine.
pub(super) async fn light(headers: HeaderMap, Path(light): Path<String>) -> Response {
    let light = LIGHTS.iter().find(|known| **known == light).copied().unwrap_or_default();
    // Only the way of where it came from: no other machine is led to.
    let back = headers.get(REFERER).and_then(|from| from.to_str().ok()?.parse::<axum::http::Uri>().ok());
    let back = back.map_or_else(|| "/".to_owned(), |from| from.path().to_owned());
    let back = if back.starts_with("//") { "/".to_owned() } else { back };
    let kept = format!("light={light}; Path=/; Max-Age=31536000; SameSite=Strict; HttpOnly");
    (StatusCode::SEE_OTHER, [(LOCATION, back), (SET_COOKIE, kept)]).into_response()
}

/// A cookie's value.
pub(super) fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let all = headers.get("cookie")?.to_str().ok()?;
    all.split(';')
        .find_map(|pair| pair.trim().split_once('=').filter(|(key, _)| *key == name))
        .map(|(_, value)| value)
}

/// `/page.css`
pub(super) async fn style() -> impl IntoResponse {
    (
        [(CONTENT_TYPE, "text/css; charset=utf-8"), (CACHE_CONTROL, KEPT)],
        include_str!("../../assets/page.css"),
    )
}

/// `/page.js`
pub(super) async fn script() -> impl IntoResponse {
    let kind = "text/javascript; charset=utf-8";
    ([(CONTENT_TYPE, kind), (CACHE_CONTROL, KEPT)], include_str!("../../assets/page.js"))
}

/// Any other address.
pub(super) async fn nothing(uri: axum::http::Uri) -> Response {
    if uri.path().starts_with("/api/") {
        return api::nothing();
    }
    NotShown::Nothing(words::no_page().to_owned()).into_response()
}

/// Paper, dark, and the darkness of a fish room.
const LIGHTS: [&str; 3] = ["paper", "dark", "night"];

/// A new version of the program is seen within minutes.
const KEPT: &str = "max-age=300";
