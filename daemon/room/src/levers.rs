//! Both levers of one drum's pump, brought together from the drums that feed the head tank, its water and the clay's yield.

use claymark_notice::dose::{LookFirst, MissingFigure};
use jiff::Timestamp;

use crate::drum_record::DrumRecord;
use crate::knowledge::Knowledge;
use crate::mixture::Mixture;
use claymark_clay::feed::HeadFeed;
use claymark_clay::levers::Bench;
use claymark_clay::refill::sheet::HeadShows;
use claymark_clay::refill::{Counted, PumpTo, Refill};
use claymark_clay::sharing::{Shared, Stream};
use claymark_model::forecast::{Forecast, Outlook};
use claymark_model::site::{Draws, Pump};
use claymark_model::units::{GramsPerLitre, Litres, LitresPerHour, Turbidity};
use claymark_notice::drum::Clearer;

/// A drum that feeds the head tank, or would.
pub(crate) struct Source<'a> {
    pub(crate) record: &'a DrumRecord,
    pub(crate) volume: Litres,
    pub(crate) stream: Stream,
    pub(crate) mixture: Mixture,
}

/// The pump of a drum, with all drums that it draws at once.
pub(crate) struct Levers<'a> {
    /// The drum first.
    pub(crate) sources: Vec<Source<'a>>,
    /// What the pump brings, and what flows in beside it.
    pub(crate) shared: Shared,
    /// Drums of other pumps that feed the head tank, too.
    pub(crate) others: Vec<Source<'a>>,
    /// rpm for each L/h of the pump, as far as it is known.
    pub(crate) rpm_per_slurry: Option<f64>,
    slowest: LitresPerHour,
    fastest: Option<LitresPerHour>,
    thickest: GramsPerLitre,
}

impl Knowledge {
    /// Both levers of a drum.
    pub(crate) fn levers<'a>(
        &'a self,
        now: Timestamp,
        record: &'a DrumRecord,
        forecasts: &[Forecast],
    ) -> Result<Levers<'a>, MissingFigure> {
        let clouding = self.clouding().ok_or(MissingFigure::Yield)?;
        let fresh = self.fresh_water(now).ok_or(MissingFigure::FreshWater)?.flow;
        let (mut sources, mut others) = (Vec::new(), Vec::new());
        let feeds = self.sources(now, record, forecasts);
        // One balance of the clay: all by the head tank where that decides for one of them, else all by the books.
        let by_head = feeds.iter().any(|(source, _)| source.mixture.is_by_head());
        for (mut source, ours) in feeds {
            source.stream.strength = source.mixture.strength(by_head);
            if ours { sources.push(source) } else { others.push(source) }
        }
        sources.sort_by_key(|source| source.record.drum.id != record.drum.id);
        if sources.first().is_none_or(|first| first.record.drum.id != record.drum.id) {
            return Err(MissingFigure::DrumState);
        }
        let streams = |sources: &[Source<'_>]| sources.iter().map(|source| source.stream).collect::<Vec<_>>();
        let ours = Stream::of(&streams(&sources));
        let pump = self.site.pump(&record.drum.pump);
        let rpm_per_slurry = record.rpm_per_slurry(&self.site, ours.slurry);
        let at_speed = |rpm: f64| {
            let learned = rpm_per_slurry.filter(|ratio| *ratio > 0.0).map(|ratio| LitresPerHour(rpm / ratio));
            learned.or_else(|| pump?.rated(rpm))
        };
        Ok(Levers {
            shared: Shared { fresh, clouding, ours, others: streams(&others) },
            sources,
            others,
            rpm_per_slurry,
            slowest: pump.and_then(|pump| at_speed(pump.min_rpm?)).unwrap_or_default(),
            fastest: pump.and_then(|pump| at_speed(pump.max_rpm?)),
            thickest: self.site.clay.thickest,
        })
    }

    /// All drums that feed the head tank with `record`, and whether its pump draws them, too; one that stands by is drawn
    /// instead of those on its pump.
    fn sources<'a>(
        &'a self,
        now: Timestamp,
        record: &'a DrumRecord,
        forecasts: &[Forecast],
    ) -> Vec<(Source<'a>, bool)> {
        let of = |other: &DrumRecord| self.records.iter().position(|record| record.drum.id == other.drum.id);
        let in_use =
            |other: &DrumRecord| of(other).and_then(|at| forecasts.get(at)).is_some_and(|one| one.in_use);
        let together =
            self.site.pump(&record.drum.pump).map(|pump: &Pump| pump.draws) == Some(Draws::Together);
        let stands_by = !in_use(record);
        let feeds = |other: &&DrumRecord| {
            let same_pump = other.drum.pump == record.drum.pump;
            let beside = if same_pump && stands_by { together } else { in_use(other) };
            other.drum.id == record.drum.id || beside
        };
        let known = |other: &'a DrumRecord| {
            let Outlook::Known { volume, draw, .. } = &forecasts.get(of(other)?)?.outlook else {
                return None;
            };
            let mixture = self.mixture(now, other, forecasts);
            let stream = Stream { slurry: *draw, strength: GramsPerLitre(0.0) };
            Some((
                Source { record: other, volume: *volume, stream, mixture },
                other.drum.pump == record.drum.pump,
            ))
        };
        self.records.iter().filter(feeds).filter_map(known).collect()
    }
}

impl Levers<'_> {
    /// Of all drums that feed the head tank, one whose clay is in it by the books, and doesn't come: no clay and no faster
    /// pump make that good.
    pub(crate) fn look_first(&self) -> Option<LookFirst> {
        self.sources.iter().chain(&self.others).find_map(|source| match source.mixture.counted() {
            Counted::LookFirst { book, seen } => {
                Some(LookFirst { drum: source.record.drum.id.clone(), book, seen })
            }
            Counted::Known(_) | Counted::Unseen(_) => None,
        })
    }

    /// For the pump that is turned with its slurry as it is, and for the night.
    pub(crate) fn trim(&self, target: Turbidity) -> Bench {
        self.bench(self.shared.by_clay(), target)
    }

    /// For drums that are mixed anew, all to one strength.
    pub(crate) fn mix(&self, target: Turbidity) -> Bench {
        self.bench(self.shared.by_flow(), target)
    }

    fn bench(&self, feed: HeadFeed, target: Turbidity) -> Bench {
        let sum = |of: fn(&Source<'_>) -> Litres| {
            self.sources.iter().map(of).fold(Litres(0.0), |sum, one| sum + one)
        };
        Bench {
            feed,
            target,
            held: sum(|source| source.volume),
            full: sum(|source| source.record.drum.full),
            heel: sum(|source| source.record.drum.heel),
            strength: self.shared.ours.strength,
            slurry: self.shared.ours.slurry,
            slowest: self.slowest,
            fastest: self.fastest,
            thickest: self.thickest,
        }
    }

    /// What a slower pump makes of the head tank, all others as they are.
    pub(crate) fn clearer(&self, share: f64) -> Option<Clearer> {
        let (beside, ours) = (self.shared.beside(), self.shared.ours);
        Some(Clearer {
            from: beside.turbidity(ours.slurry, ours.strength)?,
            to: beside.turbidity(ours.slurry * share, ours.strength)?,
        })
    }

    /// What the head tank shows when this drum holds slurry of that strength and its standard deviation, all others as
    /// they are.
    pub(crate) fn then_shows(&self, (strength, sd): (GramsPerLitre, GramsPerLitre)) -> Option<HeadShows> {
        let (own, siblings) = self.sources.split_first()?;
        let others = siblings.iter().map(|source| source.stream).chain(self.shared.others.iter().copied());
        let shared = Shared { ours: own.stream, others: others.collect(), ..self.shared.clone() };
        let shows = |strength| shared.beside().turbidity(own.stream.slurry, strength);
        let turbidity = shows(strength)?;
        Some(HeadShows { turbidity, sd: shows(strength + sd)? - turbidity })
    }

    /// The setting with which slurry of strength `gives` does what `wanted` would as the pump runs now.
    fn pump_for(&self, wanted: GramsPerLitre, gives: GramsPerLitre) -> Option<PumpTo> {
        let feed = self.shared.by_flow();
        let slurry = feed.pump_for(feed.turbidity(self.shared.ours.slurry, wanted)?, gives)?;
        Some(self.setting(slurry)).filter(|_| slurry.0 > 0.0)
    }

    pub(crate) fn setting(&self, slurry: LitresPerHour) -> PumpTo {
        PumpTo { slurry, rpm: self.rpm_per_slurry.map(|rpm| rpm * slurry.0) }
    }
}

/// A refill with the pump's setting for what is filled up too strong.
pub(crate) fn with_pump(refill: Refill, levers: Option<&Levers<'_>>, wanted: GramsPerLitre) -> Refill {
    refill.with_pump(|gives| levers?.pump_for(wanted, gives))
}
