//! What became of notices: kept, counted, and said to the room; what reached nobody stands at the broker.

use std::sync::Arc;

use claymark_room::Event;
use claymark_store::batch::{CommitBatch, DeliveryState, Issued};

use super::Engine;
use crate::notify::{self, Outcome};

impl Engine {
    /// Takes what the notifier says.
    pub(super) fn heard_of_delivery(&mut self, outcome: Outcome) {
        match outcome {
            Outcome::Delivery(delivery) => {
                if matches!(delivery.state, DeliveryState::Sent { .. }) {
                    self.somebody_reached();
                }
                self.backlog.add(CommitBatch { deliveries: vec![delivery], ..CommitBatch::default() });
            }
            Outcome::Undelivered { notice, missed, told_before } => {
                self.snapshot.counts.undelivered += u64::from(!missed.tried_on);
                if !told_before {
                    self.event(Event::NotDelivered { notice, missed });
                    self.collect();
                }
            }
            Outcome::ReachedNobody(issued) => self.nobody_reached(&issued),
        }
        self.show();
    }

    /// Whatever can hear the broker, a lamp or a siren, can show it.
    fn nobody_reached(&mut self, issued: &Arc<Issued>) {
        self.snapshot.reached_nobody = Some(issued.notice.number);
        self.to_publish.insert(self.topic_of_undelivered(), notify::line::notice(issued).into_bytes());
        self.stands_undelivered = true;
    }

    /// The first one after a start clears what an earlier run may have left at the broker.
    fn somebody_reached(&mut self) {
        self.snapshot.reached_nobody = None;
        if std::mem::take(&mut self.stands_undelivered) {
            self.to_publish.insert(self.topic_of_undelivered(), Vec::new());
        }
    }

    fn topic_of_undelivered(&self) -> String {
        format!("{}/undelivered", self.prefix)
    }
}
