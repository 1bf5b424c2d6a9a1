//! The whole room as one value with one door in.
//!
//! The rule of use: [`Room::handle`] one event, then [`Room::take_effects`] all, then the next event.
//! [`Room::next_deadline`] says when the room wants to be woken although nothing happened; waking it
//! early or twice does nothing. The same events give the same effects.
//!
//! Four parts: what the room has taken in ([`Knowledge`], which all may read), what it watches (`watches`: each part changes
//! its own state alone), what tells (`announcer`, with the table of `alarms`), and when it looks (`timetable`). A `round`
//! hands each watch a `scene::RoomView` and carries out the `action`s that it asks for; `failures` get `evidence` of it.

mod action;
mod aim;
mod alarms;
mod all_along;
mod announcer;
mod attendance;
mod audience;
mod away;
mod catches;
mod clock;
mod device_clocks;
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
mod glance;
mod handover;
mod knowledge;
mod lasting;
mod learned;
mod learning;
mod levers;
mod link;
mod mixing;
mod mixture;
mod morning;
mod night;
mod on_call;
mod pace;
mod planning;
mod queries;
mod reach;
mod recall;
mod round;
mod runout;
mod scene;
mod second_look;
mod sensors;
mod session;
mod sheets;
mod sight;
mod silence;
mod storage;
mod test_call;
mod timetable;
mod tonight;
mod unstirred;
mod watches;

use jiff::{SignedDuration, Timestamp};

use crate::announcer::Announcer;
use crate::ends::SupplyEnds;
use crate::pace::Pace;
use crate::scene::{RoomView, Scene};
use crate::timetable::Timetable;
use crate::watches::Watches;
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::happening::{SeenRefill, What};
use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_notice::dose::MissingFigure;
use claymark_notice::glance::Glance;
use claymark_notice::keeping::StoreFate;
use claymark_notice::link::{Link, Trouble};
use claymark_notice::query::{About, Query};
use claymark_notice::register::{Register, by_the_clock};
use claymark_notice::unstirred::UnstirredDrum;
use claymark_notice::{Answer, ShelvedAlarm};

pub use crate::event::{Deadline, Effect, Event, Why};
pub use crate::knowledge::Knowledge;

/// The whole room.
#[derive(Debug)]
pub struct Room {
    known: Knowledge,
    watches: Watches,
    announcer: Announcer,
    timetable: Timetable,
}

impl Room {
    /// A room in which nothing has happened yet.
    #[must_use]
    pub fn new(site: Site) -> Self {
        Self {
            watches: Watches { ends: SupplyEnds::all(&site), ..Watches::default() },
            announcer: Announcer::default(),
            timetable: Timetable::default(),
            known: Knowledge::new(site),
        }
    }

    /// What it has taken in, and what follows from that.
    #[must_use]
    pub fn known(&self) -> &Knowledge {
        &self.known
    }

    /// Which notices there are, and what an answer to them comes to.
    #[must_use]
    pub fn register(&self) -> &Register {
        self.announcer.register()
    }

    /// How it stands at `now`, which is never before the last event.
    #[must_use]
    pub fn glance(&self, now: Timestamp) -> Glance {
        glance::glance(&self.known, &self.announcer.alarms, now)
    }

    /// What happens in a drum that isn't stirred; `coarse_um` instead of the site file's.
    pub fn unstirred_drum(
        &self,
        now: Timestamp,
        drum: &Id,
        coarse_um: Option<f64>,
    ) -> Result<UnstirredDrum, MissingFigure> {
        let scene = Scene::of(&self.known, now, now, now);
        let view = RoomView { known: &self.known, scene: &scene, alarms: &self.announcer.alarms };
        self.known.unstirred_drum(now, drum, coarse_um, self.watches.failures.starving(&view, drum))
    }

    /// One thing happened at `now`; `now` never goes back.
    ///
    /// When something arrives just when forecasts or the evening check are due, these wait for their tick:
    /// more may arrive in the same millisecond, and counts too.
    pub fn handle(&mut self, now: Timestamp, event: Event) {
        let arrived = matches!(event, Event::Reading(_) | Event::Log(_) | Event::Answer(_));
        let due = if arrived { now - SignedDuration::from_nanos(1) } else { now };
        let news = event.is_news(self.timetable.is_time_to_look(now));
        self.take_in(now, event);
        let happened = self.take_happenings();
        if let Some(live) = self.timetable.live
            && (news || happened || self.is_due(now))
        {
            self.round(now, live, due);
        }
    }

    /// What must be done, in order.
    pub fn take_effects(&mut self) -> Vec<Effect> {
        self.announcer.take_effects()
    }

    /// When the room wants to be woken, and why.
    #[must_use]
    pub fn next_deadline(&self) -> Option<Deadline> {
        let live = self.timetable.live?;
        let silence = self.watches.silence.wake(&self.known.sensors, live);
        [
            Some((self.timetable.next_forecasts, Why::Forecasts)),
            self.watches.evening.wake().map(|at| (at, Why::EveningCheck)),
            self.watches.morning.wake().map(|at| (at, Why::Morning)),
            self.timetable.warnings.map(|at| (at, Why::Warning)),
            silence.map(|at| (at, Why::Silence)),
        ]
        .into_iter()
        .flatten()
        .min_by_key(|(at, _)| *at)
    }

    fn take_in(&mut self, now: Timestamp, event: Event) {
        let Self { known, watches, announcer, timetable } = self;
        match event {
            Event::Reading(assessed) => {
                watches.away.heard(&assessed);
                known.take_reading(now, &assessed);
            }
            Event::Log(entry) => self.take_log(now, &entry),
            Event::Answer(answer) => self.take_answer(now, &answer),
            Event::SessionLost { since } => {
                if !watches.link.explains_loss(since) {
                    watches.session.lost(now, since);
                }
            }
            Event::StoreFailed { why } => watches.storage.failed(now, why),
            Event::StoreWorks => watches.storage.works(),
            Event::StoreReplaced(fate) => watches.storage.replaced(now, fate),
            Event::PastUnread { wholly } => {
                // Numbers that were given before aren't known for sure.
                announcer.numbered_up_to(by_the_clock(now));
                if wholly {
                    watches.storage.replaced(now, StoreFate::PastUnread);
                }
            }
            Event::ClockStepped(step) => {
                timetable.clock_stepped(step.at);
                watches.clock_step = Some(step);
            }
            Event::Clocks(findings) => watches.clocks.take(findings),
            Event::WasAway { since } => watches.away.begin(since, now),
            Event::NotForwarded { since, why } => watches.forwarding.behind(since, why),
            Event::Forwarded => watches.forwarding.caught_up(),
            Event::Recalled(notice) => self.recall(&notice),
            Event::Remembered(entry) => known.remember(now, &entry),
            Event::HadHappened(happening) => known.ledger.happened(&happening),
            Event::RecalledMark(said) => known.recall_mark(said),
            Event::RecalledYield(learned) => known.learned.recall(learned),
            Event::GoLive => {
                watches.evening.go_live(now, &known.site);
                watches.morning.go_live(now, &known.site);
                watches.test.go_live(now, &known.site);
                timetable.go_live(now);
            }
            Event::Tick => {}
            Event::Query(query) => watches.asked.take(query),
            Event::NumberedUpTo(last) => announcer.numbered_up_to(last),
            Event::Link(link) => {
                if matches!(link, Link::Down(Trouble::TakenOver { .. })) {
                    watches.session.explained();
                }
                watches.link.take(now, link);
            }
            Event::NotDelivered { notice, missed } => watches.reach.missed(now, *notice, missed),
        }
    }

    fn take_answer(&mut self, now: Timestamp, answer: &Answer) {
        let on_call = self.known.on_call(now);
        let named = answer.by.as_deref().and_then(|by| on_call.named(by));
        if let Some(person) = named.filter(|_| self.announcer.register().is_test(answer.notice)) {
            self.watches.test.answered(person);
        }
        if self.announcer.register().gives_the_night(answer.notice) {
            let first = on_call.for_danger().first().map(|contact| &contact.id);
            let person = if answer.by.is_some() { named } else { first };
            if let Some(person) = person {
                self.known.give_the_night(now, person, true);
            }
        }
        let pace = Pace::of(&self.known.site, self.known.shift(now), &on_call);
        for (answer, late) in self.announcer.answered(answer, &pace) {
            if self.timetable.live.is_some() {
                self.watches.asked.take(Query::too_late(&answer, late.there_by, late.needed_by));
            }
        }
    }

    /// Somebody is there: what only needs looking at is looked at, and a refill that was written down shows soon.
    fn take_log(&mut self, now: Timestamp, entry: &LogEntry) {
        self.known.take_log(now, entry);
        if let Deed::Tonight { person: Some(person) } = &entry.deed {
            let on_call = self.known.on_call(now);
            let by_themselves = entry.by.as_deref().and_then(|by| on_call.named(by)) == Some(person);
            self.known.give_the_night(entry.at, person, by_themselves);
        }
        if let Deed::Shelve { notice, until, why } = &entry.deed {
            let shelf =
                ShelvedAlarm { notice: *notice, until: *until, by: entry.by.clone(), why: why.clone() };
            self.shelve(now, shelf);
        }
        if entry.deed.is_said_from_afar() {
            return;
        }
        let alarms = &mut self.announcer.alarms;
        alarms.attended(entry.at);
        let refilled = matches!(entry.deed, Deed::Refill { .. });
        // A correction may take a refill back, whatever it says.
        self.timetable.refilled(refilled || entry.replaces.is_some());
        if !refilled {
            return;
        }
        for (place, record) in self.known.records.iter().enumerate() {
            if record.is_meant_by(entry.deed.drum())
                && let Some(cause) = self.watches.ends.cause_of(place)
            {
                alarms.begun(cause, entry.at, entry.at.max(now) + REFILL_SHOWS);
            }
        }
    }

    fn shelve(&mut self, now: Timestamp, shelf: ShelvedAlarm) {
        let on_call = self.known.on_call(now);
        let pace = Pace::of(&self.known.site, self.known.shift(now), &on_call);
        let (notice, by) = (shelf.notice, shelf.by.clone());
        if let Err(why) = self.announcer.alarms.shelve(shelf, now, &pace)
            && self.timetable.live.is_some()
        {
            self.watches.asked.take(Query { at: now, by, about: About::NotShelved { notice, why } });
        }
    }

    fn take_happenings(&mut self) -> bool {
        let mut happenings = Vec::new();
        for place in 0..self.known.records.len() {
            let Some(record) = self.known.records.get_mut(place) else { continue };
            let was_dry = record.ran_empty().is_some();
            let new = record.take_happenings();
            for happening in &new {
                let What::Refilled { added, to, logged } = happening.what else { continue };
                let refill = SeenRefill { at: happening.at, added, to, logged };
                self.known.see_hands(refill.at);
                let cause = self.watches.ends.cause_of(place);
                let called = cause.and_then(|cause| self.announcer.alarms.last(cause));
                if was_dry {
                    self.watches.failures.dry_drum_filled(refill.at, called.map(|told| told.number));
                }
                self.watches.ends.refill_seen(place, refill, called.map(|told| told.at));
            }
            happenings.extend(new);
        }
        let any = !happenings.is_empty();
        // What is found again while the past is told had been kept when it was found first.
        if self.timetable.live.is_some() {
            for happening in &happenings {
                self.known.ledger.happened(happening);
            }
            self.announcer.effect(happenings.into_iter().map(Effect::Happened));
        }
        any
    }

    fn is_due(&self, now: Timestamp) -> bool {
        self.next_deadline().is_some_and(|(at, _)| at <= now)
    }
}

/// A refill that was written down shows in the level within this, or it wasn't one.
const REFILL_SHOWS: SignedDuration = SignedDuration::from_mins(20);
