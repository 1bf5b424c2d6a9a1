//! Whether a drum lasts, and what would make it last.

use jiff::Timestamp;

use crate::forecast::{EmptyAt, Outlook};
use crate::notice::content::{Verdict, Visit};

impl Visit {
    /// Until when a drum must last.
    #[must_use]
    pub fn lasts_until(&self) -> Timestamp {
        self.at + self.margin
    }
}

impl Verdict {
    /// Of a drum that is empty at `empty_at`; later than the horizon lasts.
    #[must_use]
    pub fn of(empty_at: &EmptyAt, visit: &Visit) -> Self {
        let lasts = |time: Option<Timestamp>| time.is_none_or(|time| time >= visit.lasts_until());
        if lasts(empty_at.p05) {
            Self::Lasts
        } else if lasts(empty_at.p50) {
            Self::MayNotLast
        } else {
            Self::WillNotLast
        }
    }

    /// Of an outlook.
    #[must_use]
    pub fn of_outlook(outlook: &Outlook, visit: &Visit) -> Self {
        match outlook {
            Outlook::Known { empty_at, .. } => Self::of(empty_at, visit),
            Outlook::Unknown { .. } => Self::Unknown,
        }
    }
}

/// The share of the present pump speed at which a drum lasts, where it doesn't.
///
/// Flow goes with speed for a given tube, so the earliest time stretches with 1 / share. Rounded down to a percent.
pub(crate) fn slower(now: Timestamp, empty_at: &EmptyAt, visit: &Visit) -> Option<f64> {
    let earliest = empty_at.p05?.duration_since(now).as_secs_f64();
    let wanted = visit.lasts_until().duration_since(now).as_secs_f64();
    let percent = (100.0 * earliest / wanted).floor();
    (wanted > 0.0 && (1.0..100.0).contains(&percent)).then_some(percent / 100.0)
}

#[cfg(test)]
mod tests {
    use jiff::SignedDuration;

    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn visit() -> Visit {
        Visit { at: at("2027-04-21T04:30:00Z"), margin: SignedDuration::from_hours(1) }
    }

    fn empty_at(p05: Option<&str>, p50: Option<&str>) -> EmptyAt {
        let (p05, p50) = (p05.map(at), p50.map(at));
        EmptyAt { p05, p25: p05, p50, p75: p50, p95: None }
    }

    #[test]
    fn lasting_is_judged_by_the_earliest_and_the_likely_time_against_visit_and_margin() {
        for (p05, p50, verdict) in [
            (Some("2027-04-21T05:30:00Z"), Some("2027-04-21T09:00:00Z"), Verdict::Lasts),
            (Some("2027-04-21T05:29:59Z"), Some("2027-04-21T05:30:00Z"), Verdict::MayNotLast),
            (Some("2027-04-21T04:29:59Z"), Some("2027-04-21T05:29:59Z"), Verdict::WillNotLast),
            (Some("2027-04-21T01:00:00Z"), None, Verdict::MayNotLast),
            (None, None, Verdict::Lasts),
        ] {
            assert_eq!(Verdict::of(&empty_at(p05, p50), &visit()), verdict, "{p05:?} {p50:?}");
        }
    }

    #[test]
    fn a_slower_pump_stretches_the_earliest_time_to_visit_and_margin() {
        let now = at("2027-04-20T17:30:00Z");
        // 6 h of the 12 h that are wanted: half the speed.
        let half = slower(now, &empty_at(Some("2027-04-20T23:30:00Z"), None), &visit());
        assert!((half.unwrap() - 0.5).abs() < 1e-12);
        // 5 h 59 min: 49.86 %, rounded down.
        let less = slower(now, &empty_at(Some("2027-04-20T23:29:00Z"), None), &visit());
        assert!((less.unwrap() - 0.49).abs() < 1e-12);
        assert_eq!(slower(now, &empty_at(Some("2027-04-21T06:00:00Z"), None), &visit()), None);
        assert_eq!(slower(now, &empty_at(Some("2027-04-20T17:30:00Z"), None), &visit()), None);
    }
}
