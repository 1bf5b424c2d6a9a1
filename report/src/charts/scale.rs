//! From what to what a picture's scale runs. Whatever was measured, it is finite, rises, and has few ticks.
//!
//! A sensor may hold anything that a 64-bit float can. A scale that reached to all of it would press the rest to one
//! line, its span may be more than a float holds, and steps along it may never end. So a scale goes around what is
//! wanted, and is cut where the figures lie far out: at what the sensors can show, else at what nearly all figures
//! keep to. Who draws it says so ([`Cut`]).

use claymark_words::report::cut::By;

/// A scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    low: f64,
    high: f64,
}

/// A scale that doesn't reach to all figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cut {
    /// By what.
    pub by: By,
    /// The lowest and the highest of the scale.
    pub scale: (f64, f64),
    /// The lowest and the highest of the figures.
    pub figures: (f64, f64),
}

impl Scale {
    /// From `low` to `high`; where these are no numbers, too large or too near each other, as near as can be drawn.
    #[must_use]
    pub fn of((low, high): (f64, f64)) -> Self {
        let held = |end: f64| if end.is_nan() { 0.0 } else { end.clamp(-LARGEST, LARGEST) };
        let (low, high) = (held(low), held(high));
        let size = low.abs().max(high.abs());
        if high - low > size * NARROWEST && high - low > f64::EPSILON {
            return Self { low, high };
        }
        // A flat picture has no scale of its own.
        let (middle, half) = (low.midpoint(high), (size * 1e-3).max(1.0));
        Self { low: middle - half, high: middle + half }
    }

    /// Its lower end.
    #[must_use]
    pub fn low(self) -> f64 {
        self.low
    }

    /// Its upper end.
    #[must_use]
    pub fn high(self) -> f64 {
        self.high
    }

    /// How far up `value` lies, cut to the scale: 0 to 1.
    #[must_use]
    pub fn share(self, value: f64) -> f64 {
        if value.is_nan() {
            return 0.0;
        }
        (value.clamp(self.low, self.high) - self.low) / (self.high - self.low)
    }

    /// Round figures along it, at most [`TICKS`].
    #[must_use]
    pub fn ticks(self) -> Vec<f64> {
        let rough = (self.high - self.low) / WANTED;
        let ten = 10_f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].map(|factor| factor * ten).into_iter().find(|step| *step >= rough);
        let step = step.unwrap_or(rough);
        let first = (self.low / step).ceil();
        let each = (0..TICKS).map(|number| (first + f64::from(number)) * step);
        each.filter(|tick| (self.low..=self.high).contains(tick)).collect()
    }
}

/// A scale around what is `wanted` that reaches to all `figures`, or is cut; `range` is what the sensors can show, where
/// that is known of all of them. Figures that aren't finite can't come in, and aren't counted.
#[must_use]
pub fn around(
    wanted: (f64, f64),
    mut figures: Vec<f64>,
    range: Option<(f64, f64)>,
) -> ((f64, f64), Option<Cut>) {
    figures.retain(|figure| figure.is_finite());
    figures.sort_by(f64::total_cmp);
    let (Some(lowest), Some(highest)) = (figures.first().copied(), figures.last().copied()) else {
        return (wanted, None);
    };
    let hull = |(low, high): (f64, f64)| (wanted.0.min(low), wanted.1.max(high));
    let size = (wanted.1 - wanted.0).max(wanted.1.abs() / 10.0).max(f64::EPSILON);
    let reach = (wanted.0 - FAR * size, wanted.1 + FAR * size);
    if reach.0 <= lowest && highest <= reach.1 {
        return (hull((lowest, highest)), None);
    }
    let (by, (low, high)) = range.map_or_else(|| (By::Bulk, bulk(&figures)), |range| (By::Range, range));
    let within = |end: f64| (reach.0..=reach.1).contains(&end);
    let by = if within(low) && within(high) { by } else { By::Reach };
    let scale = hull((low.clamp(reach.0, reach.1), high.clamp(reach.0, reach.1)));
    let cut =
        (lowest < scale.0 || highest > scale.1).then_some(Cut { by, scale, figures: (lowest, highest) });
    (scale, cut)
}

/// From the 0.1 % to the 99.9 % point: of few figures the ends themselves.
fn bulk(sorted: &[f64]) -> (f64, f64) {
    let out = sorted.len() / 1000;
    let at = |index: usize| sorted.get(index).copied().unwrap_or_default();
    (at(out), at(sorted.len().saturating_sub(1 + out)))
}

/// A scale cut at so many widths of what is wanted still shows what is wanted. Our own choice.
const FAR: f64 = 20.0;

/// Nothing is measured in larger figures; beyond it a picture shows nothing anyhow.
const LARGEST: f64 = 1e15;

/// A scale narrower than this share of its figures has no ticks that a 64-bit float tells apart.
const NARROWEST: f64 = 1e-9;

/// About so many steps.
const WANTED: f64 = 5.0;

/// Never more ticks than this.
pub const TICKS: u32 = 12;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn ticks_are_round_and_few() {
        for (low, high, ticks) in [
            (0.0, 185.5, vec![0.0, 50.0, 100.0, 150.0]),
            (17.6, 21.4, vec![18.0, 19.0, 20.0, 21.0]),
            (-3.0, 3.0, vec![-2.0, 0.0, 2.0]),
            (5.0, 5.0, vec![4.0, 4.5, 5.0, 5.5, 6.0]),
            (f64::NEG_INFINITY, f64::NAN, vec![-1e15, -8e14, -6e14, -4e14, -2e14, 0.0]),
        ] {
            assert_eq!(Scale::of((low, high)).ticks(), ticks, "{low} to {high}");
        }
    }

    #[test]
    fn a_scale_is_cut_where_figures_lie_far_out() {
        let band = (50.0, 80.0);
        let usual: Vec<f64> = (0..3000).map(|n| 45.0 + f64::from(n) / 100.0).collect();
        let with = |more: &[f64]| [usual.as_slice(), more].concat();
        assert_eq!(around(band, usual.clone(), None), ((45.0, 80.0), None));
        assert_eq!(around(band, with(&[400.0]), None), ((45.0, 400.0), None), "within reach");
        let figures = (-1.7e308, 1.7e308);
        let (scale, cut) = around(band, with(&[figures.0, figures.1]), None);
        assert!(scale.0 >= 45.0 && scale.1 <= 80.0, "{scale:?}");
        assert_eq!(cut, Some(Cut { by: By::Bulk, scale, figures }));
        let (scale, cut) = around(band, with(&[5000.0]), Some((0.0, 100.0)));
        assert_eq!((scale, cut.unwrap().by), ((0.0, 100.0), By::Range));
        let (scale, cut) = around(band, vec![figures.0, figures.1], None);
        assert_eq!((scale, cut.unwrap().by), ((-550.0, 680.0), By::Reach));
        assert_eq!(around(band, vec![f64::NAN, f64::INFINITY], None), (band, None));
    }

    fn edge() -> impl Strategy<Value = f64> {
        prop_oneof![
            prop::num::f64::ANY,
            prop::sample::select(vec![
                0.0,
                -0.0,
                5e-324,
                -5e-324,
                1.0,
                50.0,
                1e15,
                1.7e308,
                -1.7e308,
                f64::MAX,
                f64::MIN,
                f64::INFINITY,
                f64::NEG_INFINITY,
                f64::NAN,
                f64::MIN_POSITIVE,
            ]),
            -1e3..1e3_f64,
        ]
    }

    proptest! {
        #[test]
        fn whatever_was_measured_the_scale_is_finite_rises_and_has_few_ticks(
            wanted in (edge(), edge()), figures in prop::collection::vec(edge(), 0..40),
            range in prop::option::of((edge(), edge())), value in edge(),
        ) {
            let rising = |(a, b): (f64, f64)| if a <= b { (a, b) } else { (b, a) };
            let finite = |end: f64| if end.is_finite() { end } else { 0.0 };
            let wanted = rising((finite(wanted.0), finite(wanted.1)));
            let range = range.map(|(a, b)| rising((finite(a), finite(b))));
            let (ends, cut) = around(wanted, figures.clone(), range);
            prop_assert!(!ends.0.is_nan() && !ends.1.is_nan());
            let scale = Scale::of(ends);
            prop_assert!(scale.low().is_finite() && scale.low() < scale.high() && scale.high().is_finite());
            let ticks = scale.ticks();
            prop_assert!(ticks.len() <= 12);
            prop_assert!(ticks.iter().all(|tick| (scale.low()..=scale.high()).contains(tick)), "{ticks:?} {scale:?}");
            prop_assert!(ticks.windows(2).all(|pair| pair[0] < pair[1]), "{ticks:?}");
            prop_assert!((0.0..=1.0).contains(&scale.share(value)));
            // What isn't cut is reached, as far as the largest that can be drawn.
            if cut.is_none() {
                for figure in figures.iter().filter(|figure| figure.is_finite()) {
                    prop_assert!(ends.0 <= *figure && *figure <= ends.1);
                }
            }
        }
    }
}
