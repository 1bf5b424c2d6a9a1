//! The real room through the nights of a season: which run-outs were missed, and which warnings were false.
//!
//! Nobody in a season acts on what the room says, so every warning can be held against what then happened: a
//! run-out counts as told when the evening check said that the drum may not last, or a warning came at least
//! [`ENOUGH`] before it was empty.

use claymark_model::id::Id;
use claymark_notice::content::Verdict;
use claymark_notice::{Call, Content};
use claymark_room::{Effect, Event, Room};
use jiff::Timestamp;

use super::events::clock;
use crate::season::truth::TrueDrum;
use crate::season::{DAY, Season, SeasonNews, start};

/// What a season's nights came to.
#[derive(Debug, Default, Clone)]
pub struct Nights {
    /// Nights of all drums.
    pub nights: u32,
    /// In so many a drum ran empty before the next visit.
    pub run_outs: u32,
    /// Of these the evening check told so many.
    pub told_in_the_evening: u32,
    /// And a warning, in time, so many of the rest.
    pub warned: u32,
    /// The others, each in a line for people.
    pub missed: Vec<String>,
    /// Warnings about a drum that would have lasted beyond visit and margin, each in a line for people.
    pub false_warnings: Vec<String>,
    /// Evening checks that doubted a drum that would have lasted beyond visit and margin.
    pub evenings_too_careful: u32,
    /// Evening checks in which nothing could be said of a drum that was drawn.
    pub evenings_unknown: u32,
    /// Days of all drums.
    pub drum_days: u32,
}

/// Something that the room said of one drum.
struct RoomWord {
    minute: u32,
    drum: usize,
    what: WhatSaid,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum WhatSaid {
    Evening(Verdict),
    Warning { new: bool },
    Doubt,
}

impl Nights {
    /// Lives through them.
    #[must_use]
    pub fn of(season: &Season) -> Self {
        let words = words(season);
        let mut nights = Self::default();
        for (place, drum) in season.drums.iter().enumerate() {
            let words: Vec<&RoomWord> = words.iter().filter(|word| word.drum == place).collect();
            for day in 1..(season.minutes / DAY).saturating_sub(1) {
                nights.night(season, drum, day, &words);
            }
            nights.judge_warnings(season, drum, &words);
            nights.drum_days += season.minutes / DAY;
        }
        nights
    }

    /// Adds another season's.
    pub fn add(&mut self, other: Self) {
        self.nights += other.nights;
        self.run_outs += other.run_outs;
        self.told_in_the_evening += other.told_in_the_evening;
        self.warned += other.warned;
        self.missed.extend(other.missed);
        self.false_warnings.extend(other.false_warnings);
        self.evenings_too_careful += other.evenings_too_careful;
        self.evenings_unknown += other.evenings_unknown;
        self.drum_days += other.drum_days;
    }

    /// False warnings for each drum in thirty days.
    #[must_use]
    pub fn false_a_month(&self) -> f64 {
        f64::from(u32::try_from(self.false_warnings.len()).unwrap_or(u32::MAX)) * 30.0
            / f64::from(self.drum_days)
    }

    fn night(&mut self, season: &Season, drum: &TrueDrum, day: u32, words: &[&RoomWord]) {
        let (evening, visit) = (day * DAY + EVENING, (day + 1) * DAY + VISIT);
        self.nights += 1;
        let said = words.iter().find_map(|word| match word.what {
            WhatSaid::Evening(verdict) if (evening..evening + 60).contains(&word.minute) => Some(verdict),
            WhatSaid::Evening(_) | WhatSaid::Warning { .. } | WhatSaid::Doubt => None,
        });
        let moment = drum.moment(evening);
        let lasts = drum.empty_in(evening).is_none_or(|hours| hours * 60.0 > f64::from(NIGHT + MARGIN));
        match said {
            Some(Verdict::MayNotLast | Verdict::WillNotLast) if lasts && moment.drawn => {
                self.evenings_too_careful += 1;
            }
            Some(Verdict::Unknown) if moment.drawn => self.evenings_unknown += 1,
            Some(_) | None => {}
        }
        let Some(empty) = (evening..visit).find(|minute| runs_empty(drum, *minute)) else { return };
        self.run_outs += 1;
        let filled = (0..evening).rev().find(|minute| drum.moment(*minute).pouring).unwrap_or(0);
        let warned = words.iter().find(|word| {
            matches!(word.what, WhatSaid::Warning { .. }) && (filled..empty).contains(&word.minute)
        });
        let doubted = words
            .iter()
            .any(|word| word.what == WhatSaid::Doubt && (evening - NIGHT..empty).contains(&word.minute));
        if matches!(said, Some(Verdict::MayNotLast | Verdict::WillNotLast)) {
            self.told_in_the_evening += 1;
        } else if warned.is_some_and(|word| word.minute + ENOUGH <= empty) {
            self.warned += 1;
        } else {
            let warned = warned
                .map_or("no warning".to_owned(), |word| format!("warned {} min before", empty - word.minute));
            let would = drum.empty_in(evening).map_or("later than three days".to_owned(), |hours| {
                format!("{:.1} h after the evening", hours)
            });
            self.missed.push(format!(
                "{} drum {} empty {}: evening said {said:?}, {warned}{}; as things stood in the evening it would have been {would}",
                season.name(),
                drum.id,
                clock(empty),
                if doubted { ", level doubted" } else { "" },
            ));
        }
    }

    fn judge_warnings(&mut self, season: &Season, drum: &TrueDrum, words: &[&RoomWord]) {
        for word in words.iter().filter(|word| word.what == WhatSaid::Warning { new: true }) {
            let of_day = word.minute % DAY;
            let until_visit = match of_day {
                0..VISIT => VISIT - of_day + MARGIN,
                VISIT..EVENING => BY_DAY,
                _ => VISIT + DAY - of_day + MARGIN,
            };
            let moment = drum.moment(word.minute);
            // Somebody is about to fill it, or just has.
            if moment.pouring {
                continue;
            }
            let empty_in = drum.empty_in(word.minute);
            if empty_in.is_none_or(|hours| hours * 60.0 > f64::from(until_visit)) {
                let hours = empty_in.map_or("more than 72".to_owned(), |hours| format!("{hours:.1}"));
                self.false_warnings.push(format!(
                    "{} drum {} {}: {hours} h were left{}",
                    season.name(),
                    drum.id,
                    clock(word.minute),
                    if moment.drawn { "" } else { ", and nothing drew from it" }
                ));
            }
        }
    }
}

/// The first minute in which it is empty.
fn runs_empty(drum: &TrueDrum, minute: u32) -> bool {
    let empty = |minute: u32| drum.moment(minute).volume <= drum.heel + 0.05;
    drum.moment(minute).drawn && empty(minute) && minute > 0 && !empty(minute - 1)
}

/// All that the room says of the drums in a season.
fn words(season: &Season) -> Vec<RoomWord> {
    let mut room = Room::new(season.site.clone());
    let mut words = Vec::new();
    room.handle(start(), Event::GoLive);
    for heard in &season.heard {
        while let Some((at, _)) = room.next_deadline().filter(|(at, _)| *at <= heard.at) {
            room.handle(at, Event::Tick);
            take(season, at, room.take_effects(), &mut words);
        }
        let event = match &heard.news {
            SeasonNews::Reading(assessed) => Event::Reading(assessed.clone()),
            SeasonNews::Log(entry) => Event::Log(entry.clone()),
        };
        room.handle(heard.at, event);
        take(season, heard.at, room.take_effects(), &mut words);
    }
    words
}

fn take(season: &Season, at: Timestamp, effects: Vec<Effect>, words: &mut Vec<RoomWord>) {
    let minute = minute_of(at);
    let place = |id: &Id| season.drums.iter().position(|drum| drum.id == *id);
    for effect in effects {
        let Effect::Notify(notice) = effect else { continue };
        let mut says = |of: Option<&Id>, what| {
            words.extend(of.and_then(place).map(|drum| RoomWord { minute, drum, what }));
        };
        if let Content::EveningCheck(check) = &notice.content {
            check.drums.iter().for_each(|drum| says(Some(&drum.state.drum), WhatSaid::Evening(drum.verdict)));
        } else if let Content::Runout(runout) = &notice.content {
            let call = notice.calling.as_ref().map(|calling| calling.call);
            if matches!(call, Some(Call::First | Call::Worse)) {
                says(Some(&runout.state.drum), WhatSaid::Warning { new: notice.replaces.is_none() });
            }
        } else if let Content::LevelDoubt(_) = &notice.content {
            says(notice.drum.as_ref(), WhatSaid::Doubt);
        }
    }
}

fn minute_of(at: Timestamp) -> u32 {
    u32::try_from(at.duration_since(start()).as_secs().div_euclid(60)).unwrap_or(0)
}

/// A warning that leaves so many minutes is in time.
pub const ENOUGH: u32 = 60;
/// Minutes of the day, as the site has them.
const EVENING: u32 = 17 * 60;
const VISIT: u32 = 7 * 60 + 30;
/// Minutes of a night.
const NIGHT: u32 = DAY - EVENING + VISIT;
/// Minutes that a drum must last beyond the visit.
const MARGIN: u32 = 60;
/// Minutes: by day a warning about a drum that lasts longer is false.
const BY_DAY: u32 = 180;
