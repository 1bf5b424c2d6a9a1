//! Each kind of room in each simulator, scored apart, and what its widths would be by the other kinds alone.
//!
//! Leave one kind out: one factor for all widths is set on the tuning seeds of the *other* kinds, so that their 90 %
//! intervals hold nine of ten, and tried on the judging seeds of the kind that was left out. What must hold is the worst kind.

use claymark_tests::contest::case::{Case, SaidEnd, Who};
use claymark_tests::contest::play::{Played, Whom};
use claymark_tests::contest::tally::{Score, in90};
use claymark_tests::contest::{Bill, play_all};
use claymark_tests::season::rooms::RoomKind;
use claymark_tests::season::{Simulator, seeds};

use super::options::Options;

/// One kind of room in one simulator.
struct World {
    name: String,
    kind: RoomKind,
    tuning: Vec<Played>,
    judging: Vec<Played>,
}

/// Prints them.
pub fn print(options: &Options) {
    let kinds = RoomKind::ALL.into_iter().chain(RoomKind::HARD);
    let worlds: Vec<World> =
        kinds.flat_map(|kind| Simulator::ALL.map(|by| World::new(by, kind, options))).collect();
    println!(
        "                           cases   |p50| h  CRPS h   in 50   in 90   in 90 by the other kinds (widths times)"
    );
    let mut worst: Option<(f64, &str)> = None;
    for world in &worlds {
        let Some(score) = Score::of(Who::DrumWatch, &cases(&world.judging)) else { continue };
        let others = worlds.iter().filter(|other| other.kind != world.kind);
        let factor = factor_of(&others.flat_map(|other| cases(&other.tuning)).collect::<Vec<_>>());
        let held = share_held(&cases(&world.judging), factor);
        println!(
            "{:<24}{:>8}{:>10.2}{:>8.2}{:>8.3}{:>8.3}{:>8.3} ({factor:.2})",
            world.name,
            score.cases,
            score.error / 60.0,
            score.crps / 60.0,
            score.in50,
            score.in90,
            held
        );
        if worst.is_none_or(|(share, _)| score.in90 < share) {
            worst = Some((score.in90, &world.name));
        }
    }
    let all: Vec<&Case> = worlds.iter().flat_map(|world| cases(&world.judging)).collect();
    if let (Some(score), Some((share, name))) = (Score::of(Who::DrumWatch, &all), worst) {
        println!(
            "all{:>29}{:>10.2}{:>8.2}{:>8.3}{:>8.3}   worst kind: {name}, {share:.3}",
            score.cases,
            score.error / 60.0,
            score.crps / 60.0,
            score.in50,
            score.in90
        );
    }
}

impl World {
    fn new(by: Simulator, kind: RoomKind, options: &Options) -> Self {
        let played = |seeds: Vec<u64>| {
            let bill = Bill { by, rooms: vec![kind], seeds, days: options.days };
            play_all(&bill, Whom { watch: true, kalman: false })
        };
        let count = options.seeds.len();
        Self {
            name: format!("{} {}", by.name(), kind.name()),
            kind,
            tuning: played(seeds::TUNING.take(count.div_ceil(2)).collect()),
            judging: played(options.seeds.clone()),
        }
    }
}

fn cases(played: &[Played]) -> Vec<&Case> {
    played.iter().flat_map(|played| &played.cases).collect()
}

fn share_held(cases: &[&Case], factor: f64) -> f64 {
    let said = cases.iter().filter_map(|case| Some((widened(case.of(Who::DrumWatch)?, factor), case.truth)));
    let (held, all) = said.fold((0.0, 0.0), |(held, all), (said, truth)| {
        (held + if in90(&said, truth) { 1.0 } else { 0.0 }, all + 1.0)
    });
    held / f64::max(all, 1.0)
}

/// By what all widths must be multiplied for nine of ten to be held.
fn factor_of(cases: &[&Case]) -> f64 {
    let (mut low, mut high) = (0.2_f64, 5.0_f64);
    for _ in 0..HALVINGS {
        let middle = (low * high).sqrt();
        if share_held(cases, middle) < 0.9 { low = middle } else { high = middle }
    }
    (low * high).sqrt()
}

fn widened(said: &SaidEnd, factor: f64) -> SaidEnd {
    let likely = said.likely();
    SaidEnd { hours: said.hours.map(|hours| (likely + (hours - likely) * factor).max(0.0)), ..*said }
}

const HALVINGS: u32 = 16;
