//! The clay that a turbidity demands, and the two levers that bring it: the pump's flow and the strength.
//!
//! With F litres a minute beside this slurry, which bring B g/min of clay from other drums, q of slurry and x g/L of
//! clay wanted in the head tank: (F + q) x = q c + B. So the strength is c = (x (F + q) - B)/q and the flow
//! q = (F x - B)/(c - x). With one drum that is the demand Q (N* - Nb)/(1000 κ) in g/min of the whole flow Q, shared
//! between q and c.
//! It holds while turbidity rises with clay as the yield says.

use crate::Clouding;
use crate::balance::{Balance, Inflow};
use claymark_model::units::{GramsPerLitre, GramsPerMinute, LitresPerHour, LitresPerMinute, Turbidity};

/// The head tank as the slurry finds it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeadFeed {
    /// All that flows into the head tank beside this slurry.
    pub water: LitresPerMinute,
    /// The clay that other drums bring with it.
    pub others: GramsPerMinute,
    /// What clay does to it.
    pub clouding: Clouding,
}

impl HeadFeed {
    /// Turbidity of the head tank once it has settled down; `None` when nothing flows.
    #[must_use]
    pub fn turbidity(&self, slurry: LitresPerHour, strength: GramsPerLitre) -> Option<Turbidity> {
        Some(self.clouding.turbidity(self.balance(slurry, strength)?.holds))
    }

    /// The head tank once it has settled down, while nothing is taken from it; `None` when nothing flows.
    #[must_use]
    pub fn balance(&self, slurry: LitresPerHour, strength: GramsPerLitre) -> Option<Balance> {
        let others = self.water.diluting(self.others).unwrap_or_default().as_strength();
        let inflows = [Inflow { flow: self.water, strength: others }, Inflow::slurry(slurry, strength)];
        Balance::of(&inflows, LitresPerMinute(0.0))
    }

    /// The clay that `turbidity` demands in all while the pump brings `slurry`.
    #[must_use]
    pub fn demand(&self, turbidity: Turbidity, slurry: LitresPerHour) -> GramsPerMinute {
        (self.water + slurry.per_minute()).carrying(self.clouding.clay_for(turbidity))
    }

    /// The pump's flow that gives `turbidity` with slurry of `strength`; `None`: slurry so thin can't.
    #[must_use]
    pub fn pump_for(&self, turbidity: Turbidity, strength: GramsPerLitre) -> Option<LitresPerHour> {
        let wanted = self.clouding.clay_for(turbidity).as_strength();
        let over = strength - wanted;
        let missing = self.water.per_hour().clay(wanted) - self.others;
        (over.0 > 0.0).then(|| LitresPerMinute((missing.0 / over.0).max(0.0)).per_hour())
    }

    /// The strength that gives `turbidity` at that flow of the pump; `None` while it stands.
    #[must_use]
    pub fn strength_for(&self, turbidity: Turbidity, slurry: LitresPerHour) -> Option<GramsPerLitre> {
        let missing = self.demand(turbidity, slurry) - self.others;
        let flow = slurry.per_minute();
        (flow.0 > 0.0).then(|| GramsPerLitre((missing.0 / flow.0).max(0.0)))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::Yield;
    use claymark_model::units::Unit;

    fn feed(through: f64, ml_per_min: f64) -> HeadFeed {
        let clay = Yield { ntu_per_mg_l: 0.85, sd: 0.0, since: None, exponent: 1.0 };
        let clouding = Clouding { clay, background: Turbidity(2.0) };
        HeadFeed {
            water: LitresPerMinute(through - ml_per_min / 1000.0),
            others: GramsPerMinute(0.0),
            clouding,
        }
    }

    fn pump(ml_per_min: f64) -> LitresPerHour {
        LitresPerHour::from_ml_per_min(ml_per_min)
    }

    fn pounds(per_100_l: f64) -> GramsPerLitre {
        GramsPerLitre(Unit::PoundPer100Litres.to_base(per_100_l))
    }

    #[test]
    fn the_story_rooms_demand_what_was_worked_out_for_them() {
        // An invented room, worked out by hand: Nb 2 NTU, κ 0.85; day 24: 51.2 L/min, 4.0 lb/100 L, 209 mL/min.
        let day_24 = feed(51.2, 209.0);
        let now = day_24.turbidity(pump(209.0), pounds(4.0)).unwrap();
        assert!((now.0 - 64.95).abs() < 0.01, "{now:?}");
        // The stronger mix alone: 5.0 lb/100 L gives 81 NTU; the flow that keeps 65 is 167 mL/min.
        assert!((day_24.turbidity(pump(209.0), pounds(5.0)).unwrap().0 - 80.7).abs() < 0.05);
        assert!((day_24.pump_for(now, pounds(5.0)).unwrap().ml_per_min() - 167.2).abs() < 0.2);
        // Day 34: 64 L/min, 41 NTU at 260 mL/min want 11.3 g/L; day 37: 23 NTU want 6.1 g/L.
        let later = feed(64.0, 260.0);
        assert!((later.strength_for(Turbidity(41.0), pump(260.0)).unwrap().0 - 11.29).abs() < 0.01);
        assert!((later.strength_for(Turbidity(23.0), pump(260.0)).unwrap().0 - 6.08).abs() < 0.01);
        // 110 L at 16.5 g/L filled up to 175 L are 10.37 g/L: for 23 NTU about 152 mL/min.
        let thinned = GramsPerLitre(110.0 * 16.5 / 175.0);
        assert!((later.pump_for(Turbidity(23.0), thinned).unwrap().ml_per_min() - 152.3).abs() < 0.5);
    }

    #[test]
    fn slurry_thinner_than_the_water_wanted_can_do_nothing() {
        assert_eq!(feed(51.2, 209.0).pump_for(Turbidity(65.0), GramsPerLitre(0.05)), None);
        assert_eq!(feed(51.2, 209.0).strength_for(Turbidity(65.0), pump(0.0)), None);
        let clear = feed(51.2, 209.0).pump_for(Turbidity(1.0), pounds(4.0));
        assert_eq!(clear, Some(LitresPerHour(0.0)), "below the background no clay is wanted");
    }

    proptest! {
        #[test]
        fn either_lever_meets_the_turbidity_that_it_was_asked_for(
            water in 5.0..200.0_f64, kappa in 0.3..1.8_f64, exponent in 0.9..1.1_f64, background in 0.0..5.0_f64,
            target in 6.0..120.0_f64, others in 0.0..0.01_f64, strength in 5.0..60.0_f64, ml_per_min in 20.0..600.0_f64,
        ) {
            let clay = Yield { ntu_per_mg_l: kappa, sd: 0.0, since: None, exponent };
            let clouding = Clouding { clay, background: Turbidity(background) };
            let feed = HeadFeed { water: LitresPerMinute(water), others: GramsPerMinute(others), clouding };
            let target = Turbidity(target);
            let flow = feed.pump_for(target, GramsPerLitre(strength)).unwrap();
            let by_pump = feed.turbidity(flow, GramsPerLitre(strength)).unwrap();
            prop_assert!((by_pump.0 - target.0).abs() < 1e-6, "{by_pump:?}");
            let mixed = feed.strength_for(target, pump(ml_per_min)).unwrap();
            let by_strength = feed.turbidity(pump(ml_per_min), mixed).unwrap();
            prop_assert!((by_strength.0 - target.0).abs() < 1e-6, "{by_strength:?}");
            // Stronger slurry, slower pump; cloudier water, faster pump.
            let stronger = GramsPerLitre(strength + 1.0);
            prop_assert!(feed.pump_for(target, stronger).unwrap() < flow);
            prop_assert!(feed.pump_for(target + Turbidity(1.0), GramsPerLitre(strength)).unwrap() > flow);
        }
    }
}
