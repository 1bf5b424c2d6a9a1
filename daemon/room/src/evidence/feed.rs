//! How much of the head tank's clay each drum brings: what its pump or its strength can have changed there.

use jiff::Timestamp;

use super::Evidence;
use super::drum::DrumSight;
use claymark_model::id::Id;
use claymark_model::units::LitresPerMinute;
use claymark_notice::failure::Sign;

/// A drum that feeds the head tank.
pub(crate) struct Feed<'e, 'a> {
    pub(crate) drum: &'e DrumSight<'a>,
    /// The share of the head tank's clay that comes from this drum.
    pub(crate) by_drum: Share,
    /// The share that comes through its pump, from all drums that it draws from.
    pub(crate) by_pump: Share,
}

/// A share of the head tank's clay, above 0 and up to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Share(f64);

impl Share {
    /// To what share of itself this clay must have gone, if it alone is why the head tank's goes to `factor`.
    pub(crate) fn alone(self, factor: f64) -> f64 {
        1.0 + (factor - 1.0) / self.0
    }

    /// To what share the head tank's clay goes, if this clay goes to `own` of itself.
    pub(crate) fn in_all(self, own: f64) -> f64 {
        1.0 + self.0 * (own - 1.0)
    }

    /// A doubt of the head tank's factor, as a doubt of this clay's.
    pub(crate) fn doubt(self, factor_sd: f64) -> f64 {
        factor_sd / self.0
    }

    /// So much of a clay in the head tank.
    pub(crate) fn of(self, clay: f64) -> f64 {
        self.0 * clay
    }
}

/// The drum that a finding on all of them is about: the only one that feeds.
pub(crate) fn only_drum(feeds: &[Feed<'_, '_>]) -> Option<Id> {
    if let [feed] = feeds { Some(feed.drum.record.drum.id.clone()) } else { None }
}

impl<'a> Evidence<'a> {
    /// The drums that are drawn, with what each brought by its draw and its books just before `at`; none where a draw
    /// isn't known.
    ///
    /// While a drum of another pump is dry the head tank clears, and clouds again, for that reason: then none.
    pub(crate) fn feeds(&self, at: Timestamp) -> Vec<Feed<'_, 'a>> {
        let drawn: Vec<&DrumSight<'a>> = self.drums.iter().filter(|drum| drum.is_drawn()).collect();
        let dry = |drum: &DrumSight<'_>| {
            let other = |one: &&DrumSight<'_>| one.record.drum.pump != drum.record.drum.pump;
            drum.record.ran_empty().is_some() && drawn.iter().any(other)
        };
        if self.drums.iter().any(dry) {
            return Vec::new();
        }
        if let [drum] = drawn[..] {
            let all = Share(1.0);
            return vec![Feed { drum, by_drum: all, by_pump: all }];
        }
        let brings = |drum: &DrumSight<'_>| {
            let draw = drum.draw_before(at)?;
            let left = drum.record.books_before(&self.site.clay, at).left;
            let strength = if left.is_known() { left.strength } else { drum.record.drum.target };
            Some(draw.clay(strength).0).filter(|clay| *clay > 0.0)
        };
        let Some(brought) = drawn.iter().map(|drum| brings(drum)).collect::<Option<Vec<f64>>>() else {
            return Vec::new();
        };
        let all: f64 = brought.iter().sum();
        let through = |pump: &Id| {
            let of_pump = drawn.iter().zip(&brought).filter(|(drum, _)| drum.record.drum.pump == *pump);
            of_pump.map(|(_, clay)| clay).sum::<f64>()
        };
        let shares: Vec<(Share, Share)> = drawn
            .iter()
            .zip(&brought)
            .map(|(drum, clay)| (Share(clay / all), Share(through(&drum.record.drum.pump) / all)))
            .collect();
        drawn
            .into_iter()
            .zip(shares)
            .map(|(drum, (by_drum, by_pump))| Feed { drum, by_drum, by_pump })
            .collect()
    }

    /// What one drum brought just before `at`.
    pub(crate) fn feed_of(&self, drum: &DrumSight<'_>, at: Timestamp) -> Option<Feed<'_, 'a>> {
        self.feeds(at).into_iter().find(|feed| feed.drum.record.drum.id == drum.record.drum.id)
    }

    /// That each drum is drawn as before `since`, a sign for each; named where it isn't the only one.
    pub(crate) fn draws_unchanged(&self, feeds: &[Feed<'_, 'a>], since: Timestamp) -> Vec<Sign> {
        let sign = |feed: &Feed<'_, 'a>| {
            let draw = LitresPerMinute(feed.drum.breakpoint(self.now, since)?.before).per_hour();
            let drum = (feeds.len() > 1).then(|| feed.drum.record.drum.id.clone());
            Some(Sign::DrawUnchanged { drum, draw })
        };
        feeds.iter().filter_map(sign).collect()
    }

    /// How much likelier the levels are if every pump drew on as before than if one of them is why the head tank's clay
    /// went to `factor` at `since`: the least of the logarithms of the ratios; `None` where a level can't say.
    pub(crate) fn draws_went_on(&self, feeds: &[Feed<'_, 'a>], since: Timestamp, factor: f64) -> Option<f64> {
        let each = feeds.iter().map(|feed| {
            let breakpoint =
                feed.drum.breakpoint(self.now, since).filter(|breakpoint| !breakpoint.rises())?;
            Some(breakpoint.speaks_for_the_same(feed.by_pump.alone(factor)))
        });
        each.collect::<Option<Vec<f64>>>()?.into_iter().reduce(f64::min)
    }
}
