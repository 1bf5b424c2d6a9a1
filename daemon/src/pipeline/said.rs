//! What notices said, for whoever looks them up.

use std::collections::BTreeMap;

use claymark_store::batch::Issued;

/// The last notices, by number.
#[derive(Debug, Default)]
pub(super) struct NoticesSaid(BTreeMap<u64, Issued>);

impl NoticesSaid {
    pub(super) fn note(&mut self, issued: &Issued) {
        self.0.insert(issued.notice.number, issued.clone());
        while self.0.len() > KEPT {
            self.0.pop_first();
        }
    }

    pub(super) fn get(&self, number: u64) -> Option<&Issued> {
        self.0.get(&number)
    }
}

/// What stands was told by one of the last ones.
const KEPT: usize = 256;
