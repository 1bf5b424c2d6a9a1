//! A bar that divides a week: full height inside the band, a low block below it, a high block above it,
//! hatched where nothing is known.

use plotters::style::Color;

use super::{ALARM, CURVE, GREY, PAPER, Undrawn, hatch, rectangle, svg};
use crate::facts::trace::Shares;

/// A picture of `size` pixels.
pub fn draw(shares: &Shares, size: (u32, u32)) -> Result<String, Undrawn> {
    let (width, height) = (i32::try_from(size.0).unwrap_or(0), i32::try_from(size.1).unwrap_or(0));
    let (right, bottom, middle) = (width - 1, height - 1, height / 2);
    let parts = [
        (shares.inside_s, BarPart::Inside),
        (shares.below_s, BarPart::Below),
        (shares.above_s, BarPart::Above),
        (shares.doubtful_s + shares.missing_s, BarPart::Unknown),
    ];
    svg(size, |surface| {
        rectangle(surface, (1, 1), (right, bottom), PAPER.filled())?;
        let mut sum = 0.0;
        let mut from = 1;
        for (seconds, part) in parts {
            sum += seconds;
            let to = place(sum, shares.due_s(), right);
            // What happened at all is seen, however short it was.
            let to = if seconds > 0.0 { to.max(from + 2).min(right) } else { from };
            if to > from {
                match part {
                    BarPart::Inside => rectangle(surface, (from, 1), (to, bottom), CURVE.filled())?,
                    BarPart::Below => rectangle(surface, (from, middle), (to, bottom), ALARM.filled())?,
                    BarPart::Above => rectangle(surface, (from, 1), (to, middle), ALARM.filled())?,
                    BarPart::Unknown => hatch(surface, (from, 1), (to, bottom), GREY)?,
                }
            }
            from = to;
        }
        rectangle(surface, (1, 1), (right, bottom), GREY.stroke_width(2))
    })
}

#[derive(Debug, Clone, Copy)]
enum BarPart {
    Inside,
    Below,
    Above,
    Unknown,
}

#[expect(clippy::cast_possible_truncation, clippy::as_conversions, reason = "a share of a picture's width")]
fn place(part: f64, whole: f64, right: i32) -> i32 {
    if whole <= 0.0 { 1 } else { 1 + (f64::from(right - 1) * (part / whole).clamp(0.0, 1.0)).round() as i32 }
}
