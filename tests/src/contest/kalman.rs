//! The peer from a reference library: statsmodels' local linear trend, run live once for each season.
//!
//! In its favour the refills are taken out of its series, so that its trend is carried over them.

use serde_json::{Value, json};

use super::case::{Case, Said, Who};
use super::peers::History;
use crate::oracle;
use crate::season::Season;

/// One drum's series on an even grid of [`STEP`].
#[derive(Default)]
pub struct Series {
    litres: Vec<Option<f64>>,
    /// What was added to each value to take the refills out.
    shifts: Vec<f64>,
    shift: f64,
    last: Option<f64>,
    disturbed: bool,
    heel: f64,
}

impl Series {
    /// The grid's next value.
    pub fn push(&mut self, history: &History, now: f64, disturbed: bool) {
        self.heel = history.heel();
        let value = history.newest_bin(now).filter(|_| !disturbed);
        if let Some(litres) = value {
            if self.disturbed
                && let Some(last) = self.last
            {
                self.shift = last - litres;
            }
            self.last = Some(litres + self.shift);
        }
        self.disturbed = disturbed || self.disturbed && value.is_none();
        self.litres.push(value.map(|litres| litres + self.shift));
        self.shifts.push(self.shift);
    }
}

/// Fills in what the filter said.
///
/// # Panics
/// When the reference library isn't there.
pub fn fill(season: &Season, series: &[Series], cases: &mut [Case]) {
    let job = |series: &Series| json!({"litres": series.litres, "fit": FIT.min(season.minutes / STEP)});
    let answer = oracle::ask("trend.py", &Value::Array(series.iter().map(job).collect()));
    let drums: Vec<(Vec<f64>, Vec<f64>)> = answer
        .as_array()
        .expect("it answers with a list")
        .iter()
        .map(|of_drum| (numbers(of_drum, "level"), numbers(of_drum, "trend")))
        .collect();
    for case in cases {
        let place = (case.minute / STEP) as usize;
        let Some(((levels, trends), series)) = drums.get(case.drum).zip(series.get(case.drum)) else {
            continue;
        };
        let (Some(level), Some(trend), Some(shift)) =
            (levels.get(place), trends.get(place), series.shifts.get(place))
        else {
            continue;
        };
        let volume = level - shift;
        let per_hour = -trend * 60.0 / f64::from(STEP);
        let hours = if per_hour > 0.0 { (volume - series.heel).max(0.0) / per_hour } else { f64::MAX };
        if let Some(said) = case.said.get_mut(Who::Kalman as usize) {
            *said = Some(Said::without_spread(hours, volume));
        }
    }
}

fn numbers(of_drum: &Value, key: &str) -> Vec<f64> {
    let list = of_drum.get(key).and_then(Value::as_array).expect("it answers with lists");
    list.iter().map(|number| number.as_f64().unwrap_or(f64::NAN)).collect()
}

/// Minutes.
pub const STEP: u32 = 5;
/// Values that the variances are fitted to: eight days.
const FIT: u32 = 8 * 24 * 12;
