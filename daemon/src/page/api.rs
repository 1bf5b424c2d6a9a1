//! The same as JSON below `/api/v1`, for other programs of this machine.

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};

use claymark_model::id::Id;
use claymark_notice::glance::StandingAlarm;
use claymark_words::doubt;

use super::Desk;
use super::feed::{NoAnswer, RoomSeen};

impl IntoResponse for NoAnswer {
    fn into_response(self) -> Response {
        error(StatusCode::SERVICE_UNAVAILABLE, "the engine doesn't answer")
    }
}

fn error(status: StatusCode, what: &str) -> Response {
    (status, Json(json!({ "error": what }))).into_response()
}

/// Any other address.
pub(super) fn nothing() -> Response {
    error(StatusCode::NOT_FOUND, "there is nothing here; /api/v1/openapi.json says what there is")
}

/// `/api/v1/room`: what stands, and the newest reading of each sensor.
pub(super) async fn room(State(desk): State<Desk>) -> Result<Json<Value>, NoAnswer> {
    let seen = desk.feed.seen().await?;
    let glance = &seen.room.glance;
    Ok(Json(json!({
        "at": glance.at,
        "next_visit": glance.visit.map(|visit| visit.at),
        "tonight": glance.tonight.as_ref().map(|tonight| json!({
            "person": tonight.person, "confirmed": tonight.confirmed,
        })),
        "standing": glance.standing.iter().map(|alarm| standing(&seen, alarm)).collect::<Vec<_>>(),
        "readings": readings(&desk, &seen),
    })))
}

fn standing(seen: &RoomSeen, alarm: &StandingAlarm) -> Value {
    json!({
        "notice": alarm.number,
        "cause": alarm.cause,
        "says": seen.room.said.get(&alarm.number),
        "since": alarm.since,
        "danger": alarm.is_danger(),
        "promised_by": alarm.promise.as_ref().map(|promise| &promise.by),
        "promised_until": alarm.promise.as_ref().map(|promise| promise.until),
        "shelved_until": alarm.shelf.as_ref().map(|shelf| shelf.until),
        "next_call": alarm.later.as_ref().map(|later| later.at),
    })
}

fn readings(desk: &Desk, seen: &RoomSeen) -> Vec<Value> {
    let silent = |id: &Id| seen.room.glance.silent.iter().any(|silent| silent.sensor == *id);
    let of = |sensor: &claymark_model::site::Sensor| {
        let last = seen.snapshot.last.get(&sensor.id);
        json!({
            "sensor": sensor.id,
            "place": sensor.place.to_string(),
            "quantity": sensor.quantity.name(),
            "unit": sensor.unit.base().symbol(),
            "at": last.map(|last| last.at),
            "value": last.map(|last| last.value),
            "flag": last.map(|last| u8::from(last.flag)),
            "silent": silent(&sensor.id),
        })
    };
    desk.site.sensors.iter().map(of).collect()
}

/// `/api/v1/forecasts`: one line per drum and shared pump, as it is published.
pub(super) async fn forecasts(State(desk): State<Desk>) -> Result<Json<Value>, NoAnswer> {
    let seen = desk.feed.seen().await?;
    let glance = &seen.room.glance;
    let drums = glance.drums.iter().map(|drum| &drum.outlook.state.forecast);
    let lines = drums.chain(&glance.supplies).map(|forecast| json!(forecast.line(doubt::unknown)));
    Ok(Json(lines.collect()))
}

/// `/api/v1/sheets`: what to add to each drum, as it is published.
pub(super) async fn sheets(State(desk): State<Desk>) -> Result<Json<Value>, NoAnswer> {
    let seen = desk.feed.seen().await?;
    Ok(Json(seen.room.glance.drums.iter().map(|drum| json!(drum.sheet.line())).collect()))
}

/// `/api/v1/openapi.json`
pub(super) async fn description() -> impl IntoResponse {
    ([(CONTENT_TYPE, "application/json")], DESCRIPTION)
}

/// What there is, by the OpenAPI Specification 3.1.
pub(super) const DESCRIPTION: &str = include_str!("../../assets/openapi.json");
