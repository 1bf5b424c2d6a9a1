//! Scores over many cases.

use std::collections::HashMap;

use claymark_model::score::{self, Bounds, crps_of_quantiles, interval_score};

use super::case::{Case, LEVELS, SaidEnd, Who};
use super::peers::median;
use super::play::Played;
use crate::season::rooms::RoomKind;

/// Lead times that are judged apart, hours.
pub const BUCKETS: [(f64, f64); 4] = [(0.0, 3.0), (3.0, 6.0), (6.0, 12.0), (12.0, 24.0)];

/// Scores of one forecaster over some cases.
#[derive(Debug, Clone, Copy)]
pub struct Score {
    /// Cases.
    pub cases: u32,
    /// Minutes: median of the distance of the likely time from the truth.
    pub error: f64,
    /// Minutes.
    pub crps: f64,
    /// Minutes.
    pub interval: f64,
    /// Litres: median and 95th percentile of the distance from the true volume.
    pub volume: (f64, f64),
    /// Share of the cases in which the 90 % interval held the truth.
    pub in90: f64,
    /// Of the 50 % interval.
    pub in50: f64,
    /// Minutes: mean of likely time less truth.
    pub bias: f64,
    /// Minutes: median width of the 90 % interval.
    pub width: f64,
}

impl Score {
    /// Of one forecaster; `None` where there is no case.
    #[must_use]
    pub fn of(who: Who, cases: &[&Case]) -> Option<Self> {
        let said: Vec<(&SaidEnd, &Case)> =
            cases.iter().filter_map(|case| Some((case.of(who)?, *case))).collect();
        let count = u32::try_from(said.len()).ok().filter(|count| *count > 0)?;
        let mean = |what: &dyn Fn(&SaidEnd, &Case) -> f64| {
            said.iter().map(|(said, case)| what(said, case)).sum::<f64>() / f64::from(count)
        };
        let share = |held: fn(&SaidEnd, f64) -> bool| {
            mean(&|said, case| if held(said, case.truth) { 1.0 } else { 0.0 })
        };
        let mut errors: Vec<f64> =
            said.iter().map(|(said, case)| (said.likely() - case.truth).abs() * 60.0).collect();
        let mut widths: Vec<f64> =
            said.iter().map(|(said, _)| (said.hours[4] - said.hours[0]) * 60.0).collect();
        let mut litres: Vec<f64> =
            said.iter().map(|(said, case)| (said.volume - case.volume).abs()).collect();
        litres.sort_by(f64::total_cmp);
        let of_litres = |share: f64| {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place in it")]
            let place = (share * f64::from(count - 1)).round() as usize;
            litres.get(place).copied().unwrap_or(f64::NAN)
        };
        Some(Self {
            cases: count,
            error: median(&mut errors)?,
            crps: mean(&|said, case| crps(said, case.truth)) * 60.0,
            interval: mean(&|said, case| interval(said, case.truth)) * 60.0,
            volume: (of_litres(0.5), of_litres(0.95)),
            in90: share(in90),
            in50: share(in50),
            bias: mean(&|said, case| said.likely() - case.truth) * 60.0,
            width: median(&mut widths)?,
        })
    }
}

/// How often the interval of one forecaster held the truth.
#[must_use]
pub fn coverage(who: Who, cases: &[&Case], held: fn(&SaidEnd, f64) -> bool) -> score::Coverage {
    let mut coverage = score::Coverage::default();
    for case in cases {
        if let Some(said) = case.of(who) {
            coverage.count(held(said, case.truth));
        }
    }
    coverage
}

/// Clopper and Pearson's 95 % bounds; all where nothing was counted.
#[must_use]
pub fn bounds(coverage: &score::Coverage) -> (f64, f64) {
    let Bounds { low, high } = coverage.clopper_pearson(0.95).unwrap_or(Bounds { low: 0.0, high: 1.0 });
    (low, high)
}

fn crps(said: &SaidEnd, truth: f64) -> f64 {
    let mut quantiles = LEVELS.map(|level| (level, 0.0));
    for (quantile, hours) in quantiles.iter_mut().zip(said.hours) {
        quantile.1 = hours;
    }
    crps_of_quantiles(&quantiles, truth).unwrap_or(f64::NAN)
}

fn interval(said: &SaidEnd, truth: f64) -> f64 {
    interval_score(truth, said.hours[0], said.hours[4], 0.1)
}

/// Whether the 90 % interval holds the truth.
#[must_use]
pub fn in90(said: &SaidEnd, truth: f64) -> bool {
    (said.hours[0]..=said.hours[4]).contains(&truth)
}

/// Whether the 50 % interval does.
#[must_use]
pub fn in50(said: &SaidEnd, truth: f64) -> bool {
    (said.hours[1]..=said.hours[3]).contains(&truth)
}

/// Cases for which the drum watch and everybody in `beside` said something, by bucket or all.
#[must_use]
pub fn shared<'a>(played: &'a [Played], bucket: Option<(f64, f64)>, beside: &[Who]) -> Vec<&'a Case> {
    let (from, to) = bucket.unwrap_or((0.0, 24.0));
    played
        .iter()
        .flat_map(|played| &played.cases)
        .filter(|case| {
            case.truth >= from && case.truth < to && beside.iter().all(|who| case.of(*who).is_some())
        })
        .collect()
}

/// One case of each fill and bucket, chosen by its number, so that the fills are independent.
#[must_use]
pub fn one_of_each_fill(played: &[Played], bucket: (f64, f64), room: Option<RoomKind>) -> Vec<&Case> {
    let mut chosen = Vec::new();
    for played in played.iter().filter(|played| room.is_none_or(|room| room == played.kind)) {
        let mut fills: HashMap<(usize, u32), Vec<&Case>> = HashMap::new();
        let said = played.cases.iter().filter(|case| case.of(Who::DrumWatch).is_some());
        for case in said.filter(|case| case.truth >= bucket.0 && case.truth < bucket.1) {
            fills.entry((case.drum, case.fill)).or_default().push(case);
        }
        let mut fills: Vec<_> = fills.into_iter().collect();
        fills.sort_by_key(|(fill, _)| *fill);
        for ((drum, fill), cases) in fills {
            // Any fixed rule that doesn't look at what was said.
            let place = (drum * 31 + fill as usize * 17 + 7) % cases.len();
            chosen.extend(cases.get(place));
        }
    }
    chosen
}
