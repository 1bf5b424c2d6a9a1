//! Level to volume: a drum's strapping table or its shape.

use serde::{Deserialize, Serialize};

use crate::units::{Litres, Millimetres};

/// Level against volume, strictly rising in both; linear between rows, no extrapolation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StrappingTable {
    rows: Vec<(Millimetres, Litres)>,
}

/// Why rows make no strapping table.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BadStrapping {
    /// Fewer than two rows.
    #[error("a strapping table needs at least two rows, this one has {0}")]
    TooShort(usize),
    /// A number that isn't finite, or below zero.
    #[error("row {0} holds a number that can't be a level or a volume")]
    NotUsable(usize),
    /// A row doesn't rise over the one before it; rows count from 1.
    #[error("row {0} doesn't rise over row {before}", before = .0 - 1)]
    NotRising(usize),
}

impl StrappingTable {
    /// Rows of level and volume, lowest first.
    pub fn new(rows: Vec<(Millimetres, Litres)>) -> Result<Self, BadStrapping> {
        if rows.len() < 2 {
            return Err(BadStrapping::TooShort(rows.len()));
        }
        let usable = |x: f64| x.is_finite() && x >= 0.0;
        if let Some(bad) = rows.iter().position(|(mm, l)| !usable(mm.0) || !usable(l.0)) {
            return Err(BadStrapping::NotUsable(bad + 1));
        }
        let flat = rows.iter().zip(rows.iter().skip(1)).position(|(a, b)| b.0 <= a.0 || b.1 <= a.1);
        match flat {
            Some(bad) => Err(BadStrapping::NotRising(bad + 2)),
            None => Ok(Self { rows }),
        }
    }

    /// An upright cylinder of `diameter` and `height`.
    pub fn upright_cylinder(diameter: Millimetres, height: Millimetres) -> Result<Self, BadStrapping> {
        Self::frustum(diameter, diameter, height)
    }

    /// A frustum of a cone, standing on its `bottom` diameter: V = πh/3 (r1² + r1 rh + rh²).
    ///
    /// Tabled every hundredth of the height; between rows the error is under 1e-4 of the full volume.
    pub fn frustum(bottom: Millimetres, top: Millimetres, height: Millimetres) -> Result<Self, BadStrapping> {
        Self::from_shape(height, |h| {
            let (r1, r2) = (bottom.0 / 2.0, top.0 / 2.0);
            let rh = r1 + (r2 - r1) * h / height.0;
            std::f64::consts::PI * h / 3.0 * (r1 * r1 + r1 * rh + rh * rh)
        })
    }

    /// A cylinder lying on its side: V = L (r² acos((r-h)/r) - (r-h) √(2rh-h²)).
    pub fn lying_cylinder(diameter: Millimetres, length: Millimetres) -> Result<Self, BadStrapping> {
        let r = diameter.0 / 2.0;
        Self::from_shape(diameter, |h| {
            let across = (2.0 * r * h - h * h).max(0.0).sqrt();
            length.0 * (r * r * ((r - h) / r).clamp(-1.0, 1.0).acos() - (r - h) * across)
        })
    }

    fn from_shape(height: Millimetres, cubic_mm: impl Fn(f64) -> f64) -> Result<Self, BadStrapping> {
        const STEPS: u32 = 100;
        const CUBIC_MM_PER_LITRE: f64 = 1e6;
        let rows = (0..=STEPS)
            .map(|step| {
                let h = height.0 * f64::from(step) / f64::from(STEPS);
                (Millimetres(h), Litres(cubic_mm(h) / CUBIC_MM_PER_LITRE))
            })
            .collect();
        Self::new(rows)
    }

    /// The rows.
    #[must_use]
    pub fn rows(&self) -> &[(Millimetres, Litres)] {
        &self.rows
    }

    /// Volume at `level`; `None` outside the table.
    #[must_use]
    pub fn volume(&self, level: Millimetres) -> Option<Litres> {
        between(self.rows.iter().map(|(mm, l)| (mm.0, l.0)), level.0).map(Litres)
    }

    /// Level at `volume`; `None` outside the table.
    #[must_use]
    pub fn level(&self, volume: Litres) -> Option<Millimetres> {
        between(self.rows.iter().map(|(mm, l)| (l.0, mm.0)), volume.0).map(Millimetres)
    }

    /// Litres per millimetre at `level`, by the row that holds it (the nearest row outside the table).
    #[must_use]
    pub fn litres_per_mm(&self, level: Millimetres) -> f64 {
        let mut slope = 0.0;
        for (a, b) in self.rows.iter().zip(self.rows.iter().skip(1)) {
            slope = (b.1.0 - a.1.0) / (b.0.0 - a.0.0);
            if level.0 <= b.0.0 {
                break;
            }
        }
        slope
    }

    /// The highest volume in the table.
    #[must_use]
    pub fn brim(&self) -> Litres {
        self.rows.last().map_or(Litres(0.0), |row| row.1)
    }
}

fn between(rows: impl Iterator<Item = (f64, f64)> + Clone, x: f64) -> Option<f64> {
    rows.clone()
        .zip(rows.skip(1))
        .find(|((x0, _), (x1, _))| (*x0..=*x1).contains(&x))
        .map(|((x0, y0), (x1, y1))| y0 + (y1 - y0) * (x - x0) / (x1 - x0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mm(x: f64) -> Millimetres {
        Millimetres(x)
    }

    #[test]
    fn a_table_that_does_not_rise_is_refused_by_row() {
        let table = |rows: &[(f64, f64)]| {
            StrappingTable::new(rows.iter().map(|(a, b)| (mm(*a), Litres(*b))).collect())
        };
        assert_eq!(table(&[(0.0, 0.0)]), Err(BadStrapping::TooShort(1)));
        assert_eq!(table(&[(0.0, 0.0), (100.0, 24.0), (90.0, 30.0)]), Err(BadStrapping::NotRising(3)));
        assert_eq!(table(&[(0.0, 0.0), (100.0, f64::NAN)]), Err(BadStrapping::NotUsable(2)));
        let good = table(&[(0.0, 0.0), (100.0, 24.0), (400.0, 96.0)]).unwrap();
        assert_eq!(good.volume(mm(250.0)), Some(Litres(60.0)));
        assert_eq!(good.level(Litres(60.0)), Some(mm(250.0)));
        assert_eq!(good.volume(mm(401.0)), None);
        assert_eq!(good.volume(mm(-1.0)), None);
    }

    #[test]
    fn shapes_agree_with_published_geometry() {
        // Quadrature and the PyPI package `fluids` 1.3.1, geometry.TANK (horizontal), computed for these checks.
        let lying = StrappingTable::lying_cylinder(mm(571.5), mm(850.0)).unwrap();
        for (h, litres) in
            [(100.0, 25.623_543), (200.0, 67.999_997), (285.75, 109.021_281), (571.5, 218.042_562)]
        {
            assert!((lying.volume(mm(h)).unwrap().0 - litres).abs() < 0.02, "{h}");
        }
        let frustum = StrappingTable::frustum(mm(500.0), mm(700.0), mm(900.0)).unwrap();
        for (h, litres) in
            [(100.0, 20.520_547), (300.0, 67.107_910), (450.0, 107.206_849), (900.0, 256.825_199)]
        {
            assert!((frustum.volume(mm(h)).unwrap().0 - litres).abs() < 0.01, "{h}");
        }
        // 55-US-gallon drum, inside diameter 22.5 in: 2.565 207 L/cm.
        let upright = StrappingTable::upright_cylinder(mm(571.5), mm(851.0)).unwrap();
        assert!((upright.litres_per_mm(mm(300.0)) - 0.256_520_7).abs() < 1e-6);
    }
}
