//! The peer from a reference library: statsmodels' local linear trend, run live on the series of whole seasons.
//!
//! In its favour the refills are taken out of its series, so that its trend is carried over them.

use serde_json::{Value, json};

use super::case::{SaidEnd, Who};
use super::each_on_its_core;
use super::peers::DrumHistory;
use super::play::Played;
use crate::oracle;

/// One drum's series on an even grid of [`STEP`].
#[derive(Default)]
pub struct GridSeries {
    litres: Vec<Option<f64>>,
    /// What was added to each value to take the refills out.
    shifts: Vec<f64>,
    shift: f64,
    last: Option<f64>,
    disturbed: bool,
    heel: f64,
}

impl GridSeries {
    /// The grid's next value.
    pub fn push(&mut self, history: &DrumHistory, now: f64, disturbed: bool) {
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

    /// What the filter's state at a place of the grid comes to.
    fn said(&self, place: usize, levels: &[f64], trends: &[f64]) -> Option<SaidEnd> {
        let volume = levels.get(place)? - self.shifts.get(place)?;
        let per_hour = -trends.get(place)? * 60.0 / f64::from(STEP);
        let hours = if per_hour > 0.0 { (volume - self.heel).max(0.0) / per_hour } else { f64::MAX };
        Some(SaidEnd::without_spread(hours, volume))
    }
}

/// Fills in what the filter said, for all of these seasons in one question.
///
/// # Panics
/// When the reference library isn't there.
pub fn fill(played: &mut [Played]) {
    let job = |series: &GridSeries| json!({"litres": series.litres, "fit": series.litres.len().min(FIT)});
    let jobs: Vec<Value> = played.iter().flat_map(|played| &played.series).map(job).collect();
    let halves: Vec<&[Value]> = jobs.chunks(jobs.len().div_ceil(2).max(1)).collect();
    let answers = each_on_its_core(&halves, |half| oracle::ask("trend.py", &json!(half)));
    let mut drums = answers.iter().flat_map(|answer| answer.as_array().expect("it answers with a list"));
    for played in played {
        let Played { series, cases, .. } = played;
        for (place, series) in series.iter().enumerate() {
            let of_drum = drums.next().expect("it answers for every drum");
            let (levels, trends) = (numbers(of_drum, "level"), numbers(of_drum, "trend"));
            for case in cases.iter_mut().filter(|case| case.drum == place) {
                let said = series.said((case.minute / STEP) as usize, &levels, &trends);
                if let Some(cell) = case.said.get_mut(Who::Kalman as usize) {
                    *cell = said;
                }
            }
        }
    }
}

fn numbers(of_drum: &Value, key: &str) -> Vec<f64> {
    let list = of_drum.get(key).and_then(Value::as_array).expect("it answers with lists");
    list.iter().map(|number| number.as_f64().unwrap_or(f64::NAN)).collect()
}

/// Minutes.
pub const STEP: u32 = 5;
/// Values that the variances are fitted to: four days.
const FIT: usize = 4 * 24 * 12;
