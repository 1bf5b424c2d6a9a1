//! What every rule sees of one look at the room, and how what it finds is told.

use jiff::Timestamp;

use crate::alarms::Raise;
use crate::audience::{self, Told};
use crate::calendar::Shift;
use crate::drum_record::DrumRecord;
use crate::pace::Pace;
use crate::{Effect, Room};
use claymark_model::forecast::{Forecast, Outlook};
use claymark_model::id::Id;
use claymark_model::units::LitresPerHour;
use claymark_notice::calling::{Calling, Earlier, Later, Promise};
use claymark_notice::content::{Because, Content, DrumState, Visit, Withdrawn};
use claymark_notice::{Audience, Notice, Priority, Urgency};

/// Something to tell, before it has its number.
pub(crate) struct Finding {
    pub(crate) cause: String,
    pub(crate) drum: Option<Id>,
    pub(crate) priority: Priority,
    pub(crate) replaces: Option<u64>,
    pub(crate) to: Audience,
    pub(crate) content: Content,
}

/// What every rule sees of this look.
pub(crate) struct Scene {
    pub(crate) now: Timestamp,
    pub(crate) live: Timestamp,
    /// What has its fixed time and was due by then is told.
    pub(crate) due: Timestamp,
    pub(crate) shift: Shift,
    /// Somebody has been seen in the room of late.
    pub(crate) attended: bool,
    /// The next visit, while nobody is there.
    pub(crate) visit: Option<Visit>,
    /// Of each record, in order.
    pub(crate) forecasts: Vec<Forecast>,
}

impl Scene {
    /// When, and what is forecast of each record.
    pub(crate) fn seen(&self) -> (Timestamp, &[Forecast]) {
        (self.now, &self.forecasts)
    }
}

impl Room {
    pub(crate) fn scene(&self, now: Timestamp, live: Timestamp, due: Timestamp) -> Scene {
        let shift = self.shift(now);
        let visit = match shift {
            Shift::Away { visit, .. } => Some(Visit { at: visit, margin: self.site.staff.margin }),
            Shift::Present => None,
        };
        let forecasts = self.records.iter().map(|record| record.watch.forecast(now)).collect();
        let attended = self.attendance.is_attended(now, shift);
        Scene { now, live, due, shift, attended, visit, forecasts }
    }

    /// Tells an alarm: it calls people again until somebody has promised to come.
    pub(crate) fn raise(
        &mut self,
        scene: &Scene,
        finding: Finding,
        raise: Raise,
        broken: Option<Promise>,
    ) -> Told {
        let cause = finding.cause.clone();
        let raise =
            Raise { urgency: Pace::of(&self.site, scene.shift).graded(raise.urgency, scene.now), ..raise };
        let danger = matches!(raise.urgency, Urgency::Danger { .. }) && finding.priority == Priority::Soon;
        let finding = if danger { Finding { priority: Priority::Now, ..finding } } else { finding };
        let calling =
            (finding.priority != Priority::Morning).then(|| self.calling(scene, &finding, raise, broken));
        let told = self.tell_with(scene, finding, calling.clone());
        self.alarms.told(&cause, raise, told.clone(), calling.as_ref());
        told
    }

    /// How a finding calls people.
    fn calling(&self, scene: &Scene, finding: &Finding, raise: Raise, broken: Option<Promise>) -> Calling {
        let pace = Pace::of(&self.site, scene.shift);
        let told = Told { number: 0, at: scene.now, to: finding.to.clone() };
        let later = self.alarms.later(&finding.cause, &raise, told, &pace);
        Calling {
            call: raise.call,
            urgency: raise.urgency,
            earlier: self
                .alarms
                .last(&finding.cause)
                .map(|told| Earlier { at: told.at, to: told.to.clone() }),
            broken,
            holds_until: pace.holds_until(scene.now, raise.urgency),
            later: later.map(|due| Later { at: due.at, to: due.to }),
        }
    }

    /// Gives a finding its number and sends it, with the forecasts that it goes by.
    pub(crate) fn tell(&mut self, scene: &Scene, finding: Finding) -> Told {
        self.tell_with(scene, finding, None)
    }

    fn tell_with(&mut self, scene: &Scene, finding: Finding, calling: Option<Calling>) -> Told {
        self.issue_forecasts(scene);
        self.last_number = self.next_number(scene.now);
        let Finding { cause, drum, priority, replaces, mut to, content } = finding;
        // Who heard of it only because somebody else couldn't be reached hears that it is over.
        if matches!(content, Content::Withdrawn(_)) {
            to = if self.reach.cleared(&cause) { Audience::Everyone } else { self.alarms.all_told(&cause) };
        }
        let told = Told { number: self.last_number, at: scene.now, to: to.clone() };
        let kind = content.kind();
        let calling = calling.map(Box::new);
        let notice = Notice {
            number: told.number,
            at: told.at,
            kind,
            cause,
            drum,
            priority,
            replaces,
            to,
            calling,
            content,
        };
        self.register.issue(&notice);
        self.effects.push(Effect::Notify(notice));
        told
    }

    /// What is known of a record's drum.
    pub(crate) fn state(&self, scene: &Scene, record: &DrumRecord, forecast: &Forecast) -> DrumState {
        let level = self.site.level_sensor(&record.drum.id);
        let heard = level.and_then(|sensor| self.sensors.last(&sensor.id));
        record.state(&self.site, forecast, self.drawn_through(scene, &record.drum.pump), heard)
    }

    pub(crate) fn state_at(&self, scene: &Scene, place: usize) -> Option<DrumState> {
        Some(self.state(scene, self.records.get(place)?, scene.forecasts.get(place)?))
    }

    /// What the data say that a pump draws; `None` where the draw of one of its drums isn't known.
    fn drawn_through(&self, scene: &Scene, pump: &Id) -> Option<LitresPerHour> {
        self.records
            .iter()
            .zip(&scene.forecasts)
            .filter(|(record, forecast)| record.drum.pump == *pump && forecast.in_use)
            .map(|(_, forecast)| match &forecast.outlook {
                Outlook::Known { draw, .. } => Some(draw.0),
                Outlook::Unknown { .. } => None,
            })
            .sum::<Option<f64>>()
            .map(LitresPerHour)
    }

    /// A finding for whoever is on duty; while people are there, everyone within the hour.
    pub(crate) fn on_duty(
        &self,
        scene: &Scene,
        cause: String,
        at_night: Priority,
        content: Content,
    ) -> Finding {
        Finding {
            cause,
            drum: None,
            priority: audience::priority(scene.shift, at_night),
            replaces: None,
            to: audience::first(&self.site.contacts, scene.shift),
            content,
        }
    }
}

/// A warning of `told` no longer holds.
pub(crate) fn withdrawn(cause: String, drum: Option<Id>, told: &Told, because: Because) -> Finding {
    Finding {
        cause,
        drum,
        priority: Priority::Morning,
        replaces: Some(told.number),
        to: Audience::Everyone,
        content: Content::Withdrawn(Box::new(Withdrawn { told_at: told.at, because })),
    }
}
