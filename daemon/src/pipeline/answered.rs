//! Who has answered which notice, and how pressing each was: what a reply by mail comes to.

use std::collections::{BTreeMap, BTreeSet};

use claymark_notice::{Answer, Notice, Urgency};

/// Of late.
#[derive(Debug, Default)]
pub(super) struct AnswersSeen {
    by: BTreeSet<(u64, String)>,
    urgency: BTreeMap<u64, Urgency>,
}

impl AnswersSeen {
    /// A notice, new or told again.
    pub(super) fn issued(&mut self, notice: &Notice) {
        if let Some(calling) = &notice.calling {
            self.urgency.insert(notice.number, calling.urgency);
        }
        if self.urgency.len() > KEPT {
            self.urgency.pop_first();
        }
    }

    /// An answer that was taken.
    pub(super) fn answered(&mut self, answer: &Answer) {
        self.by.extend(answer.by.clone().map(|by| (answer.notice, by)));
        if self.by.len() > KEPT {
            self.by.pop_first();
        }
    }

    /// Whether that person has answered that notice.
    pub(super) fn has(&self, answer: &Answer) -> bool {
        answer.by.as_ref().is_some_and(|by| self.by.contains(&(answer.notice, by.clone())))
    }

    /// How pressing it is; `None`: it calls nobody by a time.
    pub(super) fn urgency(&self, notice: u64) -> Option<Urgency> {
        self.urgency.get(&notice).copied()
    }
}

/// More than any night has.
const KEPT: usize = 512;
