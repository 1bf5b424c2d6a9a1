//! Sensors that don't speak: one message for what fell silent together, and one when it speaks again.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use crate::action::{AlarmAction, Finding};
use crate::alarms::{AlarmSource, QUIET_FOR, Raise};
use crate::scene::RoomView;
use crate::sensors::{HeardSensor, Sensors};
use crate::sight;
use claymark_model::fieldlog::Deed;
use claymark_model::id::Id;
use claymark_model::site::Sensor;
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, Common, DrumState, ReadingsMissing, SilentSensor};
use claymark_notice::{Call, Content, Priority, Urgency};

/// What people were told of the sensors' silence.
#[derive(Debug, Default)]
pub(crate) struct Silence {
    groups: Vec<Group>,
    /// Sensors that aren't told before then.
    quiet_until: BTreeMap<Id, Timestamp>,
}

/// Sensors that fell silent together and were told in one message.
#[derive(Debug)]
struct Group {
    cause: String,
    broke_at: Option<Timestamp>,
    sensors: Vec<Id>,
    common: Common,
    /// People are called for it at night, too.
    calls: bool,
}

impl Silence {
    /// Sensors that have been silent for too long and what they have in common; Claymark listens since `live`.
    fn silent(
        &self,
        sensors: &Sensors,
        now: Timestamp,
        live: Timestamp,
    ) -> Option<(Vec<SilentSensor>, Common)> {
        let due: Vec<&HeardSensor> = self.untold(sensors).filter(|row| self.due(row, live) <= now).collect();
        let newest = due.iter().map(|row| row.last).max()?;
        let with_them = |row: &&HeardSensor| {
            let since = row.last.unwrap_or(live);
            due.iter().any(|other| other.id == row.id)
                || (row.overdue(since, now) && row.fell_silent_at(newest))
        };
        let mut group: Vec<&HeardSensor> = self.untold(sensors).filter(with_them).collect();
        group.sort_by_key(|row| row.last);
        let broke_at = group.iter().map(|row| row.last).max()?;
        let common = match group.as_slice() {
            [_] => Common::One,
            _ if sensors.iter().all(|row| row.last <= broke_at) => Common::Everything,
            [first, rest @ ..] if rest.iter().all(|row| row.place == first.place) => {
                Common::At(first.place.clone())
            }
            _ => Common::Together,
        };
        Some((group.into_iter().map(|row| row.as_silent(now)).collect(), common))
    }

    /// Slow sensors that fell silent in an outage that was told join it without a message of their own.
    fn join_outages(&mut self, sensors: &Sensors, now: Timestamp, live: Timestamp) {
        let due: Vec<&HeardSensor> = self.untold(sensors).filter(|row| self.due(row, live) <= now).collect();
        for row in due {
            let outage = self
                .groups
                .iter_mut()
                .find(|group| group.sensors.len() > 1 && row.fell_silent_at(group.broke_at));
            if let Some(group) = outage {
                group.sensors.push(row.id.clone());
            }
        }
    }

    /// People were told at `at`.
    pub(crate) fn told(
        &mut self,
        (at, cause): (Timestamp, &str),
        silent: &[SilentSensor],
        (common, calls): (Common, bool),
    ) {
        self.put_off(silent, at + QUIET_FOR);
        self.groups.retain(|group| group.cause != cause);
        self.groups.push(Group {
            cause: cause.to_owned(),
            broke_at: silent.iter().map(|silent| silent.last).max().flatten(),
            sensors: silent.iter().map(|silent| silent.sensor.clone()).collect(),
            common,
            calls,
        });
    }

    /// They aren't told before `until`.
    fn put_off(&mut self, silent: &[SilentSensor], until: Timestamp) {
        self.quiet_until.extend(silent.iter().map(|silent| (silent.sensor.clone(), until)));
    }

    fn group(&self, cause: &str) -> Option<&Group> {
        self.groups.iter().find(|group| group.cause == cause)
    }

    /// Whether one of that message speaks again, or none does.
    fn holds(&self, sensors: &Sensors, cause: &str, now: Timestamp) -> Holds {
        if self.back(sensors, cause, now).0.is_empty() { Holds::Since(now) } else { Holds::No }
    }

    /// Who of that message speaks again, and who doesn't.
    fn back(&self, sensors: &Sensors, cause: &str, now: Timestamp) -> (Vec<Id>, Vec<SilentSensor>) {
        let group = self.group(cause);
        let rows = sensors.iter().filter(|row| group.is_some_and(|group| group.sensors.contains(&row.id)));
        let (heard, silent): (Vec<&HeardSensor>, Vec<&HeardSensor>) = rows.partition(|row| row.speaks(now));
        (
            heard.into_iter().map(|row| row.id.clone()).collect(),
            silent.into_iter().map(|row| row.as_silent(now)).collect(),
        )
    }

    /// That message was withdrawn for all but `still_silent`.
    pub(crate) fn withdrawn(&mut self, cause: &str, still_silent: &[SilentSensor]) {
        for group in self.groups.iter_mut().filter(|group| group.cause == cause) {
            group.sensors = still_silent.iter().map(|silent| silent.sensor.clone()).collect();
        }
        self.groups.retain(|group| !group.sensors.is_empty());
    }

    /// When something is due if nobody speaks.
    pub(crate) fn wake(&self, sensors: &Sensors, live: Timestamp) -> Option<Timestamp> {
        self.untold(sensors).map(|row| self.due(row, live)).min()
    }

    fn untold<'a>(&self, sensors: &'a Sensors) -> impl Iterator<Item = &'a HeardSensor> {
        sensors.iter().filter(|row| !self.groups.iter().any(|group| group.sensors.contains(&row.id)))
    }

    fn due(&self, row: &HeardSensor, live: Timestamp) -> Timestamp {
        let patient = match row.last {
            Some(last) => (last + row.patience).max(live + BACKLOG),
            None => live + row.patience,
        };
        self.quiet_until.get(&row.id).map_or(patient, |quiet| patient.max(*quiet))
    }

    /// Tells which sensors don't speak.
    pub(crate) fn news(&mut self, view: &RoomView<'_>) -> Option<AlarmAction> {
        let (now, live) = (view.scene.now, view.scene.live);
        self.join_outages(&view.known.sensors, now, live);
        let (sensors, common) = self.silent(&view.known.sensors, now, live)?;
        if let Some(until) = maintenance(view, &sensors, &common) {
            self.put_off(&sensors, until);
            return None;
        }
        // What is read but can't be kept isn't taken for long: then it is the disk, not the network.
        let common = match common {
            Common::Everything | Common::Together if view.scene.store_fails_since.is_some() => Common::Disk,
            Common::One | Common::Everything | Common::At(_) | Common::Together | Common::Disk => common,
        };
        let cause = silence_cause(&sensors);
        let since = sensors.iter().filter_map(|silent| silent.last).max().unwrap_or(live);
        let lost = sight::lost(view, &sensors);
        let calls = !lost.is_empty() || sensors.iter().any(|silent| watches_a_drum(view, silent));
        self.told((now, &cause), &sensors, (common.clone(), calls));
        // What can't be seen, by instruments or by people, can't be said to be well.
        let blind = matches!(common, Common::Everything | Common::Disk) && !view.scene.attended;
        let urgency = if blind { Urgency::Danger { by: None } } else { Urgency::Look };
        let at_night = if calls { Priority::Now } else { Priority::Morning };
        let said = content(view, sensors, common);
        let raise = Raise { source: AlarmSource::Silence, since, at_night, urgency, call: Call::First };
        Some(AlarmAction::Raise(view.on_duty(cause, at_night, said), raise))
    }

    /// Calls people for what had been told as something for the morning, and has been out of sight for too long.
    pub(crate) fn lost_for_long(&mut self, view: &RoomView<'_>) -> Option<AlarmAction> {
        let now = view.scene.now;
        let quiet = self.groups.iter().filter(|group| !group.calls);
        let mut lost =
            quiet.map(|group| (group.cause.clone(), self.back(&view.known.sensors, &group.cause, now).1));
        let (cause, silent) = lost.find(|(_, silent)| !sight::lost(view, silent).is_empty())?;
        let group = self.groups.iter_mut().find(|group| group.cause == cause)?;
        group.calls = true;
        let (urgency, at_night) = (Urgency::Look, Priority::Now);
        // By day everybody has been told; who still has to look in the evening is called.
        if view.scene.visit.is_none() {
            return Some(AlarmAction::Press { cause, urgency, at_night });
        }
        let told = view.alarms.last(&cause)?;
        let raise =
            Raise { source: AlarmSource::Silence, since: told.at, at_night, urgency, call: Call::Worse };
        let said = content(view, silent, group.common.clone());
        let replaces = Some(told.number);
        Some(AlarmAction::Raise(Finding { replaces, ..view.on_duty(cause, at_night, said) }, raise))
    }

    /// Of each message, whether it still holds.
    pub(crate) fn conditions(&self, view: &RoomView<'_>) -> Vec<(String, Holds)> {
        let holds = |group: &Group| {
            (group.cause.clone(), self.holds(&view.known.sensors, &group.cause, view.scene.now))
        };
        self.groups.iter().map(holds).collect()
    }

    /// What is to be said when people are called once more.
    pub(crate) fn again(&self, view: &RoomView<'_>, cause: &str) -> Option<(Option<Id>, Content)> {
        let group = self.group(cause)?;
        let (_, silent) = self.back(&view.known.sensors, cause, view.scene.now);
        Some(content(view, silent, group.common.clone()))
    }

    /// The silence of what runs from the mains is told by the power cut; that it speaks again is told as usual.
    pub(crate) fn told_with(&mut self, view: &RoomView<'_>, power_cut: &str) -> AlarmAction {
        let now = view.scene.now;
        let mains = view.known.site.sensors.iter().filter(|sensor| sensor.mains == Some(true));
        let last = |sensor: &Id| view.known.sensors.last(sensor);
        let silent = |sensor: &Sensor| SilentSensor {
            sensor: sensor.id.clone(),
            last: last(&sensor.id),
            doubted: false,
        };
        let silent: Vec<SilentSensor> = mains.map(silent).collect();
        let cause = silence_cause(&silent);
        // The cut itself calls people.
        self.told((now, &cause), &silent, (Common::Together, true));
        let raise = Raise {
            source: AlarmSource::Silence,
            since: now,
            at_night: Priority::Morning,
            urgency: Urgency::Look,
            call: Call::First,
        };
        AlarmAction::Join { cause, told_by: power_cut.to_owned(), raise }
    }

    /// Tells that some speak again.
    pub(crate) fn withdraw(&mut self, view: &RoomView<'_>, cause: &str) -> Option<AlarmAction> {
        let (heard, still_silent) = self.back(&view.known.sensors, cause, view.scene.now);
        self.withdrawn(cause, &still_silent);
        view.withdrawn(cause, None, Because::HeardAgain { heard, still_silent }, None)
    }
}

/// Until when many sensors that fall silent together aren't told: people are there, and one of them has just written
/// down that the network or the server is worked on.
fn maintenance(view: &RoomView<'_>, sensors: &[SilentSensor], common: &Common) -> Option<Timestamp> {
    let broke_at = sensors.iter().filter_map(|silent| silent.last).max()?;
    let until = broke_at + MAINTENANCE;
    let many = matches!(common, Common::Everything | Common::Together);
    let announced = view.known.journal.has(broke_at, ANNOUNCED, Deed::announces_network_work);
    (many && announced && view.scene.visit.is_none() && view.scene.now < until).then_some(until)
}

fn watches_a_drum(view: &RoomView<'_>, silent: &SilentSensor) -> bool {
    view.known.site.sensor(&silent.sensor).is_some_and(|sensor| sensor.quantity.tells_level())
}

/// The drum that it is about, and what is said.
fn content(view: &RoomView<'_>, sensors: Vec<SilentSensor>, common: Common) -> (Option<Id>, Content) {
    let is_among = |drum: &Id| {
        let level = view.known.site.level_sensor(drum);
        level.is_some_and(|level| sensors.iter().any(|silent| silent.sensor == level.id))
    };
    let records = view.known.records.iter().enumerate().filter(|(_, record)| is_among(&record.drum.id));
    let drums: Vec<DrumState> = records.filter_map(|(place, _)| view.state_at(place)).collect();
    let drum = match drums.as_slice() {
        [one] => Some(one.drum.clone()),
        [] | [..] => None,
    };
    let (visit, link) = (view.scene.visit, view.scene.link_down.clone());
    let unseen = sight::lost(view, &sensors);
    (drum, Content::ReadingsMissing(ReadingsMissing::Silent { sensors, common, drums, visit, link, unseen }))
}

fn silence_cause(silent: &[SilentSensor]) -> String {
    silent.first().map_or_else(|| "silent".to_owned(), |first| format!("silent:{}", first.sensor))
}

/// After a restart, what waited at the broker comes in within this time.
pub(crate) const BACKLOG: SignedDuration = SignedDuration::from_mins(5);

/// A note about work on the network was made within this time of it.
const ANNOUNCED: SignedDuration = SignedDuration::from_mins(15);

/// Work on the network takes no longer; a silence that does is told (common practice, no source).
const MAINTENANCE: SignedDuration = SignedDuration::from_mins(45);

#[cfg(test)]
mod tests;
