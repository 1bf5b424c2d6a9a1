//! The whole room as one value with one door in.
//!
//! The rule of use: [`Room::handle`] one event, then [`Room::take_effects`] all, then the next event.
//! [`Room::next_deadline`] says when the room wants to be woken although nothing happened; waking it
//! early or twice does nothing. The same events give the same effects.

mod aim;
mod alarms;
mod attendance;
mod audience;
mod calendar;
mod catches;
mod clock;
mod dosing;
mod doubt;
mod drum_record;
mod ends;
mod estimates;
mod evening;
mod event;
mod evidence;
mod failures;
mod forwarding;
mod lasting;
mod learning;
mod levers;
mod link;
mod mixing;
mod mixture;
mod night;
mod pace;
mod planning;
mod queries;
mod reach;
mod recall;
mod recalls;
mod round;
mod runout;
mod scene;
mod session;
mod sheets;
mod silence;
mod storage;
mod unstirred;

use jiff::{SignedDuration, Timestamp};

use crate::alarms::Alarms;
use crate::attendance::Attendance;
use crate::calendar::Shift;
use crate::drum_record::DrumRecord;
use crate::ends::SupplyEnd;
use crate::evening::Evening;
use crate::evidence::Traces;
use crate::evidence::journal::Journal;
use crate::failures::Failures;
use crate::forwarding::Forwarding;
use crate::learning::Learned;
use crate::link::LinkWatch;
use crate::pace::Pace;
use crate::queries::Asked;
use crate::reach::Reach;
use crate::session::Session;
use crate::silence::Sensors;
use crate::storage::Storage;
use claymark_clay::water::WaterWatch;
use claymark_drum::supply_forecast;
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::Forecast;
use claymark_model::happening::{SeenRefill, What};
use claymark_model::ledger::Ledger;
use claymark_model::reading::Assessed;
use claymark_model::site::{Pump, Site};
use claymark_model::skill::{MarkForecast, Skill};
use claymark_model::units::GramsPerLitre;
use claymark_notice::Answer;
use claymark_notice::keeping::ClockStep;
use claymark_notice::link::{Link, Trouble};
use claymark_notice::query::Query;
use claymark_notice::register::Register;

pub use crate::event::{Deadline, Effect, Event, Why};

/// The whole room.
#[derive(Debug)]
pub struct Room {
    site: Site,
    records: Vec<DrumRecord>,
    sensors: Sensors,
    water: WaterWatch,
    ledger: Ledger,
    session: Session,
    storage: Storage,
    /// The clock was set, and people don't know yet.
    clock_stepped: Option<ClockStep>,
    traces: Traces,
    journal: Journal,
    failures: Failures,
    alarms: Alarms,
    ends: Vec<SupplyEnd>,
    attendance: Attendance,
    forwarding: Forwarding,
    learned: Learned,
    link: LinkWatch,
    reach: Reach,
    evening: Evening,
    register: Register,
    asked: Asked,
    last_number: u64,
    /// Since when the room speaks.
    live: Option<Timestamp>,
    checked_at: Option<Timestamp>,
    /// When something is due beside forecasts, evening check and silence, as of the last look.
    warnings_due: Option<Timestamp>,
    next_forecasts: Timestamp,
    forecasts_at: Option<Timestamp>,
    /// A refill was written down since forecasts and sheets were last given.
    refilled: bool,
    effects: Vec<Effect>,
    skill: Skill,
}

impl Room {
    /// A room in which nothing has happened yet.
    #[must_use]
    pub fn new(site: Site) -> Self {
        Self {
            records: DrumRecord::all(&site),
            sensors: Sensors::new(&site.sensors),
            water: WaterWatch::new(&site),
            ledger: Ledger::default(),
            session: Session::default(),
            storage: Storage::default(),
            clock_stepped: None,
            traces: Traces::default(),
            journal: Journal::default(),
            failures: Failures::default(),
            alarms: Alarms::default(),
            ends: SupplyEnd::all(&site),
            attendance: Attendance::default(),
            forwarding: Forwarding::default(),
            learned: Learned::default(),
            link: LinkWatch::default(),
            reach: Reach::default(),
            evening: Evening::default(),
            register: Register::default(),
            asked: Asked::default(),
            last_number: 0,
            live: None,
            checked_at: None,
            warnings_due: None,
            next_forecasts: Timestamp::MIN,
            forecasts_at: None,
            refilled: false,
            effects: Vec::new(),
            skill: Skill::default(),
            site,
        }
    }

    /// The site that the room was made for.
    #[must_use]
    pub fn site(&self) -> &Site {
        &self.site
    }

    /// One thing happened at `now`; `now` never goes back.
    ///
    /// When something arrives just when forecasts or the evening check are due, these wait for their tick:
    /// more may arrive in the same millisecond, and counts too.
    pub fn handle(&mut self, now: Timestamp, event: Event) {
        let arrived = matches!(event, Event::Reading(_) | Event::Log(_) | Event::Answer(_));
        let due = if arrived { now - SignedDuration::from_nanos(1) } else { now };
        let looked_at = self.checked_at.is_some_and(|checked_at| now < checked_at + LOOK_EVERY);
        let news = event.is_news(!looked_at);
        self.take_in(now, event);
        let happened = self.take_happenings();
        if let Some(live) = self.live
            && (news || happened || self.is_due(now))
        {
            self.round(now, live, due);
        }
    }

    /// What must be done, in order.
    pub fn take_effects(&mut self) -> Vec<Effect> {
        std::mem::take(&mut self.effects)
    }

    /// When the room wants to be woken, and why.
    #[must_use]
    pub fn next_deadline(&self) -> Option<Deadline> {
        let live = self.live?;
        [
            Some((self.next_forecasts, Why::Forecasts)),
            self.evening.wake().map(|at| (at, Why::EveningCheck)),
            self.warnings_due.map(|at| (at, Why::Warning)),
            self.sensors.wake(live).map(|at| (at, Why::Silence)),
        ]
        .into_iter()
        .flatten()
        .min_by_key(|(at, _)| *at)
    }

    /// How well the drums were forecast of late.
    #[must_use]
    pub fn skill(&self) -> &Skill {
        &self.skill
    }

    /// A forecast for every drum, then for every pump that several drums share.
    #[must_use]
    pub fn forecasts(&self, now: Timestamp) -> Vec<Forecast> {
        let mut forecasts: Vec<_> = self.records.iter().map(|record| record.watch.forecast(now)).collect();
        forecasts.extend(self.supplies(now));
        forecasts
    }

    fn supplies(&self, now: Timestamp) -> Vec<Forecast> {
        let shared = |pump: &&Pump| self.site.drums_of(&pump.id).nth(1).is_some();
        let supply = |pump: &Pump| {
            let of_pump = self.records.iter().filter(|record| record.drum.pump == pump.id);
            let watches: Vec<_> = of_pump.map(|record| &record.watch).collect();
            supply_forecast(now, pump, &watches)
        };
        self.site.pumps.iter().filter(shared).map(supply).collect()
    }

    fn take_in(&mut self, now: Timestamp, event: Event) {
        match event {
            Event::Reading(assessed) => self.take_reading(now, &assessed),
            Event::Log(entry) => self.take_log(now, &entry),
            Event::Answer(answer) => self.take_answer(now, &answer),
            Event::SessionLost { since } => {
                if !self.link.explains_loss(since) {
                    self.session.lost(now, since);
                }
            }
            Event::StoreFailed { why } => self.storage.failed(now, why),
            Event::StoreWorks => self.storage.works(),
            Event::StoreReplaced(fate) => self.storage.replaced(now, fate),
            Event::PastUnread { wholly } => self.past_unread(now, wholly),
            Event::ClockStepped(step) => self.clock_stepped(step),
            Event::NotForwarded { since, why } => self.forwarding.behind(since, why),
            Event::Forwarded => self.forwarding.caught_up(),
            Event::Recalled(notice) => self.recall(&notice),
            Event::Remembered(entry) => self.remember(now, &entry),
            Event::HadHappened(happening) => self.ledger.happened(&happening),
            Event::RecalledMark(said) => self.recall_mark(said),
            Event::RecalledYield(learned) => self.recall_yield(learned),
            Event::GoLive => self.go_live(now),
            Event::Tick => {}
            Event::Query(query) => self.asked.take(query),
            Event::NumberedUpTo(last) => {
                self.last_number = self.last_number.max(last);
                self.register.numbered_up_to(last);
            }
            Event::Link(link) => {
                if matches!(link, Link::Down(Trouble::TakenOver { .. })) {
                    self.session.explained();
                }
                self.link.take(now, link);
            }
            Event::NotDelivered { notice, missed } => self.reach.missed(now, *notice, missed),
        }
    }

    fn take_answer(&mut self, now: Timestamp, answer: &Answer) {
        // It mustn't silence a later notice of that number.
        if answer.notice > self.last_number {
            return;
        }
        self.register.answered(answer);
        let pace = Pace::of(&self.site, calendar::shift(&self.site.staff, &self.site.time_zone, now));
        for notice in [Some(answer.notice), self.reach.stands_for(answer.notice)].into_iter().flatten() {
            let answer = Answer { notice, ..answer.clone() };
            if let Some(late) = self.alarms.answered(&answer, &pace)
                && self.live.is_some()
            {
                self.asked.take(Query::too_late(&answer, late.there_by, late.needed_by));
            }
        }
    }

    /// What others than the drums keep of an entry.
    fn note(&mut self, now: Timestamp, entry: &LogEntry) {
        self.water.log(entry);
        self.attendance.seen(entry.at);
        self.journal.take(now, entry);
        self.ledger.log(entry);
    }

    fn take_log(&mut self, now: Timestamp, entry: &LogEntry) {
        self.note(now, entry);
        // A correction may take a refill back, whatever else it says.
        self.refilled |= matches!(entry.deed, Deed::Refill { .. }) || entry.replaces.is_some();
        let aims = self.aims(now, &entry.deed);
        for (record, aim) in self.records.iter_mut().zip(aims) {
            record.log(now, entry, aim);
        }
        self.hands_seen(now, entry);
    }

    /// Somebody is there: what only needs looking at is looked at, and a refill that was written down shows soon.
    fn hands_seen(&mut self, now: Timestamp, entry: &LogEntry) {
        self.alarms.attended(entry.at);
        let Deed::Refill { drum, .. } = &entry.deed else { return };
        for (place, record) in self.records.iter().enumerate() {
            if record.is_meant_by(drum.as_ref())
                && let Some(end) = self.ends.iter().find(|end| end.has(place))
            {
                self.alarms.begun(&end.cause, entry.at, entry.at.max(now) + REFILL_SHOWS);
            }
        }
    }

    /// What was written down long ago.
    fn remember(&mut self, now: Timestamp, entry: &LogEntry) {
        self.note(now, entry);
        // A pump stays as it was set, however long ago that was.
        if matches!(entry.deed, Deed::PumpSetting { .. } | Deed::InUse { .. }) {
            self.records.iter_mut().for_each(|record| record.log(now, entry, record.drum.target));
        }
    }

    /// What each drum was to hold when a deed was done; only a refill asks for more than the site file.
    fn aims(&self, now: Timestamp, deed: &Deed) -> Vec<GramsPerLitre> {
        if self.site.batches.is_empty() || !matches!(deed, Deed::Refill { .. }) {
            return self.records.iter().map(|record| record.drum.target).collect();
        }
        let forecasts = self.forecasts(now);
        self.records.iter().map(|record| self.aim(now, record, &forecasts).strength).collect()
    }

    fn recall_mark(&mut self, said: MarkForecast) {
        self.skill.count(&said);
        if let Some(record) = self.records.iter_mut().find(|record| record.drum.id == said.drum) {
            record.watch.recall_mark(said);
        }
    }

    fn take_reading(&mut self, now: Timestamp, assessed: &Assessed) {
        self.sensors.heard(&assessed.reading.sensor, assessed.reading.at);
        self.water.reading(assessed);
        self.traces.take(now, assessed);
        for record in &mut self.records {
            record.watch.reading(now, assessed);
        }
    }

    fn take_happenings(&mut self) -> bool {
        let mut happenings = Vec::new();
        for (place, record) in self.records.iter_mut().enumerate() {
            let was_dry = record.ran_empty().is_some();
            let new = record.take_happenings();
            for happening in &new {
                let What::Refilled { added, to, logged } = happening.what else { continue };
                let refill = SeenRefill { at: happening.at, added, to, logged };
                self.attendance.seen(refill.at);
                let Some(end) = self.ends.iter_mut().find(|end| end.has(place)) else { continue };
                let called = self.alarms.last(&end.cause);
                if was_dry {
                    self.failures.dry_drum_filled(refill.at, called.map(|told| told.number));
                }
                end.runout.refill_seen(refill, called.map(|told| told.at));
            }
            happenings.extend(new);
        }
        let any = !happenings.is_empty();
        // What is found again while the past is told had been kept when it was found first.
        if self.live.is_some() {
            for happening in &happenings {
                self.ledger.happened(happening);
            }
            self.effects.extend(happenings.into_iter().map(Effect::Happened));
        }
        any
    }

    fn is_due(&self, now: Timestamp) -> bool {
        self.next_deadline().is_some_and(|(at, _)| at <= now)
    }

    fn go_live(&mut self, now: Timestamp) {
        let tonight = match self.shift(now) {
            Shift::Away { evening, .. } => Some(evening),
            Shift::Present => None,
        };
        let upcoming = calendar::next_evening(&self.site.staff, &self.site.time_zone, now);
        self.evening.go_live(now, tonight, upcoming);
        self.next_forecasts = at_or_after(now);
        self.refilled = false;
        self.live = Some(now);
    }

    fn shift(&self, now: Timestamp) -> Shift {
        calendar::shift(&self.site.staff, &self.site.time_zone, now)
    }
}

/// The first multiple of ten minutes, UTC, at or after `now`.
fn at_or_after(now: Timestamp) -> Timestamp {
    let past = now.as_nanosecond().rem_euclid(FORECAST_EVERY.as_nanos());
    let rest = if past == 0 { 0 } else { FORECAST_EVERY.as_nanos() - past };
    now + SignedDuration::from_nanos_i128(rest)
}

/// Forecasts are published at each multiple of this, UTC.
const FORECAST_EVERY: SignedDuration = SignedDuration::from_mins(10);

/// A refill that was written down shows in the level within this, or it wasn't one.
const REFILL_SHOWS: SignedDuration = SignedDuration::from_mins(20);

/// Readings come in every few seconds; looking at all drums once a minute is soon enough.
const LOOK_EVERY: SignedDuration = SignedDuration::from_mins(1);
