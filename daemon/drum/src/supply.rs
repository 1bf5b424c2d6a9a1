//! All drums of one pump together.
//!
//! Drawn *one after the other*, the supply ends when the last is empty: the times of all add up.
//!
//! Drawn *together* through a common suction line, it ends when the **first** is empty. Air enters the line where that
//! drum has bared its intake, and air passes far more easily than slurry, so from then on the pump lifts air and leaves
//! the slurry of the others standing. Drums that *level out* through the line are one volume: what one lacks flows in from
//! the others, and all are empty in the same minute. Each drum's own draw is what its own level shows; the pump's
//! is their sum.

use jiff::{SignedDuration, Timestamp};

use super::DrumWatch;
use super::ahead::{Ahead, quantiles};
use super::ask::fall_of;
use super::calibration::Calibration;
use super::hours::{SECONDS_PER_HOUR, hours, later, minutes};
use super::prospect::Prospect;
use super::state::Gaussian;
use super::tuning::{KNOWN_DRAW_SD, LENT_SD};
use claymark_model::doubt::WhyUnknown;
use claymark_model::forecast::{Basis, EmptyAt, Forecast, Outlook, Subject};
use claymark_model::median::median;
use claymark_model::site::{Draws, Pump};
use claymark_model::units::{Litres, LitresPerHour};

/// Lets drums that aren't drawn know the draw of a drum on the same pump that is; call it before their forecasts.
pub fn share_draws(watches: &mut [&mut DrumWatch]) {
    let known: Vec<_> = watches
        .iter()
        .filter(|watch| watch.in_use())
        .filter_map(|watch| {
            let draw = watch.replay.tracker.as_ref()?.lead.state.log_draw();
            let lent = Gaussian { mean: draw.mean, sd: draw.sd.hypot(LENT_SD) };
            (draw.sd < KNOWN_DRAW_SD).then(|| (watch.facts.pump.clone(), watch.facts.drum.clone(), lent))
        })
        .collect();
    for watch in watches {
        let (pump, drum) = (&watch.facts.pump, &watch.facts.drum);
        let other = known.iter().find(|(of, from, _)| of == pump && from != drum);
        watch.lent = other.map(|(_, _, draw)| *draw).or(watch.lent);
    }
}

/// When `pump` gets no more slurry from its drums.
#[must_use]
pub fn supply_forecast(now: Timestamp, pump: &Pump, watches: &[&DrumWatch]) -> Forecast {
    let of = Subject::Supply(pump.id.clone());
    let ours = || watches.iter().copied().filter(|watch| watch.facts.pump == pump.id);
    let joined_drums: Vec<&DrumWatch> = if pump.levels_out { unshut(ours(), now) } else { Vec::new() };
    let drums: Result<Vec<_>, WhyUnknown> = match pump.draws {
        Draws::One => ours().map(|watch| SupplyShare::of(watch, now)).collect(),
        // One that rises, since others flow into it, isn't drawn and is a part of the whole.
        Draws::Together if pump.levels_out => {
            joined_drums.iter().map(|watch| SupplyShare::of(watch, now)).collect()
        }
        Draws::Together => open(ours(), now).into_iter().map(|watch| SupplyShare::of(watch, now)).collect(),
    };
    let (in_use, outlook) = match drums {
        Ok(drums) if drums.is_empty() => (false, Outlook::Unknown { why: WhyUnknown::NoDrums.into() }),
        Ok(drums) => {
            let in_use = drums.iter().any(|drum| drum.ahead.in_use);
            let empty_at = match pump.draws {
                Draws::One => last(now, &drums),
                Draws::Together if pump.levels_out => joined(now, &drums, fall_of_all(now, &joined_drums)),
                Draws::Together => first(&drums),
            };
            (in_use, known(pump.draws, &drums, empty_at))
        }
        Err(why) => (true, Outlook::Unknown { why: why.into() }),
    };
    Forecast { at: now, of, in_use, outlook }
}

/// One drum's share of the supply.
struct SupplyShare {
    ahead: Prospect,
    /// What its level reads, L, whether or not that is believed: one that others flow into rises as foam does.
    reads: Option<f64>,
}

impl SupplyShare {
    fn of(watch: &DrumWatch, now: Timestamp) -> Result<Self, WhyUnknown> {
        let ahead = watch
            .prospect(now)
            .map_err(|why| WhyUnknown::OfDrum { drum: watch.facts.drum.clone(), why: Box::new(why) })?;
        let lately = now - SignedDuration::from_secs_f64(READ_HOURS * SECONDS_PER_HOUR);
        let reads = median(&mut watch.levels(lately, now).map(|(_, litres)| litres.0).collect::<Vec<_>>());
        Ok(Self { ahead, reads })
    }

    /// How full it is by what its level reads, 0 at the heel, 1 at the full line.
    fn share_left(&self) -> f64 {
        let tracker = &self.ahead.tracker;
        let litres = self.reads.unwrap_or(tracker.lead.state.volume().mean);
        (litres - tracker.size.heel) / tracker.size.span
    }

    fn draw(&self) -> f64 {
        self.ahead.tracker.lead.draw(&self.ahead.tracker.size).mean
    }

    fn time(&self) -> Ahead {
        let nearest = self.ahead.ahead(self.ahead.tracker.size.heel);
        nearest.first().map_or(Ahead::REACHED, |(_, ahead)| *ahead)
    }

    /// Without a refill that was written down and that the level hasn't shown.
    fn time_without(&self) -> Ahead {
        let without =
            self.ahead.without.iter().map(|one| self.ahead.ahead_of(one, self.ahead.tracker.size.heel));
        without.chain([self.time()]).min_by(|a, b| a.hours.total_cmp(&b.hours)).unwrap_or(Ahead::REACHED)
    }
}

fn unshut<'a>(ours: impl Iterator<Item = &'a DrumWatch>, now: Timestamp) -> Vec<&'a DrumWatch> {
    ours.filter(|watch| watch.log.here(hours(now)) != Some(false)).collect()
}

/// The drums whose valves are open to a common suction line: those that are drawn, unless somebody wrote down that
/// another one is; all that weren't shut, while the pump stands.
fn open<'a>(ours: impl Iterator<Item = &'a DrumWatch>, now: Timestamp) -> Vec<&'a DrumWatch> {
    let unshut = unshut(ours, now);
    let drawn: Vec<_> = unshut.iter().copied().filter(|watch| watch.in_use()).collect();
    if drawn.is_empty() { unshut } else { drawn }
}

/// When drums that level out are empty: all that they hold, drawn by all that is drawn from them.
fn joined(now: Timestamp, drums: &[SupplyShare], fall: Option<Gaussian>) -> EmptyAt {
    if let Some(levelling) = fall.and_then(|fall| levelling(drums, fall)) {
        return one_after_the_other(now, drums, &[levelling]);
    }
    let draws: f64 = drums.iter().map(SupplyShare::draw).sum();
    let share = |drum: &SupplyShare| drum.draw() / draws.max(f64::MIN_POSITIVE);
    let mixed = |time: fn(&SupplyShare) -> Ahead| -> Vec<Ahead> {
        let of = |drum: &SupplyShare| {
            let (time, share) = (time(drum), share(drum));
            Ahead {
                hours: time.hours * share,
                shift: time.shift * share,
                hidden: time.hidden * share,
                ..time
            }
        };
        drums.iter().map(of).collect()
    };
    let told = one_after_the_other(now, drums, &mixed(SupplyShare::time));
    let without = one_after_the_other(now, drums, &mixed(SupplyShare::time_without));
    EmptyAt { p05: earlier(told.p05, without.p05), ..told }
}

/// What all of them lose together since slurry last came in, L/h; `None` when that is too short, or nothing is heard of one.
fn fall_of_all(now: Timestamp, watches: &[&DrumWatch]) -> Option<Gaussian> {
    let from = later(now, -LEVELLING_HOURS);
    let (first, others) = watches.split_first()?;
    let mut all: Vec<(f64, f64)> =
        first.levels(from, now).map(|(at, litres)| (hours(at), litres.0)).collect();
    for watch in others {
        let mut theirs = watch.levels(from, now).map(|(at, litres)| (hours(at), litres.0)).peekable();
        all.retain_mut(|(at, litres)| {
            while theirs.next_if(|(t, _)| *t < *at - SAME_MINUTE_HOURS).is_some() {}
            let same = theirs.peek().filter(|(t, _)| *t <= *at + SAME_MINUTE_HOURS);
            same.inspect(|(_, more)| *litres += more).is_some()
        });
    }
    // What one loses to the other is none of it; what is poured in shows as a step of the sum.
    let scatter = watches.iter().filter_map(|watch| Some(watch.replay.tracker.as_ref()?.scatter()));
    let step = POURED_SCATTERS * scatter.fold(0.0, f64::hypot);
    let middle = |some: &[(f64, f64)]| median(&mut some.iter().map(|(_, v)| *v).collect::<Vec<_>>());
    let rises = |six: &[(f64, f64)]| {
        let (before, after) = six.split_at(six.len() / 2);
        middle(before).zip(middle(after)).is_some_and(|(before, after)| after - before > step)
    };
    let poured = all.windows(POURED_MINUTES).rposition(rises);
    let since = all.get(poured.map_or(0, |place| place + POURED_MINUTES - 1)..)?;
    let long = since.last()?.0 - since.first()?.0 >= LEAST_LEVELLING_HOURS;
    fall_of(since).filter(|_| long)
}

/// While one flows into the other, neither level shows what the pump draws; what all of them lose together does. `None` when
/// they stand at one height and lose what each seems to be drawn, or their levels don't say.
fn levelling(drums: &[SupplyShare], fall: Gaussian) -> Option<Ahead> {
    let left = || drums.iter().map(SupplyShare::share_left);
    let uneven = left().fold(f64::NEG_INFINITY, f64::max) - left().fold(f64::INFINITY, f64::min);
    let each: f64 = drums.iter().filter(|drum| drum.ahead.in_use).map(SupplyShare::draw).sum();
    let apart = (each - fall.mean).abs() > UNEVEN_SDS * fall.sd;
    if fall.mean < fall.sd || uneven < UNEVEN_SHARE && !apart {
        return None;
    }
    let over: f64 = drums.iter().map(|drum| drum.share_left().max(0.0) * drum.ahead.tracker.size.span).sum();
    let hidden = drums.iter().map(|drum| drum.ahead.tracker.hidden()).fold(0.0, f64::hypot);
    Some(Ahead {
        hours: over / fall.mean,
        stretch: fall.sd / fall.mean,
        shift: 0.0,
        hidden: hidden / fall.mean,
    })
}

/// When all are empty, one after the other.
fn last(now: Timestamp, drums: &[SupplyShare]) -> EmptyAt {
    let told = one_after_the_other(now, drums, &drums.iter().map(SupplyShare::time).collect::<Vec<_>>());
    let without: Vec<Ahead> = drums.iter().map(SupplyShare::time_without).collect();
    EmptyAt { p05: earlier(told.p05, one_after_the_other(now, drums, &without).p05), ..told }
}

fn one_after_the_other(now: Timestamp, drums: &[SupplyShare], times: &[Ahead]) -> EmptyAt {
    let hours: f64 = times.iter().map(|time| time.hours).sum();
    let stretched: f64 = times.iter().map(|time| time.stretch * time.hours).sum();
    let shift = times.iter().map(|time| time.shift).fold(0.0, f64::hypot);
    let hidden = times.iter().map(|time| time.hidden).fold(0.0, f64::hypot);
    // What is wrong of one pump's draw is wrong of all its drums, so those doubts add up.
    let stretch = if hours > 0.0 { stretched / hours } else { 0.0 };
    // Past errors of the drum that is drawn stand for all.
    let new = Calibration::new();
    let drawn = drums.iter().find(|drum| drum.ahead.in_use).map(|drum| &drum.ahead.calibration);
    quantiles(now, &[(1.0, Ahead { hours, stretch, shift, hidden })], drawn.unwrap_or(&new))
}

/// When the first is empty. What is wrong of one pump's draw is wrong of all its drums, so their times are early
/// or late together, and the first in each quantile is the first.
fn first(drums: &[SupplyShare]) -> EmptyAt {
    let ends = drums.iter().map(|drum| drum.ahead.down_to(drum.ahead.tracker.size.heel));
    let sooner = |a: EmptyAt, b: EmptyAt| EmptyAt {
        p05: earlier(a.p05, b.p05),
        p25: earlier(a.p25, b.p25),
        p50: earlier(a.p50, b.p50),
        p75: earlier(a.p75, b.p75),
        p95: earlier(a.p95, b.p95),
    };
    ends.reduce(sooner).unwrap_or(NEVER)
}

fn earlier(a: Option<Timestamp>, b: Option<Timestamp>) -> Option<Timestamp> {
    a.into_iter().chain(b).min()
}

fn known(draws: Draws, drums: &[SupplyShare], empty_at: EmptyAt) -> Outlook {
    let held = |drum: &SupplyShare| {
        let tracker = &drum.ahead.tracker;
        tracker.lead.state.volume().mean.clamp(0.0, tracker.size.brim)
    };
    let drawn: f64 = drums.iter().filter(|drum| drum.ahead.in_use).map(SupplyShare::draw).sum();
    let switched_on = || match draws {
        Draws::One => drums.iter().map(SupplyShare::draw).fold(0.0, f64::max),
        Draws::Together => drums.iter().map(SupplyShare::draw).sum(),
    };
    let by_level = drums.iter().all(|drum| drum.ahead.basis == Basis::Level);
    Outlook::Known {
        basis: if by_level { Basis::Level } else { Basis::Pump },
        volume: Litres(drums.iter().map(held).sum()),
        draw: LitresPerHour(if drawn > 0.0 { drawn } else { switched_on() }),
        empty_at,
    }
}

/// Share of the usable span by which drums that level out must differ for one to flow into the other.
const UNEVEN_SHARE: f64 = 0.04;
/// h. And how high they stand, over so long.
const READ_HOURS: f64 = minutes(7.0);
/// Standard deviations by which what they lose together differs from what each seems to be drawn.
const UNEVEN_SDS: f64 = 3.0;
/// h. What they lose together is seen over so long, at least and at most.
const LEAST_LEVELLING_HOURS: f64 = minutes(12.0);
const LEVELLING_HOURS: f64 = minutes(90.0);
/// Scatters by which all of them together rise within so many minutes when somebody pours.
const POURED_SCATTERS: f64 = 4.0;
const POURED_MINUTES: usize = 6;
/// h. Minutes no further apart are the same.
const SAME_MINUTE_HOURS: f64 = minutes(0.75);
const NEVER: EmptyAt = EmptyAt { p05: None, p25: None, p50: None, p75: None, p95: None };
