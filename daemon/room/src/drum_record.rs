//! What the room keeps beside one drum's watch: its refills, its pump's speed, and what follows from them.

use claymark_model::happening::{Happening, SAME_REFILL, SeenRefill, What};
use jiff::{SignedDuration, Timestamp};

use crate::estimates::Estimate;
use crate::lasting::Question;
use crate::mixture::Mixture;
use claymark_clay::refill::books::{Books, Filling, LoggedRefill};
use claymark_clay::refill::{Refill, Wanted};
use claymark_drum::{DrumWatch, WhatIf};
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::Forecast;
use claymark_model::id::Id;
use claymark_model::site::{ClaySupply, Drum, Site};
use claymark_model::units::{GramsPerLitre, Litres, LitresPerHour};
use claymark_notice::content::{Doubted, DrumState, PumpSetting, PumpState, Remedy, Verdict, Visit};
use claymark_notice::drum::{Enough, Slower};

/// One drum.
#[derive(Debug)]
pub(crate) struct DrumRecord {
    pub(crate) drum: Drum,
    pub(crate) watch: DrumWatch,
    /// The only drum of the site: an entry that names none means this one.
    only: bool,
    seen: Vec<SeenRefill>,
    ran_empty: Option<Timestamp>,
    logged: Vec<LoggedRefill>,
    /// Keys of those against which the level is believed.
    denied: Vec<String>,
    pump_settings: Vec<(String, PumpSetting)>,
    /// What was believed of late, oldest first.
    estimates: Vec<Estimate>,
}

impl DrumRecord {
    /// One for each drum, in the order of the site file.
    pub(crate) fn all(site: &Site) -> Vec<Self> {
        let record = |drum: &Drum| {
            Some(Self {
                watch: DrumWatch::new(site, &drum.id)?,
                drum: drum.clone(),
                only: site.drums.len() == 1,
                seen: Vec::new(),
                ran_empty: None,
                logged: Vec::new(),
                denied: Vec::new(),
                pump_settings: Vec::new(),
                estimates: Vec::new(),
            })
        };
        site.drums.iter().filter_map(record).collect()
    }

    /// Somebody wrote something down; a full drum was to be of the strength `aimed` then.
    pub(crate) fn log(&mut self, now: Timestamp, entry: &LogEntry, aimed: GramsPerLitre) {
        if let Some(wrong) = &entry.replaces {
            self.logged.retain(|logged| logged.key != *wrong);
            self.pump_settings.retain(|(key, _)| key != wrong);
        }
        let mine = self.is_meant_by(entry.deed.drum());
        let refills = mine && matches!(entry.deed, Deed::Refill { .. });
        let held = refills.then(|| self.watch.forecast(now).outlook.volume()).flatten();
        self.watch.log(now, entry);
        if let Deed::Refill { water, clay, .. } = &entry.deed
            && mine
        {
            let unseen = self.watch.unseen(now).filter(|unseen| unseen.key == entry.key);
            let held = unseen.map_or(held, |unseen| unseen.before);
            let (key, at, water, clay) = (entry.key.clone(), entry.at, *water, *clay);
            self.logged.retain(|logged| logged.key != key);
            self.logged.push(LoggedRefill { key, at, water, clay, held, aimed });
            self.logged.sort_by_key(|logged| logged.at);
            keep_last(&mut self.logged);
        }
        if let Deed::PumpSetting { pump, rpm: Some(rpm) } = &entry.deed
            && pump.as_ref().is_none_or(|pump| *pump == self.drum.pump)
        {
            self.pump_settings.push((entry.key.clone(), PumpSetting { rpm: *rpm, at: entry.at }));
            self.pump_settings.sort_by_key(|(_, setting)| setting.at);
            keep_last(&mut self.pump_settings);
        }
    }

    /// Whether an entry that names that drum means this one.
    pub(crate) fn is_meant_by(&self, drum: Option<&Id>) -> bool {
        drum.map_or(self.only, |drum| *drum == self.drum.id)
    }

    /// Keeps what is believed: what changes is held against what was believed before it.
    pub(crate) fn remember(&mut self, now: Timestamp) {
        if self.estimates.last().is_some_and(|last| now < last.at + BELIEVED_EVERY) {
            return;
        }
        self.estimates.retain(|old| old.at >= now - BELIEVED_KEPT);
        let goes_by_level =
            self.watch.doubt(now).is_none() && self.watch.in_use() && self.watch.unseen(now).is_none();
        self.estimates.extend(self.believes(now).filter(|_| goes_by_level));
    }

    fn believes(&self, now: Timestamp) -> Option<Estimate> {
        let as_it_is = WhatIf { volume: None, draw_share: 1.0 };
        Some(Estimate {
            at: now,
            holds: self.watch.volume_now(now)?.volume,
            draw: self.watch.expected_draw(now)?,
            ends: self.watch.empty_if(now, as_it_is)?,
        })
    }

    /// What was believed at a time of the last hours, from `since` on.
    pub(crate) fn estimate_at(&self, since: Timestamp, at: Timestamp) -> Option<&Estimate> {
        self.estimates.iter().rfind(|then| then.at <= at).filter(|then| then.at >= since)
    }

    /// What the watch has seen since the last call.
    pub(crate) fn take_happenings(&mut self) -> Vec<Happening> {
        let happenings = self.watch.take_happenings();
        self.note_denied();
        for happening in &happenings {
            if let What::Refilled { added, to, logged } = happening.what {
                self.refilled(SeenRefill { at: happening.at, added, to, logged });
            } else if happening.what == What::RanEmpty {
                self.ran_empty = Some(happening.at);
            }
        }
        happenings
    }

    /// Keeps which refills the level is believed against.
    fn note_denied(&mut self) {
        let Some((key, denied)) = self.watch.denied() else { return };
        let known = self.denied.iter().position(|known| known == key);
        match (known, denied) {
            (None, true) => {
                self.denied.push(key.to_owned());
                keep_last(&mut self.denied);
            }
            (Some(place), false) => {
                self.denied.remove(place);
            }
            (None, false) | (Some(_), true) => {}
        }
    }

    /// The refills that were written down and count, oldest first.
    fn counted(&self) -> Vec<LoggedRefill> {
        let counts = |logged: &&LoggedRefill| !self.denied.contains(&logged.key);
        self.logged.iter().filter(counts).cloned().collect()
    }

    fn refilled(&mut self, refill: SeenRefill) {
        self.seen.push(refill);
        self.seen.sort_by_key(|seen| seen.at);
        keep_last(&mut self.seen);
        self.ran_empty = self.ran_empty.filter(|empty| *empty > refill.at);
    }

    /// The refills that the data show, oldest first.
    pub(crate) fn seen(&self) -> &[SeenRefill] {
        &self.seen
    }

    /// When it ran empty, if it did since the last refill.
    pub(crate) fn ran_empty(&self) -> Option<Timestamp> {
        self.ran_empty
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
            doubt: doubt.map(|doubt| Doubted { since: doubt.since, why: doubt.why.into() }),
            pump: PumpState { pump: self.drum.pump.clone(), set, rated, drawn },
            last_refill: self.seen.last().copied(),
            ran_empty: self.ran_empty,
        }
    }

    /// What its refills leave in it.
    pub(crate) fn books(&self, supply: &ClaySupply) -> Books {
        Books::after(&self.drum, supply, &self.seen, &self.counted())
    }

    /// What the refills before `at` left in it.
    pub(crate) fn books_before(&self, supply: &ClaySupply, at: Timestamp) -> Books {
        let before = at - SAME_REFILL;
        let seen: Vec<SeenRefill> = self.seen.iter().filter(|refill| refill.at < before).copied().collect();
        let logged: Vec<LoggedRefill> =
            self.counted().into_iter().filter(|refill| refill.at < before).collect();
        Books::after(&self.drum, supply, &seen, &logged)
    }

    /// The strength by the books before and after the refill at `at`, where it was written down with its clay.
    pub(crate) fn booked_over(
        &self,
        supply: &ClaySupply,
        at: Timestamp,
    ) -> Option<(GramsPerLitre, GramsPerLitre)> {
        let now = self.books(supply).left;
        let same = |logged: &LoggedRefill| logged.at.duration_since(at).abs() <= SAME_REFILL;
        let written = now.is_known() && self.logged.iter().any(same);
        let before = self.books_before(supply, at).left.strength;
        (written && before.0 > 0.0 && now.strength.0 > 0.0).then_some((before, now.strength))
    }

    /// The newest of what changes the clay that it feeds: a refill, the draw, a pump setting.
    pub(crate) fn changed(&self) -> Option<Timestamp> {
        let refill = self.seen.last().map(|refill| refill.at);
        let logged = self.logged.last().map(|refill| refill.at);
        let setting = self.pump_settings.last().map(|(_, setting)| setting.at);
        [refill, logged, setting, self.watch.draw_since()].into_iter().flatten().max()
    }

    /// A refill that was just done or is about to be, with so much `water` or up to the full line, for slurry of the
    /// strength `aimed`.
    pub(crate) fn filling(
        &self,
        supply: &ClaySupply,
        now: Timestamp,
        (volume, water): (Litres, Option<Litres>),
        aimed: GramsPerLitre,
    ) -> Filling {
        let done = self.seen.split_last().filter(|(last, _)| !last.logged && last.at + JUST_DONE >= now);
        let (before, after, seen) = match done {
            Some((last, earlier)) => (last.to - last.added, last.to, earlier),
            None => {
                let after = water.map_or(self.drum.full, |water| volume + water);
                (volume, after, self.seen.as_slice())
            }
        };
        let left = Books::after(&self.drum, supply, seen, &self.counted()).left;
        Filling { left, before: before.max(Litres(0.0)), after, aimed }
    }

    /// Revolutions per minute for each L/h: as it was set and as it draws, else by the rating; `None` where both deny each
    /// other, for then the last setting wasn't written down.
    pub(crate) fn rpm_per_slurry(&self, site: &Site, pump_draws: LitresPerHour) -> Option<f64> {
        let set = self.pump_settings.last().map(|(_, setting)| setting.rpm);
        let learned = set.filter(|rpm| *rpm > 0.0 && self.watch.in_use()).map(|rpm| rpm / pump_draws.0);
        let rated = site.pump(&self.drum.pump).and_then(|pump| pump.rated(1.0)).map(|by_rpm| 1.0 / by_rpm.0);
        let deny = learned.zip(rated).is_some_and(|(learned, rated)| !PumpState::agrees(rated / learned));
        learned.or(rated).filter(|ratio| ratio.is_finite() && !deny)
    }

    /// What can be done, by hands that are there at `from`; while people are there nothing is said about lasting until
    /// a visit.
    pub(crate) fn remedy(
        &self,
        site: &Site,
        state: &DrumState,
        (visit, from): (Option<&Visit>, Timestamp),
        mixture: &Mixture,
    ) -> Remedy {
        let forecast = &state.forecast;
        let volume = forecast.outlook.volume();
        let to = |wanted, volume| Refill::of(&self.drum, &site.clay, wanted, volume, mixture.counted());
        let ahead = self.watch.ahead(forecast.at);
        let ahead = ahead.as_ref();
        let full = WhatIf { volume: Some(self.drum.full), draw_share: 1.0 };
        let full_ends = ahead.and_then(|ahead| ahead.empty_if(full));
        let question = visit.map(|visit| Question { ahead, drum: &self.drum, now: forecast.at, visit });
        let pump = site.pump(&self.drum.pump);
        let slower = |volume| {
            let share = question.as_ref()?.slower(volume)?;
            Some(Slower::of(share, &state.pump, pump))
        };
        let enough = question.as_ref().and_then(|question| {
            let litres = question.litres(from)?;
            let holds = volume.map(|held| if from > forecast.at { question.holds(held, from) } else { held });
            let wanted = Wanted { to: litres, strength: mixture.aim.strength };
            let refill = holds.filter(|holds| *holds < litres).map(|holds| to(wanted, holds));
            Some(Enough { at: from, litres, holds, refill })
        });
        Remedy {
            refill: volume
                .map(|volume| to(Wanted { to: self.drum.full, strength: mixture.aim.strength }, volume)),
            full_ends,
            full: full_ends.zip(visit).map_or(Verdict::Unknown, |(ends, visit)| Verdict::of(&ends, visit)),
            enough,
            slower_pump: slower(None),
            slower_pump_when_full: slower(Some(self.drum.full)),
            night: None,
            doubt: mixture.books.doubt.clone(),
            unseen: mixture.unseen.clone(),
            ready: None,
        }
    }
}

/// People write a refill down when their hands are dry again.
const JUST_DONE: SignedDuration = SignedDuration::from_mins(90);

/// The belief changes slowly.
const BELIEVED_EVERY: SignedDuration = SignedDuration::from_mins(3);
/// Longer than any rule looks back.
const BELIEVED_KEPT: SignedDuration = SignedDuration::from_hours(3);

/// Refills and settings of weeks ago tell nothing: the last ones are enough.
fn keep_last<T>(entries: &mut Vec<T>) {
    const KEPT: usize = 32;
    entries.drain(..entries.len().saturating_sub(KEPT));
}
