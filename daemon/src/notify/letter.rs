//! One notice on its way to one contact by one channel.

use std::sync::Arc;

use jiff::Timestamp;

use claymark_model::id::Id;
use claymark_notice::{Missed, Notice, NoticeKind, Priority};
use claymark_store::batch::{Channel, Delivery, DeliveryState, Issued};

use super::schedule::Tries;

#[derive(Debug, Clone)]
pub(super) struct Letter {
    pub(super) issued: Arc<Issued>,
    pub(super) contact: Id,
    pub(super) channel: Channel,
    pub(super) tries: Tries,
    pub(super) next_try: Timestamp,
    /// What the last attempt said.
    pub(super) last: String,
    /// Others were told that it doesn't get through.
    pub(super) told: bool,
}

impl Letter {
    pub(super) fn notice(&self) -> &Notice {
        &self.issued.notice
    }

    /// When there is something to do for it: to try, or to give up.
    pub(super) fn due(&self) -> Timestamp {
        self.next_try.min(self.notice().of_use_until())
    }

    pub(super) fn goes(&self, contact: &Id, channel: Channel) -> bool {
        self.contact == *contact && self.channel == channel
    }

    /// Whether others must hear at once when it doesn't get through: somebody must act now.
    pub(super) fn presses(&self) -> bool {
        let notice = self.notice();
        notice.priority == Priority::Now && notice.kind.calls() && notice.kind != NoticeKind::Undelivered
    }

    pub(super) fn delivery(&self, state: DeliveryState) -> Delivery {
        Delivery { notice: self.notice().number, contact: self.contact.clone(), channel: self.channel, state }
    }

    /// What people must know when it fails.
    pub(super) fn missed(&self, why: &str, tried_on: bool) -> Missed {
        Missed {
            contact: self.contact.clone(),
            channel: self.channel,
            why: why.to_owned(),
            may_have_it: self.tries.unanswered > 0,
            tried_on,
        }
    }
}
