//! Both levers, the pump's flow q and the drum's strength c, and what each way of using them costs.
//!
//! The clay fed is q c: the demand of the turbidity wanted fixes the product, and hours and refills follow from q.
//! *Quick trim*: the pump, with the slurry as it is. *The mix*: the strength, with the pump as it is. *The night*: the
//! weakest strength that lasts, c >= C T/V, with the pump turned down when the new mix reaches the intake; a stronger
//! mix alone clouds the water.

use jiff::SignedDuration;
use serde::{Deserialize, Serialize};

use crate::feed::HeadFeed;
use claymark_model::units::{GramsPerLitre, Litres, LitresPerHour, PeopleUnits, Turbidity, Unit};

/// What the levers of one pump work on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bench {
    /// The head tank.
    pub feed: HeadFeed,
    /// Turbidity wanted there.
    pub target: Turbidity,
    /// What is in the drum, or in all drums that the pump draws at once.
    pub held: Litres,
    /// Up to the full line.
    pub full: Litres,
    /// What the pump can't lift.
    pub heel: Litres,
    /// Strength of what it draws.
    pub strength: GramsPerLitre,
    /// What the pump brings now, from all of them.
    pub slurry: LitresPerHour,
    /// Slower, and clay settles in the line.
    pub slowest: LitresPerHour,
    /// What tube and pump bear.
    pub fastest: Option<LitresPerHour>,
    /// Thicker, and the pump can't lift it.
    pub thickest: GramsPerLitre,
}

/// One way to set both levers.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Way {
    /// Of the slurry.
    pub strength: GramsPerLitre,
    /// Of the pump.
    pub slurry: LitresPerHour,
    /// Of the head tank, once it has settled down.
    pub turbidity: Turbidity,
    /// How long what is in the drum lasts so.
    pub held_lasts: Option<SignedDuration>,
    /// How long the full drum lasts so.
    pub full_lasts: Option<SignedDuration>,
    /// Full drums used in a day.
    pub refills_per_day: f64,
}

/// Why a way can't be gone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "cannot", rename_all = "kebab-case")]
pub enum Cannot {
    /// The pump would have to run so slowly that clay settles in the line.
    TooSlow {
        /// The flow that it would take.
        wanted: LitresPerHour,
        /// The slowest.
        slowest: LitresPerHour,
    },
    /// The pump can't bring so much.
    TooFast {
        /// The flow that it would take.
        wanted: LitresPerHour,
        /// The fastest.
        fastest: LitresPerHour,
    },
    /// The slurry would be too thick to pump.
    TooThick {
        /// The strength that it would take.
        wanted: GramsPerLitre,
        /// The thickest.
        thickest: GramsPerLitre,
    },
    /// The slurry is thinner than the water is to be.
    TooThin,
    /// The pump stands, or nothing flows.
    NothingFlows,
}

impl Bench {
    /// As things are; `None` when nothing flows.
    #[must_use]
    pub fn now(&self) -> Option<Way> {
        self.way(self.slurry, self.strength)
    }

    /// The quick trim: the pump's flow that meets the target with the slurry as it is.
    pub fn by_pump(&self) -> Result<Way, Cannot> {
        self.with_strength(self.strength)
    }

    /// The mix: the strength that meets the target with the pump as it is.
    pub fn by_strength(&self) -> Result<Way, Cannot> {
        let strength = self.feed.strength_for(self.target, self.slurry).ok_or(Cannot::NothingFlows)?;
        self.pumpable(strength)?;
        self.way(self.slurry, strength).ok_or(Cannot::NothingFlows)
    }

    /// Both: the weakest strength, in whole `steps`, with which the full drum lasts so long, and the pump's flow for it;
    /// never so weak that the pump had to be turned up.
    pub fn for_the_night(&self, lasts: SignedDuration, steps: GramsPerLitre) -> Result<Way, Cannot> {
        let usable = self.full - self.heel;
        let most = LitresPerHour::spending(usable, lasts).ok_or(Cannot::NothingFlows)?;
        let most = self.fastest.map_or(most, |fastest| most.min(fastest)).min(self.slurry);
        let weakest = self.feed.strength_for(self.target, most).ok_or(Cannot::NothingFlows)?;
        let whole = (weakest.0 / steps.0 - ROUNDING).ceil();
        self.with_strength(GramsPerLitre(whole * steps.0))
    }

    /// The pump's flow that meets the target with slurry of that strength; nothing, where less is wanted than comes without
    /// it: a pump that is off is not too slow.
    pub fn with_strength(&self, strength: GramsPerLitre) -> Result<Way, Cannot> {
        self.pumpable(strength)?;
        let wanted = self.feed.pump_for(self.target, strength).ok_or(Cannot::TooThin)?;
        let off = wanted.0 <= 0.0;
        if wanted < self.slowest && !off {
            return Err(Cannot::TooSlow { wanted, slowest: self.slowest });
        }
        if let Some(fastest) = self.fastest.filter(|fastest| wanted > *fastest) {
            return Err(Cannot::TooFast { wanted, fastest });
        }
        self.way(wanted, strength).ok_or(Cannot::NothingFlows)
    }

    /// What these settings give.
    #[must_use]
    pub fn way(&self, slurry: LitresPerHour, strength: GramsPerLitre) -> Option<Way> {
        let usable = self.full - self.heel;
        Some(Way {
            strength,
            slurry,
            turbidity: self.feed.turbidity(slurry, strength)?,
            held_lasts: slurry.time_for((self.held - self.heel).max(Litres(0.0))),
            full_lasts: slurry.time_for(usable),
            refills_per_day: slurry.in_a_day().0 / usable.0,
        })
    }

    fn pumpable(&self, strength: GramsPerLitre) -> Result<(), Cannot> {
        let thickest = self.thickest;
        if strength > thickest { Err(Cannot::TooThick { wanted: strength, thickest }) } else { Ok(()) }
    }
}

/// A strength that people can keep in mind is a whole number of these: 1 lb/100 L, else 1 g/L.
#[must_use]
pub fn strength_steps(units: &PeopleUnits) -> GramsPerLitre {
    let pounds = units.strength == Unit::PoundPer100Litres;
    GramsPerLitre(if pounds { Unit::PoundPer100Litres.to_base(1.0) } else { 1.0 })
}

/// A strength that is a whole number of steps mustn't gain one by its last bit.
const ROUNDING: f64 = 1e-9;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::{Clouding, Yield};
    use claymark_model::units::{GramsPerMinute, LitresPerMinute};

    fn pounds(per_100_l: f64) -> GramsPerLitre {
        GramsPerLitre(Unit::PoundPer100Litres.to_base(per_100_l))
    }

    fn pump(ml_per_min: f64) -> LitresPerHour {
        LitresPerHour::from_ml_per_min(ml_per_min)
    }

    /// The invented room of the stories on day 24: 51.2 L/min in all, κ 0.85, 2 NTU without clay, 65 NTU wanted.
    fn day_24() -> Bench {
        let clay = Yield { ntu_per_mg_l: 0.85, sd: 0.0, since: None, exponent: 1.0 };
        let clouding = Clouding { clay, background: Turbidity(2.0) };
        Bench {
            feed: HeadFeed {
                water: LitresPerMinute(51.2) - pump(209.0).per_minute(),
                others: GramsPerMinute(0.0),
                clouding,
            },
            target: Turbidity(64.95),
            held: Litres(62.0),
            full: Litres(175.0),
            heel: Litres(12.0),
            strength: pounds(4.0),
            slurry: pump(209.0),
            slowest: pump(60.0),
            fastest: Some(pump(400.0)),
            thickest: GramsPerLitre(60.0),
        }
    }

    fn minutes(duration: Option<SignedDuration>) -> i64 {
        (duration.unwrap().as_secs() + 30) / 60
    }

    #[test]
    fn full_but_not_enough_wants_a_stronger_mix_and_a_slower_pump_together() {
        // Worked out by hand: at 18:30, 62 L at 4.0 lb/100 L are dry at 22:29, the full drum at 07:29; 08:30 is wanted.
        let bench = day_24();
        let now = bench.now().unwrap();
        assert_eq!((minutes(now.held_lasts), minutes(now.full_lasts)), (3 * 60 + 59, 13 * 60));
        let night = bench.for_the_night(SignedDuration::from_hours(14), pounds(1.0)).unwrap();
        assert!((Unit::PoundPer100Litres.from_base(night.strength.0) - 5.0).abs() < 1e-9, "{night:?}");
        assert!((night.slurry.ml_per_min() - 167.0).abs() < 0.5, "{night:?}");
        assert!((night.turbidity.0 - bench.target.0).abs() < 1e-6);
        // 18:30 and 16 h 15 min is 10:45; the head tank's water counts the slurry, too, which makes it a minute more.
        assert!((minutes(night.full_lasts) - (16 * 60 + 15)).abs() <= 1, "{night:?}");
        assert!(night.refills_per_day < now.refills_per_day);
        let stronger_alone = bench.way(bench.slurry, night.strength).unwrap();
        assert!((stronger_alone.turbidity.0 - 81.0).abs() < 0.5, "{stronger_alone:?}");
    }

    #[test]
    fn each_limit_is_named_with_what_it_would_take() {
        let bench = day_24();
        let clearer = Bench { target: Turbidity(10.0), ..bench };
        assert!(matches!(clearer.by_pump(), Err(Cannot::TooSlow { wanted, .. }) if wanted < pump(30.0)));
        let clear = Bench { target: Turbidity(1.0), ..bench }.by_pump().unwrap();
        assert_eq!((clear.slurry, clear.turbidity), (pump(0.0), Turbidity(2.0)), "off is not too slow");
        let murky = Bench { target: Turbidity(160.0), ..bench };
        assert!(matches!(murky.by_pump(), Err(Cannot::TooFast { wanted, .. }) if wanted > pump(400.0)));
        let thick = Bench { slurry: pump(61.0), ..bench };
        assert!(matches!(thick.by_strength(), Err(Cannot::TooThick { .. })), "{:?}", thick.by_strength());
        let watery = Bench { strength: GramsPerLitre(0.05), ..bench };
        assert_eq!(watery.by_pump(), Err(Cannot::TooThin));
        assert_eq!(Bench { slurry: pump(0.0), ..bench }.by_strength(), Err(Cannot::NothingFlows));
        let long = bench.for_the_night(SignedDuration::from_hours(72), pounds(1.0));
        assert!(matches!(long, Err(Cannot::TooThick { .. } | Cannot::TooSlow { .. })), "{long:?}");
    }

    #[test]
    fn steps_of_strength_are_whole_numbers_in_the_peoples_unit() {
        let pounds_per_100 = PeopleUnits { strength: Unit::PoundPer100Litres, ..PeopleUnits::default() };
        assert_eq!(strength_steps(&pounds_per_100), pounds(1.0));
        assert_eq!(strength_steps(&PeopleUnits::default()), GramsPerLitre(1.0));
    }

    proptest! {
        #[test]
        fn the_weakest_strength_for_the_night_lasts_and_one_step_less_would_not(
            hours in 4_i64..40, water in 10.0..120.0_f64, target in 10.0..100.0_f64, step in 0.5..5.0_f64,
        ) {
            let feed = HeadFeed { water: LitresPerMinute(water), ..day_24().feed };
            let free = Bench {
                feed,
                target: Turbidity(target),
                slowest: pump(0.0),
                fastest: None,
                thickest: GramsPerLitre(1e6),
                ..day_24()
            };
            let lasts = SignedDuration::from_hours(hours);
            let night = free.for_the_night(lasts, GramsPerLitre(step)).unwrap();
            prop_assert!(night.full_lasts.unwrap() >= lasts - SignedDuration::from_secs(1));
            prop_assert!((night.turbidity.0 - target).abs() < 1e-6);
            if let Ok(weaker) = free.with_strength(night.strength - GramsPerLitre(step)) {
                let shorter = weaker.full_lasts.unwrap() < lasts + SignedDuration::from_secs(1);
                prop_assert!(shorter || weaker.slurry > free.slurry, "{weaker:?}");
            }
            prop_assert!(night.slurry.0 <= free.slurry.0 + 1e-9, "the pump is never turned up");
        }
    }
}
