//! One drum of slurry and the pump that draws from it.

use std::f64::consts::PI;

/// The true inside of a drum: a frustum of a cone.
#[derive(Debug, Clone, Copy)]
pub struct DrumShape {
    /// Diameter at the bottom.
    pub bottom_mm: f64,
    /// Diameter at the top.
    pub top_mm: f64,
    /// Height.
    pub height_mm: f64,
}

/// Slurry in a drum.
#[derive(Debug, Clone)]
pub struct InventedDrum {
    shape: DrumShape,
    litres: f64,
    clay_g: f64,
}

/// A peristaltic pump with its tube.
#[derive(Debug, Clone)]
pub struct InventedPump {
    /// Which drum its line hangs in.
    pub drum: usize,
    /// Speed as set.
    pub rpm: f64,
    ml_per_rev: f64,
    tube_hours: f64,
}

impl DrumShape {
    /// Litres below `level_mm`.
    #[must_use]
    pub fn litres(&self, level_mm: f64) -> f64 {
        let (r1, r2) = (self.bottom_mm / 2.0, self.top_mm / 2.0);
        let rh = r1 + (r2 - r1) * level_mm / self.height_mm;
        PI * level_mm / 3.0 * (r1 * r1 + r1 * rh + rh * rh) / CUBIC_MM_PER_LITRE
    }

    /// The level that holds `litres`, by halving.
    #[must_use]
    pub fn level_mm(&self, litres: f64) -> f64 {
        let (mut low, mut high) = (0.0, self.height_mm);
        for _ in 0..40 {
            let middle = f64::midpoint(low, high);
            if self.litres(middle) < litres {
                low = middle;
            } else {
                high = middle;
            }
        }
        high
    }
}

impl InventedDrum {
    /// A drum with `litres` of slurry of so many grams of clay a litre.
    #[must_use]
    pub fn filled(shape: DrumShape, litres: f64, g_per_l: f64) -> Self {
        Self { shape, litres, clay_g: litres * g_per_l }
    }

    /// Height of the slurry.
    #[must_use]
    pub fn level_mm(&self) -> f64 {
        self.shape.level_mm(self.litres)
    }

    /// All slurry, heel included.
    #[must_use]
    pub fn litres(&self) -> f64 {
        self.litres
    }

    /// Clay in the slurry.
    #[must_use]
    pub fn clay_g(&self) -> f64 {
        self.clay_g
    }

    /// The pump draws air.
    #[must_use]
    pub fn is_dry(&self) -> bool {
        self.litres <= HEEL_L
    }

    /// Pours in water and clay.
    pub fn pour(&mut self, water_l: f64, clay_kg: f64) {
        self.litres += water_l + clay_kg / CLAY_KG_PER_L;
        self.clay_g += clay_kg * 1000.0;
    }

    fn fullness(&self) -> f64 {
        (self.level_mm() / self.shape.height_mm).clamp(0.0, 1.0)
    }
}

impl InventedPump {
    /// A pump at `rpm` whose tube has run for some days.
    #[must_use]
    pub fn new(drum: usize, ml_per_rev: f64, rpm: f64) -> Self {
        Self { drum, rpm, ml_per_rev, tube_hours: 120.0 }
    }

    /// A new tube gives what it should again.
    pub fn change_tube(&mut self) {
        self.tube_hours = 0.0;
    }

    /// What it gives now, millilitres a minute, from a drum that isn't dry.
    #[must_use]
    pub fn ml_per_min(&self, drum: &InventedDrum) -> f64 {
        // A tube relaxes fast at first, then slowly; and it fills worse the higher the slurry must be lifted.
        let worn = 1.0 - 0.03 * (1.0 - (-self.tube_hours / 20.0).exp()) - 0.000_15 * self.tube_hours;
        let lifted = 1.0 - 0.07 * (1.0 - drum.fullness());
        self.rpm * self.ml_per_rev * worn * lifted
    }

    /// Draws for `seconds`; the clay that came along, grams.
    pub fn draw(&mut self, drum: &mut InventedDrum, seconds: f64) -> f64 {
        if self.rpm <= 0.0 {
            return 0.0;
        }
        self.tube_hours += seconds / 3600.0;
        let wanted = self.ml_per_min(drum) / 1000.0 * seconds / 60.0;
        let litres = wanted.min((drum.litres - HEEL_L).max(0.0));
        let clay_g = drum.clay_g * litres / drum.litres;
        drum.litres -= litres;
        drum.clay_g -= clay_g;
        clay_g
    }
}

const CUBIC_MM_PER_LITRE: f64 = 1e6;
/// What the line's end can't reach: a little less than the site file says.
const HEEL_L: f64 = 11.0;
/// Density of the dry mineral.
const CLAY_KG_PER_L: f64 = 2.6;
