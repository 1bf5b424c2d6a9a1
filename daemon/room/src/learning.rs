//! One look at the clay that is fed against what the head tank shows of it: what the room learns from.

use jiff::{SignedDuration, Timestamp};

use crate::drum_record::DrumRecord;
use crate::knowledge::Knowledge;
use claymark_clay::yields::Sample;
use claymark_model::fieldlog::Deed;
use claymark_model::forecast::{Basis, Forecast, Outlook};
use claymark_model::site::Place;
use claymark_model::units::{GramsPerMinute, LitresPerHour, Turbidity};

impl Knowledge {
    /// The drums that feed the head tank, by their books, against what the head tank shows; with the draw where it is
    /// one drum's. Times after a refill, a pump setting or another change are left out.
    pub(crate) fn sample(
        &self,
        now: Timestamp,
        forecasts: &[Forecast],
    ) -> Option<(Sample, Option<LitresPerHour>)> {
        let drawn: Vec<_> = self.records.iter().zip(forecasts).filter(|(_, one)| one.in_use).collect();
        let fed = drawn.iter().map(|(record, forecast)| self.feeds(now, record, forecast));
        let fed: Vec<(LitresPerHour, GramsPerMinute)> = fed.collect::<Option<_>>()?;
        let cleans = |deed: &Deed| matches!(deed, Deed::Cleaning { .. } | Deed::Wipe { .. });
        if fed.is_empty() || self.journal.has(now, SETTLES, cleans) {
            return None;
        }
        let water = self.fresh_water(now)?.flow;
        let shown = self.water.turbidity(now, &Place::Head)?.turbidity;
        let above = Turbidity(shown.0 - self.site.clay.background_ntu);
        let clay = fed.iter().fold(GramsPerMinute(0.0), |sum, (_, clay)| sum + *clay);
        let alone = if let [(draw, _)] = fed.as_slice() { Some(*draw) } else { None };
        Some((Sample { at: now, fed: water.diluting(clay)?, water, above }, alone))
    }

    /// What one drum is drawn at and feeds; `None` where that isn't sure, or has just changed.
    fn feeds(
        &self,
        now: Timestamp,
        record: &DrumRecord,
        forecast: &Forecast,
    ) -> Option<(LitresPerHour, GramsPerMinute)> {
        let Outlook::Known { basis: Basis::Level, draw, .. } = forecast.outlook else { return None };
        let changed = record.changed().is_some_and(|at| now < at + SETTLES);
        let left = record.books(&self.site.clay).left;
        (!changed && left.is_known()).then(|| (draw, draw.clay(left.strength)))
    }
}

/// After a change the head tank settles, and the forecast learns its draw.
const SETTLES: SignedDuration = SignedDuration::from_mins(45);
