//! People are called once more: nobody answered, or somebody promised to come and nothing was seen.

use crate::Room;
use crate::alarms::{AlarmSource, Pending};
use crate::audience;
use crate::pace::Pace;
use crate::scene::{Finding, Scene};
use claymark_model::id::Id;
use claymark_notice::Content;

impl Room {
    /// Calls whoever is to be called now, with what is known now.
    pub(crate) fn call_again(&mut self, scene: &Scene) {
        let pace = Pace::of(&self.site, scene.shift);
        for call in self.alarms.due(scene.now, &pace) {
            let Some((drum, content)) = self.said_again(scene, &call) else { continue };
            let finding = Finding {
                cause: call.cause.clone(),
                drum,
                priority: audience::priority(scene.shift, call.raise.at_night),
                replaces: self.alarms.last(&call.cause).map(|told| told.number),
                to: call.due.to.clone(),
                content,
            };
            self.raise(scene, finding, call.raise, call.broken);
        }
    }

    fn said_again(&mut self, scene: &Scene, call: &Pending) -> Option<(Option<Id>, Content)> {
        match call.raise.source {
            AlarmSource::Runout => self.runout_again(scene, call),
            AlarmSource::Doubt => self.doubt_again(scene, &call.cause),
            AlarmSource::Silence => self.silence_again(scene, &call.cause),
            AlarmSource::Failure => self.failure_again(scene, &call.cause),
            AlarmSource::Storage => Some((None, self.not_kept(call.raise.since))),
            AlarmSource::Name => Some((None, self.taken_over()?)),
            AlarmSource::Absence => Some((None, self.unattended(call.raise.since))),
            // It waits until the morning.
            AlarmSource::Forwarding => None,
        }
    }
}
