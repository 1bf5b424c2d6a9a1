//! A thin strip that tells when a sensor's readings were there: dark is there, hatched is missing, and a
//! half-height bar is doubtful.

use jiff::{SignedDuration, Timestamp};
use plotters::style::Color;

use super::frame::Frame;
use super::{CURVE, GREY, rectangle, svg};
use crate::facts::trace::{SLOT_S, Slot, Trace};
use crate::week::Week;

/// A picture of `size` pixels.
pub fn draw(
    trace: &Trace,
    week: &Week,
    until: Timestamp,
    size: (u32, u32),
) -> Result<String, super::Undrawn> {
    let frame = Frame::bare(week, until, size, (0.0, 1.0));
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
                State::There => {
                    rectangle(surface, (left, frame.top()), (right, frame.bottom()), CURVE.filled())?;
                }
                State::Doubtful => {
                    let middle = i32::midpoint(frame.top(), frame.bottom());
                    rectangle(surface, (left, middle), (right, frame.bottom()), GREY.filled())?;
                }
                State::Missing => frame.hatch(surface, *from, to)?,
                State::NotDue => {}
            }
        }
        frame.grid(surface)
    })
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    There,
    Doubtful,
    Missing,
    NotDue,
}

fn state(slot: &Slot) -> State {
    if slot.due_s <= 0.0 {
        State::NotDue
    } else if slot.missing_s() > slot.due_s / 2.0 {
        State::Missing
    } else if slot.known_s() < slot.due_s / 2.0 {
        State::Doubtful
    } else {
        State::There
    }
}
