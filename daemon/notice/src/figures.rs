//! How much people are called: the figures that control rooms hold their alarms against.

use std::collections::{BTreeMap, BTreeSet};

use jiff::{SignedDuration, Timestamp};

use crate::content::Content;
use crate::{Audience, Call, Notice, Priority};

/// The figures of a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AlarmFigures {
    /// How long the time was.
    pub period: SignedDuration,
    /// What was raised, or told because it had become worse.
    pub alarms: usize,
    /// The calls for them, the repeated ones too.
    pub calls: usize,
    /// Calls of that time that woke somebody: to one or two people, at once.
    pub waking: usize,
    /// Promises to come that weren't kept.
    pub broken: usize,
    /// The share of all ten minutes in which more than [`FLOOD`] calls came; HSE, Chemicals Information Sheet 6
    /// (2000) has ten in the first ten minutes after an upset as the most that a person can follow.
    pub flooded: f64,
    /// The most calls in ten minutes.
    pub most: usize,
    /// Causes for which people were still called more than a day after the first call.
    pub standing: usize,
    /// Causes that were raised three times or more within an hour.
    pub chattering: usize,
}

impl AlarmFigures {
    /// Of the time from `from` to `to`. `notices` are in order and may reach further back: what began before is standing sooner.
    #[must_use]
    pub fn of(notices: &[&Notice], (from, to): (Timestamp, Timestamp)) -> Self {
        let within = || notices.iter().filter(|notice| from <= notice.at && notice.at < to);
        let calls = || within().filter_map(|notice| Some((notice, notice.calling.as_ref()?)));
        let count = |call: fn(Call) -> bool| calls().filter(|(_, calling)| call(calling.call)).count();
        let tens = tens(calls().map(|(notice, _)| notice.at), from);
        let of_ten = |calls: usize| calls > FLOOD;
        let flooded = tens.values().filter(|calls| of_ten(**calls)).count();
        let all = to.duration_since(from).as_secs_f64() / TEN_MINUTES.as_secs_f64();
        Self {
            period: to.duration_since(from),
            alarms: count(|call| matches!(call, Call::First | Call::Worse)),
            calls: calls().count(),
            waking: calls().filter(|(notice, _)| wakes(notice)).count(),
            broken: count(|call| call == Call::PromiseBroken),
            flooded: count_as_f64(flooded) / all.max(1.0),
            most: tens.values().copied().max().unwrap_or(0),
            standing: standing(notices, (from, to)),
            chattering: chattering(
                calls().map(|(notice, calling)| (notice.cause.as_str(), notice.at, calling.call)),
            ),
        }
    }

    /// So many of something, a day.
    #[must_use]
    pub fn a_day(&self, of: usize) -> f64 {
        let days = self.period.as_secs_f64() / A_DAY.as_secs_f64();
        if days > 0.0 { count_as_f64(of) / days } else { 0.0 }
    }
}

/// By day everybody is told.
fn wakes(notice: &Notice) -> bool {
    notice.priority == Priority::Now && matches!(notice.to, Audience::Only(_))
}

/// Calls by the ten minutes in which they came.
fn tens(calls: impl Iterator<Item = Timestamp>, from: Timestamp) -> BTreeMap<i128, usize> {
    let mut tens = BTreeMap::new();
    for at in calls {
        *tens.entry(at.duration_since(from).as_nanos() / TEN_MINUTES.as_nanos()).or_insert(0) += 1;
    }
    tens
}

/// Causes that were called for again when a day had passed since their first call, and that weren't over in between.
fn standing(notices: &[&Notice], (from, to): (Timestamp, Timestamp)) -> usize {
    let mut since: BTreeMap<&str, Timestamp> = BTreeMap::new();
    let mut stood: BTreeSet<&str> = BTreeSet::new();
    for notice in notices.iter().filter(|notice| notice.at < to) {
        let cause = notice.cause.as_str();
        if matches!(notice.content, Content::Withdrawn(_)) {
            since.remove(cause);
        } else if notice.calling.is_some() {
            let old = *since.entry(cause).or_insert(notice.at) + A_DAY < notice.at;
            if old && from <= notice.at {
                stood.insert(cause);
            }
        }
    }
    stood.len()
}

fn chattering<'a>(calls: impl Iterator<Item = (&'a str, Timestamp, Call)>) -> usize {
    let mut raised: BTreeMap<&str, Vec<Timestamp>> = BTreeMap::new();
    for (cause, at, _) in calls.filter(|(_, _, call)| *call == Call::First) {
        raised.entry(cause).or_default().push(at);
    }
    let chatters = |times: &&Vec<Timestamp>| {
        times
            .windows(CHATTER)
            .any(|some| some.first().zip(some.last()).is_some_and(|(a, b)| *b < *a + AN_HOUR))
    };
    raised.values().filter(chatters).count()
}

#[expect(clippy::cast_precision_loss, reason = "notices of some months")]
fn count_as_f64(count: usize) -> f64 {
    count as f64
}

/// More calls than this in ten minutes nobody can follow.
pub const FLOOD: usize = 10;
const CHATTER: usize = 3;
const TEN_MINUTES: SignedDuration = SignedDuration::from_mins(10);
const AN_HOUR: SignedDuration = SignedDuration::from_hours(1);
const A_DAY: SignedDuration = SignedDuration::from_hours(24);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::content::{Because, ReadingsMissing, Withdrawn};
    use crate::{Calling, NoticeKind, Urgency};

    fn minute(minute: i64) -> Timestamp {
        Timestamp::from_second(1_800_000_000 + minute * 60).unwrap()
    }

    fn call(at: i64, cause: &str, call: Call, priority: Priority) -> Notice {
        let calling = Calling {
            also: Vec::new(),
            call,
            urgency: Urgency::Look,
            earlier: None,
            broken: None,
            holds_until: minute(at),
            later: None,
        };
        Notice {
            number: 1,
            at: minute(at),
            kind: NoticeKind::Water,
            cause: cause.to_owned(),
            drum: None,
            priority,
            replaces: None,
            to: Audience::Only(Vec::new()),
            calling: Some(Box::new(calling)),
            tonight: None,
            content: Content::ReadingsMissing(ReadingsMissing::SessionLost {
                since: minute(0),
                until: minute(0),
            }),
        }
    }

    fn over(at: i64, cause: &str) -> Notice {
        let because = Because::StoreWorks { since: minute(0) };
        let content = Content::Withdrawn(Box::new(Withdrawn { told_at: minute(0), because }));
        Notice { calling: None, content, ..call(at, cause, Call::First, Priority::Morning) }
    }

    #[test]
    fn by_hand_two_days_with_a_flood_a_chattering_cause_and_one_that_stands() {
        let now = Priority::Now;
        let mut all = vec![call(5, "stands", Call::First, now), call(15, "stands", Call::Next, now)];
        all.push(call(20, "stands", Call::PromiseBroken, Priority::Soon));
        // Twelve calls within ten minutes.
        all.extend((0..12).map(|_| call(31, "flood", Call::Again, Priority::Soon)));
        all.push(over(39, "flood"));
        for at in [100, 130, 159] {
            all.push(call(at, "chatters", Call::First, Priority::Soon));
            all.push(over(at + 10, "chatters"));
        }
        all.push(call(1500, "stands", Call::Again, Priority::Soon));
        let figures = AlarmFigures::of(&all.iter().collect::<Vec<_>>(), (minute(0), minute(2 * 1440)));
        assert_eq!((figures.alarms, figures.calls, figures.waking, figures.broken), (4, 19, 2, 1));
        assert_eq!((figures.most, figures.standing, figures.chattering), (12, 1, 1));
        // One of 288 times ten minutes.
        assert!((figures.flooded - 1.0 / 288.0).abs() < 1e-12, "{}", figures.flooded);
        assert!((figures.a_day(figures.alarms) - 2.0).abs() < 1e-12);
        // What began on the first day stands on the second, and not on the third.
        let of_day =
            |day| AlarmFigures::of(&all.iter().collect::<Vec<_>>(), (minute(day), minute(day + 1440)));
        assert_eq!([0, 1440, 2880].map(|day| of_day(day).standing), [0, 1, 0]);
        // A cause that was raised at 100, 130 and 161 doesn't chatter.
        let calm: Vec<Notice> = [100, 130, 161].map(|at| call(at, "c", Call::First, now)).into();
        let figures = AlarmFigures::of(&calm.iter().collect::<Vec<_>>(), (minute(0), minute(1440)));
        assert_eq!(figures.chattering, 0);
    }
}
