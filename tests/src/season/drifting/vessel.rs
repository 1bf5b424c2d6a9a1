//! A drum as a line of corners: litres against level.

use crate::season::chance::Chance;

/// Level in mm and litres, rising.
pub struct VesselShape {
    corners: Vec<(f64, f64)>,
    /// Litres at the full line.
    pub full: f64,
    /// Litres that the pump can't lift.
    pub heel: f64,
}

impl VesselShape {
    /// Lying, bulged or with a foot: no two corners have the same litres in a mm.
    pub fn new(dice: &mut Chance) -> Self {
        let wide = dice.between(0.2, 0.26);
        let bulge = dice.between(-0.25, 0.35);
        let height = dice.between(700.0, 860.0);
        let mut corners = vec![(0.0, 0.0)];
        for corner in 1..=CORNERS {
            let share = f64::from(corner) / f64::from(CORNERS);
            let middle = 1.0 + bulge * (1.0 - (2.0 * share - 1.0 / f64::from(CORNERS) - 1.0).powi(2));
            let (mm, litres) = corners.last().copied().unwrap_or_default();
            let step = height / f64::from(CORNERS);
            corners.push((mm + step, litres + step * wide * middle * dice.around(1.0, 0.02)));
        }
        let brim = corners.last().map_or(0.0, |corner| corner.1);
        Self { corners, full: (brim * 0.9).floor(), heel: dice.between(6.0, 14.0).round() }
    }

    /// mm at so many litres.
    pub fn level(&self, litres: f64) -> f64 {
        let next = self.corners.iter().skip(1);
        let pair = self.corners.iter().zip(next).find(|(_, above)| litres <= above.1);
        pair.or(self.corners.iter().zip(self.corners.iter().skip(1)).next_back())
            .map_or(0.0, |(low, high)| low.0 + (high.0 - low.0) * (litres - low.1) / (high.1 - low.1))
    }

    /// Litres to the brim.
    pub fn brim(&self) -> f64 {
        self.corners.last().map_or(0.0, |corner| corner.1)
    }

    /// What somebody measured.
    pub fn strapping(&self, dice: &mut Chance) -> Vec<(f64, f64)> {
        let mut measured = |(mm, litres): &(f64, f64)| {
            let off = if *mm > 0.0 { 0.25 * dice.between(-1.0, 1.0) } else { 0.0 };
            (mm.round(), litres + off)
        };
        self.corners.iter().map(&mut measured).collect()
    }
}

const CORNERS: u32 = 10;
