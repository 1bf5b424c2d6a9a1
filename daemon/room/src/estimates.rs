//! What was believed of a drum at one time, and what that says when its draw has changed since.
//!
//! A filter that meets a changed draw bends draw, curve and volume to it before it gives way, so for half an hour its
//! own figures are those of neither draw. What it believed before the change is untouched: its draw and its curve were
//! learned together, and what errs in the one is made up for in the other. Only the ratio of the draws is new.

use claymark_model::units::{Litres, SECONDS_PER_HOUR};
use jiff::{SignedDuration, Timestamp};

use claymark_drum::Slope;
use claymark_model::forecast::EmptyAt;

/// What was believed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Estimate {
    /// When.
    pub(crate) at: Timestamp,
    pub(crate) holds: Litres,
    /// Drawn then.
    pub(crate) draw: Slope,
    /// When it would have been empty.
    pub(crate) ends: EmptyAt,
}

impl Estimate {
    /// When it is empty, if it holds that much `now` and `share` of what was believed is drawn, which is known to a
    /// standard deviation of `doubt` of itself.
    ///
    /// From V₀ to V it would have taken (V₀ - V)/q₀, so T = (T₀ - (V₀ - V)/q₀)/share is left: a few litres at the believed
    /// draw, and the rest of the way as it was believed.
    pub(crate) fn changed(&self, now: Timestamp, holds: Litres, share: f64, doubt: f64) -> Option<EmptyAt> {
        let likely = hours(self.at, self.ends.p50?);
        let left = (likely - (self.holds - holds).0 / self.draw.draw.0) / share;
        let told = |then: Option<Timestamp>, z: f64| {
            let off = (hours(self.at, then?) - likely) / share;
            let off = off.hypot(z * doubt * left).copysign(z);
            let after = SignedDuration::try_from_secs_f64(SECONDS_PER_HOUR * (left + off).max(0.0)).ok()?;
            now.checked_add(after).ok()
        };
        let EmptyAt { p05, p25, p75, p95, .. } = self.ends;
        Some(EmptyAt {
            p05: told(p05, -Z95),
            p25: told(p25, -Z75),
            p50: told(self.ends.p50, 0.0),
            p75: told(p75, Z75),
            p95: told(p95, Z95),
        })
    }
}

fn hours(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64() / SECONDS_PER_HOUR
}

/// Standard normal deviate of 95 %.
const Z95: f64 = 1.644_853_627;
/// Of 75 %.
const Z75: f64 = 0.674_489_750;

#[cfg(test)]
mod tests {
    use super::*;
    use claymark_model::units::LitresPerHour;

    fn at(hour: f64) -> Timestamp {
        Timestamp::UNIX_EPOCH + SignedDuration::try_from_secs_f64(SECONDS_PER_HOUR * hour).unwrap()
    }

    #[test]
    fn the_rest_of_the_way_shrinks_with_the_draw_and_its_doubt_with_it() {
        let ends = |off: [f64; 5]| {
            let [p05, p25, p50, p75, p95] = off.map(|off| Some(at(10.0 + off)));
            EmptyAt { p05, p25, p50, p75, p95 }
        };
        let believed = Estimate {
            at: at(0.0),
            holds: Litres(110.0),
            draw: Slope { draw: LitresPerHour(10.0), sd: LitresPerHour(0.1) },
            ends: ends([-1.0, -0.4, 0.0, 0.4, 1.0]),
        };
        // An hour later it holds 100 L: nine hours are left as it was, four and a half at twice the draw.
        let same = believed.changed(at(1.0), Litres(100.0), 1.0, 0.0).unwrap();
        assert_eq!(same, believed.ends);
        let twice = believed.changed(at(1.0), Litres(100.0), 2.0, 0.0).unwrap();
        assert_eq!((twice.p50, twice.p05, twice.p95), (Some(at(5.5)), Some(at(5.0)), Some(at(6.0))));
        let unsure = believed.changed(at(1.0), Litres(100.0), 2.0, 0.1).unwrap();
        assert!(unsure.p50 == twice.p50 && unsure.p05 < twice.p05 && unsure.p95 > twice.p95);
        assert!(unsure.p05 < unsure.p25 && unsure.p25 < unsure.p50 && unsure.p75 < unsure.p95);
    }
}
