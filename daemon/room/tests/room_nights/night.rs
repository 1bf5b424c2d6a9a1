//! An invented room on a stepped clock: two drums, a head tank, three people to call.

pub use claymark_invented::id;

use claymark_clay::LearnedYield;
use claymark_clay::refill::sheet::Sheet;
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::Forecast;
use claymark_model::id::Id;
use claymark_model::quality::Flag;
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_model::site::{Place, Site};
use claymark_model::skill::MarkForecast;
use claymark_model::units::Litres;
use claymark_notice::{Answer, Audience, Notice};
use claymark_room::{Effect, Event, Room};
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use crate::house::{LITRES_PER_MM, ramp, site};

/// A room under way.
pub struct RoomNight {
    pub room: Room,
    zone: TimeZone,
    pub now: Timestamp,
    drums: Vec<NightDrum>,
    turbidity_silent: bool,
    /// What a restart finds in the store.
    everything: Vec<(Timestamp, Event)>,
    pub forecasts: Vec<Forecast>,
    pub sheets: Vec<Sheet>,
    /// The newest word on each mark of which something was said.
    pub marks: Vec<MarkForecast>,
    /// What was learned of the clay.
    pub yields: Vec<LearnedYield>,
}

/// A notice, and when by the clock on the wall it came to whom.
#[derive(Debug, Clone)]
pub struct HeardNotice {
    pub clock: String,
    pub to: String,
    pub notice: Notice,
}

/// What is truly in a drum.
pub struct NightDrum {
    id: Id,
    litres: f64,
    litres_per_h: f64,
    sensor: SensorState,
}

#[derive(PartialEq)]
enum SensorState {
    Speaks,
    Silent,
    /// The same value again and again, mm.
    Stuck(f64),
    /// Of foam that rises and falls in on itself.
    Foams,
    /// Of foam, and told from the level by the quality tests.
    Fails,
}

impl NightDrum {
    pub fn holds(&mut self, litres: f64) -> &mut Self {
        self.litres = litres;
        self
    }
    pub fn draws(&mut self, litres_per_h: f64) -> &mut Self {
        self.litres_per_h = litres_per_h;
        self
    }
    pub fn falls_silent(&mut self) {
        self.sensor = SensorState::Silent;
    }
    pub fn sticks(&mut self) {
        self.sensor = SensorState::Stuck(self.litres / LITRES_PER_MM);
    }
    pub fn pours(&mut self, litres: f64) -> &mut Self {
        self.litres += litres;
        self
    }
    pub fn litres(&self) -> f64 {
        self.litres
    }
    pub fn foams(&mut self) {
        self.sensor = SensorState::Foams;
    }
    pub fn fails(&mut self) {
        self.sensor = SensorState::Fails;
    }
    pub fn speaks_again(&mut self) {
        self.sensor = SensorState::Speaks;
    }
}

impl RoomNight {
    /// Begins at that civil time in Helsinki.
    pub fn begin(local: &str) -> Self {
        Self::begin_with(local, |_| {}, None)
    }

    /// The same, but both drums are drawn by one pump.
    pub fn begin_with_one_pump(local: &str) -> Self {
        Self::begin_with(local, |site| site.drums.iter_mut().for_each(|drum| drum.pump = id("p1")), None)
    }

    /// Begins after a restart of a daemon whose store remembers that deed of long ago.
    pub fn begin_remembering(local: &str, long_ago: &str, deed: Deed) -> Self {
        Self::begin_with(local, |_| {}, Some((long_ago, deed)))
    }

    /// The site file says that the clay clouds the water by 0.85 NTU for each mg/L.
    pub fn begin_with_a_written_yield(local: &str) -> Self {
        Self::begin_with(local, |site| site.clay.ntu_per_mg_l = Some(0.85), None)
    }

    /// Only drum a, and fish whose plan lowers the water's turbidity from 65 NTU on day 30 by 6 NTU a day; on the first
    /// day of the night they are at `fish_day`. κ 0.85, 2 NTU without clay; nobody measures the head tank.
    pub fn begin_on_the_ramp(local: &str, fish_day: i32) -> Self {
        Self::begin_with(
            local,
            |site| {
                let drum_b = Place::Drum(id("b"));
                site.drums.retain(|drum| drum.id == id("a"));
                site.sensors.retain(|sensor| sensor.place != drum_b && sensor.place != Place::Head);
                (site.clay.ntu_per_mg_l, site.clay.background_ntu) = (Some(0.85), 2.0);
                let date = local.parse::<DateTime>().expect("a civil time").date();
                site.batches = vec![ramp(fish_day, date)];
            },
            None,
        )
    }

    /// In a room whose clay clouds by 0.85 NTU for each mg/L, 44.7 L/min of fresh water, and what else is changed.
    pub fn begin_where(local: &str, change: impl FnOnce(&mut Site)) -> Self {
        let written = |site: &mut Site| {
            site.clay.ntu_per_mg_l = Some(0.85);
            change(site);
        };
        let mut night = Self::begin_with(local, written, None);
        night.fresh_water(44.7);
        night
    }

    /// Somebody measures the water into the head tank, L/min.
    pub fn fresh_water(&mut self, flow: f64) {
        self.log(Deed::FlowCheck {
            place: Some(Place::Head),
            volume: Some(Litres(flow)),
            seconds: Some(60.0),
        });
    }

    fn begin_with(local: &str, change: impl FnOnce(&mut Site), remembered: Option<(&str, Deed)>) -> Self {
        let zone = TimeZone::get("Europe/Helsinki").expect("a zone of the tz database");
        let mut site = site(&zone);
        change(&mut site);
        let mut night = Self {
            room: Room::new(site),
            now: instant(&zone, local),
            drums: ["a", "b"]
                .map(|name| NightDrum {
                    id: id(name),
                    litres: 160.0,
                    litres_per_h: 6.0,
                    sensor: SensorState::Speaks,
                })
                .into(),
            turbidity_silent: false,
            everything: Vec::new(),
            forecasts: Vec::new(),
            sheets: Vec::new(),
            marks: Vec::new(),
            yields: Vec::new(),
            zone,
        };
        if let Some((long_ago, deed)) = remembered {
            let at = night.at(long_ago);
            let key = "long-ago".to_owned();
            let entry = LogEntry { key, at, received_at: at, by: None, replaces: None, deed };
            night.room.handle(at, Event::Remembered(entry));
        }
        night.give(Event::GoLive);
        night.take();
        night
    }

    pub fn drum(&mut self, name: &str) -> &mut NightDrum {
        self.drums.iter_mut().find(|drum| drum.id.as_str() == name).expect("drum a or b")
    }

    pub fn network_down(&mut self, down: bool) {
        self.turbidity_silent = down;
        for drum in &mut self.drums {
            drum.sensor = if down { SensorState::Silent } else { SensorState::Speaks };
        }
    }

    pub fn at(&self, local: &str) -> Timestamp {
        instant(&self.zone, local)
    }

    /// Lives until that civil time, a reading a minute from each sensor; what was said on the way.
    pub fn until(&mut self, local: &str) -> Vec<HeardNotice> {
        let end = self.at(local);
        let mut said = self.take();
        while self.now < end {
            let next = self.now + SignedDuration::from_mins(1);
            said.extend(self.deadlines_before(next));
            self.now = next;
            self.flow();
            for reading in self.readings() {
                self.give(Event::Reading(reading));
                said.extend(self.take());
            }
        }
        said
    }

    /// Lives until something is said, at most until that civil time.
    pub fn until_said(&mut self, limit: &str) -> Vec<HeardNotice> {
        while self.now < self.at(limit) {
            let next = self.zone.to_datetime(self.now + SignedDuration::from_mins(1));
            let said = self.until(&next.to_string());
            if !said.is_empty() {
                return said;
            }
        }
        Vec::new()
    }

    /// Lives for so many minutes.
    pub fn minutes(&mut self, minutes: i64) -> Vec<HeardNotice> {
        let end = self.zone.to_datetime(self.now + SignedDuration::from_mins(minutes));
        self.until(&end.to_string())
    }

    /// Something happens now.
    pub fn event(&mut self, event: Event) -> Vec<HeardNotice> {
        self.give(event);
        self.take()
    }

    pub fn answer(&mut self, notice: u64) -> Vec<HeardNotice> {
        self.answer_by(notice, Some("kim"), None)
    }

    pub fn answer_by(
        &mut self,
        notice: u64,
        by: Option<&str>,
        there_by: Option<Timestamp>,
    ) -> Vec<HeardNotice> {
        let (at, by) = (self.now, by.map(str::to_owned));
        self.event(Event::Answer(Answer { notice, by, at, there_by }))
    }

    pub fn log(&mut self, deed: Deed) -> Vec<HeardNotice> {
        self.entry(deed, None)
    }

    /// Corrects the entry that was written down last.
    pub fn correct(&mut self, deed: Deed) -> Vec<HeardNotice> {
        let last = self.everything.iter().rev().find_map(|(_, event)| match event {
            Event::Log(entry) => Some(entry.key.clone()),
            Event::Reading(_) | Event::Answer(_) | Event::SessionLost { .. } | Event::StoreFailed { .. } => {
                None
            }
            Event::NotForwarded { .. } | Event::Forwarded => None,
            Event::StoreReplaced(_) | Event::PastUnread { .. } | Event::ClockStepped(_) => None,
            Event::Remembered(_) | Event::HadHappened(_) => None,
            Event::StoreWorks | Event::Recalled(_) | Event::RecalledMark(_) => None,
            Event::RecalledYield(_) | Event::GoLive | Event::Tick => None,
            Event::Query(_) | Event::NumberedUpTo(_) => None,
            Event::Link(_) | Event::NotDelivered { .. } | Event::Clocks(_) | Event::WasAway { .. } => None,
        });
        self.entry(deed, last)
    }

    fn entry(&mut self, deed: Deed, replaces: Option<String>) -> Vec<HeardNotice> {
        self.entry_of(self.now, deed, replaces)
    }

    /// Somebody writes down now what was done then.
    pub fn log_of(&mut self, local: &str, deed: Deed) -> Vec<HeardNotice> {
        self.entry_of(self.at(local), deed, None)
    }

    fn entry_of(&mut self, at: Timestamp, deed: Deed, replaces: Option<String>) -> Vec<HeardNotice> {
        let key = format!("entry-{}", self.everything.len());
        self.event(Event::Log(LogEntry { key, at, received_at: self.now, by: None, replaces, deed }))
    }

    /// The daemon dies and tells itself the past again; `away` is how long that takes.
    pub fn restart(&mut self, away: SignedDuration) -> Vec<HeardNotice> {
        self.now += away;
        self.flow_for(away);
        let site = self.room.known().site().clone();
        self.room = Room::new(site);
        let past = std::mem::take(&mut self.everything);
        let marks = self.marks.iter().map(|said| (said.made_at, Event::RecalledMark(said.clone())));
        let yields = self.yields.iter().map(|learned| (learned.learned_at, Event::RecalledYield(*learned)));
        let mut retold: Vec<_> = past.iter().cloned().chain(marks).chain(yields).collect();
        retold.sort_by_key(|(at, _)| *at);
        for (at, event) in retold {
            self.room.handle(at, event);
            assert_eq!(self.room.take_effects(), [], "nothing is said before it goes live");
            assert_eq!(self.room.next_deadline(), None);
        }
        self.everything = past;
        self.room.handle(self.now, Event::GoLive);
        self.take()
    }

    /// The daemon dies and can read nothing of the past.
    pub fn restart_without_past(&mut self, away: SignedDuration) -> Vec<HeardNotice> {
        self.now += away;
        self.flow_for(away);
        self.room = Room::new(self.room.known().site().clone());
        self.everything.clear();
        self.room.handle(self.now, Event::PastUnread { wholly: true });
        self.room.handle(self.now, Event::GoLive);
        self.take()
    }

    fn give(&mut self, event: Event) {
        match &event {
            Event::Reading(_) | Event::Log(_) | Event::Answer(_) => {
                self.everything.push((self.now, event.clone()));
            }
            Event::SessionLost { .. } | Event::StoreFailed { .. } | Event::StoreWorks => {}
            Event::NotForwarded { .. } | Event::Forwarded => {}
            Event::StoreReplaced(_) | Event::PastUnread { .. } | Event::ClockStepped(_) => {}
            Event::Remembered(_) | Event::HadHappened(_) => {}
            Event::Recalled(_) | Event::RecalledMark(_) | Event::RecalledYield(_) => {}
            Event::GoLive | Event::Tick | Event::Query(_) | Event::NumberedUpTo(_) => {}
            Event::Link(_) | Event::NotDelivered { .. } | Event::Clocks(_) | Event::WasAway { .. } => {}
        }
        self.room.handle(self.now, event);
    }

    fn deadlines_before(&mut self, limit: Timestamp) -> Vec<HeardNotice> {
        let mut said = Vec::new();
        let mut last = None;
        while let Some(deadline) = self.room.next_deadline().filter(|(at, _)| *at < limit) {
            assert_ne!(last, Some(deadline), "the same deadline twice");
            last = Some(deadline);
            self.now = self.now.max(deadline.0);
            self.room.handle(self.now, Event::Tick);
            said.extend(self.take());
        }
        said
    }

    fn take(&mut self) -> Vec<HeardNotice> {
        let mut said = Vec::new();
        for effect in self.room.take_effects() {
            match effect {
                Effect::Notify(notice) => {
                    self.everything.push((self.now, Event::Recalled(notice.clone())));
                    said.push(HeardNotice {
                        clock: self.zone.to_datetime(notice.at).strftime("%m-%d %H:%M").to_string(),
                        to: match &notice.to {
                            Audience::Everyone => "everyone".to_owned(),
                            Audience::Only(contacts) => {
                                contacts.iter().map(Id::as_str).collect::<Vec<_>>().join(" and ")
                            }
                        },
                        notice,
                    });
                }
                Effect::Forecast(forecast) => self.forecasts.push(forecast),
                Effect::Mark(said) => {
                    let same = |old: &MarkForecast| {
                        (old.made_at, &old.drum, old.mark.0.to_bits())
                            == (said.made_at, &said.drum, said.mark.0.to_bits())
                    };
                    self.marks.retain(|old| !same(old));
                    self.marks.push(said);
                }
                Effect::Learned(learned) => self.yields.push(learned),
                Effect::Sheet(sheet) => self.sheets.push(*sheet),
                Effect::Happened(_) => {}
            }
        }
        said
    }

    fn flow(&mut self) {
        self.flow_for(SignedDuration::from_mins(1));
    }

    fn flow_for(&mut self, time: SignedDuration) {
        for drum in &mut self.drums {
            drum.litres = (drum.litres - drum.litres_per_h * time.as_secs_f64() / 3600.0).max(11.0);
        }
    }

    fn readings(&self) -> Vec<Assessed> {
        let minute = self.now.as_second().div_euclid(60);
        // Ripple of half a millimetre, from memory typical of a bubbling drum; any fixed pattern serves.
        let pattern = [0.4, -0.3, 0.1, -0.5, 0.3, 0.0, -0.1];
        let ripple =
            usize::try_from(minute % 7).ok().and_then(|place| pattern.get(place)).copied().unwrap_or(0.0);
        let mut readings = Vec::new();
        for drum in self.drums.iter().filter(|drum| drum.sensor != SensorState::Silent) {
            let mm = match drum.sensor {
                SensorState::Speaks | SensorState::Silent => drum.litres / LITRES_PER_MM + ripple,
                SensorState::Stuck(mm) => mm,
                SensorState::Foams | SensorState::Fails => (drum.litres + foam(minute)) / LITRES_PER_MM,
            };
            readings.push((format!("drum-{}-level", drum.id), mm));
        }
        if !self.turbidity_silent {
            readings.push(("head-turbidity".to_owned(), 64.0 + ripple));
            readings.push(("t1-oxygen".to_owned(), 8.4 + ripple / 10.0));
        }
        let fails = |sensor: &str| {
            let failing = |drum: &NightDrum| {
                drum.sensor == SensorState::Fails && sensor == format!("drum-{}-level", drum.id)
            };
            self.drums.iter().any(failing)
        };
        let assess = |(sensor, value): (String, f64)| Assessed {
            reading: Reading::new(id(&sensor), self.now, value),
            received_at: self.now,
            tests: TestFlags::NOT_EVALUATED,
            flag: if fails(&sensor) { Flag::Fail } else { Flag::Pass },
        };
        readings.into_iter().map(assess).collect()
    }
}

/// Litres of foam on the level in that minute: any restless pattern serves.
fn foam(minute: i64) -> f64 {
    let pattern = [35.0, 80.0, 12.0, 60.0, 95.0, 22.0, 50.0, 8.0, 70.0, 28.0, 88.0];
    usize::try_from(minute % 11).ok().and_then(|place| pattern.get(place)).copied().unwrap_or(40.0)
}

fn instant(zone: &TimeZone, local: &str) -> Timestamp {
    let civil: DateTime = local.parse().expect("a civil time");
    zone.to_ambiguous_timestamp(civil).compatible().expect("a time of our days")
}
