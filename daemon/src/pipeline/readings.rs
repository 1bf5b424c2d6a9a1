//! Readings on their way through the door: dated by their devices' clocks, once each, assessed, then to the room.

use jiff::Timestamp;

use claymark_model::device_clock::BEARABLE;
use claymark_model::quarantine::{Quarantined, Reason};
use claymark_model::reading::{Assessed, Reading};
use claymark_room::Event;

use super::Pipeline;
use super::clocks::{ArrivedReading, DatedReading};
use super::recent::ReadingSeen;
use crate::decode::{Decoded, Problem};
use crate::message::Message;

impl Pipeline {
    /// The readings of a message, dated by what is known of their devices' clocks.
    pub(super) fn readings(&mut self, message: &Message, decoded: &mut Decoded) {
        let received_at = message.received_at;
        let all = std::mem::take(&mut decoded.readings);
        let (undated, dated): (Vec<Reading>, Vec<Reading>) =
            all.into_iter().partition(|reading| self.undated.contains(&reading.sensor));
        for mut reading in undated {
            reading.at = self.recent.own_time(&reading.sensor, reading.at);
            self.taken(received_at, ArrivedReading { reading, received_at }, decoded, message);
        }
        // What the broker had kept says nothing of how long it was on its way.
        if !message.retained {
            let freed = self.clocks.hear(&dated, received_at);
            self.take_freed(received_at, freed);
        }
        for reading in dated {
            self.taken(received_at, ArrivedReading { reading, received_at }, decoded, message);
        }
        let mistimed = decoded.quarantined.iter().filter(|kept| kept.reason == Reason::BadTime);
        mistimed.filter_map(|kept| kept.sensor.as_ref()).for_each(|id| self.clocks.refuse(id, received_at));
        self.tell_of_clocks(received_at);
    }

    /// Takes readings that had to wait. They were put aside when they came, so nothing is lost of what can't be taken now.
    pub(super) fn take_freed(&mut self, now: Timestamp, freed: Vec<ArrivedReading>) {
        for arrived in freed {
            if let Err(problem) = self.take(now, arrived) {
                tracing::debug!("a reading that had waited isn't taken: {}", problem.detail);
            }
        }
    }

    fn taken(&mut self, now: Timestamp, arrived: ArrivedReading, decoded: &mut Decoded, message: &Message) {
        let sensor = arrived.reading.sensor.clone();
        if let Err(problem) = self.take(now, arrived) {
            decoded.keep_aside(message, Some(&sensor), problem);
        }
    }

    /// Takes one reading, unless it came before or can't be dated.
    fn take(&mut self, now: Timestamp, arrived: ArrivedReading) -> Result<(), Problem> {
        let received_at = arrived.received_at;
        let DatedReading { mut reading, fresh } = match self.clocks.date(&arrived) {
            Ok(dated) => dated,
            Err(_known) if self.recent.knows(&arrived.reading) => {
                self.counters.duplicates += 1;
                return Ok(());
            }
            Err(problem) => {
                self.clocks.refuse(&arrived.reading.sensor, received_at);
                self.clocks.wait(arrived, false);
                return Err(problem);
            }
        };
        self.clocks.accept(&reading.sensor);
        // It may be that its clock was set back, and says that time once more.
        let set_back = !fresh && reading.ahead.is_zero();
        match self.recent.reading(&mut reading, fresh) {
            ReadingSeen::Never => {
                self.reading(now, received_at, reading);
                Ok(())
            }
            ReadingSeen::Before => {
                self.counters.duplicates += 1;
                if set_back {
                    self.clocks.wait(arrived, true);
                }
                Ok(())
            }
            ReadingSeen::Otherwise(kept) => {
                let detail = format!(
                    "{} at {}: {kept} is kept, {} came",
                    reading.sensor,
                    reading.device_time(),
                    reading.value
                );
                if set_back {
                    self.clocks.wait(arrived, true);
                }
                Err(Problem::new(Reason::Conflict, detail))
            }
        }
    }

    pub(super) fn tell_of_clocks(&mut self, now: Timestamp) {
        if let Some(findings) = self.clocks.news(now) {
            self.event(now, Event::Clocks(findings));
        }
    }

    fn reading(&mut self, now: Timestamp, received_at: Timestamp, reading: Reading) {
        let Some(assessor) = self.assessors.get_mut(&reading.sensor) else {
            return;
        };
        self.counters.readings += 1;
        for assessed in assessor.assess(reading, received_at) {
            self.output.batch.readings.push(assessed.clone());
            self.event(now, Event::Reading(by_our_clock(assessed)));
        }
    }

    /// What was put aside because of its time may have been waiting for more to be known of its clock.
    pub(super) fn recall_mistimed(&mut self, mistimed: Vec<Quarantined>) -> Vec<ArrivedReading> {
        let mut freed = Vec::new();
        let mut last: Option<(Timestamp, String)> = None;
        for Quarantined { received_at, topic, sensor, reason, payload, payload_length, .. } in mistimed {
            if let (Some(sensor), Reason::BadTime | Reason::FutureTime) = (&sensor, reason) {
                self.clocks.refuse(sensor, received_at);
            }
            // One message stands there once for each of its sensors.
            let here = (received_at, topic);
            if payload.len() < payload_length || last.as_ref() == Some(&here) {
                continue;
            }
            let (_, topic) = last.insert(here);
            let message = Message { topic: topic.clone(), payload, retained: false, received_at };
            let mut readings = self.decoder.decode(&message).readings;
            readings.retain(|reading| !self.undated.contains(&reading.sensor) && !self.recent.knows(reading));
            freed.extend(self.clocks.hear(&readings, received_at));
            for reading in readings {
                let taken = reason == Reason::Conflict;
                self.clocks.wait(ArrivedReading { reading, received_at }, taken);
            }
        }
        freed
    }
}

/// While our own clock is behind, what was measured lies ahead of it: the room, which goes by our clock, gets it as of its
/// arrival.
pub(super) fn by_our_clock(mut assessed: Assessed) -> Assessed {
    if assessed.reading.at.duration_since(assessed.received_at) > BEARABLE {
        assessed.reading.at = assessed.received_at;
    }
    assessed
}
