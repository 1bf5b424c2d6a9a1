//! A small picture of one sensor's week against its band, for a tank's card.

use jiff::{SignedDuration, Timestamp};
use plotters::style::Color;
use plotters::style::text_anchor::{HPos, VPos};

use super::frame::{ChartFrame, LABEL};
use super::{
    ALARM, Anchor, BAND, CURVE, Drawn, GREY, Surface, VEIL, fill, hatch, line, rectangle, svg, text,
};
use claymark_store::limits::Limits;

use crate::facts::trace::{SLOT_S, Slot, WeekTrace};
use crate::week::Week;

/// A picture of `size` pixels; `values` is the scale, the same for all tanks; with `days` it is labelled.
pub fn draw(
    trace: &WeekTrace,
    week: &Week,
    until: Timestamp,
    values: (f64, f64),
    size: (u32, u32),
    days: &[String],
) -> Result<String, super::Undrawn> {
    let frame = if days.is_empty() {
        ChartFrame::bare(week, until, size, values)
    } else {
        ChartFrame::with_days(week, until, size, values)
    };
    svg(size, |surface| {
        let wanted = trace.wanted();
        for (from, to, limits) in &wanted {
            let band = (limits.low.unwrap_or(values.0), limits.high.unwrap_or(values.1));
            frame.band(surface, (*from, *to), band, BAND)?;
        }
        unknown(surface, &frame, trace, until)?;
        let spans: Vec<_> = each(trace).map(|(at, slot)| (at, slot.range())).collect();
        for polygon in frame.envelopes(&spans) {
            fill(surface, polygon, VEIL)?;
        }
        let means: Vec<_> = each(trace).map(|(at, slot)| (at, slot.mean())).collect();
        for points in frame.lines(&means) {
            line(surface, points, CURVE, 4)?;
        }
        outside(surface, &frame, trace)?;
        edges(surface, &frame, &wanted, !days.is_empty())?;
        frame.days(surface, days)?;
        frame.grid(surface)
    })
}

/// Hatches what is missing or doubtful, run by run.
pub fn unknown(surface: &Surface<'_>, frame: &ChartFrame<'_>, trace: &WeekTrace, until: Timestamp) -> Drawn {
    let slots: Vec<_> = each(trace).collect();
    for run in slots.chunk_by(|a, b| hidden(a.1) == hidden(b.1)) {
        let (Some(first), Some(last)) = (run.first(), run.last()) else { continue };
        if hidden(first.1) {
            let end = last.0.saturating_add(SignedDuration::from_secs(SLOT_S)).unwrap_or(until).min(until);
            frame.hatch(surface, first.0, end)?;
        }
    }
    Ok(())
}

/// Mostly without a usable reading although one was due.
fn hidden(slot: &Slot) -> bool {
    slot.due_s > 0.0 && slot.known_s() < slot.due_s / 2.0
}

/// A thick dark line at the mean where it lies outside the limits.
fn outside(surface: &Surface<'_>, frame: &ChartFrame<'_>, trace: &WeekTrace) -> Drawn {
    let beyond = |slot: &Slot, mean: f64| slot.limits.below(mean) || slot.limits.above(mean);
    let means: Vec<_> =
        each(trace).map(|(at, slot)| (at, slot.mean().filter(|mean| beyond(slot, *mean)))).collect();
    for points in frame.lines(&means) {
        let thick = match points.as_slice() {
            [(x, y)] => vec![(*x, *y), (x + 1, *y)],
            _ => points,
        };
        line(surface, thick, ALARM, 9)?;
    }
    Ok(())
}

/// Dashes along the band; with labels, its figures at the left, and inside at the right where it has moved.
fn edges(
    surface: &Surface<'_>,
    frame: &ChartFrame<'_>,
    wanted: &[(Timestamp, Timestamp, Limits)],
    labelled: bool,
) -> Drawn {
    for (from, to, limits) in wanted {
        for limit in [limits.low, limits.high].into_iter().flatten() {
            super::dashes(surface, (frame.x(*from), frame.x(*to)), frame.y(limit), GREY, 2)?;
        }
    }
    let (left, right) = frame.sides();
    let beside = [(wanted.first(), left - 8), (wanted.last().filter(|_| wanted.len() > 1), right - 8)];
    for (limits, x) in beside.into_iter().filter_map(|(run, x)| Some((run.filter(|_| labelled)?.2, x))) {
        for limit in [limits.low, limits.high].into_iter().flatten() {
            let at = (x, frame.y(limit));
            text(surface, &format!("{limit:.0}"), at, LABEL, false, Anchor(HPos::Right, VPos::Center))?;
        }
    }
    Ok(())
}

fn each(trace: &WeekTrace) -> impl Iterator<Item = (Timestamp, &Slot)> {
    trace.slots().iter().enumerate().map(|(index, slot)| (trace.slot_start(index), slot))
}

/// An empty card: no sensor, nothing to draw.
pub fn blank(size: (u32, u32)) -> Result<String, super::Undrawn> {
    svg(size, |surface| {
        let (width, height) = (i32::try_from(size.0).unwrap_or(0), i32::try_from(size.1).unwrap_or(0));
        hatch(surface, (2, 2), (width - 2, height - 2), GREY)?;
        rectangle(surface, (2, 2), (width - 2, height - 2), GREY.stroke_width(2))
    })
}
