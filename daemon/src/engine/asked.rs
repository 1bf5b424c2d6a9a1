//! What the page asks: how the room stands, what a notice said, and to keep what somebody writes down there.

use std::collections::BTreeMap;

use super::Engine;
use crate::message::Message;
use crate::page::asks::{NoticeNow, PageAsk, RoomNow, WriteOutcome};

impl Engine {
    /// Answers; whoever has gone meanwhile isn't missed.
    pub(super) fn asked(&mut self, ask: PageAsk) {
        let heard = match ask {
            PageAsk::Room(to) => to.send(self.room_now()).is_ok(),
            PageAsk::Notice(number, to) => to.send(self.notice_now(number)).is_ok(),
            PageAsk::Write(payload, to) => {
                self.write_down(payload, to);
                true
            }
        };
        if !heard {
            tracing::debug!("a page that asked isn't there any more");
        }
    }

    fn room_now(&mut self) -> RoomNow {
        let now = self.clock.now().max(self.reached);
        let glance = self.pipeline.room().glance(now);
        let said = glance.standing.iter().filter_map(|alarm| {
            let issued = self.pipeline.said(alarm.number)?;
            Some((alarm.number, issued.subject.clone()))
        });
        RoomNow { said: said.collect::<BTreeMap<_, _>>(), glance }
    }

    fn notice_now(&self, number: u64) -> Option<NoticeNow> {
        let issued = self.pipeline.said(number)?.clone();
        let standing = self.pipeline.room().register().standing(number, None);
        Some(NoticeNow { issued, standing })
    }

    /// An entry of the page comes as one of the broker does, so that a recording of it replays; it needs no broker.
    fn write_down(&mut self, payload: Vec<u8>, to: tokio::sync::oneshot::Sender<WriteOutcome>) {
        let received_at = self.clock.now().max(self.reached);
        let topic = format!("{}/log", self.prefix);
        let message = Message { topic, payload, retained: false, received_at };
        if let Some(against) = self.pipeline.look_over(&message) {
            if to.send(WriteOutcome::NotTaken(against)).is_err() {
                tracing::debug!("nobody waits any more for what became of an entry");
            }
            return;
        }
        self.take_message(message);
        self.backlog.writers.push(to);
        self.collect();
    }
}
