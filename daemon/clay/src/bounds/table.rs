//! The table: what can be and what is usual, figure by figure, in base units.
//!
//! All bounds are our own choice. What can be is far wider than any hatchery, so that nothing true is refused, and far
//! narrower than what a float holds, so that squares and products of it stay finite. Sensors' error codes mostly lie
//! within: to flag those is the quality tests' task.

use super::{Figure, FigureBounds};
use claymark_model::site::Quantity;

/// One figure's bounds.
pub(super) struct BoundsRow {
    pub(super) possible: FigureBounds,
    pub(super) usual: FigureBounds,
}

pub(super) fn row(figure: Figure) -> BoundsRow {
    match figure {
        // A drum holds some hundred litres, a whole room's supply some cubic metres.
        Figure::Water | Figure::Volume => figures((0.0, 100_000.0), (0.0, 10_000.0)),
        Figure::Clay => figures((0.0, 10_000.0), (0.0, 500.0)),
        // Peristaltic pumps turn a few hundred times a minute.
        Figure::Speed => figures((0.0, 10_000.0), (0.0, 1_000.0)),
        Figure::Caught => figures((0.0, 10_000.0), (0.0, 500.0)),
        // Nobody presses a watch twice within less, or watches a bucket for longer.
        Figure::CatchTime => figures((0.05, 86_400.0), (1.0, 7_200.0)),
        Figure::Flow => figures((0.0, 100_000.0), (0.0, 10_000.0)),
        Figure::CleaningTime => figures((0.0, 10_080.0), (0.0, 720.0)),
        Figure::Level => figures((0.0, 100_000.0), (0.0, 5_000.0)),
        Figure::Bags => figures((0.0, 100_000.0), (0.0, 2_000.0)),
        Figure::Delivered => figures((0.0, 1_000_000.0), (0.0, 50_000.0)),
        Figure::Fish => figures((0.0, 1e9), (0.0, 1e7)),
        Figure::Measured(quantity) => measured(quantity),
        Figure::Value => figures((-1e9, 1e9), (-1e9, 1e9)),
    }
}

/// What an instrument can show of it, its zero's drift below nothing included. What is usual is for the quality tests
/// and the site's limits to say.
fn measured(quantity: Quantity) -> BoundsRow {
    let (least, most) = match quantity {
        Quantity::Level | Quantity::Distance => (-100_000.0, 100_000.0),
        Quantity::Volume => (-100_000.0, 100_000.0),
        Quantity::Turbidity => (-100_000.0, 100_000.0),
        // Error codes such as 7999 are seen in open river data: the quality tests flag them.
        Quantity::Temperature => (-100_000.0, 100_000.0),
        Quantity::Oxygen => (-10_000.0, 10_000.0),
        Quantity::OxygenSaturation => (-100_000.0, 100_000.0),
        // The flow of a great river: some sites measure one.
        Quantity::Flow | Quantity::AirFlow => (-1e9, 1e9),
        Quantity::AirPressure => (-100_000.0, 1_000_000.0),
        Quantity::Running => (-100_000.0, 100_000.0),
    };
    figures((least, most), (least, most))
}

fn figures(possible: (f64, f64), usual: (f64, f64)) -> BoundsRow {
    let bounds = |(least, most)| FigureBounds { least, most };
    BoundsRow { possible: bounds(possible), usual: bounds(usual) }
}

/// The longest text of a note, characters: two pages.
pub const LONGEST_TEXT: usize = 2_000;

/// The longest name, lot or key, characters.
pub const LONGEST_NAME: usize = 200;

/// People write down late; what lies further back was perhaps another month or year.
pub(super) const LONG_AGO_DAYS: i64 = 31;
