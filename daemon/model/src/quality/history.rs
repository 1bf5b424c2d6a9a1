//! The last readings of one sensor in order of their own time: what a reading is compared with.

use std::collections::VecDeque;

use jiff::Timestamp;

use crate::reading::TestFlags;

/// At most [`MOST_POINTS`], oldest first, no time twice.
#[derive(Debug, Clone, Default)]
pub(super) struct History(VecDeque<Point>);

/// A reading that has been assessed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Point {
    pub(super) at: Timestamp,
    pub(super) value: f64,
    pub(super) tests: TestFlags,
}

/// Where a time falls.
#[derive(Debug, Clone, Copy)]
pub(super) enum Falls {
    /// After all others.
    Newest,
    /// So many readings are earlier, and at least one is later.
    Late(usize),
    /// A reading of this time is there; so many are earlier.
    Taken(usize, Point),
    /// Before all that is still remembered.
    Forgotten,
}

impl History {
    pub(super) fn place_of(&self, at: Timestamp) -> Falls {
        if self.newest().is_none_or(|newest| newest.at < at) {
            return Falls::Newest;
        }
        let earlier = self.0.partition_point(|point| point.at < at);
        match self.0.get(earlier) {
            Some(point) if point.at == at => Falls::Taken(earlier, *point),
            _ if earlier == 0 && self.0.len() == MOST_POINTS => Falls::Forgotten,
            _ => Falls::Late(earlier),
        }
    }

    pub(super) fn newest(&self) -> Option<&Point> {
        self.0.back()
    }

    pub(super) fn newest_mut(&mut self) -> Option<&mut Point> {
        self.0.back_mut()
    }

    /// The reading that so many others precede.
    pub(super) fn get(&self, earlier: usize) -> Option<&Point> {
        self.0.get(earlier)
    }

    pub(super) fn get_mut(&mut self, earlier: usize) -> Option<&mut Point> {
        self.0.get_mut(earlier)
    }

    /// The last reading of the first `count`.
    pub(super) fn last_of(&self, count: usize) -> Option<&Point> {
        count.checked_sub(1).and_then(|last| self.0.get(last))
    }

    /// The first `count` readings, newest first.
    pub(super) fn back_from(&self, count: usize) -> impl Iterator<Item = &Point> {
        self.0.range(..count.min(self.0.len())).rev()
    }

    pub(super) fn len(&self) -> usize {
        self.0.len()
    }

    /// Puts `point` behind the first `earlier` readings, and forgets the oldest when it is full.
    pub(super) fn insert(&mut self, earlier: usize, point: Point) {
        let full = self.0.len() == MOST_POINTS;
        if full {
            self.0.pop_front();
        }
        self.0.insert(earlier - usize::from(full), point);
    }
}

/// 8.5 h at one reading in 30 s; 32 bytes each make 32 KiB.
pub(super) const MOST_POINTS: usize = 1024;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn history_stays_sorted_and_bounded_whatever_the_order_of_arrival() {
        assert_eq!(size_of::<Point>(), 32, "the size that the documentation states");
        let at = |second: i64| Timestamp::from_second(second).unwrap();
        let mut history = History::default();
        for second in (0..3_000).step_by(2).chain((1..3_000).step_by(2)) {
            let point = Point { at: at(second), value: 0.0, tests: TestFlags::NOT_EVALUATED };
            match history.place_of(point.at) {
                Falls::Newest => history.insert(history.len(), point),
                Falls::Late(earlier) => history.insert(earlier, point),
                Falls::Taken(..) => panic!("{second} is there once"),
                Falls::Forgotten => assert!(second < 2_998 - 1_024, "{second}"),
            }
        }
        assert_eq!(history.len(), MOST_POINTS);
        let times: Vec<Timestamp> = history.back_from(history.len()).map(|point| point.at).collect();
        assert!(times.is_sorted_by(|later, earlier| later > earlier));
        assert!(
            matches!(history.place_of(at(2_998)), Falls::Taken(earlier, point) if point.at == at(2_998) && earlier + 2 == MOST_POINTS)
        );
    }
}
