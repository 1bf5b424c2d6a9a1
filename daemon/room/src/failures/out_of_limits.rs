//! The water of the fish lies outside what they want today, and no failure that is told explains it: too cloudy, too
//! clear, too warm, too cold, or fuller of oxygen than air can make it.
//!
//! What has a name is told sooner and by that name; this is what is left when nothing else fits. Traps: work in
//! progress; a drum that ran dry, which is told as that; a probe that is fouled or in the air.

use claymark_model::median::median;
use jiff::{SignedDuration, Timestamp};

use super::{Found, Hard, Rule};
use crate::evidence::Evidence;
use crate::evidence::drum::DrumSight;
use crate::evidence::trace::{TracePoint, middle, minutes, speaks};
use claymark_clay::oxygen::{SUPERSATURATED, percent_saturation, pressure_at};
use claymark_model::fieldlog::Deed;
use claymark_model::site::{Place, Quantity};
use claymark_model::units::{Celsius, MilligramsPerLitre};
use claymark_notice::Priority;
use claymark_notice::failure::{Failure, Fault, Limited, Sign};

pub(super) const TEMPERATURE: Rule = Rule {
    find: temperature,
    tells: |fault| matches!(fault, Fault::OutOfLimits { of: Limited::Temperature, .. }),
    is_over,
};
pub(super) const TURBIDITY: Rule = Rule {
    find: turbidity,
    tells: |fault| matches!(fault, Fault::OutOfLimits { of: Limited::Turbidity, .. }),
    is_over,
};
pub(super) const SATURATION: Rule = Rule {
    find: saturation,
    tells: |fault| matches!(fault, Fault::OutOfLimits { of: Limited::OxygenSaturation, .. }),
    is_over,
};

fn turbidity(evidence: &Evidence<'_>) -> Option<Found> {
    let of = Limited::Turbidity;
    let places = || evidence.head.iter().chain(&evidence.tanks).filter(|water| water.out.is_none());
    let hard = places().filter_map(|water| Outside::far(evidence, &water.sensor.place, of));
    let hard = hard.filter(|far| far.is < far.least || !denied(evidence, far));
    let hard = hard.filter(|far| far.is > far.most || !just_stopped(evidence));
    let explained = at_work(evidence) || is_dry(evidence) || is_stopped(evidence);
    let soft =
        places().filter(|_| !explained).filter_map(|water| Outside::at(evidence, &water.sensor.place, of));
    broken(evidence, hard).or_else(|| found(evidence, soft))
}

fn temperature(evidence: &Evidence<'_>) -> Option<Found> {
    let sensors = evidence.site.sensors.iter().filter(|sensor| sensor.quantity == Quantity::Temperature);
    let (of, places) = (Limited::Temperature, sensors.map(|sensor| &sensor.place));
    let hard = places.clone().filter_map(|place| Outside::far(evidence, place, of));
    broken(evidence, hard)
        .or_else(|| found(evidence, places.filter_map(|place| Outside::at(evidence, place, of))))
}

fn saturation(evidence: &Evidence<'_>) -> Option<Found> {
    let oxygen = |quantity| matches!(quantity, Quantity::Oxygen | Quantity::OxygenSaturation);
    let sensors = evidence.site.sensors.iter().filter(|sensor| oxygen(sensor.quantity));
    found(
        evidence,
        sensors.filter_map(|sensor| Outside::at(evidence, &sensor.place, Limited::OxygenSaturation)),
    )
}

/// Water that endangers the fish, whatever explains it.
fn broken(evidence: &Evidence<'_>, far: impl Iterator<Item = Outside>) -> Option<Found> {
    let far: Vec<Outside> = far.collect();
    let hard = if far.iter().all(|far| comes_back(evidence, far)) { Hard::Mending } else { Hard::Yes };
    let found = found(evidence, far.into_iter())?;
    let since = evidence.now - HARD_PATIENCE;
    let all_along = matches!(found.fault, Fault::OutOfLimits { all_along: Some(_), .. });
    let at_night = if all_along { found.at_night } else { Priority::Now };
    // One place is enough for it: a second one is no news.
    let stage = HARD_STAGE + u8::from(all_along);
    Some(Found { hard, at_night, stage, since, ..found })
}

/// Whether the water of a place has come clearly nearer to what it should be.
fn comes_back(evidence: &Evidence<'_>, far: &Outside) -> bool {
    let until = minutes(evidence.now);
    let points = readings(evidence, &far.place, far.of, until - HARD_PATIENCE.as_secs_f64() / 60.0);
    let (early, late) = points.split_at(points.len() / 2);
    let beyond = |is: f64| (is - far.most).max(far.least - is);
    middle(early)
        .zip(middle(late))
        .is_some_and(|(early, late)| beyond(early) - beyond(late) > MARGIN_SHARE * (far.most - far.least))
}

/// Another probe in the same water says that it isn't so cloudy: tanks get it from the head tank.
fn denied(evidence: &Evidence<'_>, far: &Outside) -> bool {
    let since = minutes(evidence.now) - OVER_MINUTES;
    let clear = |place: &Place| {
        *place != far.place
            && middle(&readings(evidence, place, far.of, since)).is_some_and(|is| is <= far.most)
    };
    let others = evidence.tanks.iter().filter(|_| far.place == Place::Head).chain(&evidence.head);
    let mut others = others.filter(|water| water.out.is_none()).peekable();
    others.peek().is_some() && others.any(|water| clear(&water.sensor.place))
}

/// The worst place names it; another one that says the same makes it sure.
fn found(evidence: &Evidence<'_>, outside: impl Iterator<Item = Outside>) -> Option<Found> {
    let mut outside: Vec<Outside> = outside.collect();
    outside.sort_by(|a, b| b.beyond().total_cmp(&a.beyond()));
    let worst = outside.first()?;
    let sure = outside.len() > 1;
    let since: Option<Vec<_>> = outside.iter().map(|outside| outside.all_along(evidence)).collect();
    let all_along = since.and_then(|since| since.into_iter().max());
    let at_night = match worst.of {
        // What was so when the watch began, and stays so, is a question for the day.
        Limited::Turbidity | Limited::Temperature if all_along.is_some() => Priority::Soon,
        Limited::Turbidity | Limited::Temperature if sure => Priority::Now,
        Limited::Turbidity | Limited::Temperature => Priority::Soon,
        Limited::OxygenSaturation => Priority::Morning,
    };
    let Outside { place, of, is, least, most } = worst.clone();
    Some(Found {
        at_night,
        stage: u8::from(sure) + u8::from(all_along.is_some()),
        ..Found::of(
            format!("limits:{}", of.quantity().name()),
            Fault::OutOfLimits { place, of, is, least, most, all_along },
            evidence.now - patience(of),
            outside.iter().map(Outside::sign).collect(),
        )
    })
}

/// A place whose water has been outside its limits for long enough.
#[derive(Clone)]
struct Outside {
    place: Place,
    of: Limited,
    is: f64,
    least: f64,
    most: f64,
}

impl Outside {
    fn at(evidence: &Evidence<'_>, place: &Place, of: Limited) -> Option<Self> {
        if !matches!(place, Place::Head | Place::Tank(_)) {
            return None;
        }
        let (least, most) = limits(evidence, place, of);
        let until = minutes(evidence.now);
        let lasted = patience(of).as_secs_f64() / 60.0;
        let points = readings(evidence, place, of, until - lasted);
        let whole = points.first().is_some_and(|first| first.t <= until - 0.8 * lasted);
        let margin = MARGIN_SHARE * (most - least);
        let part = |part: f64| {
            let from = until - lasted + part * lasted / 3.0;
            let of_part = points.iter().filter(|point| (from..=from + lasted / 3.0).contains(&point.t));
            median(&mut of_part.map(|point| point.v).collect::<Vec<_>>())
        };
        let parts = [part(0.0)?, part(1.0)?, part(2.0)?];
        let above = parts.iter().all(|part| *part > most + margin);
        let below = parts.iter().all(|part| *part < least - margin);
        let [.., is] = parts;
        (speaks(&points, until) && whole && (above || below)).then(|| Self {
            place: place.clone(),
            of,
            is,
            least,
            most,
        })
    }

    /// A place whose water has been so far outside that fish are in danger; what they want stays what it is told by.
    fn far(evidence: &Evidence<'_>, place: &Place, of: Limited) -> Option<Self> {
        if !matches!(place, Place::Head | Place::Tank(_)) {
            return None;
        }
        let (least, most) = limits(evidence, place, of);
        let hard = evidence.site.calls.hard(&evidence.limits(place));
        let (lowest, highest) = match of {
            Limited::Turbidity => (hard.turbidity.min(), hard.turbidity.max()),
            Limited::Temperature => (hard.temperature_c.min(), hard.temperature_c.max()),
            Limited::OxygenSaturation => return None,
        };
        // Water that endangers them does so until it is clearly better: no reading that is off ends a danger.
        let (slack, of_ten) =
            if evidence.is_danger(of) { (MARGIN_SHARE * (most - least), 5) } else { (0.0, FAR_OF_TEN) };
        let (lowest, highest) = (lowest + slack, highest - slack);
        let until = minutes(evidence.now);
        let lasted = HARD_PATIENCE.as_secs_f64() / 60.0;
        let points = readings(evidence, place, of, until - lasted);
        let whole = points.first().is_some_and(|first| first.t <= until - 0.6 * lasted);
        let is = middle(&points)?;
        let out = |beyond: &dyn Fn(f64) -> bool| {
            let many = points.iter().filter(|point| beyond(point.v)).count();
            beyond(is) && many * 10 >= points.len() * of_ten
        };
        let out = out(&|v| v > highest) || out(&|v| v < lowest);
        (speaks(&points, until) && whole && out).then(|| Self { place: place.clone(), of, is, least, most })
    }

    /// How far outside, as a share of the band.
    fn beyond(&self) -> f64 {
        (self.is - self.most).max(self.least - self.is) / (self.most - self.least).max(f64::EPSILON)
    }

    fn all_along(&self, evidence: &Evidence<'_>) -> Option<Timestamp> {
        let slack = STAYS_SHARE * (self.most - self.least);
        evidence.outside_all_along(&self.place, self.of.quantity(), (self.is, slack))
    }

    fn sign(&self) -> Sign {
        Sign::Outside { place: self.place.clone(), of: self.of, is: self.is }
    }
}

/// What the fish of a place want.
fn limits(evidence: &Evidence<'_>, place: &Place, of: Limited) -> (f64, f64) {
    let limits = evidence.limits(place);
    match of {
        Limited::Turbidity => (limits.turbidity.min(), limits.turbidity.max()),
        Limited::Temperature => (limits.temperature_c.min(), limits.temperature_c.max()),
        Limited::OxygenSaturation => (0.0, SUPERSATURATED.0),
    }
}

/// The readings since then; oxygen as percent of saturation at the temperature there.
fn readings(evidence: &Evidence<'_>, place: &Place, of: Limited, since: f64) -> Vec<TracePoint> {
    let until = minutes(evidence.now);
    let of_sensor = |quantity| Some(evidence.sensor(place, quantity)?.1.between(since, until));
    if let Some(points) = of_sensor(of.quantity()) {
        return points;
    }
    if of != Limited::OxygenSaturation {
        return Vec::new();
    }
    let warmth = of_sensor(Quantity::Temperature).and_then(|points| middle(&points));
    let (Some(oxygen), Some(warmth)) = (of_sensor(Quantity::Oxygen), warmth) else { return Vec::new() };
    let air = pressure_at(evidence.site.elevation_m);
    let percent = |point: TracePoint| {
        let full = percent_saturation(MilligramsPerLitre(point.v), Celsius(warmth), air)?;
        Some(TracePoint { t: point.t, v: full.0 })
    };
    oxygen.into_iter().filter_map(percent).collect()
}

/// Somebody works at pump or head tank.
pub(super) fn at_work(evidence: &Evidence<'_>) -> bool {
    let works = |deed: &Deed| {
        matches!(deed, Deed::Cleaning { .. }) || evidence.drums.iter().any(|drum| drum.sets_pump(deed))
    };
    evidence.journal.has_between(evidence.now - WORK, evidence.now, works)
}

/// Hands that stop a pump, or clean, may make the water clear, but not for long.
fn just_stopped(evidence: &Evidence<'_>) -> bool {
    let stops =
        |deed: &Deed| matches!(deed, Deed::Cleaning { .. } | Deed::PumpSetting { rpm: Some(0.0), .. });
    evidence.journal.has(evidence.now, HANDS, stops)
}

/// Nothing is drawn, as somebody wrote down; what stands for another reason has a name.
pub(super) fn is_stopped(evidence: &Evidence<'_>) -> bool {
    let stopped = |drum: &DrumSight<'_>| {
        let sets = |deed: &Deed| matches!(deed, Deed::PumpSetting { .. }) && drum.sets_pump(deed);
        let set = evidence.journal.last(evidence.now, sets);
        set.is_some_and(|entry| matches!(entry.deed, Deed::PumpSetting { rpm: Some(rpm), .. } if rpm <= 0.0))
    };
    evidence.drums.iter().filter(|drum| drum.is_drawn()).all(stopped)
}

/// A drum is dry and no other stands in for it.
pub(super) fn is_dry(evidence: &Evidence<'_>) -> bool {
    evidence.drums.iter().any(|dry| {
        let other = evidence
            .drums
            .iter()
            .any(|drum| drum.record.drum.pump == dry.record.drum.pump && drum.is_drawn());
        dry.record.ran_empty().is_some() && !other
    })
}

/// Every place that was told of is inside again.
fn is_over(evidence: &Evidence<'_>, failure: &Failure) -> bool {
    let since = minutes(evidence.now) - OVER_MINUTES;
    failure.signs.iter().all(|sign| {
        let Sign::Outside { place, of, .. } = sign else { return true };
        let (least, most) = limits(evidence, place, *of);
        middle(&readings(evidence, place, *of, since)).is_some_and(|is| (least..=most).contains(&is))
    })
}

/// A failure that has a name is told sooner than this.
fn patience(of: Limited) -> SignedDuration {
    if of == Limited::Temperature { SignedDuration::from_mins(40) } else { SignedDuration::from_mins(60) }
}

/// Fish are in danger when water has been far outside for so long.
const HARD_PATIENCE: SignedDuration = SignedDuration::from_mins(10);
/// A pump that was stopped on purpose, or a cleaning, is over by then, or endangers the fish.
const HANDS: SignedDuration = SignedDuration::from_hours(1);
/// A hard limit comes after all stages of a soft one.
const HARD_STAGE: u8 = 3;
/// Of ten readings so many are beyond: a probe has its noise.
const FAR_OF_TEN: usize = 8;
/// Share of the band beyond its end that is no matter of a drop.
const MARGIN_SHARE: f64 = 0.05;
/// Share of the band by which water that stays may still move.
const STAYS_SHARE: f64 = 0.25;
/// min.
const OVER_MINUTES: f64 = 10.0;
/// What hands did may take so long to settle.
const WORK: SignedDuration = SignedDuration::from_mins(90);
