//! What each drum's mix is aimed at, by what is known of its life.

use jiff::Timestamp;

use crate::drum_record::DrumRecord;
use crate::knowledge::Knowledge;
use claymark_clay::refill::Aim;
use claymark_clay::refill::aim::{DrawnNow, Life};
use claymark_drum::WhatIf;
use claymark_model::forecast::Forecast;

impl Knowledge {
    /// What a drum that is filled now should hold: by the plan of the fish, else by the drum's own target.
    pub(crate) fn aim(&self, now: Timestamp, record: &DrumRecord, forecasts: &[Forecast]) -> Aim {
        self.aim_by_plan(now, record, forecasts).unwrap_or(Aim { strength: record.drum.target, plan: None })
    }

    /// `None` where the plan has no band then, or water, yield or draw aren't known.
    fn aim_by_plan(&self, now: Timestamp, record: &DrumRecord, forecasts: &[Forecast]) -> Option<Aim> {
        let draws = DrawnNow::new(&self.site, forecasts);
        let life = self.life(now, record, forecasts, draws)?;
        draws.aim(&record.drum, self.fresh_water(now)?.flow, self.clouding()?, &life)
    }

    fn life(
        &self,
        now: Timestamp,
        record: &DrumRecord,
        forecasts: &[Forecast],
        draws: DrawnNow<'_>,
    ) -> Option<Life> {
        if self.site.batches.is_empty() {
            return None;
        }
        let (_, own) =
            self.records.iter().zip(forecasts).find(|(other, _)| other.drum.id == record.drum.id)?;
        let draw = own.outlook.draw().filter(|draw| draw.0 > 0.0).or_else(|| {
            let expected = record.watch.expected_draw(now)?.draw;
            (expected.0 > 0.0).then_some(expected)
        })?;
        let full = WhatIf { volume: Some(record.drum.full), draw_share: 1.0 };
        let lasts = record.watch.empty_if(now, full)?.p50?.duration_since(now);
        Some(Life { begins: draws.begins(&record.drum, now), lasts, draw })
    }
}
