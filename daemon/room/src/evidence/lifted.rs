//! A turbidity probe that is out of the water, or broken: it falls to nothing sooner than any water is exchanged.
//!
//! A stirred tank that gets no clay any more keeps exp(-t/τ) of it after t, so from a share a to a share b it needs
//! τ ln(a/b). What is faster by far isn't the water.

use super::trace::TracePoint;
use claymark_model::median::median;

/// A time in which a probe didn't see its water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Lifted {
    /// The last reading of the water, min since 1970.
    pub(crate) since: f64,
    /// The first reading of the water again; `None`: it is still out.
    pub(crate) until: Option<f64>,
    /// What it read before.
    pub(crate) before: f64,
}

impl Lifted {
    /// Whether a reading of that minute isn't one of the water.
    pub(crate) fn covers(&self, t: f64) -> bool {
        t > self.since && self.until.is_none_or(|until| t < until)
    }
}

/// All such times in some readings. `residence`: min in which the tank is exchanged once, where that is known.
pub(crate) fn lifted(points: &[TracePoint], background: f64, residence: Option<f64>) -> Vec<Lifted> {
    let quick = MUCH_FASTER * residence.unwrap_or(SMALL_TANK_MINUTES) * (WELL / LITTLE).ln();
    let mut found: Vec<Lifted> = Vec::new();
    let mut wet: Vec<TracePoint> = Vec::new();
    for (place, point) in points.iter().enumerate() {
        let ahead = points.get(place..place + LASTS).unwrap_or_default();
        match found.last_mut().filter(|lifted| lifted.until.is_none()) {
            Some(out) => {
                let half = f64::midpoint(out.before, background);
                if ahead.iter().take(2).all(|next| next.v > half) && !ahead.is_empty() {
                    out.until = Some(point.t);
                    wet.push(*point);
                }
            }
            None => match falls(&wet, ahead, background, quick) {
                Some(out) => found.push(out),
                None => wet.push(*point),
            },
        }
    }
    found
}

/// Whether the water's readings end here.
fn falls(wet: &[TracePoint], ahead: &[TracePoint], background: f64, quick: f64) -> Option<Lifted> {
    let first = ahead.first()?;
    // Nearly always the next reading is like the last.
    if first.v >= wet.last()?.v {
        return None;
    }
    let recent = wet.get(wet.len().checked_sub(RECENT)?..)?;
    let before = median(&mut recent.iter().map(|point| point.v).collect::<Vec<_>>())?;
    let clay = before - background;
    let share = |point: &TracePoint| (point.v - background) / clay;
    let out = clay >= LEAST_CLAY_NTU && ahead.iter().all(|point| share(point) < LITTLE);
    let last = recent.iter().rfind(|point| share(point) > WELL)?;
    (out && first.t - last.t < quick).then_some(Lifted { since: last.t, until: None, before })
}

/// The clay is all there above this share of it.
const WELL: f64 = 0.7;
/// Nothing to speak of is there below this share.
const LITTLE: f64 = 0.3;
/// Faster than water by this: flows may be twice what they were thought to be.
const MUCH_FASTER: f64 = 0.4;
/// min. No head tank is exchanged sooner (common practice, no source).
const SMALL_TANK_MINUTES: f64 = 5.0;
/// With less clay than this, noise looks like anything.
const LEAST_CLAY_NTU: f64 = 15.0;
/// Readings that tell what is usual.
const RECENT: usize = 7;
/// Readings that must say the same.
const LASTS: usize = 3;

#[cfg(test)]
mod tests {
    use super::*;

    fn points(value: impl Fn(f64) -> f64) -> Vec<TracePoint> {
        (0..150)
            .map(|i| {
                let (t, noise) = (f64::from(i), f64::from((i * 7919) % 13) / 6.0 - 1.0);
                TracePoint { t, v: (value(t) + 3.0 * noise).max(0.0) }
            })
            .collect()
    }

    #[test]
    fn a_probe_in_the_air_is_told_from_a_tank_that_clears() {
        let lifted_at_60 = lifted(&points(|t| if t < 60.0 { 65.0 } else { 0.0 }), 2.0, Some(8.8));
        let [only] = lifted_at_60.as_slice() else { panic!("{lifted_at_60:?}") };
        assert!((only.since - 59.0).abs() < 0.1 && only.until.is_none(), "{only:?}");
        assert!(only.covers(60.0) && !only.covers(59.0));
        let clears = |tau: f64| move |t: f64| 2.0 + 63.0 * (-(t - 60.0_f64).max(0.0) / tau).exp();
        // Twice the water through the tank is still water.
        for tau in [4.4, 8.8, 40.0] {
            assert_eq!(lifted(&points(clears(tau)), 2.0, Some(8.8)), [], "{tau}");
        }
        assert_eq!(lifted(&points(clears(5.0)), 2.0, None), []);
    }

    #[test]
    fn it_is_over_when_the_probe_is_back_and_a_spike_or_a_gap_is_none() {
        let there_and_back = |t: f64| if (60.0..90.0).contains(&t) { 0.0 } else { 65.0 };
        let found = lifted(&points(there_and_back), 2.0, Some(8.8));
        assert!(
            found.iter().any(|out| out.until.is_some_and(|until| (until - 90.0).abs() < 0.1)),
            "{found:?}"
        );
        assert_eq!(found.len(), 1);
        assert_eq!(
            lifted(&points(|t| if (60.0..62.0).contains(&t) { 0.0 } else { 65.0 }), 2.0, Some(8.8)),
            []
        );
        let mut gap = points(|t| if t < 60.0 { 65.0 } else { 2.0 });
        gap.retain(|point| !(55.0..65.0).contains(&point.t));
        assert_eq!(lifted(&gap, 2.0, Some(8.8)), [], "it may have cleared meanwhile");
    }
}
