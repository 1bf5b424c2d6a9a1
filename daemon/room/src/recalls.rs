//! People are called once more: nobody answered, or somebody promised to come and nothing was seen.

use crate::Room;
use crate::alarms::{Pending, Source};
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
            Source::Runout => self.runout_again(scene, call),
            Source::Doubt => self.doubt_again(scene, &call.cause),
            Source::Silence => self.silence_again(scene, &call.cause),
            Source::Failure => self.failure_again(scene, &call.cause),
            Source::Storage => Some((None, self.not_kept(call.raise.since))),
            Source::Name => Some((None, self.taken_over()?)),
            Source::Absence => Some((None, self.unattended(call.raise.since))),
            // It waits until the morning.
            Source::Forwarding => None,
        }
    }
}
