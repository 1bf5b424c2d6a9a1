//! The third simulator: draws whose errors are those of recorded drums, in rooms whose physics, habits and faults are drawn
//! anew for each seed from wide ranges.
//!
//! - `rates`: recorded draws, cut into blocks and dealt out again; - `faults`: how often what goes wrong;
//! - `hands`: who comes, pours, turns knobs, and writes some of it down; - `sensor`: the level sensor, true or not.

mod faults;
mod hands;
mod rates;
mod sensor;

use faults::Faults;
use hands::Hands;

use super::chance::Chance;
use super::layout::{self, DrumPlan, Mount, RATED_ML_PER_REVOLUTION, gauge_of, id};
use super::rooms::RoomKind;
use super::truth::{DeliveryCurve, Done, DrumMinute, TrueDeed, TrueDrum};
use super::{DAY, Season, Simulator, wire};

/// One drum with its pump, minute by minute.
struct PumpLine {
    name: &'static str,
    heel: f64,
    full: f64,
    brim: f64,
    volume: f64,
    fill: u32,
    /// L/h by the label at the present speed, and what of it is delivered.
    rpm: f64,
    to_label: f64,
    valve: f64,
    /// What the line still lets through, and how fast that falls, 1/min.
    open: f64,
    clogs: f64,
    /// L/h beside the pump, from 100 L.
    leak: f64,
    stands_until: u32,
    /// Litres in a minute, and minutes still to come.
    pour: (f64, u32),
    wander: Vec<f64>,
    curve: DeliveryCurve,
    moments: Vec<DrumMinute>,
    deeds: Vec<TrueDeed>,
}

/// A season of so many days.
#[must_use]
pub fn season(kind: RoomKind, seed: u64, days: u32) -> Season {
    let minutes = days * DAY;
    let stream = |what: &str| Chance::new(seed, &format!("resampled-{}-{what}", kind.name()));
    let faults = Faults::of(kind, &mut stream("faults"));
    let mut lines: Vec<PumpLine> =
        NAMES.map(|(name, _)| PumpLine::new(name, minutes, &faults, &mut stream(name))).into();
    let mut hands = Hands::new(&faults, days, stream("hands"));
    let mut mishaps = stream("mishaps");
    hands.begin(&lines);
    for minute in 0..minutes {
        hands.minute(minute, &mut lines);
        lines.iter_mut().for_each(|line| line.minute(minute, &faults, &mut mishaps));
    }
    let (mut plans, mut gauges) = (Vec::new(), Vec::new());
    for (line, (name, pump)) in lines.iter().zip(NAMES) {
        let mut dice = stream(&format!("sensor-{name}"));
        let mount = if dice.happens(0.5) { Mount::Surface } else { Mount::Above(1000.0) };
        let mm_per_litre = dice.between(3.4, 4.6);
        let levels: Vec<f64> = line.moments.iter().map(|moment| moment.volume * mm_per_litre).collect();
        let strapping = sensor::strapping(mm_per_litre, line.brim, &faults, &mut dice);
        gauges.push((gauge_of(name), sensor::sent(&levels, mount, &faults, &mut dice)));
        plans.push(DrumPlan { name, pump, full: line.full, heel: line.heel, strapping, mount });
    }
    let site = layout::site(&plans);
    let heard = wire::arrivals(&site, gauges, hands.log);
    let drums = lines.into_iter().map(PumpLine::truth).collect();
    Season { by: Simulator::Resampled, kind, seed, site, heard, drums, minutes }
}

impl PumpLine {
    fn new(name: &'static str, minutes: u32, faults: &Faults, dice: &mut Chance) -> Self {
        let (full, heel) = (dice.between(150.0, 215.0).round(), dice.between(8.0, 17.0).round());
        let (sag, bend, brim) = (dice.between(0.03, 0.3), dice.between(0.7, 1.8), full + 12.0);
        let label = (full - heel) / dice.between(16.0, 30.0);
        Self {
            name,
            heel,
            full,
            brim,
            volume: full * dice.between(0.75, 1.0),
            fill: 0,
            rpm: (label * 1000.0 / 60.0 / RATED_ML_PER_REVOLUTION).round(),
            to_label: dice.around(1.0, faults.rating_off),
            valve: 1.0,
            open: 1.0,
            clogs: 0.0,
            leak: 0.0,
            stands_until: 0,
            pour: (0.0, 0),
            wander: rates::dealt(minutes + 3 * DAY, dice),
            curve: DeliveryCurve::new(brim, |litres| {
                1.0 - sag * ((full - litres) / (full - heel)).clamp(0.0, 1.0).powf(bend)
            }),
            moments: Vec::new(),
            deeds: Vec::new(),
        }
    }

    /// L/h where the curve is 1, the wandering left out.
    fn gain(&self) -> f64 {
        RATED_ML_PER_REVOLUTION * self.rpm * 0.06 * self.to_label * self.valve * self.open
    }

    fn minute(&mut self, minute: u32, faults: &Faults, dice: &mut Chance) {
        self.go_wrong(minute, faults, dice);
        let stands = minute < self.stands_until;
        let gain = if stands { 0.0 } else { self.gain() };
        let wander = self.wander.get(minute as usize).copied().unwrap_or(1.0);
        let pouring = self.pour.1 > 0;
        self.moments.push(DrumMinute {
            volume: self.volume,
            gain,
            wander,
            curve: 0,
            leak: self.leak,
            drawn: gain > 0.0,
            pouring,
            fill: self.fill,
        });
        let pumped =
            (gain * wander * self.curve.at(self.volume) / 60.0).min((self.volume - self.heel).max(0.0));
        self.volume = (self.volume - pumped - self.leak * (self.volume / 100.0).sqrt() / 60.0).max(0.0);
        self.open *= 1.0 - self.clogs;
        if pouring {
            self.volume = (self.volume + self.pour.0).min(self.brim);
            self.pour.1 -= 1;
            self.fill += u32::from(self.pour.1 == 0);
        }
    }

    fn go_wrong(&mut self, minute: u32, faults: &Faults, dice: &mut Chance) {
        let per_minute = |a_day: f64| a_day / f64::from(DAY);
        if self.clogs <= 0.0 && dice.happens(per_minute(faults.clogs)) {
            self.clogs = dice.between(0.03, 0.3) / 60.0;
        }
        if self.open < 0.35 {
            self.clogs = 0.0;
        }
        if self.leak <= 0.0 && dice.happens(per_minute(faults.splits)) {
            self.leak = dice.around(18.0, 0.8).clamp(2.0, 150.0);
            let factor = 1.0 + self.leak / self.gain().max(1.0);
            self.changed(minute, factor, false);
        }
        if dice.happens(per_minute(faults.pauses)) {
            self.stands_until = minute + dice.whole(2, 25);
        }
        if dice.happens(per_minute(faults.valves)) {
            let before = self.valve;
            self.valve = dice.around(1.0, 0.22).clamp(0.5, 1.7);
            self.changed(minute, self.valve / before, false);
        }
    }

    /// Notes a change that is large enough to matter.
    fn changed(&mut self, minute: u32, factor: f64, logged: bool) {
        if (factor - 1.0).abs() > 0.1 {
            let what = Done::Changed(factor);
            self.deeds.push(TrueDeed { from: minute, to: minute, what, logged });
        }
    }

    fn truth(self) -> TrueDrum {
        let Self { name, heel, full, moments, curve, deeds, .. } = self;
        TrueDrum { id: id(name), heel, full, moments, curves: vec![curve], deeds }
    }
}

const NAMES: [(&str, &str); 3] = [("a", "p1"), ("b", "p2"), ("c", "p3")];
