//! An invented room on a stepped clock: two drums, a head tank, three people to call.

use claymark_core::clay::LearnedYield;
use claymark_core::fieldlog::{Deed, LogEntry};
use claymark_core::forecast::Forecast;
use claymark_core::id::Id;
use claymark_core::notice::{Answer, Audience, Notice};
use claymark_core::plan::{Batch, Plan, Ramp, Row};
use claymark_core::quality::Flag;
use claymark_core::quality::thresholds::{Span, Thresholds};
use claymark_core::reading::{Assessed, Reading, TestFlags};
use claymark_core::room::{Effect, Event, Room};
use claymark_core::site::{
    ClaySupply, Contact, Draws, Drum, HeadTank, Place, Premix, Pump, Quantity, Senses, Sensor, Site, Staff,
    Tank, WaterLimits,
};
use claymark_core::skill::MarkForecast;
use claymark_core::strapping::StrappingTable;
use claymark_core::units::{GramsPerLitre, Kilograms, Litres, Millimetres, PeopleUnits, Unit};
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

/// A room under way.
pub struct Night {
    pub room: Room,
    zone: TimeZone,
    pub now: Timestamp,
    drums: Vec<Vessel>,
    turbidity_silent: bool,
    /// What a restart finds in the store.
    everything: Vec<(Timestamp, Event)>,
    pub forecasts: Vec<Forecast>,
    /// The newest word on each mark of which something was said.
    pub marks: Vec<MarkForecast>,
    /// What was learned of the clay.
    pub yields: Vec<LearnedYield>,
}

/// A notice, and when by the clock on the wall it came to whom.
#[derive(Debug, Clone)]
pub struct Said {
    pub clock: String,
    pub to: String,
    pub notice: Notice,
}

/// What is truly in a drum.
pub struct Vessel {
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
}

impl Vessel {
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
    pub fn speaks_again(&mut self) {
        self.sensor = SensorState::Speaks;
    }
}

impl Night {
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
                .map(|name| Vessel {
                    id: id(name),
                    litres: 160.0,
                    litres_per_h: 6.0,
                    sensor: SensorState::Speaks,
                })
                .into(),
            turbidity_silent: false,
            everything: Vec::new(),
            forecasts: Vec::new(),
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

    pub fn drum(&mut self, name: &str) -> &mut Vessel {
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
    pub fn until(&mut self, local: &str) -> Vec<Said> {
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
    pub fn until_said(&mut self, limit: &str) -> Vec<Said> {
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
    pub fn minutes(&mut self, minutes: i64) -> Vec<Said> {
        let end = self.zone.to_datetime(self.now + SignedDuration::from_mins(minutes));
        self.until(&end.to_string())
    }

    /// Something happens now.
    pub fn event(&mut self, event: Event) -> Vec<Said> {
        self.give(event);
        self.take()
    }

    pub fn answer(&mut self, notice: u64) -> Vec<Said> {
        let at = self.now;
        self.event(Event::Answer(Answer { notice, by: Some("kim".to_owned()), at }))
    }

    pub fn log(&mut self, deed: Deed) -> Vec<Said> {
        self.entry(deed, None)
    }

    /// Corrects the entry that was written down last.
    pub fn correct(&mut self, deed: Deed) -> Vec<Said> {
        let last = self.everything.iter().rev().find_map(|(_, event)| match event {
            Event::Log(entry) => Some(entry.key.clone()),
            Event::Reading(_) | Event::Answer(_) | Event::SessionLost { .. } | Event::StoreFailed { .. } => {
                None
            }
            Event::NotForwarded { .. } | Event::Forwarded => None,
            Event::Remembered(_) | Event::HadHappened(_) => None,
            Event::StoreWorks | Event::Recalled(_) | Event::RecalledMark(_) => None,
            Event::RecalledYield(_) | Event::GoLive | Event::Tick => None,
            Event::Link(_) | Event::NotDelivered { .. } => None,
        });
        self.entry(deed, last)
    }

    fn entry(&mut self, deed: Deed, replaces: Option<String>) -> Vec<Said> {
        let (at, key) = (self.now, format!("entry-{}", self.everything.len()));
        self.event(Event::Log(LogEntry { key, at, received_at: at, by: None, replaces, deed }))
    }

    /// The daemon dies and tells itself the past again; `away` is how long that takes.
    pub fn restart(&mut self, away: SignedDuration) -> Vec<Said> {
        self.now += away;
        self.flow_for(away);
        let site = self.room.site().clone();
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

    fn give(&mut self, event: Event) {
        match &event {
            Event::Reading(_) | Event::Log(_) | Event::Answer(_) => {
                self.everything.push((self.now, event.clone()));
            }
            Event::SessionLost { .. } | Event::StoreFailed { .. } | Event::StoreWorks => {}
            Event::NotForwarded { .. } | Event::Forwarded => {}
            Event::Remembered(_) | Event::HadHappened(_) => {}
            Event::Recalled(_) | Event::RecalledMark(_) | Event::RecalledYield(_) => {}
            Event::GoLive | Event::Tick => {}
            Event::Link(_) | Event::NotDelivered { .. } => {}
        }
        self.room.handle(self.now, event);
    }

    fn deadlines_before(&mut self, limit: Timestamp) -> Vec<Said> {
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

    fn take(&mut self) -> Vec<Said> {
        let mut said = Vec::new();
        for effect in self.room.take_effects() {
            match effect {
                Effect::Notify(notice) => {
                    self.everything.push((self.now, Event::Recalled(notice.clone())));
                    said.push(Said {
                        clock: self.zone.to_datetime(notice.at).strftime("%m-%d %H:%M").to_string(),
                        to: match &notice.to {
                            Audience::Everyone => "everyone".to_owned(),
                            Audience::Only(contact) => contact.to_string(),
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
                Effect::Happened(_) | Effect::Sheet(_) => {}
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
            };
            readings.push((format!("drum-{}-level", drum.id), mm));
        }
        if !self.turbidity_silent {
            readings.push(("head-turbidity".to_owned(), 64.0 + ripple));
            readings.push(("t1-oxygen".to_owned(), 8.4 + ripple / 10.0));
        }
        let assess = |(sensor, value): (String, f64)| Assessed {
            reading: Reading { sensor: id(&sensor), at: self.now, value },
            received_at: self.now,
            tests: TestFlags::NOT_EVALUATED,
            flag: Flag::Pass,
        };
        readings.into_iter().map(assess).collect()
    }
}

fn instant(zone: &TimeZone, local: &str) -> Timestamp {
    let civil: DateTime = local.parse().expect("a civil time");
    zone.to_ambiguous_timestamp(civil).compatible().expect("a time of our days")
}

pub fn id(text: &str) -> Id {
    Id::new(text).expect("an id")
}

const LITRES_PER_MM: f64 = 0.24;

fn site(zone: &TimeZone) -> Site {
    Site {
        id: id("alder-bend"),
        name: "Alder Bend Hatchery (invented)".to_owned(),
        time_zone: zone.clone(),
        elevation_m: 92.0,
        units: PeopleUnits::default(),
        staff: staff(),
        water: WaterLimits {
            turbidity: Span::new(50.0, 80.0).expect("a rising span"),
            temperature_c: Span::new(15.0, 22.0).expect("a rising span"),
            oxygen_min_mg_l: 6.0,
        },
        batches: Vec::new(),
        stock: None,
        hand_checks: Vec::new(),
        clay: ClaySupply {
            bag: Kilograms(25.0),
            scale_step: Kilograms(0.05),
            mineral_density_kg_per_l: 2.6,
            thickest: GramsPerLitre(150.0),
            ntu_per_mg_l: None,
            background_ntu: 0.0,
            premix: Premix::default(),
            coarse_um: None,
        },
        pumps: vec![pump("p1"), pump("p2")],
        drums: vec![drum("a", "p1"), drum("b", "p2")],
        head_tank: HeadTank { id: id("head"), name: "Head tank".to_owned(), volume: Litres(450.0) },
        tanks: vec![Tank { id: id("t1"), name: "Tank 1".to_owned(), volume: Litres(280.0) }],
        sensors: vec![
            sensor("drum-a-level", Place::Drum(id("a")), Quantity::Level, Unit::Millimetre),
            sensor("drum-b-level", Place::Drum(id("b")), Quantity::Level, Unit::Millimetre),
            sensor("head-turbidity", Place::Head, Quantity::Turbidity, Unit::Ntu),
            sensor("t1-oxygen", Place::Tank(id("t1")), Quantity::Oxygen, Unit::MilligramPerLitre),
        ],
        contacts: ["ann", "kim", "lee"].map(|name| Contact { id: id(name), name: name.to_owned() }).into(),
    }
}

fn ramp(fish_day: i32, date: Date) -> Batch {
    let row =
        |day, low, high| Row { day, turbidity: Some(Span::new(low, high).expect("rises")), ..Row::default() };
    Batch {
        id: id("spring"),
        name: "Spring".to_owned(),
        stocked: date,
        dph_at_stocking: fish_day,
        day_at_stocking: fish_day,
        ended: None,
        tanks: vec![id("t1")],
        plan: Plan::new(Ramp::Linear, vec![row(30, 50.0, 80.0), row(40, 4.0, 6.0)]).expect("two rows"),
    }
}

fn staff() -> Staff {
    let time = |text: &str| text.parse().expect("a time");
    let minutes = SignedDuration::from_mins;
    Staff {
        evening_check: time("17:00"),
        next_visit: time("07:30"),
        margin: minutes(60),
        mixing: minutes(15),
        travel: minutes(30),
        response: minutes(15),
    }
}

fn drum(name: &str, pump: &str) -> Drum {
    let brim = (Millimetres(1500.0), Litres(1500.0 * LITRES_PER_MM));
    Drum {
        id: id(name),
        name: format!("Drum {}", name.to_uppercase()),
        pump: id(pump),
        full: Litres(175.0),
        heel: Litres(12.0),
        strapping: StrappingTable::new(vec![(Millimetres(0.0), Litres(0.0)), brim]).expect("a rising table"),
        target: GramsPerLitre(18.0),
    }
}

fn pump(name: &str) -> Pump {
    Pump {
        id: id(name),
        name: format!("Pump {name}"),
        ml_per_min_per_rpm: Some(2.1),
        max_rpm: Some(200.0),
        min_rpm: None,
        draws: Draws::One,
    }
}

fn sensor(name: &str, place: Place, quantity: Quantity, unit: Unit) -> Sensor {
    Sensor {
        id: id(name),
        name: name.to_owned(),
        place,
        quantity,
        unit,
        every: SignedDuration::from_mins(1),
        senses: Senses::Surface,
        mains: None,
        mount_height: None,
        thresholds: Thresholds {
            gap: SignedDuration::from_mins(5),
            gross_range: None,
            spike: None,
            rate_per_s: None,
            flat_line: None,
        },
    }
}
