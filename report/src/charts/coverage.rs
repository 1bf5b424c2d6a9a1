//! A thin strip that tells when a sensor's readings were there: dark is there, hatched is missing, and a
//! half-height bar is doubtful.

use jiff::{SignedDuration, Timestamp};
use plotters::style::Color;

use super::frame::ChartFrame;
use super::{CURVE, GREY, rectangle, svg};
use crate::facts::trace::{SLOT_S, Slot, WeekTrace};
use crate::week::Week;

/// A picture of `size` pixels.
pub fn draw(
    trace: &WeekTrace,
    week: &Week,
    until: Timestamp,
    size: (u32, u32),
) -> Result<String, super::Undrawn> {
    let frame = ChartFrame::bare(week, until, size, (0.0, 1.0));
    let slots: Vec<_> = trace
        .slots()
        .iter()
        .enumerate()
        .map(|(index, slot)| (trace.slot_start(index), state(slot)))
        .collect();
    svg(size, |surface| {
        for run in slots.chunk_by(|a, b| a.1 == b.1) {
            let (Some((from, state)), Some((last, _))) = (run.first(), run.last()) else { continue };
            let to = last.saturating_add(SignedDuration::from_secs(SLOT_S)).unwrap_or(until).min(until);
            let (left, right) = (frame.x(*from), frame.x(to));
            match state {
                SlotState::There => {
                    rectangle(surface, (left, frame.top()), (right, frame.bottom()), CURVE.filled())?;
                }
                SlotState::Doubtful => {
                    let middle = i32::midpoint(frame.top(), frame.bottom());
                    rectangle(surface, (left, middle), (right, frame.bottom()), GREY.filled())?;
                }
                SlotState::Missing => frame.hatch(surface, *from, to)?,
                SlotState::NotDue => {}
            }
        }
        frame.grid(surface)
    })
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum SlotState {
    There,
    Doubtful,
    Missing,
    NotDue,
}

fn state(slot: &Slot) -> SlotState {
    if slot.due_s <= 0.0 {
        SlotState::NotDue
    } else if slot.missing_s() > slot.due_s / 2.0 {
        SlotState::Missing
    } else if slot.known_s() < slot.due_s / 2.0 {
        SlotState::Doubtful
    } else {
        SlotState::There
    }
}
