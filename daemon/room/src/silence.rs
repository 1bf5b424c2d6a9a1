//! Sensors that don't speak: one message for what fell silent together, and one when it speaks again.

use jiff::{SignedDuration, Timestamp};

use crate::Room;
use crate::alarms::{AlarmSource, QUIET_FOR, Raise, Turn};
use crate::audience::Told;
use crate::drum_record::DrumRecord;
use crate::scene::{Finding, Scene, withdrawn};
use claymark_model::fieldlog::Deed;
use claymark_model::id::Id;
use claymark_model::site::{Place, Quantity, Sensor};
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, Common, DrumState, ReadingsMissing, SilentSensor};
use claymark_notice::{Call, Content, Priority, Urgency};

/// When each sensor last spoke, and what people were told of its silence.
#[derive(Debug)]
pub(crate) struct Sensors {
    rows: Vec<HeardSensor>,
    groups: Vec<Group>,
}

#[derive(Debug)]
struct HeardSensor {
    id: Id,
    place: Place,
    every: SignedDuration,
    patience: SignedDuration,
    /// Time of the newest reading, by the reading's own clock: late readings don't end a silence.
    last: Option<Timestamp>,
    quiet_until: Option<Timestamp>,
}

/// Sensors that fell silent together and were told in one message.
#[derive(Debug)]
struct Group {
    cause: String,
    broke_at: Option<Timestamp>,
    sensors: Vec<Id>,
    common: Common,
}

impl Sensors {
    pub(crate) fn new(sensors: &[Sensor]) -> Self {
        let row = |sensor: &Sensor| HeardSensor {
            id: sensor.id.clone(),
            place: sensor.place.clone(),
            every: sensor.every,
            patience: sensor.thresholds.gap.max(LEAST_PATIENCE),
            last: None,
            quiet_until: None,
        };
        Self { rows: sensors.iter().map(row).collect(), groups: Vec::new() }
    }

    /// A reading of that time arrived.
    pub(crate) fn heard(&mut self, sensor: &Id, at: Timestamp) {
        if let Some(row) = self.rows.iter_mut().find(|row| row.id == *sensor) {
            row.last = row.last.max(Some(at));
        }
    }

    /// Time of the newest reading.
    pub(crate) fn last(&self, sensor: &Id) -> Option<Timestamp> {
        self.rows.iter().find(|row| row.id == *sensor)?.last
    }

    /// Whether the sensor misses its readings, told or not.
    pub(crate) fn overdue(&self, sensor: &Id, now: Timestamp) -> bool {
        self.rows.iter().any(|row| row.id == *sensor && row.last.is_none_or(|last| row.overdue(last, now)))
    }

    /// Those that don't speak, in the order of the site file, and how many do.
    pub(crate) fn roll_call(&self, now: Timestamp) -> (Vec<SilentSensor>, usize) {
        let silent: Vec<_> = self
            .rows
            .iter()
            .filter(|row| row.last.is_none_or(|last| last + row.patience <= now))
            .map(HeardSensor::as_silent)
            .collect();
        let heard = self.rows.len() - silent.len();
        (silent, heard)
    }

    /// Sensors that have been silent for too long and what they have in common; Claymark listens since `live`.
    pub(crate) fn silent(&self, now: Timestamp, live: Timestamp) -> Option<(Vec<SilentSensor>, Common)> {
        let due: Vec<&HeardSensor> = self.untold().filter(|row| row.due(live) <= now).collect();
        let newest = due.iter().map(|row| row.last).max()?;
        let with_them = |row: &&HeardSensor| {
            let since = row.last.unwrap_or(live);
            due.iter().any(|other| other.id == row.id)
                || (row.overdue(since, now) && row.fell_silent_at(newest))
        };
        let mut group: Vec<&HeardSensor> = self.untold().filter(with_them).collect();
        group.sort_by_key(|row| row.last);
        let broke_at = group.iter().map(|row| row.last).max()?;
        let common = match group.as_slice() {
            [_] => Common::One,
            _ if self.rows.iter().all(|row| row.last <= broke_at) => Common::Everything,
            [first, rest @ ..] if rest.iter().all(|row| row.place == first.place) => {
                Common::At(first.place.clone())
            }
            _ => Common::Together,
        };
        Some((group.into_iter().map(HeardSensor::as_silent).collect(), common))
    }

    /// Slow sensors that fell silent in an outage that was told join it without a message of their own.
    pub(crate) fn join_outages(&mut self, now: Timestamp, live: Timestamp) {
        let due: Vec<Id> =
            self.untold().filter(|row| row.due(live) <= now).map(|row| row.id.clone()).collect();
        for id in due {
            let Some(row) = self.rows.iter().find(|row| row.id == id) else { continue };
            let outage = self
                .groups
                .iter_mut()
                .find(|group| group.sensors.len() > 1 && row.fell_silent_at(group.broke_at));
            if let Some(group) = outage {
                group.sensors.push(id);
            }
        }
    }

    /// People were told at `at`.
    pub(crate) fn tell(&mut self, at: Timestamp, cause: &str, silent: &[SilentSensor], common: Common) {
        for row in self.rows.iter_mut().filter(|row| silent.iter().any(|silent| silent.sensor == row.id)) {
            row.quiet_until = Some(at + QUIET_FOR);
        }
        self.groups.retain(|group| group.cause != cause);
        self.groups.push(Group {
            cause: cause.to_owned(),
            broke_at: silent.iter().map(|silent| silent.last).max().flatten(),
            sensors: silent.iter().map(|silent| silent.sensor.clone()).collect(),
            common,
        });
    }

    /// They aren't told before `until`.
    pub(crate) fn put_off(&mut self, silent: &[SilentSensor], until: Timestamp) {
        for row in self.rows.iter_mut().filter(|row| silent.iter().any(|silent| silent.sensor == row.id)) {
            row.quiet_until = Some(until);
        }
    }

    /// Whether one of that message speaks again, or none does.
    fn holds(&self, cause: &str, now: Timestamp) -> Holds {
        let group = self.groups.iter().find(|group| group.cause == cause);
        let of_group = |row: &&HeardSensor| group.is_some_and(|group| group.sensors.contains(&row.id));
        let speaks = self.rows.iter().filter(of_group).any(|row| row.speaks(now));
        if speaks { Holds::No } else { Holds::Since(now) }
    }

    /// Who of that message speaks again, and who doesn't.
    fn back(&self, cause: &str, now: Timestamp) -> (Vec<Id>, Vec<SilentSensor>) {
        let group = self.groups.iter().find(|group| group.cause == cause);
        let rows = self.rows.iter().filter(|row| group.is_some_and(|group| group.sensors.contains(&row.id)));
        let (heard, silent): (Vec<&HeardSensor>, Vec<&HeardSensor>) = rows.partition(|row| row.speaks(now));
        (
            heard.into_iter().map(|row| row.id.clone()).collect(),
            silent.into_iter().map(HeardSensor::as_silent).collect(),
        )
    }

    /// That message was withdrawn for all but `still_silent`.
    pub(crate) fn withdraw(&mut self, cause: &str, still_silent: &[SilentSensor]) {
        for group in self.groups.iter_mut().filter(|group| group.cause == cause) {
            group.sensors = still_silent.iter().map(|silent| silent.sensor.clone()).collect();
        }
        self.groups.retain(|group| !group.sensors.is_empty());
    }

    /// When something is due if nobody speaks.
    pub(crate) fn wake(&self, live: Timestamp) -> Option<Timestamp> {
        self.untold().map(|row| row.due(live)).min()
    }

    fn untold(&self) -> impl Iterator<Item = &HeardSensor> {
        self.rows.iter().filter(|row| !self.groups.iter().any(|group| group.sensors.contains(&row.id)))
    }
}

impl HeardSensor {
    fn due(&self, live: Timestamp) -> Timestamp {
        let patient = match self.last {
            Some(last) => (last + self.patience).max(live + BACKLOG),
            None => live + self.patience,
        };
        self.quiet_until.map_or(patient, |quiet| quiet.max(patient))
    }

    /// Two readings have been missed, and a minute for the network.
    fn overdue(&self, since: Timestamp, now: Timestamp) -> bool {
        since + self.every * 2 + NETWORK < now
    }

    fn speaks(&self, now: Timestamp) -> bool {
        self.last.is_some_and(|last| !self.overdue(last, now))
    }

    /// Whether its last reading is the one that it should have sent before `broke_at`.
    fn fell_silent_at(&self, broke_at: Option<Timestamp>) -> bool {
        match (self.last, broke_at) {
            (Some(last), Some(broke_at)) => {
                (broke_at - self.every - NETWORK..=broke_at + NETWORK).contains(&last)
            }
            (None, None) => true,
            (Some(_), None) | (None, Some(_)) => false,
        }
    }

    fn as_silent(&self) -> SilentSensor {
        SilentSensor { sensor: self.id.clone(), last: self.last }
    }
}

impl Room {
    /// Tells which sensors don't speak, and when they do again.
    pub(crate) fn check_silence(&mut self, scene: &Scene) {
        self.sensors.join_outages(scene.now, scene.live);
        if let Some((sensors, common)) = self.sensors.silent(scene.now, scene.live) {
            if let Some(until) = self.maintenance(scene, &sensors, &common) {
                self.sensors.put_off(&sensors, until);
            } else {
                let common = self.held_back(common);
                self.tell_silence(scene, &sensors, common);
            }
        }
        let told: Vec<String> = self.sensors.groups.iter().map(|group| group.cause.clone()).collect();
        for cause in told {
            let holds = self.sensors.holds(&cause, scene.now);
            if let Turn::Withdraw(_) = self.alarms.observe(&cause, AlarmSource::Silence, (scene.now, holds)) {
                self.withdraw_silence(scene, &cause);
            }
        }
    }

    fn tell_silence(&mut self, scene: &Scene, sensors: &[SilentSensor], common: Common) {
        let (drum, at_night, content) = self.silence(scene, sensors.to_vec(), common.clone());
        let cause = silence_cause(sensors.first().map(|silent| &silent.sensor));
        let finding = Finding { drum, ..self.on_duty(scene, cause.clone(), at_night, content) };
        let since = sensors.iter().filter_map(|silent| silent.last).max().unwrap_or(scene.live);
        let (source, call) = (AlarmSource::Silence, Call::First);
        // What can't be seen, by instruments or by people, can't be said to be well.
        let blind = matches!(common, Common::Everything | Common::Disk) && !scene.attended;
        let urgency = if blind { Urgency::Danger { by: None } } else { Urgency::Look };
        let told = self.raise(scene, finding, Raise { source, since, at_night, urgency, call }, None);
        self.sensors.tell(told.at, &cause, sensors, common);
    }

    /// What is to be said when people are called once more.
    pub(crate) fn silence_again(&self, scene: &Scene, cause: &str) -> Option<(Option<Id>, Content)> {
        let group = self.sensors.groups.iter().find(|group| group.cause == cause)?;
        let (_, silent) = self.sensors.back(cause, scene.now);
        let (drum, _, content) = self.silence(scene, silent, group.common.clone());
        Some((drum, content))
    }

    /// Sensors whose silence was told with its cause.
    pub(crate) fn silent_without_a_call(&mut self, told: &Told, silent: &[SilentSensor]) {
        let cause = silence_cause(silent.first().map(|silent| &silent.sensor));
        let raise = Raise {
            source: AlarmSource::Silence,
            since: told.at,
            at_night: Priority::Morning,
            urgency: Urgency::Look,
            call: Call::First,
        };
        self.alarms.told(&cause, raise, told.clone(), None);
        self.sensors.tell(told.at, &cause, silent, Common::Together);
    }

    fn withdraw_silence(&mut self, scene: &Scene, cause: &str) {
        let (heard, still_silent) = self.sensors.back(cause, scene.now);
        self.sensors.withdraw(cause, &still_silent);
        if let Some(told) = self.alarms.last(cause).cloned() {
            let goes_on = !still_silent.is_empty();
            let because = Because::HeardAgain { heard, still_silent };
            self.tell(scene, withdrawn(cause.to_owned(), None, &told, because));
            if goes_on {
                self.alarms.goes_on(cause);
            } else {
                self.alarms.over(cause, None);
            }
        }
    }

    /// Until when many sensors that fall silent together aren't told: people are there, and one of them has just written
    /// down that the network or the server is worked on.
    fn maintenance(&self, scene: &Scene, sensors: &[SilentSensor], common: &Common) -> Option<Timestamp> {
        let broke_at = sensors.iter().filter_map(|silent| silent.last).max()?;
        let until = broke_at + MAINTENANCE;
        let many = matches!(common, Common::Everything | Common::Together);
        let announced = self.journal.has(broke_at, ANNOUNCED, Deed::announces_network_work);
        (many && announced && scene.visit.is_none() && scene.now < until).then_some(until)
    }

    /// What is read but can't be kept isn't taken for long: then it is the disk, not the network.
    fn held_back(&self, common: Common) -> Common {
        match common {
            Common::Everything | Common::Together if self.storage.failing_since().is_some() => Common::Disk,
            Common::One | Common::Everything | Common::At(_) | Common::Together | Common::Disk => common,
        }
    }

    /// The drum that it is about, how soon somebody must act at night, and what is said.
    fn silence(
        &self,
        scene: &Scene,
        sensors: Vec<SilentSensor>,
        common: Common,
    ) -> (Option<Id>, Priority, Content) {
        let watches_a_drum = |silent: &SilentSensor| {
            let sensor = self.site.sensor(&silent.sensor);
            sensor.is_some_and(|s| {
                matches!(s.quantity, Quantity::Level | Quantity::Distance | Quantity::Volume)
            })
        };
        let is_among = |record: &DrumRecord| {
            let level = self.site.level_sensor(&record.drum.id);
            level.is_some_and(|level| sensors.iter().any(|silent| silent.sensor == level.id))
        };
        let drums: Vec<DrumState> = self
            .records
            .iter()
            .zip(&scene.forecasts)
            .filter(|(record, _)| is_among(record))
            .map(|(record, forecast)| self.state(scene, record, forecast))
            .collect();
        let at_night = if sensors.iter().any(watches_a_drum) { Priority::Now } else { Priority::Morning };
        let drum = match drums.as_slice() {
            [one] => Some(one.drum.clone()),
            [] | [..] => None,
        };
        let link = self.link.down().cloned();
        let silent = ReadingsMissing::Silent { sensors, common, drums, visit: scene.visit, link };
        (drum, at_night, Content::ReadingsMissing(silent))
    }
}

fn silence_cause(first: Option<&Id>) -> String {
    first.map_or_else(|| "silent".to_owned(), |sensor| format!("silent:{sensor}"))
}

/// However short a sensor's gap is, a hiccup of the network is no reason to wake anybody.
const LEAST_PATIENCE: SignedDuration = SignedDuration::from_mins(10);

/// After a restart, what waited at the broker comes in within this time.
pub(crate) const BACKLOG: SignedDuration = SignedDuration::from_mins(5);

/// A note about work on the network was made within this time of it.
const ANNOUNCED: SignedDuration = SignedDuration::from_mins(15);

/// Work on the network takes no longer; a silence that does is told (common practice, no source).
const MAINTENANCE: SignedDuration = SignedDuration::from_mins(45);

/// What the network may hold a reading back.
const NETWORK: SignedDuration = SignedDuration::from_mins(1);

#[cfg(test)]
mod tests;
