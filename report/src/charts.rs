//! Pictures of facts as SVG text, drawn by `plotters`.
//!
//! Only the SVG backend is used: the bitmap backend draws peaks that aren't in the data when a line is
//! wider than one pixel. Coordinates are whole pixels, so pictures are drawn large and scaled down; joins
//! are round, so that a noisy line grows no thorns. Data are reduced by minimum and maximum per slot, never
//! by leaving points out. Whatever tells something does it by shape or pattern, never by colour alone.

pub mod coverage;
pub mod demand;
pub mod drum;
pub mod frame;
pub mod scale;
pub mod share;
pub mod spread;
pub mod strip;
pub mod vessel;

use std::io;
use std::sync::Once;

use crate::fonts::{BOLD, REGULAR};
use crate::glyphs;
use plotters::backend::SVGBackend;
use plotters::coord::Shift;
use plotters::drawing::{DrawingArea, DrawingAreaErrorKind, IntoDrawingArea};
use plotters::element::{PathElement, Polygon, Rectangle, Text};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontStyle, IntoTextStyle, RGBColor, ShapeStyle, register_font};

/// What a drawing step gives.
pub type Drawn = Result<(), DrawingAreaErrorKind<io::Error>>;

/// A surface in whole pixels.
pub type Surface<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// A point in pixels.
pub type Pixel = (i32, i32);

/// A picture couldn't be drawn.
#[derive(Debug, thiserror::Error)]
#[error("a picture couldn't be drawn: {0}")]
pub struct Undrawn(#[from] DrawingAreaErrorKind<io::Error>);

/// Draws an SVG of `size` pixels.
pub fn svg(size: (u32, u32), paint: impl FnOnce(&Surface<'_>) -> Drawn) -> Result<String, Undrawn> {
    FONTS.call_once(register_fonts);
    let mut text = String::new();
    {
        let surface = SVGBackend::with_string(&mut text, size).into_drawing_area();
        paint(&surface)?;
        surface.present()?;
    }
    Ok(text.replacen("<svg ", "<svg stroke-linejoin=\"round\" stroke-linecap=\"round\" ", 1))
}

/// A line through `points`.
pub fn line(surface: &Surface<'_>, points: Vec<Pixel>, colour: RGBColor, width: u32) -> Drawn {
    surface.draw(&PathElement::new(points, colour.stroke_width(width)))
}

/// Dashes along a horizontal line.
pub fn dashes(surface: &Surface<'_>, (x0, x1): (i32, i32), y: i32, colour: RGBColor, width: u32) -> Drawn {
    let mut x = x0;
    while x < x1 {
        line(surface, vec![(x, y), ((x + DASH).min(x1), y)], colour, width)?;
        x += 2 * DASH;
    }
    Ok(())
}

/// A filled polygon.
pub fn fill(surface: &Surface<'_>, points: Vec<Pixel>, colour: RGBColor) -> Drawn {
    surface.draw(&Polygon::new(points, colour.filled()))
}

/// A filled or outlined rectangle.
pub fn rectangle(surface: &Surface<'_>, from: Pixel, to: Pixel, style: ShapeStyle) -> Drawn {
    surface.draw(&Rectangle::new([from, to], style))
}

/// Diagonal lines inside a rectangle, which tell "no data" wherever they stand.
pub fn hatch(surface: &Surface<'_>, from: Pixel, to: Pixel, colour: RGBColor) -> Drawn {
    let ((x0, y0), (x1, y1)) = (from, to);
    let (first, end) = ((x0 + y0).div_euclid(HATCH) + 1, (x1 + y1 - 1).div_euclid(HATCH));
    for step in first..=end {
        // The diagonal x + y = sum, cut to the rectangle.
        let sum = step * HATCH;
        let (left, right) = (x0.max(sum - y1), x1.min(sum - y0));
        if left < right {
            line(surface, vec![(left, sum - left), (right, sum - right)], colour, 2)?;
        }
    }
    Ok(())
}

/// Where text hangs on its point.
#[derive(Clone, Copy)]
pub struct Anchor(pub HPos, pub VPos);

/// Text of `size` pixels.
pub fn text(surface: &Surface<'_>, words: &str, at: Pixel, size: u32, bold: bool, anchor: Anchor) -> Drawn {
    let style = if bold { FontStyle::Bold } else { FontStyle::Normal };
    // The SVG backend divides the size by 1.24; this undoes it, so that `size` is the size in the picture.
    let size = f64::from(size) * 1.24;
    let style = (FAMILY, size, style).into_text_style(surface).color(&INK).pos(Pos::new(anchor.0, anchor.1));
    surface.draw(&Text::new(glyphs::drawable(words).into_owned(), at, style))
}

/// About how wide text is: letters of the bundled font are some six tenths as wide as high.
pub fn width_of(words: &str, size: u32) -> i32 {
    let letters = i32::try_from(words.chars().count()).unwrap_or(0);
    letters * i32::try_from(size).unwrap_or(0) * 6 / 10
}

fn register_fonts() {
    for (style, bytes) in [(FontStyle::Normal, REGULAR), (FontStyle::Bold, BOLD)] {
        // `InvalidFont` has neither text nor `Debug`; the two files are part of the program.
        assert!(register_font(FAMILY, style, bytes).is_ok(), "the bundled fonts are whole");
    }
}

static FONTS: Once = Once::new();

/// The real name of the bundled family: Typst and plotters match on it.
pub const FAMILY: &str = "DejaVu Sans";

/// Text and frames.
pub const INK: RGBColor = RGBColor(0x1d, 0x24, 0x28);
/// A curve of data.
pub const CURVE: RGBColor = RGBColor(0x1f, 0x4e, 0x5f);
/// What a sensor showed around a curve.
pub const VEIL: RGBColor = RGBColor(0xa9, 0xc0, 0xc6);
/// The band that is wanted.
pub const BAND: RGBColor = RGBColor(0xe6, 0xee, 0xea);
/// What lies outside of what is wanted: darker than all else but ink.
pub const ALARM: RGBColor = RGBColor(0x9c, 0x33, 0x1c);
/// Grid and hatching.
pub const GREY: RGBColor = RGBColor(0x9a, 0xa1, 0xa4);
/// The ground.
pub const PAPER: RGBColor = RGBColor(0xff, 0xff, 0xff);
/// Quiet lines.
pub const FAINT: RGBColor = RGBColor(0xd5, 0xd9, 0xda);

const DASH: i32 = 16;
const HATCH: i32 = 16;
