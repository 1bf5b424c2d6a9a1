//! The frame of a week's picture: time along the bottom, a scale at the left, and where things lie in it.

use jiff::Timestamp;
use plotters::style::Color;
use plotters::style::text_anchor::{HPos, VPos};

use super::scale::Scale;
use super::{Anchor, Drawn, FAINT, GREY, INK, Pixel, Surface, hatch, line, rectangle, text};
use crate::week::Week;
use claymark_words::format::number;

/// Maps time and value to pixels inside one picture.
pub struct ChartFrame<'a> {
    week: &'a Week,
    until: Timestamp,
    x: (i32, i32),
    y: (i32, i32),
    values: Scale,
}

impl<'a> ChartFrame<'a> {
    /// The whole surface, without labels: for small pictures.
    #[must_use]
    pub fn bare(week: &'a Week, until: Timestamp, size: (u32, u32), values: (f64, f64)) -> Self {
        Self::inside(week, until, size, values, Margins { left: 2, right: 2, top: 2, bottom: 2 })
    }

    /// With room for day names below and two figures at the left.
    #[must_use]
    pub fn with_days(week: &'a Week, until: Timestamp, size: (u32, u32), values: (f64, f64)) -> Self {
        Self::inside(week, until, size, values, Margins { left: 50, right: 2, top: 2, bottom: 44 })
    }

    /// With room for a scale, names of levels at the right, day names below and marks above.
    #[must_use]
    pub fn labelled(week: &'a Week, until: Timestamp, size: (u32, u32), values: (f64, f64)) -> Self {
        Self::inside(week, until, size, values, Margins { left: 96, right: 78, top: 50, bottom: 44 })
    }

    fn inside(
        week: &'a Week,
        until: Timestamp,
        size: (u32, u32),
        values: (f64, f64),
        margins: Margins,
    ) -> Self {
        let (width, height) = (whole(size.0), whole(size.1));
        Self {
            week,
            until,
            x: (margins.left, width - margins.right),
            y: (height - margins.bottom, margins.top),
            values: Scale::of(values),
        }
    }

    /// Where `at` lies, cut to the week.
    #[must_use]
    pub fn x(&self, at: Timestamp) -> i32 {
        let at = at.clamp(self.week.start(), self.week.end());
        let share = at.duration_since(self.week.start()).as_secs_f64() / self.week.length().as_secs_f64();
        between(self.x, share)
    }

    /// Where `value` lies, cut to the picture.
    #[must_use]
    pub fn y(&self, value: f64) -> i32 {
        between(self.y, self.values.share(value))
    }

    /// When the week starts.
    #[must_use]
    pub fn start(&self) -> Timestamp {
        self.week.start()
    }

    /// The left and the right end.
    #[must_use]
    pub fn sides(&self) -> (i32, i32) {
        self.x
    }

    /// The lower end.
    #[must_use]
    pub fn bottom(&self) -> i32 {
        self.y.0
    }

    /// The upper end.
    #[must_use]
    pub fn top(&self) -> i32 {
        self.y.1
    }

    /// A span of values over a span of time.
    pub fn band(
        &self,
        surface: &Surface<'_>,
        times: (Timestamp, Timestamp),
        values: (f64, f64),
        colour: plotters::style::RGBColor,
    ) -> Drawn {
        let (from, to) = ((self.x(times.0), self.y(values.1)), (self.x(times.1), self.y(values.0)));
        rectangle(surface, from, to, colour.filled())
    }

    /// Hatches a span of time over the whole height.
    pub fn hatch(&self, surface: &Surface<'_>, from: Timestamp, to: Timestamp) -> Drawn {
        let (from, to) = ((self.x(from), self.y.1), (self.x(to).max(self.x(from) + 3), self.y.0));
        rectangle(surface, from, to, super::PAPER.filled())?;
        hatch(surface, from, to, GREY)
    }

    /// Midnights and the outline.
    pub fn grid(&self, surface: &Surface<'_>) -> Drawn {
        for day in self.week.days().iter().skip(1) {
            let x = self.x(day.start);
            line(surface, vec![(x, self.y.1), (x, self.y.0)], FAINT, 2)?;
        }
        rectangle(surface, (self.x.0, self.y.1), (self.x.1, self.y.0), GREY.stroke_width(2))
    }

    /// The scale with its unit, and the names of the days.
    pub fn labels(&self, surface: &Surface<'_>, unit: &str, days: &[String]) -> Drawn {
        for value in self.values.ticks() {
            let y = self.y(value);
            line(surface, vec![(self.x.0, y), (self.x.1, y)], FAINT, 1)?;
            text(surface, &tick(value), (self.x.0 - 10, y), LABEL, false, Anchor(HPos::Right, VPos::Center))?;
        }
        text(surface, unit, (self.x.0 - 10, 8), LABEL, true, Anchor(HPos::Right, VPos::Top))?;
        self.days(surface, days)
    }

    /// The name of a level, beside the right end.
    pub fn level(&self, surface: &Surface<'_>, value: f64, words: &str) -> Drawn {
        let beside = (self.x.1 + 8, self.y(value));
        text(surface, words, beside, LABEL - 3, false, Anchor(HPos::Left, VPos::Center))
    }

    /// The names of the days.
    pub fn days(&self, surface: &Surface<'_>, days: &[String]) -> Drawn {
        for (day, name) in self.week.days().iter().zip(days) {
            let middle = i32::midpoint(self.x(day.start), self.x(day.end));
            text(surface, name, (middle, self.y.0 + 10), LABEL, false, Anchor(HPos::Center, VPos::Top))?;
        }
        Ok(())
    }

    /// Marks what isn't past yet.
    pub fn rest_of_week(&self, surface: &Surface<'_>, words: &str) -> Drawn {
        if self.until >= self.week.end() {
            return Ok(());
        }
        let middle = i32::midpoint(self.x(self.until), self.x.1);
        let height = i32::midpoint(self.y.0, self.y.1);
        line(surface, vec![(self.x(self.until), self.y.1), (self.x(self.until), self.y.0)], INK, 3)?;
        text(surface, words, (middle, height), LABEL, false, Anchor(HPos::Center, VPos::Center))
    }

    /// Points of a polygon around a span of values per time; `None` breaks it.
    #[must_use]
    pub fn envelopes(&self, spans: &[(Timestamp, Option<(f64, f64)>)]) -> Vec<Vec<Pixel>> {
        spans
            .chunk_by(|a, b| a.1.is_some() == b.1.is_some())
            .filter_map(|run| {
                let known: Vec<_> = run.iter().filter_map(|(at, span)| Some((*at, (*span)?))).collect();
                let upper = known.iter().map(|(at, span)| (self.x(*at), self.y(span.1)));
                let lower = known.iter().rev().map(|(at, span)| (self.x(*at), self.y(span.0)));
                (!known.is_empty()).then(|| upper.chain(lower).collect())
            })
            .collect()
    }

    /// Points of the lines through values per time; `None` breaks a line.
    #[must_use]
    pub fn lines(&self, values: &[(Timestamp, Option<f64>)]) -> Vec<Vec<Pixel>> {
        values
            .chunk_by(|a, b| a.1.is_some() == b.1.is_some())
            .map(|run| run.iter().filter_map(|(at, value)| Some((self.x(*at), self.y((*value)?)))).collect())
            .filter(|points: &Vec<Pixel>| !points.is_empty())
            .collect()
    }
}

struct Margins {
    left: i32,
    right: i32,
    top: i32,
    bottom: i32,
}

/// A tick of the scale: as many decimals as it needs, at most two.
fn tick(value: f64) -> String {
    let text = number(value, 2);
    if text.contains('e') { text } else { text.trim_end_matches('0').trim_end_matches('.').to_owned() }
}

/// The pixel that lies so far on the way; `share` is 0 to 1.
#[expect(clippy::cast_possible_truncation, clippy::as_conversions, reason = "a share of a picture's size")]
fn between((from, to): (i32, i32), share: f64) -> i32 {
    from + (f64::from(to - from) * share).round() as i32
}

fn whole(size: u32) -> i32 {
    i32::try_from(size).unwrap_or(i32::MAX)
}

/// The size of labels in pixels: 7.4 points when 1800 pixels are 174 mm.
pub const LABEL: u32 = 27;
