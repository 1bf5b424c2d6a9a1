//! One quantity in all tanks: from the lowest to the highest, with the middle one and the limits.

use jiff::{SignedDuration, Timestamp};

use super::frame::ChartFrame;
use super::scale::{Cut, around};
use super::{ALARM, BAND, CURVE, VEIL, dashes, fill, line, svg};
use crate::week::Week;

/// The values of all tanks in one hour.
#[derive(Debug, Clone, PartialEq)]
pub struct HourSpread {
    /// The middle of the hour.
    pub at: Timestamp,
    /// Lowest, middle, highest; `None` where nothing is known.
    pub span: Option<(f64, f64, f64)>,
    /// Whether anything was due then.
    pub due: bool,
}

/// Levels and words of a picture.
#[derive(Debug, Clone)]
pub struct SpreadLettering {
    /// The names of the days.
    pub days: Vec<String>,
    /// The unit for people.
    pub unit: String,
    /// The band that is wanted: from when, until when, from what, to what.
    pub band: Vec<(Timestamp, Timestamp, (f64, f64))>,
    /// Lines with their names.
    pub levels: Vec<SteppedLevel>,
    /// What the sensors can show, where that is known of all.
    pub range: Option<(f64, f64)>,
    /// Where the rest of the week isn't past.
    pub not_yet: String,
}

/// A level that may move from day to day.
#[derive(Debug, Clone)]
pub struct SteppedLevel {
    /// From when, until when, which.
    pub steps: Vec<(Timestamp, Timestamp, f64)>,
    /// Beside the last of them.
    pub name: String,
}

/// A picture of `size` pixels.
pub fn draw(
    spreads: &[HourSpread],
    week: &Week,
    until: Timestamp,
    size: (u32, u32),
    lettering: &SpreadLettering,
) -> Result<String, super::Undrawn> {
    let frame = ChartFrame::labelled(week, until, size, scale(spreads, lettering).0);
    svg(size, |surface| {
        for (from, to, band) in &lettering.band {
            frame.band(surface, (*from, *to), *band, BAND)?;
        }
        frame.labels(surface, &lettering.unit, &lettering.days)?;
        frame.grid(surface)?;
        for run in spreads.chunk_by(|a, b| (a.span.is_none() && a.due) == (b.span.is_none() && b.due)) {
            let (Some(first), Some(last)) = (run.first(), run.last()) else { continue };
            if first.span.is_none() && first.due {
                let half = SignedDuration::from_mins(30);
                let from = first.at.saturating_sub(half).unwrap_or(first.at);
                let to = last.at.saturating_add(half).unwrap_or(until);
                frame.hatch(surface, from, to.min(until))?;
            }
        }
        let spans: Vec<_> =
            spreads.iter().map(|spread| (spread.at, spread.span.map(|(low, _, high)| (low, high)))).collect();
        for polygon in frame.envelopes(&spans) {
            fill(surface, polygon, VEIL)?;
        }
        let middles: Vec<_> =
            spreads.iter().map(|spread| (spread.at, spread.span.map(|span| span.1))).collect();
        for points in frame.lines(&middles) {
            line(surface, points, CURVE, 4)?;
        }
        for level in &lettering.levels {
            for (from, to, value) in &level.steps {
                dashes(surface, (frame.x(*from), frame.x(*to)), frame.y(*value), ALARM, 3)?;
            }
            if let Some((_, _, last)) = level.steps.last() {
                frame.level(surface, *last, &level.name)?;
            }
        }
        frame.rest_of_week(surface, &lettering.not_yet)
    })
}

/// Around the levels and the band, as far as the data go or are cut, with a little air.
#[must_use]
pub fn scale(spreads: &[HourSpread], lettering: &SpreadLettering) -> ((f64, f64), Option<Cut>) {
    let steps = lettering.levels.iter().flat_map(|level| &level.steps);
    let levels = steps.map(|(_, _, value)| (*value, *value));
    let bands = lettering.band.iter().map(|(_, _, band)| *band);
    let Some(wanted) = levels.chain(bands).reduce(|(a, b), (low, high)| (a.min(low), b.max(high))) else {
        return ((0.0, 1.0), None);
    };
    let data = spreads.iter().filter_map(|spread| spread.span).flat_map(|(low, _, high)| [low, high]);
    let ((low, high), cut) = around(wanted, data.collect(), lettering.range);
    let air = ((high - low) * 0.12).max(0.2);
    ((low - air, high + air), cut)
}
