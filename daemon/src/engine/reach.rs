//! What became of notices, and the answers to them by mail: kept, counted, and said to the room; what reached nobody stands at the broker.

use std::sync::Arc;

use claymark_room::Event;
use claymark_store::batch::{CommitBatch, Delivery, DeliveryState, Issued};

use super::Engine;
use crate::notify::{self, Outcome};
use crate::replies::Reply;
use crate::snapshot::DeliveryFate;

impl Engine {
    /// Takes what the notifier says.
    pub(super) fn heard_of_delivery(&mut self, outcome: Outcome) {
        match outcome {
            Outcome::Delivery(delivery) => {
                self.count(&delivery);
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

    fn count(&mut self, delivery: &Delivery) {
        let fate = match delivery.state {
            DeliveryState::Sent { .. } => DeliveryFate::Accepted,
            DeliveryState::GivenUp { .. } => DeliveryFate::GivenUp,
            DeliveryState::Pending { .. } | DeliveryState::Unanswered { .. } => return,
        };
        *self.snapshot.counts.deliveries.entry((delivery.channel, fate)).or_default() += 1;
    }

    /// Takes an answer by mail; whoever waits hears what it came to when it is kept.
    pub(super) fn replied(&mut self, Reply { mut answer, kept }: Reply) {
        answer.at = self.clock.now().max(self.reached);
        self.reached = answer.at;
        self.pipeline.advance_before(answer.at);
        let outcome = self.pipeline.reply(answer.at, answer);
        self.backlog.replies.push((kept, outcome));
        self.collect();
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
