//! What is truly so in the story's room: stirred tanks, two drums, one pump, air and heat.

/// Everything that hands or failures can change stands here as a plain figure.
#[derive(Debug, Clone)]
pub struct Truth {
    /// Drum A.
    pub a: StoryDrum,
    /// Drum B.
    pub b: StoryDrum,
    /// Which drum the pump draws from.
    pub drawn: Which,
    /// A valve between the drums is open below the slurry: they level out.
    pub joined: bool,
    /// mL/min.
    pub pump: f64,
    /// mL/min that a second pump lifts from B.
    pub second: f64,
    /// Share of what the pump lifts that reaches the head tank; 0: the tube has split.
    pub delivered: f64,
    /// L/min of fresh water into the head tank.
    pub fresh: f64,
    /// L/min that run over at the head tank instead of going to the tanks.
    pub overflow: f64,
    /// Minutes since the air of the drum that the first pump draws from failed; `None`: it bubbles.
    pub settling: Option<f64>,
    /// NTU per mg/L.
    pub yield_ntu: f64,
    /// NTU of the water without clay.
    pub background: f64,
    /// NTU above the background in the head tank.
    pub head: f64,
    /// The same in the tanks; all are alike.
    pub tanks: f64,
    /// mg/L towards which the head tank's oxygen goes.
    pub oxygen_goal: f64,
    /// mg/L in the head tank.
    pub oxygen: f64,
    /// °C of the incoming water.
    pub incoming: f64,
    /// °C in the head tank.
    pub temperature: f64,
    /// L in the head tank.
    pub head_l: f64,
    /// L in all 16 tanks.
    pub tanks_l: f64,
    /// min. How fast the head tank's oxygen follows.
    pub oxygen_minutes: f64,
    /// L that warm up together: the head tank, and what stands about it.
    pub warm_l: f64,
}

/// One of the two drums.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// A.
    A,
    /// B.
    B,
}

/// One drum.
#[derive(Debug, Clone)]
pub struct StoryDrum {
    /// Litres of slurry.
    pub litres: f64,
    /// g/L of clay, if all of it were stirred up.
    pub strength: f64,
    /// Share of the clay that lies about in lumps, and dissolves.
    pub lumps: f64,
}

impl Truth {
    /// Day 24: 51.2 L/min, 18.14 g/L at 209 mL/min, 65 NTU everywhere; B is empty.
    #[must_use]
    pub fn day_24() -> Self {
        let mut truth = Self {
            a: StoryDrum { litres: 120.0, strength: STRENGTH_G_L, lumps: 0.0 },
            b: StoryDrum { litres: HEEL, strength: STRENGTH_G_L, lumps: 0.0 },
            drawn: Which::A,
            joined: false,
            pump: 209.0,
            second: 0.0,
            delivered: 1.0,
            fresh: 51.2,
            overflow: 0.0,
            settling: None,
            yield_ntu: 0.85,
            background: 2.0,
            head: 0.0,
            tanks: 0.0,
            oxygen_goal: 9.0,
            oxygen: 9.0,
            incoming: 20.0,
            temperature: 20.0,
            head_l: 450.0,
            tanks_l: 16.0 * 280.0,
            oxygen_minutes: 15.0,
            warm_l: 450.0,
        };
        truth.head = truth.head_goal();
        truth.tanks = truth.head;
        truth
    }

    /// The same with A full, so that it outlasts the night.
    #[must_use]
    pub fn full() -> Self {
        let mut truth = Self::day_24();
        truth.a.litres = 175.0;
        truth
    }

    /// Both drums full, each drawn by a pump of its own: half of the clay comes from each.
    #[must_use]
    pub fn both() -> Self {
        let mut truth = Self::full();
        truth.b.litres = 175.0;
        truth.pump /= 2.0;
        truth.second = truth.pump;
        truth
    }

    /// Pours in so many litres that bring so many kilograms of clay, and stirs.
    pub fn pour(&mut self, drum: Which, litres: f64, clay_kg: f64) {
        let drum = self.drum_mut(drum);
        let grams = drum.litres * drum.strength + 1000.0 * clay_kg;
        drum.litres += litres;
        drum.strength = grams / drum.litres;
    }

    /// Pours slurry of the usual strength into A, up to so many litres.
    pub fn fill_a(&mut self, to: f64) {
        let litres = to - self.a.litres;
        self.pour(Which::A, litres, litres * STRENGTH_G_L / 1000.0);
    }

    /// NTU above the background that the head tank is on its way to.
    #[must_use]
    pub fn head_goal(&self) -> f64 {
        let clay = |drum: &StoryDrum, lifted: f64, stirred: f64| {
            if drum.litres > HEEL {
                lifted / 1000.0 * drum.strength * (1.0 - drum.lumps) * stirred
            } else {
                0.0
            }
        };
        let first = clay(self.drum(self.drawn), self.pump * self.delivered, self.stirred_up());
        1000.0 * self.yield_ntu * (first + clay(&self.b, self.second, 1.0)) / self.fresh
    }

    /// A step of so many minutes, short against the head tank's eight.
    pub fn pass(&mut self, minutes: f64) {
        let to_tanks = self.fresh - self.overflow;
        self.head += (self.head_goal() - self.head) * minutes * self.fresh / self.head_l;
        self.tanks += (self.head - self.tanks) * minutes * to_tanks / self.tanks_l;
        self.oxygen += (self.oxygen_goal - self.oxygen) * minutes / self.oxygen_minutes;
        self.temperature += (self.incoming - self.temperature) * minutes * self.fresh / self.warm_l;
        let litres = self.pump / 1000.0 * minutes;
        let drawn = self.drum_mut(self.drawn);
        drawn.litres = (drawn.litres - litres).max(HEEL.min(drawn.litres));
        let litres = self.second / 1000.0 * minutes;
        self.b.litres = (self.b.litres - litres).max(HEEL.min(self.b.litres));
        if self.joined {
            self.level_out(minutes);
        }
        for drum in [&mut self.a, &mut self.b] {
            drum.lumps *= (-minutes / LUMPS_MINUTES).exp();
        }
        self.settling = self.settling.map(|since| since + minutes);
    }

    /// Slurry goes from the fuller drum to the other, its clay with it.
    fn level_out(&mut self, minutes: f64) {
        let (full, other) = if self.a.litres >= self.b.litres {
            (&mut self.a, &mut self.b)
        } else {
            (&mut self.b, &mut self.a)
        };
        let litres = (full.litres - other.litres) / 2.0 * (1.0 - (-minutes / JOINED_MINUTES).exp());
        let grams = other.litres * other.strength + litres * full.strength;
        full.litres -= litres;
        other.litres += litres;
        other.strength = grams / other.litres;
    }

    fn drum(&self, which: Which) -> &StoryDrum {
        match which {
            Which::A => &self.a,
            Which::B => &self.b,
        }
    }

    fn drum_mut(&mut self, which: Which) -> &mut StoryDrum {
        match which {
            Which::A => &mut self.a,
            Which::B => &mut self.b,
        }
    }

    /// Share of the clay that is still where the pump sucks, after the air failed.
    fn stirred_up(&self) -> f64 {
        self.settling.map_or(1.0, |since| 0.25 + 0.75 * (-since / 40.0).exp())
    }
}

/// g/L: 4.0 lb in 100 L of finished slurry.
pub const STRENGTH_G_L: f64 = 18.143_68;
/// L.
pub const HEEL: f64 = 12.0;
/// min. How fast lumps dissolve while the air bubbles.
const LUMPS_MINUTES: f64 = 30.0;
/// min. How fast joined drums level out.
const JOINED_MINUTES: f64 = 4.0;
