//! A level sensor that is noisy, foams over, drifts, falls silent; and a strapping table that may be wrong.

use super::faults::Faults;
use crate::season::DAY;
use crate::season::chance::Chance;
use crate::season::layout::Mount;
use crate::season::wire::OnTheWire;

/// What somebody measured: wrong by a share that bends over the height.
pub fn strapping(mm_per_litre: f64, brim: f64, faults: &Faults, dice: &mut Chance) -> Vec<(f64, f64)> {
    let (ends, middle) = (faults.strapping_off * dice.normal(), faults.strapping_off * dice.normal());
    (0..=10)
        .map(|mark| {
            let share = f64::from(mark) / 10.0;
            let off = 1.0 + ends * share + middle * (1.0 - share);
            ((brim * share * mm_per_litre).round(), brim * share * off)
        })
        .collect()
}

/// What it sends, given the true level of each minute.
pub fn sent(levels: &[f64], mount: Mount, faults: &Faults, dice: &mut Chance) -> Vec<OnTheWire> {
    let keeps = (-1.0 / dice.between(0.3, 3.0)).exp();
    let grain = dice.between(0.5, 3.0);
    let per_minute = |a_day: f64| a_day / f64::from(DAY);
    let (mut ripple, mut drift, mut foam): (f64, f64, f64) = (0.0, 0.0, 0.0);
    let (mut foam_until, mut away_until, mut lost) = (0, 0, false);
    let mut sent = Vec::with_capacity(levels.len());
    for (minute, level) in (0u32..).zip(levels) {
        ripple = keeps * ripple + (1.0 - keeps * keeps).sqrt() * faults.noise * dice.normal();
        drift += faults.drifts * (1.0 / f64::from(DAY)).sqrt() * dice.normal() - drift / 4000.0;
        if minute >= foam_until && dice.happens(per_minute(faults.foams)) {
            (foam, foam_until) = (dice.between(8.0, 50.0), minute + dice.whole(2, 25));
        }
        let froth = if minute < foam_until { foam * dice.between(0.4, 1.2) } else { 0.0 };
        if minute >= away_until && dice.happens(per_minute(faults.outages)) {
            (away_until, lost) = (minute + dice.whole(5, 150), dice.happens(0.5));
        }
        let shown = mount.shows((level + ripple + drift + froth).max(0.0), 18.0);
        let (own, value) = (f64::from(minute) * 60.0 + 20.0, (shown / grain).round() * grain);
        if minute >= away_until {
            sent.push(OnTheWire { own, arrives: own + dice.between(0.2, 4.0), value });
        } else if !lost {
            sent.push(OnTheWire {
                own,
                arrives: f64::from(away_until) * 60.0 + dice.between(0.0, 60.0),
                value,
            });
        }
    }
    sent
}
