//! What was true of a drum: its volume, and when it would have run empty.
//!
//! "Would have" means: from that instant on nobody touches anything. Speed of the pump, valves, wear of the
//! tube, a clog and a leak stay as they are at the instant; nobody refills. The pump's own small wandering goes
//! on as it really did, so that even somebody who knows everything at the instant is a little wrong.

use claymark_model::id::Id;

/// One drum through a season.
pub struct TrueDrum {
    /// Which.
    pub id: Id,
    /// Litres that the pump can't lift.
    pub heel: f64,
    /// Litres at the full line.
    pub full: f64,
    /// Minute by minute.
    pub moments: Vec<DrumMinute>,
    /// The curves that the moments name.
    pub curves: Vec<DeliveryCurve>,
    /// What people and failures did to it.
    pub deeds: Vec<TrueDeed>,
}

/// One minute of a drum.
#[derive(Debug, Clone, Copy)]
pub struct DrumMinute {
    /// Litres, heel included.
    pub volume: f64,
    /// L/h that the pump would draw where its curve is 1; 0 while it doesn't draw from here.
    pub gain: f64,
    /// The pump's wandering, about 1.
    pub wander: f64,
    /// Place of the curve in [`TrueDrum::curves`].
    pub curve: usize,
    /// L/h that leak away from 100 L; more from more, as the root.
    pub leak: f64,
    /// Whether the pump draws from here and runs.
    pub drawn: bool,
    /// Somebody is pouring.
    pub pouring: bool,
    /// Counts the fills.
    pub fill: u32,
}

/// Delivery against volume, evenly spaced from nothing to the brim; 1 where the drum is full.
#[derive(Debug, Clone)]
pub struct DeliveryCurve {
    /// Litres at the last point.
    pub brim: f64,
    /// Shares.
    pub shares: Vec<f64>,
}

/// Something that was done to a drum.
#[derive(Debug, Clone, Copy)]
pub struct TrueDeed {
    /// Minute in which it began.
    pub from: u32,
    /// Minute in which it was done.
    pub to: u32,
    /// What.
    pub what: Done,
    /// Somebody wrote it down, rightly and within the minutes that follow.
    pub logged: bool,
}

/// What was done.
#[derive(Debug, Clone, Copy)]
pub enum Done {
    /// So many litres were poured in.
    Poured(f64),
    /// The draw was changed by this factor: pump speed or valve.
    Changed(f64),
}

impl DeliveryCurve {
    /// From a function of the volume.
    #[must_use]
    pub fn new(brim: f64, share: impl Fn(f64) -> f64) -> Self {
        Self { brim, shares: (0..=POINTS).map(|i| share(brim * f64::from(i) / f64::from(POINTS))).collect() }
    }

    /// The share at a volume.
    #[must_use]
    pub fn at(&self, volume: f64) -> f64 {
        let place = (volume / self.brim).clamp(0.0, 1.0) * f64::from(POINTS);
        let below = place.floor().min(f64::from(POINTS - 1));
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and POINTS")]
        let index = below as usize;
        let share = |i: usize| self.shares.get(i).copied().unwrap_or(0.0);
        share(index) + (share(index + 1) - share(index)) * (place - below)
    }
}

impl TrueDrum {
    /// That minute; the last one for all later ones.
    ///
    /// # Panics
    /// When the drum has no minutes at all.
    #[must_use]
    pub fn moment(&self, minute: u32) -> &DrumMinute {
        self.moments.get(minute as usize).or(self.moments.last()).expect("a season has minutes")
    }

    /// Net outflow in that minute, refills left out, L/h.
    #[must_use]
    pub fn outflow(&self, minute: u32) -> f64 {
        let moment = self.moment(minute);
        self.outflow_of(moment, moment.wander, moment.volume)
    }

    /// Hours until it would be empty; `None` where that is later than three days.
    #[must_use]
    pub fn empty_in(&self, minute: u32) -> Option<f64> {
        self.empties(minute, |later| self.moment(later).wander)
    }

    /// The same for somebody who knows all of this instant and not how the pump will wander.
    #[must_use]
    pub fn empty_in_by_curve(&self, minute: u32) -> Option<f64> {
        let wander = self.moment(minute).wander;
        self.empties(minute, |_| wander)
    }

    /// The same by a straight line along the present outflow.
    #[must_use]
    pub fn empty_in_by_line(&self, minute: u32) -> Option<f64> {
        let outflow = self.outflow(minute);
        let hours = (self.moment(minute).volume - self.heel).max(0.0) / outflow;
        (outflow > 0.0 && hours <= LONGEST).then_some(hours)
    }

    fn empties(&self, minute: u32, wander: impl Fn(u32) -> f64) -> Option<f64> {
        let frozen = self.moment(minute);
        let mut volume = frozen.volume;
        let mut hours = 0.0;
        let mut later = minute;
        while volume > self.heel {
            let outflow = self.outflow_of(frozen, wander(later), volume);
            let half = volume - outflow * STEP_HOURS / 2.0;
            let outflow = self.outflow_of(frozen, wander(later), half);
            let fall = outflow * STEP_HOURS;
            if fall <= 0.0 || hours > LONGEST {
                return None;
            }
            hours += STEP_HOURS * ((volume - self.heel) / fall).min(1.0);
            volume -= fall;
            later += STEP;
        }
        Some(hours)
    }

    fn outflow_of(&self, moment: &DrumMinute, wander: f64, volume: f64) -> f64 {
        let share = self.curves.get(moment.curve).map_or(1.0, |curve| curve.at(volume));
        moment.gain * wander * share + moment.leak * (volume / 100.0).sqrt()
    }
}

/// Points of a curve.
const POINTS: u32 = 60;
/// Minutes of a step into the future.
const STEP: u32 = 4;
const STEP_HOURS: f64 = 4.0 / 60.0;
/// Hours; later isn't told.
const LONGEST: f64 = 72.0;
