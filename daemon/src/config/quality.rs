//! The thresholds of a sensor's quality tests: its own, else those of `[quality.…]` for its quantity.
//!
//! They are written in the unit that stands beside them and kept in the base unit. Keys are the words of the QARTOD manuals
//! (tests, suspect, fail, EPS); `per` and `steps_pass` are ours. What earlier site files call otherwise is read in
//! [`earlier`], with a hint.

mod earlier;

use jiff::SignedDuration;
use toml::Spanned;

use claymark_model::quality::thresholds::{
    BadThreshold, FlatLine, GrossRange, Levels, Span, Spike, SpikeMethod, Thresholds,
};
use claymark_model::site::Quantity;
use claymark_model::units::Unit;

use super::table::Table;
use super::value;

/// The tests as one table names them; what it leaves out is `None`.
#[derive(Clone, Default)]
pub(super) struct Tests {
    range: Option<Span>,
    expected: Option<Spanned<Span>>,
    spike: Option<Spike>,
    rate_per_s: Option<Levels>,
    flat_line: Option<Spanned<Flat>>,
    gap: Option<Spanned<SignedDuration>>,
}

/// A flat line before the sensor's interval is known.
#[derive(Clone, Copy)]
struct Flat {
    eps: f64,
    suspect: SignedDuration,
    fail: Option<SignedDuration>,
}

/// The usual tests of a quantity.
pub(super) struct Usual {
    quantity: Quantity,
    unit: Unit,
    tests: Tests,
}

/// `[quality.level]`, `[quality.turbidity]` and so on.
pub(super) fn usual(file: &Table<'_>) -> Vec<Usual> {
    let Some(quality) = file.table("quality") else { return Vec::new() };
    let names = Quantity::NAMES.map(|(name, _)| name);
    let mut all = Vec::new();
    for (name, table) in quality.named_tables(&names) {
        let Some(quantity) = Quantity::parse(name) else { continue };
        let unit = table.need("unit", "the unit in which the figures below are written", value::unit);
        if let Some(unit) = unit {
            if quantity.dimensions().contains(&unit.get_ref().dimension()) {
                let tests = Tests::read(&table, *unit.get_ref());
                all.push(Usual { quantity, unit: unit.into_inner(), tests });
            } else {
                let what = format!("unit: '{}' is no unit of {name}", unit.get_ref());
                let remedy = format!("Write one of {}.", value::units_of(quantity.dimensions()));
                table.findings.mistake(unit.span(), what, remedy);
                Tests::read(&table, unit.into_inner());
            }
        } else {
            Tests::read(&table, Unit::Millimetre);
        }
        table.finish();
    }
    quality.finish();
    all
}

impl Tests {
    /// Reads the keys of the tests in `table`, whose figures are in `unit`.
    pub(super) fn read(table: &Table<'_>, unit: Unit) -> Self {
        let to_base = |span: Span| {
            Span::new(unit.to_base(span.min()), unit.to_base(span.max()))
                .expect("conversion keeps the order of finite numbers")
        };
        let (range, expected) = gross_range_keys(table);
        Self {
            range: range.map(|span| to_base(span.into_inner())),
            expected: expected.map(|span| Spanned::new(span.span(), to_base(span.into_inner()))),
            spike: spike(table, unit),
            rate_per_s: rate_of_change(table, unit),
            flat_line: flat_line(table, unit),
            gap: table.maybe("gap", value::duration),
        }
    }

    /// Together with the usual ones of its quantity, for a sensor that speaks every so often.
    pub(super) fn thresholds(
        self,
        table: &Table<'_>,
        quantity: Quantity,
        unit: Unit,
        every: SignedDuration,
        usual: &[Usual],
    ) -> Thresholds {
        let usual = usual
            .iter()
            .find(|usual| usual.quantity == quantity && usual.unit.dimension() == unit.dimension())
            .map(|usual| usual.tests.clone())
            .unwrap_or_default();
        let range = self.range.or(usual.range);
        let expected = self.expected.or(usual.expected);
        let gap = self.gap.or(usual.gap);
        Thresholds {
            gap: gap.map_or(every * MISSED_BEFORE_GAP, |gap| checked_gap(table, &gap, every)),
            gross_range: gross_range(table, range, expected),
            spike: self.spike.or(usual.spike),
            rate_per_s: self.rate_per_s.or(usual.rate_per_s),
            flat_line: self.flat_line.or(usual.flat_line).and_then(|flat| {
                let Flat { eps, suspect, fail } = *flat.get_ref();
                accepted(table, "flat_line", &flat, FlatLine::new(eps, suspect, fail, every))
            }),
        }
    }
}

fn checked_gap(table: &Table<'_>, gap: &Spanned<SignedDuration>, every: SignedDuration) -> SignedDuration {
    if *gap.get_ref() <= every {
        let what = "gap: as short as the sensor's own interval, every reading would follow a gap";
        table.findings.mistake(gap.span(), what, "Write a gap of several times every.");
    }
    *gap.get_ref()
}

fn gross_range(
    table: &Table<'_>,
    range: Option<Span>,
    expected: Option<Spanned<Span>>,
) -> Option<GrossRange> {
    match (range, expected) {
        (Some(range), Some(expected)) => {
            let inner = *expected.get_ref();
            accepted(table, "gross_range", &expected, GrossRange::new(range, Some(inner)))
        }
        (Some(range), None) => GrossRange::new(range, None).ok(),
        (None, Some(expected)) => {
            let remedy = "Add fail = [lowest, highest]: what the instrument can show at all.";
            table.findings.mistake(expected.span(), "gross_range: suspect has no fail around it", remedy);
            None
        }
        (None, None) => None,
    }
}

/// Fail and suspect of test 4.
fn gross_range_keys(table: &Table<'_>) -> (Option<Spanned<Span>>, Option<Spanned<Span>>) {
    let earlier = earlier::spans(table);
    let Some(part) = table.table("gross_range") else { return earlier };
    let (fail, suspect) = (part.maybe("fail", value::span), part.maybe("suspect", value::span));
    part.finish();
    (fail.or(earlier.0), suspect.or(earlier.1))
}

fn spike(table: &Table<'_>, unit: Unit) -> Option<Spike> {
    let part = table.table("spike")?;
    let usual = earlier::method(&part).unwrap_or(SpikeMethod::Average);
    let method = match part.maybe("steps_pass", value::yes_or_no).map(Spanned::into_inner) {
        Some(true) => SpikeMethod::Differential,
        Some(false) => SpikeMethod::Average,
        None => usual,
    };
    let levels = levels(&part, |level| unit.difference_to_base(level));
    part.finish();
    Some(Spike { method, levels: levels? })
}

fn rate_of_change(table: &Table<'_>, unit: Unit) -> Option<Levels> {
    let part = earlier::rate(table).or_else(|| table.table("rate_of_change"))?;
    let per = part.need("per", "\"1 min\", the time in which the value changes by so much", value::duration);
    let per_s = per.map_or(1.0, |per| per.into_inner().as_secs_f64());
    let levels = levels(&part, |level| unit.difference_to_base(level) / per_s);
    part.finish();
    levels
}

fn flat_line(table: &Table<'_>, unit: Unit) -> Option<Spanned<Flat>> {
    let part = table.table("flat_line")?;
    let earlier = earlier::tolerance(&part);
    let eps = part.maybe("eps", value::not_negative).map(Spanned::into_inner).or(earlier).unwrap_or(0.0);
    let suspect = part.need("suspect", "\"2 h\"", value::duration);
    let fail = part.maybe("fail", value::duration).map(Spanned::into_inner);
    let span = part.span();
    part.finish();
    let eps = unit.difference_to_base(eps);
    Some(Spanned::new(span, Flat { eps, suspect: suspect?.into_inner(), fail }))
}

/// `suspect` and perhaps `fail`, as `convert` turns them into the base unit.
fn levels(part: &Table<'_>, convert: impl Fn(f64) -> f64) -> Option<Levels> {
    let suspect = part.need("suspect", "beyond which a value is suspect", value::not_negative);
    let fail = part.maybe("fail", value::not_negative);
    let suspect = suspect?.into_inner();
    if let Some(fail) = fail.as_ref().filter(|fail| *fail.get_ref() < suspect) {
        let what = format!("fail: suspect at {suspect} comes after fail at {}", fail.get_ref());
        part.findings.mistake(fail.span(), what, SWAP_REMEDY);
        return None;
    }
    Levels::new(convert(suspect), fail.map(|fail| convert(fail.into_inner()))).ok()
}

/// What the centre refuses is a mistake at `place`.
fn accepted<T, P>(
    table: &Table<'_>,
    key: &str,
    place: &Spanned<P>,
    built: Result<T, BadThreshold>,
) -> Option<T> {
    built
        .map_err(|bad| {
            let remedy = match bad {
                BadThreshold::Reversed { .. } => "Write [smaller, larger].",
                BadThreshold::Outside { .. } => {
                    "What people expect (suspect) must lie inside what the instrument can show (fail)."
                }
                BadThreshold::Swapped { .. } => SWAP_REMEDY,
                BadThreshold::NotUsable(_) => "Write a number of zero or more.",
                BadThreshold::TooShort { .. } => "Write a time of several times every.",
            };
            table.findings.mistake(place.span(), format!("{key}: {bad}"), remedy);
        })
        .ok()
}

const SWAP_REMEDY: &str = "Suspect comes first: make suspect the smaller one, or swap the two.";
/// So many readings may be missed before it is called a gap.
const MISSED_BEFORE_GAP: i32 = 5;
