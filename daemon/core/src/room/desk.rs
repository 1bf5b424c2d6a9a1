//! What the room keeps beside one drum's watch: its refills, its pump's speed, and what follows from them.

use jiff::Timestamp;

use crate::drum::{DrumWatch, WhatIf};
use crate::fieldlog::{Deed, LogEntry};
use crate::forecast::Forecast;
use crate::happening::{Happening, What};
use crate::id::Id;
use crate::notice::content::{
    Doubted, DrumState, PumpSetting, PumpState, Remedy, SeenRefill, Verdict, Visit,
};
use crate::refill::Refill;
use crate::refill::residual::{LoggedRefill, Residual};
use crate::room::episode::Episode;
use crate::room::runout::Runout;
use crate::room::verdict;
use crate::site::{Drum, Site};
use crate::units::LitresPerHour;

/// One drum.
#[derive(Debug)]
pub(crate) struct Desk {
    pub(crate) drum: Drum,
    pub(crate) watch: DrumWatch,
    pub(crate) runout: Runout,
    pub(crate) doubt: Episode,
    /// The only drum of the site: an entry that names none means this one.
    only: bool,
    seen: Vec<SeenRefill>,
    ran_empty: Option<Timestamp>,
    logged: Vec<LoggedRefill>,
    pump_settings: Vec<(String, PumpSetting)>,
}

impl Desk {
    /// One for each drum, in the order of the site file.
    pub(crate) fn all(site: &Site) -> Vec<Self> {
        let desk = |drum: &Drum| {
            Some(Self {
                watch: DrumWatch::new(site, &drum.id)?,
                drum: drum.clone(),
                runout: Runout::default(),
                doubt: Episode::default(),
                only: site.drums.len() == 1,
                seen: Vec::new(),
                ran_empty: None,
                logged: Vec::new(),
                pump_settings: Vec::new(),
            })
        };
        site.drums.iter().filter_map(desk).collect()
    }

    /// Somebody wrote something down.
    pub(crate) fn log(&mut self, now: Timestamp, entry: &LogEntry) {
        if let Some(wrong) = &entry.replaces {
            self.logged.retain(|logged| logged.key != *wrong);
            self.pump_settings.retain(|(key, _)| key != wrong);
        }
        self.watch.log(now, entry);
        let mine = |drum: &Option<Id>| drum.as_ref().map_or(self.only, |drum| *drum == self.drum.id);
        if let Deed::Refill { drum, water, clay } = &entry.deed
            && mine(drum)
        {
            let held = self.watch.forecast(now).outlook.volume();
            let (key, at, water, clay) = (entry.key.clone(), entry.at, *water, *clay);
            self.logged.retain(|logged| logged.key != key);
            self.logged.push(LoggedRefill { key, at, water, clay, held });
            self.logged.sort_by_key(|logged| logged.at);
            keep_last(&mut self.logged);
            self.runout.refill_logged(entry.at);
        }
        if let Deed::PumpSetting { pump, rpm: Some(rpm) } = &entry.deed
            && pump.as_ref().is_none_or(|pump| *pump == self.drum.pump)
        {
            self.pump_settings.push((entry.key.clone(), PumpSetting { rpm: *rpm, at: entry.at }));
            self.pump_settings.sort_by_key(|(_, setting)| setting.at);
            keep_last(&mut self.pump_settings);
        }
    }

    /// What the watch has seen since the last call.
    pub(crate) fn take_happenings(&mut self) -> Vec<Happening> {
        let happenings = self.watch.take_happenings();
        for happening in &happenings {
            match happening.what {
                What::Refilled { added, to, logged } => {
                    self.refilled(SeenRefill { at: happening.at, added, to, logged });
                }
                What::RanEmpty => self.ran_empty = Some(happening.at),
                What::DrawChanged { .. } | What::LevelDoubted { .. } | What::LevelBelieved => {}
            }
        }
        happenings
    }

    fn refilled(&mut self, refill: SeenRefill) {
        self.seen.push(refill);
        self.seen.sort_by_key(|seen| seen.at);
        keep_last(&mut self.seen);
        self.ran_empty = self.ran_empty.filter(|empty| *empty > refill.at);
        self.runout.refill_seen(refill);
    }

    /// What is known; `drawn` is what the pump draws from all its drums, `level_heard` the sensor's last word.
    pub(crate) fn state(
        &self,
        site: &Site,
        forecast: &Forecast,
        drawn: Option<LitresPerHour>,
        level_heard: Option<Timestamp>,
    ) -> DrumState {
        let doubt = self.watch.doubt(forecast.at);
        let set = self.pump_settings.last().map(|(_, setting)| *setting);
        let rated = set.and_then(|set| site.pump(&self.drum.pump)?.rated(set.rpm));
        DrumState {
            drum: self.drum.id.clone(),
            forecast: forecast.clone(),
            draw_since: self.watch.draw_since(),
            level_heard,
            doubt: doubt.map(|doubt| Doubted { since: doubt.since, why: doubt.why }),
            pump: PumpState { pump: self.drum.pump.clone(), set, rated, drawn },
            last_refill: self.seen.last().copied(),
            ran_empty: self.ran_empty,
        }
    }

    /// What can be done; while people are there nothing is said about lasting until a visit.
    pub(crate) fn remedy(&self, site: &Site, forecast: &Forecast, visit: Option<&Visit>) -> Remedy {
        let residual = Residual::after(&self.drum, &site.clay, &self.seen, &self.logged);
        let refill =
            forecast.outlook.volume().map(|volume| Refill::of(&self.drum, &site.clay, volume, residual));
        let full_ends =
            self.watch.empty_if(forecast.at, WhatIf { volume: Some(self.drum.full), draw_share: 1.0 });
        let full = full_ends.zip(visit).map_or(Verdict::Unknown, |(ends, visit)| Verdict::of(&ends, visit));
        let slower = |ends| visit.and_then(|visit| verdict::slower(forecast.at, &ends, visit));
        Remedy {
            refill,
            full_ends,
            full,
            slower: forecast.outlook.empty_at().and_then(slower),
            slower_when_full: full_ends.and_then(slower),
        }
    }
}

/// Refills and settings of weeks ago tell nothing: the last ones are enough.
fn keep_last<T>(entries: &mut Vec<T>) {
    const KEPT: usize = 32;
    entries.drain(..entries.len().saturating_sub(KEPT));
}
