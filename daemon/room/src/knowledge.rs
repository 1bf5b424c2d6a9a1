//! What the room has taken in: of sensors and people, and of its own past. Everybody may read it; the intake changes it.

use jiff::Timestamp;

use crate::all_along::AllAlong;
use crate::drum_record::DrumRecord;
use crate::evidence::journal::Journal;
use crate::evidence::trace::Traces;
use crate::learned::Learned;
use crate::on_call::{GivenNight, OnCall};
use crate::sensors::Sensors;
use claymark_clay::LearnedYield;
use claymark_clay::bounds::{self, Unlikely};
use claymark_clay::water::WaterWatch;
use claymark_drum::{share_draws, supply_forecast};
use claymark_model::calendar::Shift;
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::{Forecast, Subject};
use claymark_model::id::Id;
use claymark_model::ledger::Ledger;
use claymark_model::reading::Assessed;
use claymark_model::site::{Pump, Site};
use claymark_model::skill::{MarkForecast, Skill};
use claymark_model::units::{GramsPerLitre, LitresPerHour};
use claymark_notice::content::{DrumState, EveningDrum, Verdict, Visit};
use claymark_notice::failure::{Fault, PumpChanged};

/// All of it. Whoever has it may ask what follows from it: how long drums last, what is to be mixed, what the fish get.
#[derive(Debug)]
pub struct Knowledge {
    pub(crate) site: Site,
    pub(crate) records: Vec<DrumRecord>,
    pub(crate) sensors: Sensors,
    pub(crate) water: WaterWatch,
    pub(crate) ledger: Ledger,
    pub(crate) traces: Traces,
    pub(crate) all_along: AllAlong,
    pub(crate) journal: Journal,
    pub(crate) learned: Learned,
    pub(crate) skill: Skill,
    /// When hands last left something behind: an entry of the field log, a refill.
    pub(crate) hands_seen: Option<Timestamp>,
    /// Who has the night, where that was said.
    pub(crate) given_night: Option<GivenNight>,
}

impl Knowledge {
    pub(crate) fn new(site: Site) -> Self {
        Self {
            records: DrumRecord::all(&site),
            sensors: Sensors::new(&site.sensors),
            water: WaterWatch::new(&site),
            ledger: Ledger::default(),
            traces: Traces::default(),
            all_along: AllAlong::default(),
            journal: Journal::default(),
            learned: Learned::default(),
            skill: Skill::default(),
            hands_seen: None,
            given_night: None,
            site,
        }
    }

    /// The site that the room was made for.
    #[must_use]
    pub fn site(&self) -> &Site {
        &self.site
    }

    /// How well the drums were forecast of late.
    #[must_use]
    pub fn skill(&self) -> &Skill {
        &self.skill
    }

    /// A forecast for every drum, then for every pump that several drums share.
    #[must_use]
    pub fn forecasts(&self, now: Timestamp) -> Vec<Forecast> {
        let mut forecasts = self.drum_forecasts(now);
        forecasts.extend(self.supplies(now));
        forecasts
    }

    pub(crate) fn drum_forecasts(&self, now: Timestamp) -> Vec<Forecast> {
        self.records.iter().map(|record| record.watch.forecast(now)).collect()
    }

    /// A forecast for every pump that several drums share.
    pub(crate) fn supplies(&self, now: Timestamp) -> Vec<Forecast> {
        let shared = |pump: &&Pump| self.site.drums_of(&pump.id).nth(1).is_some();
        let supply = |pump: &Pump| {
            let of_pump = self.records.iter().filter(|record| record.drum.pump == pump.id);
            let watches: Vec<_> = of_pump.map(|record| &record.watch).collect();
            supply_forecast(now, pump, &watches)
        };
        self.site.pumps.iter().filter(shared).map(supply).collect()
    }

    pub(crate) fn supply(&self, now: Timestamp, pump: &Id) -> Option<Forecast> {
        let of = Subject::Supply(pump.clone());
        self.supplies(now).into_iter().find(|forecast| forecast.of == of)
    }

    pub(crate) fn shift(&self, now: Timestamp) -> Shift {
        self.site.shift(now)
    }

    /// Somebody answered for the night, or it was given to them: this one, or by day the one that comes.
    pub(crate) fn give_the_night(&mut self, at: Timestamp, person: &Id, by_themselves: bool) {
        let evening = match self.shift(at) {
            Shift::Away { evening, .. } => Some(evening),
            Shift::Present => self.site.next_evening_check(at),
        };
        let Some(evening) = evening else { return };
        let confirmed = by_themselves.then_some(at);
        self.given_night = Some(GivenNight { evening, person: person.clone(), confirmed });
    }

    /// Who may be called.
    pub(crate) fn on_call(&self, now: Timestamp) -> OnCall {
        OnCall::at(&self.site, now, self.has_the_night(now))
    }

    /// The next visit after nobody is there: of this night, or of the night that comes.
    #[must_use]
    pub fn next_visit(&self, now: Timestamp) -> Option<Visit> {
        let at = match self.shift(now) {
            Shift::Away { visit, .. } => Some(visit),
            Shift::Present => self.site.visit_after(self.site.next_evening_check(now)?),
        };
        Some(Visit { at: at?, margin: self.site.staff.margin })
    }

    /// The next evening check, after which nobody is there.
    #[must_use]
    pub fn next_evening(&self, now: Timestamp) -> Option<Timestamp> {
        match self.shift(now) {
            Shift::Away { .. } => None,
            Shift::Present => self.site.next_evening_check(now),
        }
    }

    /// What speaks against an entry; an entry that the rest of the log or the sensors speak against is asked about where
    /// that is told: on the refill sheet, and in the evening.
    #[must_use]
    pub fn unlikely(&self, entry: &LogEntry) -> Option<Unlikely> {
        bounds::unlikely(&self.site, &entry.deed, (entry.received_at.duration_since(entry.at), None))
    }

    /// Whether each drum lasts until then, and what hands that are there at `from` can do; then each supply that
    /// several drums share.
    #[must_use]
    pub fn outlook(
        &self,
        now: Timestamp,
        visit: &Visit,
        from: Timestamp,
    ) -> (Vec<EveningDrum>, Vec<Forecast>) {
        (self.drums_until((now, &self.drum_forecasts(now)), visit, from), self.supplies(now))
    }

    /// Whether each drum lasts, and what hands that are there at `from` can do.
    pub(crate) fn drums_until(
        &self,
        (now, forecasts): (Timestamp, &[Forecast]),
        visit: &Visit,
        from: Timestamp,
    ) -> Vec<EveningDrum> {
        let drum = |(place, record): (usize, &DrumRecord)| {
            let state = self.state_at(forecasts, place)?;
            Some(EveningDrum {
                verdict: Verdict::of_outlook(&state.forecast.outlook, visit),
                remedy: self.remedy((now, forecasts), record, &state, (Some(visit), from)),
                state,
            })
        };
        self.records.iter().enumerate().filter_map(drum).collect()
    }

    /// What is known of the drum of a record.
    pub(crate) fn state_at(&self, forecasts: &[Forecast], place: usize) -> Option<DrumState> {
        let (record, forecast) = (self.records.get(place)?, forecasts.get(place)?);
        let level = self.site.level_sensor(&record.drum.id);
        let heard = level.and_then(|sensor| self.sensors.last(&sensor.id));
        // Where the draw of one of its drums isn't known, that of the pump isn't.
        let of_pump =
            self.records.iter().zip(forecasts).filter(|(other, _)| other.drum.pump == record.drum.pump);
        let in_use = of_pump.map(|(_, forecast)| forecast).filter(|forecast| forecast.in_use);
        let drawn = in_use.map(|forecast| Some(forecast.outlook.draw()?.0)).sum::<Option<f64>>();
        Some(record.state(&self.site, forecast, drawn.map(LitresPerHour), heard))
    }
}

/// The intake.
impl Knowledge {
    pub(crate) fn take_reading(&mut self, now: Timestamp, assessed: &Assessed) {
        let believed = assessed.flag.usable();
        self.sensors.heard(&assessed.reading.sensor, assessed.reading.at, believed);
        self.water.reading(assessed);
        self.traces.take(now, assessed);
        self.all_along.take(&self.site, assessed);
        for record in &mut self.records {
            record.watch.reading(now, assessed);
        }
    }

    pub(crate) fn take_log(&mut self, now: Timestamp, entry: &LogEntry) {
        self.note(now, entry);
        let aims = self.aims(now, &entry.deed);
        for (record, aim) in self.records.iter_mut().zip(aims) {
            record.log(now, entry, aim);
        }
    }

    /// What was written down long ago.
    pub(crate) fn remember(&mut self, now: Timestamp, entry: &LogEntry) {
        self.note(now, entry);
        // A pump stays as it was set, however long ago that was.
        if matches!(entry.deed, Deed::PumpSetting { .. } | Deed::InUse { .. }) {
            self.records.iter_mut().for_each(|record| record.log(now, entry, record.drum.target));
        }
    }

    /// What others than the drums keep of an entry.
    fn note(&mut self, now: Timestamp, entry: &LogEntry) {
        self.water.log(entry);
        if !entry.deed.is_said_from_afar() {
            self.see_hands(entry.at);
            self.journal.take(now, entry);
        }
        self.ledger.log(entry);
    }

    pub(crate) fn see_hands(&mut self, at: Timestamp) {
        self.hands_seen = self.hands_seen.max(Some(at));
    }

    /// What each drum was to hold when a deed was done; only a refill asks for more than the site file.
    fn aims(&self, now: Timestamp, deed: &Deed) -> Vec<GramsPerLitre> {
        if self.site.batches.is_empty() || !matches!(deed, Deed::Refill { .. }) {
            return self.records.iter().map(|record| record.drum.target).collect();
        }
        let forecasts = self.forecasts(now);
        self.records.iter().map(|record| self.aim(now, record, &forecasts).strength).collect()
    }

    pub(crate) fn recall_mark(&mut self, said: MarkForecast) {
        self.skill.count(&said);
        if let Some(record) = self.records.iter_mut().find(|record| record.drum.id == said.drum) {
            record.watch.recall_mark(said);
        }
    }

    /// Thinks through what has arrived.
    pub(crate) fn advance(&mut self, now: Timestamp) {
        for record in &mut self.records {
            record.watch.advance(now);
        }
        share_draws(&mut self.records.iter_mut().map(|record| &mut record.watch).collect::<Vec<_>>());
    }

    /// What people are told of a draw is what its drum is forecast by; the place of that drum's record.
    pub(crate) fn hint(&mut self, fault: &Fault, drum: Option<&Id>, since: Timestamp) -> Option<usize> {
        let Fault::PumpChanged(PumpChanged { by_clay: Some(by_clay), .. }) = fault else { return None };
        let place = self.records.iter().position(|record| drum == Some(&record.drum.id))?;
        self.records.get_mut(place)?.watch.hint_change(since, *by_clay);
        Some(place)
    }

    /// Learns of the clay, slowly; what of it is to be kept. Nothing but clay is to be clouding the water.
    pub(crate) fn learn(
        &mut self,
        now: Timestamp,
        forecasts: &[Forecast],
        clouded: bool,
    ) -> Option<LearnedYield> {
        if !self.learned.is_due(now) {
            return None;
        }
        let sample = self.sample(now, forecasts);
        self.learned.take(now, self.site.head_tank.volume, sample, clouded)
    }

    /// What each forecast had said of marks that were reached, or passed.
    pub(crate) fn score(&mut self, forecasts: &[Forecast]) -> Vec<MarkForecast> {
        let mut all = Vec::new();
        for (record, forecast) in self.records.iter_mut().zip(forecasts) {
            for said in record.watch.score(forecast) {
                self.skill.count(&said);
                all.push(said);
            }
        }
        all
    }
}
