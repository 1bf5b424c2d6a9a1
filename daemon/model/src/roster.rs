//! Who is called at which hour, and when people come: contacts with their hours, days off and part in the work.
//!
//! Hours are civil times in the site's zone. A window that ends before it begins ends on the next day.

use jiff::civil::{Date, DateTime, Time, Weekday};
use serde::{Deserialize, Serialize};

use crate::id::Id;

/// Somebody who is told.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Contact {
    /// In topics.
    pub id: Id,
    /// For people.
    pub name: String,
    /// What they are there for.
    #[serde(default, skip_serializing_if = "Role::is_all")]
    pub role: Role,
    /// When they may be called; none: by their role.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hours: Vec<CallHours>,
    /// Dates on which they aren't called: from, and up to and with.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub days_off: Vec<(Date, Date)>,
    /// They are called for danger, and for nothing else.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub only_danger: bool,
}

/// What somebody is there for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Whatever there is, at all hours.
    #[default]
    All,
    /// While people are about.
    Day,
    /// While nobody is there.
    Night,
    /// At all hours, after everybody else.
    Manager,
}

impl Role {
    fn is_all(&self) -> bool {
        *self == Self::All
    }
}

/// When somebody may be called.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CallHours {
    /// The days on which it begins.
    pub days: Vec<WeekDay>,
    /// When it begins.
    pub from: Time,
    /// When it ends; not later than `from`: on the next day.
    pub to: Time,
}

/// A day of the week, by its name in the site file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WeekDay {
    /// Monday.
    Mon,
    /// Tuesday.
    Tue,
    /// Wednesday.
    Wed,
    /// Thursday.
    Thu,
    /// Friday.
    Fri,
    /// Saturday.
    Sat,
    /// Sunday.
    Sun,
}

impl WeekDay {
    /// All, from Monday on, with their names.
    pub const NAMES: [(&'static str, Self); 7] = [
        ("mon", Self::Mon),
        ("tue", Self::Tue),
        ("wed", Self::Wed),
        ("thu", Self::Thu),
        ("fri", Self::Fri),
        ("sat", Self::Sat),
        ("sun", Self::Sun),
    ];

    /// That of a date.
    #[must_use]
    pub fn of(date: Date) -> Self {
        match date.weekday() {
            Weekday::Monday => Self::Mon,
            Weekday::Tuesday => Self::Tue,
            Weekday::Wednesday => Self::Wed,
            Weekday::Thursday => Self::Thu,
            Weekday::Friday => Self::Fri,
            Weekday::Saturday => Self::Sat,
            Weekday::Sunday => Self::Sun,
        }
    }
}

impl CallHours {
    /// Whether it holds at that time on the wall, apart from days on which it doesn't begin.
    fn holds(&self, at: DateTime, begins: impl Fn(Date) -> bool) -> bool {
        let on = |date: Date| self.days.contains(&WeekDay::of(date)) && begins(date);
        let (today, time) = (at.date(), at.time());
        if self.from < self.to {
            return on(today) && (self.from..self.to).contains(&time);
        }
        on(today) && time >= self.from || time < self.to && today.yesterday().is_ok_and(on)
    }
}

impl Contact {
    /// Somebody who may be called at all hours.
    #[must_use]
    pub fn always(id: Id, name: String) -> Self {
        Self { id, name, role: Role::All, hours: Vec::new(), days_off: Vec::new(), only_danger: false }
    }

    /// Whether they may be called at that time on the wall, `away` while nobody is there.
    pub(crate) fn is_on(&self, at: DateTime, away: bool) -> bool {
        let works = |date: Date| !self.days_off.iter().any(|(from, to)| (*from..=*to).contains(&date));
        if !self.hours.is_empty() {
            return self.hours.iter().any(|hours| hours.holds(at, works));
        }
        let by_role = match self.role {
            Role::All | Role::Manager => true,
            Role::Day => !away,
            Role::Night => away,
        };
        by_role && works(at.date())
    }
}

/// A day on which people come at another time than usual.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct OtherVisit {
    /// Which day.
    pub on: VisitDay,
    /// When they come; `None`: nobody comes.
    pub at: Option<Time>,
}

/// A day of each week, or one date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum VisitDay {
    /// Each week.
    Each(WeekDay),
    /// Once.
    Date(Date),
}

#[cfg(test)]
mod tests;
