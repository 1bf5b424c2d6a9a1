//! Intervals for those that have none of their own: the errors that they made at like lead times on other seeds.
//!
//! Split conformal prediction (Vovk, Gammerman and Shafer 2005, from memory): quantiles of past errors, binned by
//! the lead time that the forecast itself states, so that nothing of the truth is used.

use super::case::{Case, LEVELS, LONGEST, SaidEnd, Who};

/// Past errors of everybody.
pub struct ErrorSpread {
    /// Of each in [`Who::ALL`], of each bin: errors in hours, sorted.
    errors: Vec<Vec<Vec<f64>>>,
}

impl ErrorSpread {
    /// From cases of seasons that aren't judged.
    #[must_use]
    pub fn learn<'a>(cases: impl Iterator<Item = &'a Case>) -> Self {
        let mut errors = vec![vec![Vec::new(); EDGES.len() + 1]; Who::ALL.len()];
        for case in cases {
            for (of_one, said) in errors.iter_mut().zip(&case.said) {
                if let Some(said) = said
                    && let Some(bin) = of_one.get_mut(bin(said.likely()))
                {
                    bin.push(case.truth - said.likely());
                }
            }
        }
        for bin in errors.iter_mut().flatten() {
            bin.sort_by(f64::total_cmp);
        }
        Self { errors }
    }

    /// Gives everybody but the drum watch an interval.
    pub fn lend(&self, case: &mut Case) {
        for (who, said) in Who::ALL.into_iter().zip(&mut case.said) {
            if who != Who::DrumWatch
                && let Some(said) = said
                && let Some(errors) =
                    self.errors.get(who as usize).and_then(|bins| bins.get(bin(said.likely())))
            {
                *said = widened(*said, errors);
            }
        }
    }
}

fn widened(said: SaidEnd, errors: &[f64]) -> SaidEnd {
    let likely = said.likely();
    let mut hours = said.hours;
    for (hours, level) in hours.iter_mut().zip(LEVELS) {
        if (level - 0.5).abs() > 1e-9 {
            *hours = (likely + quantile(errors, level)).clamp(0.0, LONGEST);
        }
    }
    // The likely time stays as it was said, inside its own interval.
    hours[1] = hours[1].min(likely);
    hours[3] = hours[3].max(likely);
    hours[0] = hours[0].min(hours[1]);
    hours[4] = hours[4].max(hours[3]);
    SaidEnd { hours, ..said }
}

fn quantile(sorted: &[f64], level: f64) -> f64 {
    let last = sorted.len().saturating_sub(1);
    let place = level * f64::from(u32::try_from(last).unwrap_or(u32::MAX));
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place in the list")]
    let place = place.round() as usize;
    sorted.get(place).copied().unwrap_or(0.0)
}

fn bin(hours: f64) -> usize {
    EDGES.iter().filter(|edge| hours >= **edge).count()
}

/// Hours.
const EDGES: [f64; 9] = [1.0, 2.0, 3.0, 6.0, 9.0, 12.0, 18.0, 24.0, 36.0];
