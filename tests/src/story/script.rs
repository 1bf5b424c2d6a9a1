//! What happens when, and what the instruments make of it.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use rand::SeedableRng;
use rand::rngs::StdRng;
use rand_distr::{Distribution, StandardNormal};

use super::physics::{STRENGTH_G_L, Truth};
use super::told::Telling;
use claymark::message::Message;
use claymark::recording;

/// A story that is being told.
pub struct ScriptedStory {
    truth: Truth,
    now: Timestamp,
    rng: StdRng,
    /// For instruments that came later: the stories before them stay as they were.
    aside: StdRng,
    acts: Vec<(Timestamp, Cue)>,
    instruments: Instruments,
    messages: Vec<Message>,
}

type Doing = Box<dyn FnOnce(&mut Truth, &mut Instruments)>;

enum Cue {
    Do(Doing),
    Write(String),
    /// A is filled up to so many litres, and written down so much later.
    Fill {
        to: f64,
        noted: Option<SignedDuration>,
    },
}

/// How the instruments are, beside their noise.
pub struct Instruments {
    /// The level of A stands at this, L.
    pub stuck: Option<f64>,
    /// Litres by which the level of A reads high at most: foam.
    pub foam: f64,
    /// The level of A reads a crust of foam at this, L, while the slurry sinks below it.
    pub crust: Option<f64>,
    /// Litres by which froth makes the level of A read high; it dies by itself.
    pub froth: f64,
    /// NTU by which the head tank's probe reads high; grows by `fouling` an hour.
    pub head_off: f64,
    /// NTU an hour.
    pub fouling: f64,
    /// NTU that bubbles add now and then to the head tank's probe.
    pub bubbles: f64,
    /// NTU of noise of each turbidity probe.
    pub turbidity_noise: f64,
    /// L of noise of each level.
    pub level_noise: f64,
    /// °C by which the head tank's thermometer reads off.
    pub warmth_off: f64,
    /// mg/L by which the head tank's oxygen probe reads off.
    pub oxygen_off: f64,
    /// mg/L of oxygen in tank 1 and in tank 2.
    pub tank_oxygen: [f64; 2],
    /// Topics that begin with one of these are silent.
    pub silent: Vec<&'static str>,
    /// L/min that the drums' and the head tank's air meters show.
    pub air: f64,
    /// Whether the pump's contact says that it turns.
    pub turns: bool,
}

impl ScriptedStory {
    /// Begins at that clock time on the first day, with its own noise; flow and pump are written down as they are on day 24.
    #[must_use]
    pub fn begin(clock: &str, seed: u64, truth: Truth) -> Self {
        let day_24 = Truth::day_24();
        Self::noted(clock, seed, (day_24.fresh, day_24.pump), truth)
    }

    /// The same, with what L/min of fresh water and mL/min of slurry are written down.
    #[must_use]
    pub fn noted(clock: &str, seed: u64, (fresh, pump): (f64, f64), truth: Truth) -> Self {
        let mut story = Self {
            truth,
            now: at(clock),
            rng: StdRng::seed_from_u64(seed),
            aside: StdRng::seed_from_u64(seed + 1_000_000),
            acts: Vec::new(),
            instruments: Instruments {
                stuck: None,
                foam: 0.0,
                crust: None,
                froth: 0.0,
                head_off: 0.0,
                fouling: 0.0,
                bubbles: 0.0,
                turbidity_noise: 2.0,
                level_noise: 1.5,
                warmth_off: 0.0,
                oxygen_off: 0.0,
                tank_oxygen: [8.0, 8.0],
                silent: Vec::new(),
                air: 40.0,
                turns: true,
            },
            messages: Vec::new(),
        };
        story.written(clock, r#""kind":"in_use","pump":"p1","drum":"a""#);
        let volume = fresh * 250.0;
        story.written(
            clock,
            &format!(r#""kind":"flow_check","place":"head","volume_ml":{volume:.0},"seconds":15"#),
        );
        let rpm = pump / 2.09;
        story.written(clock, &format!(r#""kind":"pump_setting","pump":"p1","rpm":{rpm:.2}"#));
        story
    }

    /// At that time something happens.
    pub fn happens(
        &mut self,
        clock: &str,
        act: impl FnOnce(&mut Truth, &mut Instruments) + 'static,
    ) -> &mut Self {
        self.at(at(clock), act)
    }

    /// At that time somebody writes something down: the members of a field-log entry without its `at`.
    pub fn written(&mut self, clock: &str, members: &str) -> &mut Self {
        let at = at(clock);
        self.acts.push((at, Cue::Write(format!("{{\"at\":\"{at}\",{members}}}"))));
        self
    }

    /// At that time A is filled up to so many litres; what was poured is written down so much later, or never.
    pub fn filled(&mut self, at: Timestamp, to: f64, noted: Option<SignedDuration>) -> &mut Self {
        self.acts.push((at, Cue::Fill { to, noted }));
        self
    }

    /// At that time something happens.
    pub fn at(
        &mut self,
        at: Timestamp,
        act: impl FnOnce(&mut Truth, &mut Instruments) + 'static,
    ) -> &mut Self {
        self.acts.push((at, Cue::Do(Box::new(act))));
        self
    }

    /// Lives until that time.
    pub fn until(&mut self, clock: &str) -> &mut Self {
        let end = at(clock);
        while self.now < end {
            self.pass_a_minute();
        }
        self
    }

    /// Lives for a minute; what was sent since the last one.
    pub fn minute(&mut self) -> Vec<Message> {
        self.pass_a_minute();
        std::mem::take(&mut self.messages)
    }

    /// What time it is.
    #[must_use]
    pub fn now(&self) -> Timestamp {
        self.now
    }

    /// Hands do something now.
    pub fn hands(&mut self, act: impl FnOnce(&mut Truth, &mut Instruments)) {
        act(&mut self.truth, &mut self.instruments);
    }

    /// Somebody writes something down now: the members of a field-log entry without its `at`.
    pub fn write(&mut self, members: &str) {
        let entry = format!("{{\"at\":\"{}\",{members}}}", self.now);
        self.acts.push((self.now, Cue::Write(entry)));
    }

    /// Somebody answers a notice now.
    pub fn answer(&mut self, notice: u64, by: &str) {
        self.send("claymark/story/answer", format!("{{\"notice\":{notice},\"by\":\"{by}\"}}"));
    }

    fn pass_a_minute(&mut self) {
        self.acts.sort_by_key(|(at, _)| *at);
        for _ in 0..STEPS {
            self.truth.pass(1.0 / STEPS_A_MINUTE);
        }
        self.now += SignedDuration::from_mins(1);
        self.instruments.head_off += self.instruments.fouling / 60.0;
        self.instruments.froth *= (-1.0 / FROTH_MINUTES).exp();
        self.measure();
        while self.acts.first().is_some_and(|(at, _)| *at <= self.now) {
            match self.acts.remove(0).1 {
                Cue::Do(act) => act(&mut self.truth, &mut self.instruments),
                Cue::Write(entry) => self.send("claymark/story/log", entry),
                Cue::Fill { to, noted } => self.fill(to, noted),
            }
        }
    }

    fn fill(&mut self, to: f64, noted: Option<SignedDuration>) {
        let litres = to - self.truth.a.litres;
        // Nobody fills a drum that is full.
        if litres < LEAST_FILL_L {
            return;
        }
        self.truth.fill_a(to);
        let Some(noted) = noted else { return };
        let clay = litres * STRENGTH_G_L / 1000.0;
        let entry = format!(
            r#"{{"at":"{}","kind":"refill","drum":"a","water_l":{litres:.1},"clay_kg":{clay:.3}}}"#,
            self.now
        );
        self.acts.push((self.now + noted, Cue::Write(entry)));
        self.acts.sort_by_key(|(at, _)| *at);
    }

    /// Lives until that time; what a room with that site file makes of it.
    pub fn told(&mut self, until: &str, site: &str) -> Telling {
        self.until(until);
        Telling::of(site, &self.recorded())
    }

    /// For four days A is filled to the line three times a day, which is written down; `before` each fill something
    /// changes a little.
    pub fn filled_for_four_days(&mut self, before: fn(&mut Truth)) -> &mut Self {
        for day in 0..4 {
            for hour in ["06:00", "14:00", "22:00"] {
                let clock = format!("+{day} {hour}");
                self.happens(&clock, move |truth, _| {
                    before(truth);
                    truth.fill_a(175.0);
                });
                self.written(&clock, r#""kind":"refill","drum":"a","water_l":98,"clay_kg":1.79"#);
            }
        }
        self
    }

    /// What is truly so now.
    #[must_use]
    pub fn truth(&self) -> &Truth {
        &self.truth
    }

    /// Everything that was sent, a line a message.
    #[must_use]
    pub fn recorded(&self) -> String {
        self.messages.iter().map(|message| recording::line(message) + "\n").collect()
    }

    fn measure(&mut self) {
        let truth = self.truth.clone();
        let off = self.instruments.head_off;
        let foam = self.instruments.foam * self.noise(1.0).abs();
        let surface = self.instruments.crust.unwrap_or(truth.a.litres) + self.instruments.froth;
        let a = surface + foam + self.noise(self.instruments.level_noise);
        self.value("story/drum/a/level", self.instruments.stuck.unwrap_or(a).max(0.0));
        let b = truth.b.litres + self.noise(self.instruments.level_noise);
        self.value("story/drum/b/level", b.max(0.0));
        let bubbles =
            if self.noise(1.0) > 0.5 { self.instruments.bubbles * self.noise(1.0).abs() } else { 0.0 };
        let head =
            truth.background + truth.head + off + bubbles + self.noise(self.instruments.turbidity_noise);
        self.value("story/head/turbidity", head.max(0.0));
        for tank in ["story/t1/turbidity", "story/t6/turbidity", "story/t11/turbidity", "story/t16/turbidity"]
        {
            let reading = truth.background + truth.tanks + self.noise(self.instruments.turbidity_noise);
            self.value(tank, reading.max(0.0));
        }
        let oxygen = truth.oxygen + self.instruments.oxygen_off + self.noise(0.05);
        self.value("story/head/oxygen", oxygen);
        let temperature = truth.temperature + self.instruments.warmth_off + self.noise(0.03);
        self.value("story/head/temperature", temperature);
        let flow = truth.fresh * (1.0 + self.noise(0.01));
        self.value("story/head/flow", flow);
        let flow = (truth.fresh - truth.overflow) / 16.0 * (1.0 + self.noise(0.01));
        self.value("story/t1/flow", flow);
        let air = (self.instruments.air * (1.0 + self.noise(0.02))).max(0.0);
        self.value("story/head/air", air);
        let turns = f64::from(u8::from(self.instruments.turns));
        self.value("story/pump/turns", turns);
        let indoors = 21.0 + self.noise(0.1);
        self.value("story/room/temperature", indoors);
        for (topic, oxygen) in
            ["story/t1/oxygen", "story/t2/oxygen"].into_iter().zip(self.instruments.tank_oxygen)
        {
            let noise: f64 = StandardNormal.sample(&mut self.aside);
            self.value(topic, oxygen + 0.05 * noise);
        }
    }

    fn value(&mut self, topic: &str, value: f64) {
        if !self.instruments.silent.iter().any(|silent| topic.starts_with(silent)) {
            self.send(topic, format!("{{\"v\":{value:.3},\"t\":\"{}\"}}", self.now));
        }
    }

    fn send(&mut self, topic: &str, payload: String) {
        self.messages.push(Message {
            topic: topic.to_owned(),
            payload: payload.into_bytes(),
            retained: false,
            received_at: self.now + SignedDuration::from_millis(40),
        });
    }

    fn noise(&mut self, sd: f64) -> f64 {
        let draw: f64 = StandardNormal.sample(&mut self.rng);
        sd * draw
    }
}

/// A clock time of the story: "18:10", or "+1 00:30" on the next day, at UTC.
#[must_use]
pub fn at(clock: &str) -> Timestamp {
    let (days, clock) = clock.split_once(' ').map_or(("0", clock), |(days, clock)| (days, clock));
    let days: i64 = days.trim_start_matches('+').parse().expect("days are whole");
    let first = Date::constant(2027, 4, 20);
    let day = first.checked_add(SignedDuration::from_hours(24 * days)).expect("near");
    let time = clock.parse().expect("a clock time");
    TimeZone::UTC.to_timestamp(day.to_datetime(time)).expect("UTC has all times")
}

/// min. Froth on freshly poured slurry dies in so much (invented).
const FROTH_MINUTES: f64 = 12.0;
const LEAST_FILL_L: f64 = 5.0;
const STEPS: u32 = 12;
const STEPS_A_MINUTE: f64 = 12.0;
