//! The invented hatchery as the broker sees it: messages in the order in which they arrive.

use std::cmp::Reverse;
use std::collections::{BinaryHeap, VecDeque};

use jiff::{SignedDuration, Timestamp};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

use claymark_notice::{Call, Notice, NoticeKind};

use super::instruments::LevelGauge;
use super::messages;
use super::physics::InventedRoom;
use super::staff::{Act, Chore, NIGHT, NightResponse};
use super::story::Story;
use crate::message::Message;

/// The room, its instruments and its people.
pub struct Hatchery {
    story: Story,
    room: InventedRoom,
    gauges: [LevelGauge; 3],
    rng: StdRng,
    now: Timestamp,
    day: i32,
    agenda: VecDeque<Act>,
    pouring: Vec<Pouring>,
    /// Sent but not yet arrived; the number keeps what arrives at the same time in order.
    on_the_way: BinaryHeap<Reverse<InTransit>>,
    sent: u64,
    held_back: u64,
    /// Warnings heard since the last one was withdrawn.
    warned: u32,
    nonsense: VecDeque<(Timestamp, &'static str, Vec<u8>)>,
}

/// Time, number, topic and payload.
type InTransit = (Timestamp, u64, String, Vec<u8>);

/// Somebody fills a drum.
#[derive(Debug, Clone)]
struct Pouring {
    drum: usize,
    water_l: f64,
    clay_kg: f64,
    begun: Timestamp,
    until: Timestamp,
    by: Option<&'static str>,
}

impl Hatchery {
    /// At `start`, with everything that chance decides drawn from `seed`.
    #[must_use]
    pub fn new(story: Story, start: Timestamp, seed: u64) -> Self {
        Self {
            nonsense: story.nonsense().into(),
            story,
            room: InventedRoom::on_the_first_morning(),
            gauges: [LevelGauge::pressure(), LevelGauge::ultrasonic(), LevelGauge::pressure()],
            rng: StdRng::seed_from_u64(seed),
            now: start,
            day: -1,
            agenda: VecDeque::new(),
            pouring: Vec::new(),
            on_the_way: BinaryHeap::new(),
            sent: 0,
            held_back: 0,
            warned: 0,
        }
    }

    /// Lives until `until`; what arrives by then, in order of arrival.
    pub fn live_until(&mut self, until: Timestamp) -> Vec<Message> {
        while self.now < until {
            self.tick();
        }
        let mut arrived = Vec::new();
        while let Some(Reverse((at, ..))) = self.on_the_way.peek()
            && *at <= until
            && let Some(Reverse((received_at, _, topic, payload))) = self.on_the_way.pop()
        {
            arrived.push(Message { topic, payload, retained: false, received_at });
        }
        arrived
    }

    /// People hear of a notice; whether anybody gets up is the story's affair.
    pub fn hear(&mut self, notice: &Notice) {
        if notice.asks_for_the_night() {
            let asked_again = notice.kind == NoticeKind::Handover;
            if let Some((by, after)) = self.story.takes_the_night(notice.at, asked_again) {
                let answered = (notice.at + after).max(self.now + TICK);
                self.send(answered, ANSWERS, messages::answer(notice.number, by));
            }
            return;
        }
        if notice.kind == NoticeKind::Withdrawn {
            self.warned = 0;
        }
        let drum =
            notice.drum.as_ref().and_then(|id| DRUM_IDS.iter().position(|known| *known == id.as_str()));
        let Some(drum) = drum.filter(|_| notice.kind == NoticeKind::Runout) else {
            return;
        };
        self.warned += 1;
        let broken = notice.calling.as_ref().is_some_and(|calling| calling.call == Call::PromiseBroken);
        let (by, pours_after) = match self.story.response(notice.at, self.warned, broken) {
            NightResponse::Sleeps => return,
            NightResponse::HeldUp => (NIGHT, None),
            NightResponse::Comes { by, pours_after } => (by, Some(pours_after)),
        };
        let answered = (notice.at + NightResponse::ANSWERS_AFTER).max(self.now + TICK);
        self.send(answered, ANSWERS, messages::answer(notice.number, by));
        let on_the_way = self.agenda.iter().any(|act| act.by == Some(by) && act.at < notice.at + SOON)
            || self.pouring.iter().any(|pouring| pouring.by == Some(by));
        if let Some(pours_after) = pours_after.filter(|_| !on_the_way) {
            let at = (notice.at + pours_after).max(self.now + TICK);
            let place = self.agenda.partition_point(|act| act.at <= at);
            let deed = Chore::Fill { drum, to_l: NightResponse::FILLS_TO_L };
            self.agenda.insert(place, Act { at, deed, by: Some(by) });
        }
    }

    fn tick(&mut self) {
        self.now += TICK;
        let now = self.now;
        if self.agenda.is_empty() {
            self.day += 1;
            self.agenda = self.story.day(self.day).into();
            self.agenda.retain(|act| act.at >= now);
        }
        while let Some(act) = self.agenda.pop_front() {
            if act.at > now {
                self.agenda.push_front(act);
                break;
            }
            self.act(&act);
        }
        self.pour();
        self.room.step(TICK.as_secs_f64(), self.story.calendar().hour_of_day(now));
        if let Some(gauge) = self.gauges.get_mut(1) {
            let foams = self.story.foams(now);
            if foams != gauge.foams() {
                gauge.foam(foams);
            }
        }
        self.measure();
        while let Some((_, topic, payload)) = self.nonsense.pop_front_if(|(at, ..)| *at <= now) {
            self.send(now + SignedDuration::from_millis(300), topic, payload);
        }
    }

    fn act(&mut self, act: &Act) {
        let log = |hatchery: &mut Self, entry: String| {
            let written = hatchery.now + SignedDuration::from_secs(95);
            hatchery.send(written, LOG, entry.into_bytes());
        };
        let (at, by) = (self.now, act.by);
        match act.deed {
            Chore::Fill { drum, to_l } => self.begin_to_pour(drum, to_l, by),
            Chore::Set { pump, rpm } => {
                self.room.set_rpm(pump, rpm);
                if let Some(by) = by {
                    log(self, messages::pump_setting(at, by, pump, rpm));
                }
            }
            Chore::Use { drum } => {
                self.room.use_drum(drum);
                if let Some(by) = by {
                    log(self, messages::in_use(at, by, drum));
                }
            }
            Chore::NewTube { pump } => {
                self.room.change_tube(pump);
                if let Some(by) = by {
                    log(self, messages::tube_change(at, by, pump));
                }
            }
            Chore::Clean { tank } => {
                self.room.clean(tank);
                if let Some(by) = by {
                    log(self, messages::cleaning(at, by, tank));
                }
            }
            Chore::Sample => {
                let ntu = self.room.water.head_ntu() * self.rng.random_range(0.97..1.03);
                log(self, messages::sample(at, by.unwrap_or(NIGHT), ntu));
            }
            Chore::Catch { pump } => {
                let ml = self.room.pump_ml_per_min(pump) * self.rng.random_range(0.985..1.015);
                log(self, messages::flow_check(at, by.unwrap_or(NIGHT), pump, ml));
            }
            Chore::NewBatch { factor } => self.room.water.new_batch(factor),
        }
    }

    fn begin_to_pour(&mut self, drum: usize, to_l: f64, by: Option<&'static str>) {
        let Some((litres, clay_g)) = self.room.drums.get(drum).map(|drum| (drum.litres(), drum.clay_g()))
        else {
            return;
        };
        let add_l = (to_l - litres).max(0.0);
        // Weighed with the care of someone who has other things to do.
        let clay_kg =
            ((to_l * TARGET_G_PER_L - clay_g) / 1000.0).max(0.0) * self.rng.random_range(0.97..1.03);
        let water_l = (add_l - clay_kg / 2.6).max(0.0);
        let until = self.now + SignedDuration::from_mins(12);
        self.pouring.push(Pouring { drum, water_l, clay_kg, begun: self.now, until, by });
    }

    fn pour(&mut self) {
        let mut done = Vec::new();
        for pouring in &self.pouring {
            let share = TICK.as_secs_f64() / pouring.until.duration_since(pouring.begun).as_secs_f64();
            if let Some(drum) = self.room.drums.get_mut(pouring.drum) {
                drum.pour(pouring.water_l * share, pouring.clay_kg * share);
            }
            if self.now >= pouring.until {
                done.push(pouring.clone());
            }
        }
        let now = self.now;
        self.pouring.retain(|pouring| now < pouring.until);
        for Pouring { drum, water_l, clay_kg, by, .. } in done {
            if let Some(by) = by {
                let entry = messages::refill(now, by, drum, water_l, clay_kg);
                self.send(now + SignedDuration::from_secs(140), LOG, entry.into_bytes());
            }
        }
    }

    fn measure(&mut self) {
        let now = self.now;
        let due = |every_s: i64, offset_s: i64| (now.as_second() - offset_s).rem_euclid(every_s) == 0;
        for drum in 0..3 {
            if due(60, [10, 20, 40].get(drum).copied().unwrap_or(0)) && !self.rng.random_bool(0.001) {
                self.measure_drum(drum);
            }
        }
        if due(60, 30) {
            let payload = messages::head(now, &self.room, &mut self.rng);
            self.send_timed("alder-bend/head", payload);
        }
        if due(600, 0) {
            let payload = messages::air_pressure(now, &mut self.rng);
            self.send_timed("alder-bend/room/air-pressure", payload);
        }
        for tank in 0..self.room.water.tanks().len() {
            if due(600, 40 + 40 * i64::try_from(tank).unwrap_or(0))
                && let Some(payload) = messages::tank(now, &self.room, tank, &mut self.rng)
            {
                self.send_timed(&format!("alder-bend/tank/t{}", tank + 1), payload);
            }
        }
    }

    fn measure_drum(&mut self, drum: usize) {
        let stirred = self.pouring.iter().any(|pouring| pouring.drum == drum);
        let (Some(gauge), Some(truth)) = (self.gauges.get_mut(drum), self.room.drums.get(drum)) else {
            return;
        };
        let level_mm = gauge.shows(truth.level_mm(), stirred, &mut self.rng);
        match drum {
            0 => self.send_timed("alder-bend/drum/a/level", messages::level(self.now, level_mm)),
            1 => {
                let at = self.now + self.latency();
                if !self.story.network_gap().contains(&at) {
                    self.send(at, "alder-bend/drum/b/distance", messages::distance(level_mm));
                }
            }
            _ => self.send_timed("alder-bend/drum/c/level", messages::level(self.now, level_mm)),
        }
        if drum == 0 && self.story.stutters(self.now) {
            let again = messages::level(self.now, level_mm);
            self.send(self.now + SignedDuration::from_secs(3), "alder-bend/drum/a/level", again);
        }
    }

    /// What carries its own time isn't lost when the network is down.
    fn send_timed(&mut self, topic: &str, payload: Vec<u8>) {
        let mut at = self.now + self.latency();
        let gap = self.story.network_gap();
        if gap.contains(&at) {
            self.held_back += 1;
            at = gap.end + SignedDuration::from_millis(15 * i64::try_from(self.held_back).unwrap_or(0));
        }
        self.send(at, topic, payload);
    }

    fn send(&mut self, arrives: Timestamp, topic: &str, payload: Vec<u8>) {
        self.sent += 1;
        self.on_the_way.push(Reverse((arrives, self.sent, topic.to_owned(), payload)));
    }

    fn latency(&mut self) -> SignedDuration {
        SignedDuration::from_millis(self.rng.random_range(40..900))
    }
}

/// Nobody comes twice for one warning.
const SOON: SignedDuration = SignedDuration::from_hours(1);
const TICK: SignedDuration = SignedDuration::from_secs(10);
const DRUM_IDS: [&str; 3] = ["a", "b", "c"];
const TARGET_G_PER_L: f64 = 18.0;
/// Where people write down what they do.
pub const LOG: &str = "claymark/alder-bend/log";
/// Where they answer.
pub const ANSWERS: &str = "claymark/alder-bend/answer";
