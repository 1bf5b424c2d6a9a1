//! The report is made part by part. What one of them goes by may be unreadable, or making it may fail: that part
//! leaves its place with a sentence, and the rest is made.

use std::any::Any;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};

use claymark_words::report::unmade::{Kind, Part, WhyUnmade};

/// What couldn't be read or made so far.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Unmade {
    unread: BTreeMap<Kind, String>,
    faults: BTreeMap<Part, String>,
    hours: Option<UnreadHours>,
}

/// Hours whose readings can't be read, while others can.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnreadHours {
    /// How many.
    pub hours: usize,
    /// What the store or InfluxDB said of the first.
    pub said: String,
}

impl Unmade {
    /// Rows of a kind, or none of them and a mark.
    pub fn rows<T: Default, E: ToString>(&mut self, kind: Kind, read: Result<T, E>) -> T {
        read.unwrap_or_else(|failure| {
            self.unread.insert(kind, failure.to_string());
            T::default()
        })
    }

    /// One more hour whose readings can't be read.
    pub fn hour(&mut self, said: &impl ToString) {
        let unread = self.hours.get_or_insert_with(|| UnreadHours { hours: 0, said: said.to_string() });
        unread.hours += 1;
    }

    /// The hours whose readings can't be read; `None`: all can.
    #[must_use]
    pub fn hours(&self) -> Option<&UnreadHours> {
        self.hours.as_ref()
    }

    /// What `make` gives; where it fails, `otherwise` and a mark on the parts that go by it.
    pub fn fact<T>(&mut self, parts: &[Part], otherwise: T, make: impl FnOnce() -> T) -> T {
        attempt(make).unwrap_or_else(|fault| {
            for part in parts {
                self.faults.entry(*part).or_insert_with(|| fault.clone());
            }
            otherwise
        })
    }

    /// Why a part can't be made; `None`: all that it goes by is there.
    #[must_use]
    pub fn why(&self, part: Part) -> Option<WhyUnmade> {
        let unread = goes_by(part).iter().find_map(|kind| Some((*kind, self.unread.get(kind)?)));
        let fault = || self.faults.get(&part).map(|said| WhyUnmade::Fault(said.clone()));
        unread.map(|(kind, said)| WhyUnmade::Unread(kind, said.clone())).or_else(fault)
    }
}

/// What `make` gives, or what it said when it failed.
pub fn attempt<T>(make: impl FnOnce() -> T) -> Result<T, String> {
    // A part that fails is thrown away whole: nothing half-made is seen.
    catch_unwind(AssertUnwindSafe(make)).map_err(|fault| said(fault.as_ref()))
}

fn said(fault: &(dyn Any + Send)) -> String {
    let text = fault.downcast_ref::<&str>().map(|text| (*text).to_owned());
    text.or_else(|| fault.downcast_ref::<String>().cloned())
        .unwrap_or_else(|| "it didn't say what".to_owned())
}

/// The rows without which a part would tell something wrong.
fn goes_by(part: Part) -> &'static [Kind] {
    use Kind::{
        Answers, Deliveries, Forecasts, Happenings, Log, Marks, Notices, Quarantined, Readings, Yields,
    };
    match part {
        Part::Room => &[Readings, Forecasts, Happenings],
        Part::Ahead => &[Readings, Forecasts, Happenings, Log, Yields],
        Part::Drums => &[Readings, Forecasts, Happenings, Notices, Log],
        Part::Skill => &[Marks],
        Part::Water | Part::Demand | Part::Complete => &[Readings],
        Part::Told => &[Notices, Deliveries, Answers],
        Part::Happened => &[Happenings, Log],
        Part::Aside => &[Quarantined],
        Part::Log => &[Log],
        Part::Daily => &[Readings, Forecasts, Happenings, Log],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_fails_by_the_rows_it_goes_by_or_by_itself_and_no_other_does() {
        let mut unmade = Unmade::default();
        let rows: Vec<u8> = unmade.rows(Kind::Answers, Err("no such table"));
        assert!(rows.is_empty());
        assert_eq!(unmade.fact(&[Part::Demand], 7, || [1][std::hint::black_box(3)]), 7);
        assert_eq!(unmade.fact(&[Part::Water], 7, || 8), 8);
        assert_eq!(
            unmade.why(Part::Told),
            Some(WhyUnmade::Unread(Kind::Answers, "no such table".to_owned()))
        );
        assert!(
            matches!(unmade.why(Part::Demand), Some(WhyUnmade::Fault(said)) if said.contains("out of bounds"))
        );
        let others = Part::ALL.into_iter().filter(|part| ![Part::Told, Part::Demand].contains(part));
        for part in others {
            assert_eq!(unmade.why(part), None, "{part:?}");
        }
    }
}
