//! Who can't be reached: what a server refuses for good is told to everyone, by the ways that are left.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use crate::action::{AlarmAction, Finding};
use claymark_model::id::Id;
use claymark_notice::{Audience, Channel, Content, Missed, Notice, NoticeKind, Priority, Undelivered};

/// What didn't arrive, and what people were told of that.
#[derive(Debug, Default)]
pub(crate) struct Reach {
    untold: Vec<Untold>,
    /// When people last heard that this way fails.
    told: BTreeMap<(Id, Channel), Timestamp>,
}

#[derive(Debug)]
struct Untold {
    heard: Timestamp,
    undelivered: Undelivered,
}

impl Reach {
    /// A notice won't reach somebody by some way.
    pub(crate) fn missed(&mut self, now: Timestamp, notice: Notice, missed: Missed) {
        // A notice of this kind that gets lost makes no other: the ways that are left have been tried.
        if matches!(notice.content, Content::Undelivered(_)) || notice.of_use_until() <= now {
            return;
        }
        let known = self.untold.iter_mut().find(|untold| untold.undelivered.notice.number == notice.number);
        match known {
            Some(untold) => untold.undelivered.missed.push(missed),
            None => {
                let undelivered = Undelivered { notice, missed: vec![missed] };
                self.untold.push(Untold { heard: now, undelivered });
            }
        }
    }

    /// What people must be told now.
    fn due(&mut self, now: Timestamp) -> Vec<Undelivered> {
        let gathered = self.untold.extract_if(.., |untold| untold.heard + GATHERED_IN <= now);
        let told = &self.told;
        let is_news = |missed: &Missed| {
            let last = told.get(&(missed.contact.clone(), missed.channel));
            last.is_none_or(|last| *last + QUIET_FOR <= now)
        };
        // Somebody waits for a call; the rest is told once for each way that fails.
        let matters = |undelivered: &Undelivered| {
            priority(&undelivered.notice) != Priority::Morning || undelivered.missed.iter().any(is_news)
        };
        gathered.map(|untold| untold.undelivered).filter(matters).collect()
    }

    /// Tells everyone of notices that didn't reach somebody.
    pub(crate) fn news(&mut self, now: Timestamp) -> Vec<AlarmAction> {
        let due = self.due(now);
        due.iter().for_each(|undelivered| self.told(now, undelivered));
        due.into_iter().map(|undelivered| AlarmAction::Tell(finding(undelivered))).collect()
    }

    /// People were told.
    pub(crate) fn told(&mut self, at: Timestamp, undelivered: &Undelivered) {
        for missed in &undelivered.missed {
            self.told.insert((missed.contact.clone(), missed.channel), at);
        }
    }

    /// When something is due if nothing changes.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.untold.iter().map(|untold| untold.heard + GATHERED_IN).min()
    }
}

fn finding(undelivered: Undelivered) -> Finding {
    Finding {
        cause: format!("undelivered:{}", undelivered.notice.number),
        drum: undelivered.notice.drum.clone(),
        priority: priority(&undelivered.notice),
        replaces: None,
        to: Audience::Everyone,
        content: Content::Undelivered(Box::new(undelivered)),
    }
}

/// How soon somebody must hear what didn't arrive: a question about an entry, or that something is over, doesn't hurry.
fn priority(notice: &Notice) -> Priority {
    if matches!(notice.kind, NoticeKind::Query | NoticeKind::Withdrawn) {
        Priority::Morning
    } else {
        notice.priority
    }
}

/// The servers' answers for one notice come within seconds of each other: one message tells them all.
const GATHERED_IN: SignedDuration = SignedDuration::from_secs(10);

/// A way that fails for what isn't urgent is told once a day.
const QUIET_FOR: SignedDuration = SignedDuration::from_hours(24);
