//! The parts of the room that each watch one thing. Each changes nothing but its own state, and says what it wants done.

use jiff::Timestamp;

use crate::action::AlarmAction;
use crate::alarms::{AlarmSource, Pending, Turn};
use crate::away::AwayWatch;
use crate::device_clocks::ClockWatch;
use crate::ends::SupplyEnds;
use crate::evening::{self, Evening};
use crate::failures::{Failures, Found};
use crate::forwarding::Forwarding;
use crate::link::LinkWatch;
use crate::morning::MorningWatch;
use crate::queries::Asked;
use crate::reach::Reach;
use crate::scene::RoomView;
use crate::session::Session;
use crate::silence::Silence;
use crate::storage::Storage;
use crate::test_call::TestWatch;
use crate::{attendance, doubt, handover};
use claymark_model::id::Id;
use claymark_notice::Content;
use claymark_notice::alarm::Holds;
use claymark_notice::failure::Fault;
use claymark_notice::keeping::ClockStep;

/// All of them.
#[derive(Debug, Default)]
pub(crate) struct Watches {
    pub(crate) session: Session,
    pub(crate) storage: Storage,
    /// The clock was set, and people don't know yet.
    pub(crate) clock_step: Option<ClockStep>,
    pub(crate) clocks: ClockWatch,
    pub(crate) away: AwayWatch,
    pub(crate) failures: Failures,
    pub(crate) ends: SupplyEnds,
    pub(crate) forwarding: Forwarding,
    pub(crate) link: LinkWatch,
    pub(crate) reach: Reach,
    pub(crate) silence: Silence,
    pub(crate) evening: Evening,
    pub(crate) morning: MorningWatch,
    pub(crate) test: TestWatch,
    pub(crate) asked: Asked,
}

impl Watches {
    /// What holds of the alarms from one source; those of failures and of supplies are looked at by the round.
    pub(crate) fn conditions(&self, view: &RoomView<'_>, source: AlarmSource) -> Vec<(String, Holds)> {
        match source {
            AlarmSource::Doubt => doubt::conditions(view, &self.failures),
            AlarmSource::Silence => self.silence.conditions(view),
            AlarmSource::Storage => vec![self.storage.condition()],
            AlarmSource::Forwarding => self.forwarding.condition().into_iter().collect(),
            AlarmSource::Name => self.link.condition(view).into_iter().collect(),
            AlarmSource::Absence => vec![attendance::condition(view)],
            AlarmSource::Handover => vec![handover::condition(view)],
            AlarmSource::Clock => self.clocks.conditions(),
            AlarmSource::Runout | AlarmSource::Failure => Vec::new(),
        }
    }

    /// What an alarm that begins or ends comes to.
    pub(crate) fn turned(
        &mut self,
        view: &RoomView<'_>,
        (source, cause): (AlarmSource, &str),
        turn: Turn,
    ) -> Option<AlarmAction> {
        let over = matches!(turn, Turn::Withdraw(_));
        match source {
            AlarmSource::Doubt => doubt::turned(view, cause, turn),
            AlarmSource::Storage => self.storage.turned(view, turn),
            AlarmSource::Forwarding => self.forwarding.turned(view, turn),
            AlarmSource::Name => self.link.turned(view, turn),
            AlarmSource::Absence => Some(attendance::turned(view, turn)),
            AlarmSource::Handover => handover::turned(view, turn),
            AlarmSource::Clock => self.clocks.turned(view, cause, turn),
            AlarmSource::Silence if over => self.silence.withdraw(view, cause),
            AlarmSource::Failure if over => Some(self.failures.withdraw(view, cause)),
            AlarmSource::Silence | AlarmSource::Failure | AlarmSource::Runout => None,
        }
    }

    /// What is to be said when people are called once more.
    pub(crate) fn again(&mut self, view: &RoomView<'_>, call: &Pending) -> Option<(Option<Id>, Content)> {
        let since = call.raise.since;
        match call.raise.source {
            AlarmSource::Runout => self.ends.again(view, &call.cause),
            AlarmSource::Doubt => doubt::again(view, &call.cause),
            AlarmSource::Silence => self.silence.again(view, &call.cause),
            AlarmSource::Failure => self.failures.again(view, &call.cause),
            AlarmSource::Storage => Some((None, self.storage.not_kept(since))),
            AlarmSource::Name => Some((None, self.link.rival()?)),
            AlarmSource::Absence => Some((None, attendance::unattended(view, since))),
            AlarmSource::Handover => Some((None, handover::asking(view)?)),
            AlarmSource::Clock => Some((None, self.clocks.again(&call.cause)?)),
            // It waits until the morning.
            AlarmSource::Forwarding => None,
        }
    }

    /// Tells what a rule has found; what comes of it is told with it.
    pub(crate) fn tell_failure(&mut self, view: &RoomView<'_>, found: &Found) -> Vec<AlarmAction> {
        let told = self.failures.tell(view, found);
        let silent = (found.fault == Fault::PowerCut).then(|| self.silence.told_with(view, &found.cause));
        [told].into_iter().chain(silent).collect()
    }

    /// Tells the evening's word, which tells the ends of all supplies.
    pub(crate) fn tell_evening(&mut self, view: &RoomView<'_>) -> Option<AlarmAction> {
        let check = self.evening.news(view, &self.failures)?;
        self.ends.evening_told(view.scene.now, &check);
        Some(AlarmAction::Tell(evening::finding(&view.known.site.time_zone, check)))
    }

    /// Asks everybody for an answer, or tells who gave none.
    pub(crate) fn tell_test(&mut self, view: &RoomView<'_>) -> Option<AlarmAction> {
        self.test.news(view)
    }

    /// When something that was taken in is due.
    pub(crate) fn wake(&self) -> impl Iterator<Item = Timestamp> {
        [self.session.wake(), self.asked.wake(), self.reach.wake(), self.test.wake(), self.away.wake()]
            .into_iter()
            .flatten()
    }
}
