//! The second simulator: the draw as a stochastic process, the drum as a line of corners, refills as a renewal
//! process, noise with heavy tails.
//!
//! Nothing in it is a part of the first one: what holds on both doesn't hold by the structure of one.
//!
//! - `flow`: the draw; - `vessel`: the drum; - `people`: refills and the log; - `noise`: the sensor; - `moods`: figures.

mod flow;
mod moods;
mod noise;
mod people;
mod vessel;

use claymark_model::fieldlog::{Deed as Entry, LogEntry};

use flow::Flow;
use moods::Mood;
use people::DrumHands;
use vessel::VesselShape;

use super::chance::Chance;
use super::layout::{self, DrumPlan, Mount, gauge_of, id};
use super::rooms::RoomKind;
use super::truth::{DeliveryCurve, Done, DrumMinute, TrueDeed, TrueDrum};
use super::wire::OnTheWire;
use super::{DAY, Season, Simulator, wire};

/// One drum with its own draw.
struct DriftingDrum {
    name: &'static str,
    pump: &'static str,
    vessel: VesselShape,
    flow: Flow,
    people: DrumHands,
    dice: Chance,
    volume: f64,
    fill: u32,
    /// L/h from 100 L, and until when.
    tap: (f64, u32),
    moments: Vec<DrumMinute>,
    curves: Vec<DeliveryCurve>,
    deeds: Vec<TrueDeed>,
}

/// A season of so many days.
#[must_use]
pub fn season(kind: RoomKind, seed: u64, days: u32) -> Season {
    let mood = Mood::of(kind);
    let minutes = days * DAY;
    let (mut plans, mut gauges, mut log, mut drums) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for (name, pump) in [("a", "p1"), ("b", "p2")] {
        let mut line = DriftingDrum::new(name, pump, kind, seed, minutes);
        line.live(&mood, minutes);
        let (plan, sent) = line.gauge(&mood);
        plans.push(plan);
        gauges.push((gauge_of(name), sent));
        let (entries, truth) = line.end();
        log.extend(entries);
        drums.push(truth);
    }
    let site = layout::site(&plans);
    let heard = wire::arrivals(&site, gauges, log);
    Season { by: Simulator::Drifting, kind, seed, site, heard, drums, minutes }
}

impl DriftingDrum {
    fn new(name: &'static str, pump: &'static str, kind: RoomKind, seed: u64, minutes: u32) -> Self {
        let stream = |what: &str| Chance::new(seed, &format!("drifting-{}-{name}-{what}", kind.name()));
        let mut dice = stream("line");
        let vessel = VesselShape::new(&mut dice);
        let base = (vessel.full - vessel.heel) / dice.between(15.0, 34.0);
        let flow = Flow::new(&Mood::of(kind), minutes, base, &mut dice);
        Self {
            name,
            pump,
            volume: vessel.full * 0.95,
            curves: vec![flow.curve(vessel.brim(), vessel.full)],
            vessel,
            flow,
            people: DrumHands::new(name, stream("people")),
            dice,
            fill: 0,
            tap: (0.0, 0),
            moments: Vec::new(),
            deeds: Vec::new(),
        }
    }

    fn live(&mut self, mood: &Mood, minutes: u32) {
        self.write_setting(3);
        for minute in 0..minutes {
            if self.dice.happens(mood.jumps / f64::from(DAY)) {
                self.jump(minute, mood);
            }
            if minute >= self.tap.1 {
                self.tap.0 = 0.0;
                if self.dice.happens(mood.taps / f64::from(DAY)) {
                    self.tap = (self.dice.waiting(1.2), minute + self.dice.whole(60, 900));
                }
            }
            self.fill(minute, mood);
            self.minute(minute);
        }
    }

    /// The base of the draw jumps: a new setting by day, anything by night.
    fn jump(&mut self, minute: u32, mood: &Mood) {
        let by_day = (7 * 60..18 * 60).contains(&(minute % DAY));
        // Over the season the fish want more.
        let up = if self.flow.base * 13.0 < self.vessel.full - self.vessel.heel { 0.06 } else { -0.15 };
        let factor = (up + 0.2 * self.dice.student(4.0).clamp(-4.0, 4.0)).exp().clamp(0.45, 1.9);
        self.flow.base *= factor;
        let logged = by_day && self.dice.happens(mood.settings);
        if logged {
            self.flow.rpm = (self.flow.rpm * factor).round();
            self.write_setting(minute);
        }
        if (factor - 1.0).abs() > 0.1 {
            let what = Done::Changed(factor);
            self.deeds.push(TrueDeed { from: minute, to: minute, what, logged });
        }
    }

    fn write_setting(&mut self, minute: u32) {
        let entry = Entry::PumpSetting { pump: Some(id(self.pump)), rpm: Some(self.flow.rpm) };
        self.people.push(minute, minute + 1, entry);
    }

    fn fill(&mut self, minute: u32, mood: &Mood) {
        let VesselShape { full, heel, .. } = self.vessel;
        let share = (self.volume - heel) / (full - heel);
        if let Some(begun) = self.people.maybe_fill(minute, share, full - self.volume, mood) {
            let (what, logged) = (Done::Poured(begun.litres), begun.logged);
            self.deeds.push(TrueDeed { from: minute, to: begun.until, what, logged });
        }
    }

    fn minute(&mut self, minute: u32) {
        let (gain, wander) = (self.flow.base, self.flow.wander(minute));
        let pouring = self.people.pouring();
        self.moments.push(DrumMinute {
            volume: self.volume,
            gain,
            wander,
            curve: 0,
            leak: self.tap.0,
            drawn: true,
            pouring,
            fill: self.fill,
        });
        let share = self.curves.first().map_or(1.0, |curve| curve.at(self.volume));
        let wanted = gain * wander * share / 60.0;
        let drawn = wanted.min((self.volume - self.vessel.heel).max(0.0));
        let tapped = self.tap.0 * (self.volume / 100.0).sqrt() / 60.0;
        self.volume = (self.volume - drawn - tapped).max(0.0) + self.people.pour(minute);
        if pouring && !self.people.pouring() {
            self.fill += 1;
        }
        self.flow.minute();
    }

    fn gauge(&mut self, mood: &Mood) -> (DrumPlan, Vec<OnTheWire>) {
        let levels: Vec<f64> = self.moments.iter().map(|moment| self.vessel.level(moment.volume)).collect();
        let height = self.dice.between(900.0, 1050.0).round();
        let mount = match self.dice.whole(0, 9) {
            0..4 => Mount::Above(height),
            4..6 => Mount::Pressure,
            _ => Mount::Surface,
        };
        let strapping = self.vessel.strapping(&mut self.dice);
        let sent = noise::sent(&levels, mount, mood, &mut self.dice);
        let VesselShape { full, heel, .. } = self.vessel;
        (DrumPlan { name: self.name, pump: self.pump, full, heel, strapping, mount }, sent)
    }

    fn end(self) -> (Vec<LogEntry>, TrueDrum) {
        let VesselShape { full, heel, .. } = self.vessel;
        let Self { name, moments, curves, deeds, .. } = self;
        (self.people.log, TrueDrum { id: id(name), heel, full, moments, curves, deeds })
    }
}
