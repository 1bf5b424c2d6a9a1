//! Recorded draws, dealt out again.
//!
//! What is dealt are the residuals of ln draw about each drum's own curve and settings, ten minutes each, of a recorded
//! week of three drums; blocks of half a day to two days keep how errors hang together.

use std::sync::LazyLock;

use crate::oracle::root;
use crate::season::chance::Chance;

/// Residuals of each recorded drum.
static RECORDED: LazyLock<Vec<Vec<f64>>> = LazyLock::new(recorded);

/// The wandering of a pump for so many minutes, about 1.
pub fn dealt(minutes: u32, dice: &mut Chance) -> Vec<f64> {
    let mut dice = dice.branch();
    let scale = dice.around(1.0, 0.35);
    let mut residuals: Vec<f64> = Vec::new();
    while residuals.len() < (minutes / STEP + 2) as usize {
        let drum = RECORDED.get(place(&mut dice, RECORDED.len())).map_or(&[][..], Vec::as_slice);
        let length = place(&mut dice, LONGEST - SHORTEST) + SHORTEST;
        let from = place(&mut dice, drum.len() - length);
        residuals.extend(drum.iter().skip(from).take(length).map(|residual| scale * residual));
    }
    (0..minutes)
        .map(|minute| {
            let at = |i: u32| residuals.get(i as usize).copied().unwrap_or(0.0);
            let (i, into) = (minute / STEP, f64::from(minute % STEP) / f64::from(STEP));
            (at(i) + (at(i + 1) - at(i)) * into).exp()
        })
        .collect()
}

fn place(dice: &mut Chance, of: usize) -> usize {
    dice.whole(0, u32::try_from(of.saturating_sub(1)).unwrap_or(0)) as usize
}

fn recorded() -> Vec<Vec<f64>> {
    let text = std::fs::read_to_string(root().join("tests/data/draw_residuals.csv"))
        .expect("the recorded residuals lie in tests/data");
    let mut drums: Vec<((&str, &str), Vec<f64>)> = Vec::new();
    for line in text.lines().skip(1) {
        let mut fields = line.split(',');
        let (Some(room), Some(drum), Some(_), Some(Ok(residual))) =
            (fields.next(), fields.next(), fields.next(), fields.next().map(str::parse))
        else {
            panic!("{line}");
        };
        match drums.last_mut() {
            Some((of, residuals)) if *of == (room, drum) => residuals.push(residual),
            Some(_) | None => drums.push(((room, drum), vec![residual])),
        }
    }
    drums.into_iter().map(|(_, residuals)| residuals).collect()
}

/// Minutes of a residual.
const STEP: u32 = 10;
/// Residuals in a block.
const SHORTEST: usize = 72;
const LONGEST: usize = 288;
