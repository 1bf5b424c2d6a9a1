//! One drum's week: volume, refills, run-outs, and when its level couldn't be believed.

use std::cmp::Ordering;

use jiff::{SignedDuration, Timestamp};
use plotters::style::Color;
use plotters::style::text_anchor::{HPos, VPos};

use claymark_model::forecast::Basis;
use claymark_model::units::{Litres, Unit};
use claymark_words::report::cut::By;

use super::frame::{ChartFrame, LABEL};
use super::scale::Cut;
use super::{
    ALARM, Anchor, CURVE, Drawn, GREY, INK, PAPER, Surface, VEIL, dashes, fill, line, rectangle, svg, text,
    width_of,
};
use crate::facts::drums::{BREAK, Believed, DrumWeek};
use crate::week::Week;

/// What stands in the picture besides the curve.
#[derive(Debug, Clone)]
pub struct DrumLettering {
    /// The names of the days.
    pub days: Vec<String>,
    /// The unit of volume for people.
    pub unit: Unit,
    /// Beside the line of the heel.
    pub heel: String,
    /// Beside the line of the full drum.
    pub full: String,
    /// In a time without slurry.
    pub empty: String,
    /// In a time of doubt.
    pub doubt: String,
    /// Where the rest of the week isn't past.
    pub not_yet: String,
    /// Over each refill, in the order of the facts.
    pub refills: Vec<String>,
}

/// A picture of `size` pixels.
pub fn draw(
    drum: &DrumWeek,
    week: &Week,
    until: Timestamp,
    size: (u32, u32),
    lettering: &DrumLettering,
) -> Result<String, super::Undrawn> {
    let show = |volume: Litres| lettering.unit.from_base(volume.0);
    let (top, _) = scale(drum);
    let frame = ChartFrame::labelled(week, until, size, (0.0, show(top)));
    svg(size, |surface| {
        frame.labels(surface, lettering.unit.symbol(), &lettering.days)?;
        frame.grid(surface)?;
        unknown(surface, &frame, drum, until)?;
        veil(surface, &frame, drum, week, show)?;
        for (volume, words) in [(drum.drum.heel, &lettering.heel), (drum.drum.full, &lettering.full)] {
            let y = frame.y(show(volume));
            dashes(surface, frame.sides(), y, GREY, 2)?;
            frame.level(surface, show(volume), words)?;
        }
        curve(surface, &frame, &drum.volume, show)?;
        empty_times(surface, &frame, drum, until, &lettering.empty)?;
        doubts(surface, &frame, drum, until, &lettering.doubt)?;
        refills(surface, &frame, drum, &lettering.refills)?;
        frame.rest_of_week(surface, &lettering.not_yet)
    })
}

/// Up to which volume the picture reaches; cut where more was believed than the drum can hold.
#[must_use]
pub fn scale(drum: &DrumWeek) -> (Litres, Option<Cut>) {
    let full = drum.drum.full.0;
    let refilled = drum.refills.iter().map(|refill| refill.to.0);
    let top = refilled.clone().fold(full, f64::max).min(drum.drum.strapping.brim().0.max(full)) * AIR;
    let believed = drum.volume.iter().filter_map(|point| Some(point.volume?.0));
    let figures = || believed.clone().chain(refilled.clone());
    let (least, most) = (figures().fold(0.0, f64::min), figures().fold(top, f64::max));
    let beyond = most > top || least < top - top * AIR;
    let cut = Cut { by: By::Drum, scale: (0.0, top), figures: (least, most) };
    (Litres(top), beyond.then_some(cut))
}

/// What the level sensor itself showed, lowest to highest.
fn veil(
    surface: &Surface<'_>,
    frame: &ChartFrame<'_>,
    drum: &DrumWeek,
    week: &Week,
    show: impl Fn(Litres) -> f64,
) -> Drawn {
    let step = SignedDuration::from_secs(crate::facts::trace::SLOT_S);
    let mut at = week.start();
    let mut spans = Vec::with_capacity(drum.seen.len());
    for seen in &drum.seen {
        spans.push((at, seen.map(|(low, high)| (show(low), show(high)))));
        at = at.saturating_add(step).unwrap_or(at);
    }
    for polygon in frame.envelopes(&spans) {
        fill(surface, polygon, VEIL)?;
    }
    Ok(())
}

/// The believed volume: a full line by the level, a thin one by the pump.
fn curve(
    surface: &Surface<'_>,
    frame: &ChartFrame<'_>,
    volume: &[Believed],
    show: impl Fn(Litres) -> f64,
) -> Drawn {
    let joined = |a: &Believed, b: &Believed| {
        a.basis == b.basis && b.at.duration_since(a.at) <= BREAK && a.volume.is_some() == b.volume.is_some()
    };
    for run in volume.chunk_by(joined) {
        let points: Vec<_> = run.iter().map(|point| (point.at, point.volume.map(&show))).collect();
        let width = if run.first().is_some_and(|point| point.basis == Some(Basis::Pump)) { 2 } else { 5 };
        for points in frame.lines(&points) {
            line(surface, points, CURVE, width)?;
        }
    }
    Ok(())
}

/// Hatches where no volume can be said.
fn unknown(surface: &Surface<'_>, frame: &ChartFrame<'_>, drum: &DrumWeek, until: Timestamp) -> Drawn {
    let mut known_to = frame.start();
    for point in drum.volume.iter().filter(|point| point.volume.is_some()) {
        if point.at.duration_since(known_to) > BREAK {
            frame.hatch(surface, known_to, point.at)?;
        }
        known_to = point.at;
    }
    if until.duration_since(known_to) > BREAK { frame.hatch(surface, known_to, until) } else { Ok(()) }
}

fn empty_times(
    surface: &Surface<'_>,
    frame: &ChartFrame<'_>,
    drum: &DrumWeek,
    until: Timestamp,
    words: &str,
) -> Drawn {
    for run_out in &drum.run_outs {
        let (left, right) = (frame.x(run_out.at), frame.x(run_out.refilled.unwrap_or(until)));
        let right = right.max(left + 6);
        rectangle(surface, (left, frame.bottom() - 26), (right, frame.bottom()), ALARM.filled())?;
        line(surface, vec![(left, frame.top()), (left, frame.bottom())], ALARM, 4)?;
        // Before a run-out the curve lies low: beside the line, its upper left is free.
        let (x, hpos) = beside(frame, left, words);
        text(surface, words, (x, frame.top() + 8), LABEL, true, Anchor(hpos, VPos::Top))?;
    }
    Ok(())
}

/// Below the heel, where the curve seldom comes.
fn doubts(
    surface: &Surface<'_>,
    frame: &ChartFrame<'_>,
    drum: &DrumWeek,
    until: Timestamp,
    words: &str,
) -> Drawn {
    for (number, doubt) in drum.doubts.iter().enumerate() {
        let (left, right) = (frame.x(doubt.from), frame.x(doubt.to.unwrap_or(until)));
        let (from, to) = ((left, frame.bottom() - 18), (right.max(left + 6), frame.bottom()));
        rectangle(surface, from, to, PAPER.filled())?;
        super::hatch(surface, from, to, INK)?;
        rectangle(surface, from, to, INK.stroke_width(2))?;
        // The pattern is the same for all; names side by side would run into each other.
        if number > 0 {
            continue;
        }
        let fits_right = to.0 + 6 + width_of(words, SMALL) < frame.sides().1;
        let (x, hpos) = if fits_right { (to.0 + 6, HPos::Left) } else { (left - 6, HPos::Right) };
        text(surface, words, (x, frame.bottom() - 9), SMALL, false, Anchor(hpos, VPos::Center))?;
    }
    Ok(())
}

/// A filled triangle above the frame for a logged refill, a hollow one for one that nobody wrote down.
fn refills(surface: &Surface<'_>, frame: &ChartFrame<'_>, drum: &DrumWeek, words: &[String]) -> Drawn {
    for refill in &drum.refills {
        let (x, y) = (frame.x(refill.at), frame.top());
        let triangle = vec![(x, y - 4), (x - 9, y - 20), (x + 9, y - 20), (x, y - 4)];
        if refill.logged.is_some() {
            fill(surface, triangle, INK)?;
        } else {
            fill(surface, triangle.clone(), PAPER)?;
            line(surface, triangle, INK, 3)?;
        }
    }
    // Not all have room: first those that nobody wrote down, then the largest.
    let mut by_weight: Vec<_> = drum.refills.iter().zip(words).collect();
    by_weight.sort_by(|(a, _), (b, _)| {
        (a.logged.is_some(), b.added.0)
            .partial_cmp(&(b.logged.is_some(), a.added.0))
            .unwrap_or(Ordering::Equal)
    });
    let mut taken: Vec<(i32, i32)> = Vec::new();
    for (refill, words) in by_weight {
        let width = width_of(words, 22);
        let (first, last) = frame.sides();
        let left = (frame.x(refill.at) - width / 2).clamp(first, (last - width).max(first));
        let right = left + width + 10;
        if taken.iter().all(|(from, to)| right <= *from || *to <= left) {
            text(surface, words, (left, frame.top() - 24), 22, false, Anchor(HPos::Left, VPos::Bottom))?;
            taken.push((left, right));
        }
    }
    Ok(())
}

/// Left of a line, or right of it near the left edge.
fn beside(frame: &ChartFrame<'_>, x: i32, words: &str) -> (i32, HPos) {
    if x - 8 - width_of(words, LABEL) < frame.sides().0 { (x + 8, HPos::Left) } else { (x - 8, HPos::Right) }
}

/// Above the highest of a picture.
const AIR: f64 = 1.06;

/// The size of lesser labels in pixels.
const SMALL: u32 = 22;
