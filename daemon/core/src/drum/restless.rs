//! A restless level: it jumps up and down from minute to minute, far beyond its usual scatter. Foam that wanders
//! does that; slurry doesn't, whatever hands and pumps do to it.

use super::series::Point;

/// Since when the level is restless, hours since 1970, if it is so up to its newest point; `usual` is the scatter
/// of a minute and `span` what the pump can draw from a full drum, L.
/// What has only just calmed down counts as restless `again` sooner.
pub(super) fn restless_since(points: &[Point], usual: f64, span: f64, again: bool) -> Option<f64> {
    let newest = points.last()?.t;
    let far = (JUMP_SCATTERS * usual).max(JUMP_SHARE * span);
    let (mut since, mut last, mut ups, mut downs) = (newest, newest, 0u32, 0u32);
    let (mut steps, mut steps_since, mut latest) = (0u32, 0u32, None);
    for (before, after) in points.iter().zip(points.iter().skip(1)).rev() {
        if last - after.t > CALM_HOURS {
            break;
        }
        steps += 1;
        let jump = after.v - before.v;
        if jump.abs() >= far && after.t - before.t <= CALM_HOURS {
            if jump > 0.0 {
                ups += 1;
            } else {
                downs += 1;
            }
            (since, last, steps_since) = (before.t, before.t, steps);
            latest.get_or_insert(after.t);
        }
    }
    let often = JUMPING_STEPS * (ups + downs) >= steps_since;
    let (hours, jumps) = if again { AGAIN } else { AT_FIRST };
    (latest? - since >= hours && ups >= jumps && downs >= jumps && often).then_some(since)
}

/// Scatters. A minute's median that is off the one before it by more has jumped.
const JUMP_SCATTERS: f64 = 5.0;
/// Share of what the pump can draw: a smaller jump isn't worth a doubt.
const JUMP_SHARE: f64 = 0.01;
/// One step in so many must be a jump: stray echoes are rarer.
const JUMPING_STEPS: u32 = 3;
/// h for which it must go on, as foam passes by itself, and jumps in it both ways: a refill by buckets only jumps
/// up, a drum that is bucketed out only down.
const AT_FIRST: (f64, u32) = (24.0 / 60.0, 5);
/// The same, while the level hasn't settled yet.
const AGAIN: (f64, u32) = (3.0 / 60.0, 1);
/// h. Without a jump for so long the level is calm.
const CALM_HOURS: f64 = 6.0 / 60.0;

#[cfg(test)]
mod tests {
    use super::*;

    fn level(minutes: u32, litres: impl Fn(u32) -> f64) -> Vec<Point> {
        let point = |minute| Point { t: f64::from(minute) / 60.0, v: litres(minute) };
        (0..minutes).map(point).collect()
    }

    #[test]
    fn only_jumps_both_ways_that_go_on_are_unrest() {
        let fall = |minute: u32| 150.0 - 0.15 * f64::from(minute);
        let ripple = |minute: u32| if minute.is_multiple_of(2) { 0.5 } else { -0.5 };
        let foam = |from: u32, to: u32| {
            move |minute: u32| {
                let high = (from..to).contains(&minute);
                fall(minute) + if high { f64::from(minute * 7 % 11) * 2.0 } else { ripple(minute) }
            }
        };
        assert_eq!(
            restless_since(&level(90, |minute| fall(minute) + ripple(minute)), 0.5, 160.0, false),
            None,
            "ripple"
        );
        let buckets = |minute: u32| fall(minute) + f64::from(minute.clamp(30, 60) - 30) * 3.0;
        assert_eq!(restless_since(&level(90, buckets), 0.5, 160.0, false), None, "poured in by buckets");
        let since = restless_since(&level(60, foam(30, 60)), 0.5, 160.0, false).unwrap();
        assert!((since * 60.0 - 30.0).abs() < 3.0, "{since}");
        assert_eq!(restless_since(&level(40, foam(32, 40)), 0.5, 160.0, false), None, "a burst");
        assert_eq!(restless_since(&level(90, foam(30, 60)), 0.5, 160.0, false), None, "over");
        let echoes = |minute: u32| fall(minute) + if minute.is_multiple_of(7) { 60.0 } else { 0.0 };
        assert_eq!(restless_since(&level(90, echoes), 0.5, 160.0, false), None, "stray echoes");
    }
}
