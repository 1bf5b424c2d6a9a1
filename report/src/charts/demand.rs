//! The oxygen that the fish took up on each day, its trend, and what their weight by the plan would make of it.

use jiff::Timestamp;
use plotters::element::Circle;
use plotters::style::Color;

use super::frame::ChartFrame;
use super::scale::{Cut, around};
use super::{ALARM, CURVE, Drawn, GREY, INK, Pixel, Surface, dashes, line, svg};
use crate::week::Week;

/// One day that is over.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayBar {
    /// When it begins.
    pub from: Timestamp,
    /// When it ends.
    pub to: Timestamp,
    /// What was taken up; `None`: that isn't known.
    pub taken: Option<f64>,
    /// What would have been, had each kilogram of fish taken up as much as in the middle of the week.
    pub by_weight: Option<f64>,
}

/// What stands in the picture besides the days.
#[derive(Debug, Clone)]
pub struct DemandLettering {
    /// The names of the days.
    pub days: Vec<String>,
    /// The unit for people.
    pub unit: String,
    /// The trend, from one time to another.
    pub trend: Option<[(Timestamp, f64); 2]>,
    /// What the water can bring, with its name; drawn only where it lies near the days.
    pub most: Option<(f64, String)>,
    /// Where the rest of the week isn't past.
    pub not_yet: String,
}

/// A picture of `size` pixels.
pub fn draw(
    days: &[DayBar],
    week: &Week,
    until: Timestamp,
    size: (u32, u32),
    lettering: &DemandLettering,
) -> Result<String, super::Undrawn> {
    let (highest, _) = scale(days);
    let most = lettering.most.as_ref().filter(|(most, _)| (0.0..=NEAR * highest).contains(most));
    let top = most.map_or(highest, |(most, _)| most.max(highest));
    let frame = ChartFrame::labelled(week, until, size, (0.0, AIR * top));
    svg(size, |surface| {
        frame.labels(surface, &lettering.unit, &lettering.days)?;
        frame.grid(surface)?;
        for day in days.iter().filter(|day| day.taken.is_none()) {
            frame.hatch(surface, day.from, day.to)?;
        }
        if let Some((level, words)) = most {
            dashes(surface, frame.sides(), frame.y(*level), ALARM, 3)?;
            frame.level(surface, *level, words)?;
        }
        if let Some(ends) = lettering.trend {
            line(surface, ends.iter().map(|(at, value)| (frame.x(*at), frame.y(*value))).collect(), GREY, 6)?;
        }
        for day in days {
            let middle = i32::midpoint(frame.x(day.from), frame.x(day.to));
            if let Some(value) = day.by_weight {
                diamond(surface, (middle, frame.y(value)))?;
            }
            if let Some(value) = day.taken {
                dot(surface, (middle, frame.y(value)))?;
            }
        }
        frame.rest_of_week(surface, &lettering.not_yet)
    })
}

/// Up to what the picture reaches; cut where a day lies far out.
#[must_use]
pub fn scale(days: &[DayBar]) -> (f64, Option<Cut>) {
    let figures: Vec<f64> = days.iter().flat_map(|day| [day.taken, day.by_weight]).flatten().collect();
    let mut usual: Vec<f64> = figures.iter().copied().filter(|figure| *figure > 0.0).collect();
    usual.sort_by(f64::total_cmp);
    let middle = usual.get(usual.len() / 2).copied().unwrap_or(1.0);
    let ((_, highest), cut) = around((0.0, middle), figures, None);
    (highest, cut.map(|cut| Cut { scale: (0.0, highest), ..cut }))
}

fn dot(surface: &Surface<'_>, at: Pixel) -> Drawn {
    surface.draw(&Circle::new(at, DOT, CURVE.filled()))
}

/// Open, and larger than a dot, so that both are seen where they fall together.
fn diamond(surface: &Surface<'_>, (x, y): Pixel) -> Drawn {
    let reach = 2 * DOT;
    let corners = vec![(x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y), (x, y - reach)];
    line(surface, corners, INK, 3)
}

/// A level higher than so many times the highest day would press the days to the ground.
const NEAR: f64 = 1.8;
const AIR: f64 = 1.15;
const DOT: i32 = 11;
