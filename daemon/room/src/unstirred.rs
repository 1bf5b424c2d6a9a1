//! A drum whose air has failed: how soon its slurry weakens, and whether something of the kind shows now.

use claymark_notice::unstirred::UnstirredDrum;
use jiff::Timestamp;

use crate::knowledge::Knowledge;
use claymark_clay::settling::Grain;
use claymark_model::id::Id;
use claymark_model::units::{Celsius, KilogramsPerLitre, Micrometres, Millimetres};
use claymark_notice::Failure;
use claymark_notice::dose::MissingFigure;
use claymark_notice::failure::Fault;

impl Knowledge {
    /// What happens in a drum that isn't stirred; `coarse_um` instead of the site file's, `starving` why less of its clay
    /// arrives than should.
    pub(crate) fn unstirred_drum(
        &self,
        now: Timestamp,
        drum: &Id,
        coarse_um: Option<f64>,
        starving: Option<Failure>,
    ) -> Result<UnstirredDrum, MissingFigure> {
        let forecasts = self.forecasts(now);
        let (record, forecast) = self
            .records
            .iter()
            .zip(&forecasts)
            .find(|(record, _)| record.drum.id == *drum)
            .ok_or(MissingFigure::Drum)?;
        let volume = forecast.outlook.volume().ok_or(MissingFigure::DrumState)?;
        let level = |volume| record.drum.strapping.level(volume).unwrap_or_default();
        let depth = (level(volume) - level(record.drum.heel)).max(Millimetres(0.0));
        let mixture = self.mixture(now, record, &forecasts);
        let strength = mixture.books.left.strength;
        let coarse = coarse_um.or(self.site.clay.coarse_um).map(Micrometres);
        // Drums stand in the room: the middle of what the water is to be is close enough.
        let span = self.site.water.temperature_c;
        let water = Celsius(f64::midpoint(span.min(), span.max()));
        let density = KilogramsPerLitre(self.site.clay.mineral_density_kg_per_l);
        let sinks = |diameter| Grain { diameter, density, water }.sinks(depth, strength);
        let seen = mixture.seen.filter(|seen| seen.can_judge).map(|seen| seen.strength.0 / strength.0);
        Ok(UnstirredDrum {
            at: now,
            drum: drum.clone(),
            strength,
            water,
            depth,
            coarse,
            weaker_by_tenth: coarse.map(sinks),
            empty: volume <= record.drum.heel,
            seen,
            booked: mixture.books.left.is_known(),
            failure: starving.map(|failure| as_it_shows_now(failure, seen)),
        })
    }
}

/// How much of the clay comes was told when the failure was found; it goes on.
fn as_it_shows_now(failure: Failure, seen: Option<f64>) -> Failure {
    let (Fault::DrumAir { book, .. }, Some(left)) = (&failure.fault, seen) else { return failure };
    Failure { fault: Fault::DrumAir { left, book: *book }, ..failure }
}
