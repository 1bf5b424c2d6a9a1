//! The course of a drum: what was in it in the last day, its refills, and the fan of when it is empty.

use std::path::Path;

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};

use claymark_model::forecast::{Forecast, Outlook, Subject};
use claymark_model::happening::What;
use claymark_model::id::Id;
use claymark_model::site::{Drum, Site};
use claymark_store::{Reader, StoreError};

/// The drawing, in units of a box of [`WIDTH`] by [`HEIGHT`], y downwards.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Course {
    /// Each stretch without a gap, as the points of a polyline.
    pub(super) lines: Vec<String>,
    /// From now to the earliest and the latest end, as the points of a polygon.
    pub(super) fan: Option<String>,
    /// From now to the likely end.
    pub(super) likely: Option<String>,
    /// Where hands filled it.
    pub(super) refills: Vec<f64>,
    /// Now.
    pub(super) now: f64,
    /// The full line and the line below which nothing is lifted.
    pub(super) full: f64,
    /// Below it the pump lifts nothing.
    pub(super) heel: f64,
    /// Times along the bottom.
    pub(super) hours: Vec<HourMark>,
}

/// A time along the bottom.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct HourMark {
    pub(super) x: f64,
    pub(super) says: String,
}

/// What was believed of the drum, and what was seen of it.
pub(super) struct DrumPast {
    forecasts: Vec<Forecast>,
    refills: Vec<Timestamp>,
}

impl DrumPast {
    /// The last day of one drum, from the store.
    pub(super) fn read(store: &Path, drum: &Id, now: Timestamp) -> Result<Self, StoreError> {
        let reader = Reader::open(store)?;
        let from = now - BACK;
        let of = Subject::Drum(drum.clone());
        let forecasts = reader.forecasts(from, now)?.into_iter().filter(|forecast| forecast.of == of);
        let refills = reader.happenings(from, now)?.into_iter();
        let refills = refills
            .filter(|happening| happening.drum == *drum && matches!(happening.what, What::Refilled { .. }));
        Ok(Self { forecasts: forecasts.collect(), refills: refills.map(|refill| refill.at).collect() })
    }
}

/// Draws it; `newest` is what is known now.
pub(super) fn of(site: &Site, drum: &Drum, past: &DrumPast, newest: &Forecast) -> Course {
    let frame = CourseFrame { now: newest.at, full: drum.full.0.max(1.0) };
    let (fan, likely) = fan(&frame, drum, newest);
    Course {
        lines: lines(&frame, past),
        fan,
        likely,
        refills: past.refills.iter().map(|at| frame.x(*at)).collect(),
        now: frame.x(frame.now),
        full: frame.y(drum.full.0),
        heel: frame.y(drum.heel.0),
        hours: hours(&frame, &site.time_zone),
    }
}

struct CourseFrame {
    now: Timestamp,
    full: f64,
}

impl CourseFrame {
    fn x(&self, at: Timestamp) -> f64 {
        let since = at.duration_since(self.now - BACK).as_secs_f64();
        let all = (BACK + AHEAD).as_secs_f64();
        tenth((since / all).clamp(0.0, 1.0) * WIDTH)
    }

    fn y(&self, litres: f64) -> f64 {
        tenth(FLOOR - (FLOOR - CEILING) * (litres / (self.full * HEADROOM)).clamp(0.0, 1.0))
    }

    fn point(&self, at: Timestamp, litres: f64) -> String {
        format!("{},{} ", self.x(at), self.y(litres))
    }
}

fn lines(frame: &CourseFrame, past: &DrumPast) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut last: Option<Timestamp> = None;
    for forecast in &past.forecasts {
        let Outlook::Known { volume, .. } = &forecast.outlook else {
            last = None;
            continue;
        };
        let unbroken = last.is_some_and(|last| forecast.at.duration_since(last) <= UNBROKEN);
        if !unbroken {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            line.push_str(&frame.point(forecast.at, volume.0));
        }
        last = Some(forecast.at);
    }
    lines.retain(|line| !line.is_empty());
    lines
}

fn fan(frame: &CourseFrame, drum: &Drum, newest: &Forecast) -> (Option<String>, Option<String>) {
    let Outlook::Known { volume, empty_at, .. } = &newest.outlook else { return (None, None) };
    if !newest.in_use || volume.0 <= drum.heel.0 {
        return (None, None);
    }
    // What lies beyond the frame is drawn as far as the frame goes.
    let edge = frame.now + AHEAD;
    let end = |at: Option<Timestamp>| {
        let (at, known) = (at.unwrap_or(frame.now + FORECAST_ENDS), at.is_some());
        let gone = edge.min(at).duration_since(frame.now).as_secs_f64();
        let whole = at.duration_since(frame.now).as_secs_f64().max(1.0);
        let left = volume.0 - (volume.0 - drum.heel.0) * (gone / whole);
        (frame.point(edge.min(at), left), known)
    };
    let start = frame.point(frame.now, volume.0);
    let (early, is_known) = end(empty_at.p05);
    let (late, _) = end(empty_at.p95);
    let (likely, _) = end(empty_at.p50);
    let corner = frame.point(edge.min(empty_at.p95.unwrap_or(edge)), drum.heel.0);
    let fan = is_known.then(|| format!("{start}{early}{}{late}", if late == corner { "" } else { &corner }));
    (fan, Some(format!("{start}{likely}")))
}

fn hours(frame: &CourseFrame, zone: &TimeZone) -> Vec<HourMark> {
    let from = (frame.now - BACK).to_zoned_datetime(zone.clone());
    let mut at = from.start_of_day().unwrap_or(from);
    let mut marks = Vec::new();
    while at.timestamp() < frame.now + AHEAD {
        if at.timestamp() > frame.now - BACK {
            let says = if at.hour() == 0 { "%a" } else { "%H:%M" };
            marks.push(HourMark { x: frame.x(at.timestamp()), says: at.strftime(says).to_string() });
        }
        match at.checked_add(6.hours()) {
            Ok(next) => at = next,
            Err(_end_of_time) => break,
        }
    }
    marks
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// Of the drawing.
pub(super) const WIDTH: f64 = 600.0;
const CEILING: f64 = 8.0;
const FLOOR: f64 = 160.0;

/// Above the full line there is still drum.
const HEADROOM: f64 = 1.08;

/// What is shown.
const BACK: SignedDuration = SignedDuration::from_hours(24);
const AHEAD: SignedDuration = SignedDuration::from_hours(24);

/// Forecasts come every 10 minutes.
const UNBROKEN: SignedDuration = SignedDuration::from_mins(25);

/// Later isn't forecast.
const FORECAST_ENDS: SignedDuration = SignedDuration::from_hours(72);
