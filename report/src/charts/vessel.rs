//! A drum as a vessel: how full it was at the end of the week, how low it came, and its heel.

use plotters::style::Color;
use plotters::style::text_anchor::{HPos, VPos};

use super::{
    ALARM, Anchor, CURVE, Drawn, GREY, INK, PAPER, Pixel, Surface, Undrawn, VEIL, dashes, fill, hatch, line,
    rectangle, svg, text,
};

/// What the vessel shows, as shares of the full line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vessel {
    /// At the end of the week; `None`: not known.
    pub now: Option<f64>,
    /// At the lowest; `None`: not known.
    pub lowest: Option<f64>,
    /// What the pump can't lift.
    pub heel: f64,
    /// Whether it ran empty in the week.
    pub ran_empty: bool,
}

/// A picture of 300 by 330 pixels.
pub fn draw(vessel: &Vessel, lowest: &str, empty: &str) -> Result<String, Undrawn> {
    svg(SIZE, |surface| {
        rectangle(surface, (LEFT, TOP), (RIGHT, BOTTOM), PAPER.filled())?;
        match vessel.now {
            Some(now) => {
                let y = height(now);
                rectangle(surface, (LEFT, y), (RIGHT, BOTTOM), VEIL.filled())?;
                line(surface, vec![(LEFT, y), (RIGHT, y)], CURVE, 6)?;
            }
            None => hatch(surface, (LEFT, TOP), (RIGHT, BOTTOM), GREY)?,
        }
        dashes(surface, (LEFT, RIGHT), height(vessel.heel), GREY, 3)?;
        wall(surface)?;
        if let Some(lowest_at) = vessel.lowest {
            mark(surface, height(lowest_at), lowest, vessel.ran_empty)?;
        }
        if vessel.ran_empty {
            let middle = i32::midpoint(LEFT, RIGHT);
            rectangle(surface, (LEFT + 20, TOP + 40), (RIGHT - 20, TOP + 92), PAPER.filled())?;
            rectangle(surface, (LEFT + 20, TOP + 40), (RIGHT - 20, TOP + 92), ALARM.stroke_width(5))?;
            text(surface, empty, (middle, TOP + 66), 28, true, Anchor(HPos::Center, VPos::Center))?;
        }
        Ok(())
    })
}

/// Two ribs and a rim: a drum.
fn wall(surface: &Surface<'_>) -> Drawn {
    let third = (BOTTOM - TOP) / 3;
    for rib in [TOP + third, TOP + 2 * third] {
        line(surface, vec![(LEFT - 5, rib), (LEFT, rib)], INK, 6)?;
        line(surface, vec![(RIGHT, rib), (RIGHT + 5, rib)], INK, 6)?;
    }
    line(surface, vec![(LEFT, TOP), (LEFT, BOTTOM), (RIGHT, BOTTOM), (RIGHT, TOP)], INK, 6)?;
    line(surface, vec![(LEFT - 8, TOP), (RIGHT + 8, TOP)], INK, 6)
}

/// A pointer at the right wall with its words.
fn mark(surface: &Surface<'_>, y: i32, words: &str, bad: bool) -> Drawn {
    let tip: Pixel = (RIGHT + 6, y);
    let colour = if bad { ALARM } else { INK };
    fill(surface, vec![tip, (tip.0 + 14, y - 9), (tip.0 + 14, y + 9)], colour)?;
    let (first, second) = words.split_once(' ').unwrap_or((words, ""));
    let x = tip.0 + 20;
    let y = y.min(BOTTOM - 28);
    text(surface, first, (x, y - 2), 24, false, Anchor(HPos::Left, VPos::Center))?;
    text(surface, second, (x, y + 26), 24, false, Anchor(HPos::Left, VPos::Center))
}

#[expect(clippy::cast_possible_truncation, clippy::as_conversions, reason = "a share of a picture's height")]
fn height(share: f64) -> i32 {
    let full = f64::from(BOTTOM - FULL_LINE);
    BOTTOM - (full * share.clamp(0.0, 1.08)).round() as i32
}

const SIZE: (u32, u32) = (330, 330);
const LEFT: i32 = 14;
const RIGHT: i32 = 214;
const TOP: i32 = 14;
const FULL_LINE: i32 = 36;
const BOTTOM: i32 = 320;
