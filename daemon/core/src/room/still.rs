//! A drum whose air has failed: how soon its slurry weakens, and what the room's signs say now.

use jiff::{SignedDuration, Timestamp};

use crate::clay::settling::{Grain, Signs, Weakening};
use crate::id::Id;
use crate::room::Room;
use crate::room::mixing::Missing;
use crate::units::{Celsius, GramsPerLitre, KilogramsPerLitre, Litres, Micrometres, Millimetres};

/// What happens in a drum that isn't stirred.
#[derive(Debug, Clone, PartialEq)]
pub struct StillDrum {
    /// When it was asked.
    pub at: Timestamp,
    /// Which.
    pub drum: Id,
    /// Its strength as it is counted on.
    pub strength: GramsPerLitre,
    /// Of the water.
    pub water: Celsius,
    /// From the surface down to what the pump can't lift.
    pub depth: Millimetres,
    /// The grain that a tenth of the clay is coarser than.
    pub coarse: Option<Micrometres>,
    /// When the slurry at the intake has lost a tenth, at the latest; `None`: the grain isn't known.
    pub weaker_by_tenth: Option<SignedDuration>,
    /// What level and head tank say now; `None`: they can't.
    pub signs: Option<Signs>,
    /// What that means.
    pub weakening: Option<Weakening>,
}

impl Room {
    /// What happens in a drum that isn't stirred; `coarse_um` instead of the site file's.
    pub fn still_drum(
        &self,
        now: Timestamp,
        drum: &Id,
        coarse_um: Option<f64>,
    ) -> Result<StillDrum, Missing> {
        let forecasts = self.forecasts(now);
        let (desk, forecast) =
            self.desks.iter().zip(&forecasts).find(|(desk, _)| desk.drum.id == *drum).ok_or(Missing::Drum)?;
        let volume = forecast.outlook.volume().ok_or(Missing::DrumState)?;
        let level = |volume| desk.drum.strapping.level(volume).unwrap_or_default();
        let depth = (level(volume) - level(desk.drum.heel)).max(Millimetres(0.0));
        let mixture = self.mixture(now, desk, &forecasts);
        let strength = mixture.books.left.strength;
        let coarse = coarse_um.or(self.site.clay.coarse_um).map(Micrometres);
        let water = self.slurry_temperature();
        let density = KilogramsPerLitre(self.site.clay.mineral_density_kg_per_l);
        let sinks = |diameter| Grain { diameter, density, water }.sinks(depth, strength);
        let signs = mixture.seen.filter(|seen| seen.can_judge).map(|seen| Signs {
            slope: self.slope_share(now, desk).unwrap_or(1.0),
            seen: seen.strength.0 / strength.0,
            usable: (volume - desk.drum.heel).max(Litres(0.0)),
            watered: !mixture.books.left.is_known(),
        });
        Ok(StillDrum {
            at: now,
            drum: drum.clone(),
            strength,
            water,
            depth,
            coarse,
            weaker_by_tenth: coarse.map(sinks),
            weakening: signs.as_ref().and_then(Weakening::of),
            signs,
        })
    }

    /// What leaves a drum, as a share of what should.
    fn slope_share(&self, now: Timestamp, desk: &super::desk::Desk) -> Option<f64> {
        let slope = desk.watch.slope(now, SLOPE_OVER)?;
        let expected = desk.watch.expected_draw(now)?;
        (expected.draw.0 > 0.0).then(|| slope.draw.0 / expected.draw.0)
    }

    /// Drums stand in the room: the middle of what the water is to be is close enough.
    fn slurry_temperature(&self) -> Celsius {
        let span = self.site.water.temperature_c;
        Celsius(f64::midpoint(span.min(), span.max()))
    }
}

const SLOPE_OVER: SignedDuration = SignedDuration::from_mins(60);
