//! Several pumps feed the head tank at once: each answers for its share of the water.
//!
//! Streams that all hold x mg/L of clay hold x mg/L together. So the water is shared out among the pumps, and each is
//! reckoned as if it fed its share alone: what is missing once isn't made good by each of them, and what is foretold
//! holds when all of the advice is done.

use crate::Clouding;
use crate::feed::HeadFeed;
use claymark_model::units::{GramsPerLitre, GramsPerMinute, LitresPerHour, LitresPerMinute};

/// What one pump brings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stream {
    /// Of slurry, from all drums that it draws at once.
    pub slurry: LitresPerHour,
    /// Its strength.
    pub strength: GramsPerLitre,
}

/// One pump and all that flows into the head tank beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Shared {
    /// Fresh water.
    pub fresh: LitresPerMinute,
    /// What clay does to it.
    pub clouding: Clouding,
    /// This pump.
    pub ours: Stream,
    /// The other ones.
    pub others: Vec<Stream>,
}

impl Stream {
    /// Of several, drawn together.
    #[must_use]
    pub fn of(parts: &[Self]) -> Self {
        let slurry = parts.iter().fold(LitresPerHour(0.0), |sum, part| sum + part.slurry);
        let clay = clay_of(parts);
        let flow = slurry.per_minute();
        let mean = || parts.first().map_or(GramsPerLitre(0.0), |part| part.strength);
        let strength = if flow.0 > 0.0 { GramsPerLitre(clay.0 / flow.0) } else { mean() };
        Self { slurry, strength }
    }
}

impl Shared {
    /// The water that falls to this pump when each goes on bringing its part of the clay, which is how pumps are trimmed:
    /// with (F + Σq) of water for Σqc of clay, a part qc of it falls to (F + Σq) qc/Σqc, its own slurry q included.
    #[must_use]
    pub fn by_clay(&self) -> HeadFeed {
        let (ours, all) = (self.ours.slurry.clay(self.ours.strength), self.all());
        let clay = clay_of(&all);
        if clay.0 <= 0.0 {
            return self.by_flow();
        }
        let through = self.fresh + Stream::of(&all).slurry.per_minute();
        let water = through * (ours.0 / clay.0) - self.ours.slurry.per_minute();
        self.feed(water.max(LitresPerMinute(0.0)))
    }

    /// The water that falls to this pump when all draw slurry of one strength, which is how drums are mixed: in proportion
    /// to their flows.
    #[must_use]
    pub fn by_flow(&self) -> HeadFeed {
        let all = Stream::of(&self.all()).slurry;
        let share = if all.0 > 0.0 { self.ours.slurry.0 / all.0 } else { 1.0 };
        self.feed(self.fresh * share)
    }

    /// All other pumps as they are.
    #[must_use]
    pub fn beside(&self) -> HeadFeed {
        let slurry = Stream::of(&self.others).slurry;
        HeadFeed { others: clay_of(&self.others), ..self.feed(self.fresh + slurry.per_minute()) }
    }

    fn all(&self) -> Vec<Stream> {
        std::iter::once(self.ours).chain(self.others.iter().copied()).collect()
    }

    fn feed(&self, water: LitresPerMinute) -> HeadFeed {
        HeadFeed { water, others: GramsPerMinute(0.0), clouding: self.clouding }
    }
}

fn clay_of(streams: &[Stream]) -> GramsPerMinute {
    streams.iter().fold(GramsPerMinute(0.0), |sum, stream| sum + stream.slurry.clay(stream.strength))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::Yield;
    use claymark_model::units::Turbidity;

    fn stream(ml_per_min: f64, strength: f64) -> Stream {
        Stream { slurry: LitresPerHour::from_ml_per_min(ml_per_min), strength: GramsPerLitre(strength) }
    }

    fn shared(fresh: f64, all: &[Stream], ours: usize) -> Shared {
        let clay = Yield { ntu_per_mg_l: 0.85, sd: 0.0, since: None, exponent: 1.0 };
        let mut others = all.to_vec();
        Shared {
            fresh: LitresPerMinute(fresh),
            clouding: Clouding { clay, background: Turbidity(2.0) },
            ours: others.remove(ours),
            others,
        }
    }

    proptest! {
        #[test]
        fn what_each_pump_does_for_its_share_makes_the_turbidity_that_was_wanted_of_all(
            fresh in 20.0..100.0_f64, target in 5.0..120.0_f64,
            drums in proptest::collection::vec((20.0..200.0_f64, 5.0..50.0_f64), 1..4),
        ) {
            let now: Vec<Stream> = drums.iter().map(|(flow, strength)| stream(*flow, *strength)).collect();
            let target = Turbidity(target);
            let alone = |all: &[Stream]| {
                let shared = shared(fresh, all, 0);
                shared.beside().turbidity(shared.ours.slurry, shared.ours.strength).unwrap()
            };
            let each = |does: &dyn Fn(&Shared) -> Stream| -> Vec<Stream> {
                (0..now.len()).map(|ours| does(&shared(fresh, &now, ours))).collect()
            };
            let trimmed = each(&|shared| Stream {
                slurry: shared.by_clay().pump_for(target, shared.ours.strength).unwrap(),
                ..shared.ours
            });
            prop_assert!((alone(&trimmed).0 - target.0).abs() < 1e-6, "{trimmed:?}");
            let mixed = each(&|shared| Stream {
                strength: shared.by_flow().strength_for(target, shared.ours.slurry).unwrap(),
                ..shared.ours
            });
            prop_assert!((alone(&mixed).0 - target.0).abs() < 1e-6, "{mixed:?}");
            prop_assert!(mixed.windows(2).all(|two| (two[0].strength.0 - two[1].strength.0).abs() < 1e-9));
            // Where all is right already, nobody turns anything.
            for ours in 0..now.len() {
                let shared = shared(fresh, &now, ours);
                let same = shared.by_clay().pump_for(alone(&now), shared.ours.strength).unwrap();
                prop_assert!((same.0 - shared.ours.slurry.0).abs() < 1e-6, "{same:?} of {shared:?}");
            }
        }
    }

    #[test]
    fn pumps_that_stand_or_bring_water_share_without_a_division_by_nothing() {
        let stands = shared(50.0, &[stream(0.0, 18.0)], 0);
        assert_eq!(
            (stands.by_clay().water, stands.by_flow().water),
            (LitresPerMinute(50.0), LitresPerMinute(50.0))
        );
        let thin = shared(50.0, &[stream(200.0, 0.0), stream(200.0, 18.0)], 0);
        assert_eq!(thin.by_clay().water, LitresPerMinute(0.0));
        assert_eq!(Stream::of(&[]).slurry, LitresPerHour(0.0));
    }
}
