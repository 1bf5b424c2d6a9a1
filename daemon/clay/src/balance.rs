//! The mass balance of the head tank in the steady state: nothing appears and nothing vanishes.
//!
//! With inflows q_i of strength c_i and Q = Σ q_i through the tank, it holds Σ q_i c_i / Q
//! (steady stirred tank: Levenspiel, Chemical Reaction Engineering; from memory). Deposits in the head tank
//! are left out: stirred by its air, it keeps clay in suspension (common practice, no source).

use claymark_model::units::{
    GramsPerLitre, GramsPerMinute, LitresPerHour, LitresPerMinute, MilligramsPerLitre,
};

/// Something that flows into the head tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inflow {
    /// How much.
    pub flow: LitresPerMinute,
    /// The clay that it carries.
    pub strength: GramsPerLitre,
}

/// The head tank when it has settled down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// All water through it.
    pub through: LitresPerMinute,
    /// The clay fed.
    pub fed: GramsPerMinute,
    /// The clay in its water, and in all that leaves it.
    pub holds: MilligramsPerLitre,
    /// What the rearing tanks take.
    pub taken: LitresPerMinute,
    /// What runs over, clay and all; below zero the tanks ask for more than flows in, and the tank runs low.
    pub overflow: LitresPerMinute,
}

impl Inflow {
    /// Water without clay.
    #[must_use]
    pub fn water(flow: LitresPerMinute) -> Self {
        Self { flow, strength: GramsPerLitre(0.0) }
    }

    /// Slurry from a drum.
    #[must_use]
    pub fn slurry(flow: LitresPerHour, strength: GramsPerLitre) -> Self {
        Self { flow: flow.per_minute(), strength }
    }

    fn clay(&self) -> GramsPerMinute {
        self.flow.per_hour().clay(self.strength)
    }
}

impl Balance {
    /// Of these inflows, while the rearing tanks take `taken`; `None` when nothing flows.
    #[must_use]
    pub fn of(inflows: &[Inflow], taken: LitresPerMinute) -> Option<Self> {
        let through = inflows.iter().fold(LitresPerMinute(0.0), |sum, inflow| sum + inflow.flow);
        let fed = inflows.iter().fold(GramsPerMinute(0.0), |sum, inflow| sum + inflow.clay());
        let holds = through.diluting(fed)?;
        Some(Self { through, fed, holds, taken, overflow: through - taken })
    }

    /// The clay that runs over unused; none while the tank runs low.
    #[must_use]
    pub fn lost(&self) -> GramsPerMinute {
        self.overflow.max(LitresPerMinute(0.0)).carrying(self.holds)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::checks;

    #[test]
    fn the_balances_of_the_table_come_out() {
        for check in checks::of("head_tank_mg_l") {
            let [strength, slurry, water] = check.inputs(["Cs", "Qp", "Qw"]);
            let slurry = Inflow {
                flow: LitresPerMinute(slurry),
                strength: MilligramsPerLitre(strength).as_strength(),
            };
            let water = Inflow::water(LitresPerMinute(water));
            let balance = Balance::of(&[slurry, water], LitresPerMinute(0.0)).unwrap();
            check.accepts(balance.holds.0);
        }
        assert_eq!(Balance::of(&[], LitresPerMinute(0.0)), None);
    }

    proptest! {
        #[test]
        fn what_flows_in_leaves_by_the_tanks_or_runs_over(
            flows in prop::collection::vec((0.01..100.0_f64, 0.0..60.0_f64), 1..5), share in 0.0..1.0_f64,
        ) {
            let inflows: Vec<Inflow> = flows
                .iter()
                .map(|(flow, strength)| Inflow {
                    flow: LitresPerMinute(*flow),
                    strength: GramsPerLitre(*strength),
                })
                .collect();
            let water: f64 = flows.iter().map(|(flow, _)| flow).sum();
            let clay: f64 = flows.iter().map(|(flow, strength)| flow * strength).sum();
            let balance = Balance::of(&inflows, LitresPerMinute(water * share)).unwrap();
            prop_assert!((balance.taken.0 + balance.overflow.0 - water).abs() < 1e-9 * water);
            let out = balance.taken.carrying(balance.holds).0 + balance.lost().0;
            prop_assert!((out - clay).abs() < 1e-9 * clay.max(1.0));
        }

        #[test]
        fn more_water_never_makes_it_cloudier(
            slurry in 0.01..1.0_f64, strength in 1.0..60.0_f64, water in 1.0..100.0_f64, more in 0.0..100.0_f64,
        ) {
            let holds = |water| {
                let slurry = Inflow { flow: LitresPerMinute(slurry), strength: GramsPerLitre(strength) };
                let inflows = [slurry, Inflow::water(LitresPerMinute(water))];
                Balance::of(&inflows, LitresPerMinute(0.0)).unwrap().holds
            };
            prop_assert!(holds(water + more) <= holds(water));
        }
    }
}
