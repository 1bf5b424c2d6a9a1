//! The weekly test call: whether calls arrive, and who gave no answer.

use jiff::{SignedDuration, Timestamp};

use crate::action::{AlarmAction, Finding};
use crate::scene::RoomView;
use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_notice::handover::TestCall;
use claymark_notice::{Audience, Content, Priority};

/// The test that runs, and the next one.
#[derive(Debug, Default)]
pub(crate) struct TestWatch {
    next: Option<Timestamp>,
    running: Option<RunningTest>,
}

#[derive(Debug)]
struct RunningTest {
    asked: Timestamp,
    answered: Vec<Id>,
}

impl TestWatch {
    /// From `now` on.
    pub(crate) fn go_live(&mut self, now: Timestamp, site: &Site) {
        self.next = site.calls.test.and_then(|weekly| site.next_weekly(now, weekly));
    }

    /// When something is due.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        let result = self.running.as_ref().map(|running| running.asked + WAITS);
        [self.next, result].into_iter().flatten().min()
    }

    /// A test that was sent at `at`, before a restart, too.
    pub(crate) fn told(&mut self, at: Timestamp, test: &TestCall) {
        self.running = match test {
            TestCall::Asked { .. } => Some(RunningTest { asked: at, answered: Vec::new() }),
            TestCall::Answered { .. } => None,
        };
    }

    /// Somebody answered the test.
    pub(crate) fn answered(&mut self, person: &Id) {
        if let Some(running) = self.running.as_mut().filter(|running| !running.answered.contains(person)) {
            running.answered.push(person.clone());
        }
    }

    /// Asks, or tells who gave no answer.
    pub(crate) fn news(&mut self, view: &RoomView<'_>) -> Option<AlarmAction> {
        let (now, site) = (view.scene.now, &view.known.site);
        if let Some(running) = self.running.take_if(|running| running.asked + WAITS <= now) {
            let silent = site.contacts.iter().map(|contact| contact.id.clone());
            let silent: Vec<Id> = silent.filter(|id| !running.answered.contains(id)).collect();
            let priority = if silent.is_empty() { Priority::Morning } else { Priority::Soon };
            let content = TestCall::Answered { asked: running.asked, by: running.answered, silent };
            return Some(told(priority, view, content));
        }
        self.next.filter(|due| *due <= view.scene.due)?;
        self.go_live(now, site);
        let asked = TestCall::Asked { by: now + WAITS };
        self.told(now, &asked);
        Some(told(Priority::Soon, view, asked))
    }
}

/// Everybody hears of it, whoever is on.
fn told(priority: Priority, view: &RoomView<'_>, test: TestCall) -> AlarmAction {
    let everybody = view.known.site.contacts.iter().map(|contact| contact.id.clone()).collect();
    AlarmAction::Tell(Finding {
        cause: "test".to_owned(),
        drum: None,
        priority,
        replaces: None,
        to: Audience::Only(everybody),
        content: Content::TestCall(test),
    })
}

/// So long an answer is waited for.
const WAITS: SignedDuration = SignedDuration::from_hours(1);
