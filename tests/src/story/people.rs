//! People who are called: some sleep, some answer and don't come, some come late, some come without a word. Whether fish were
//! in danger is taken from the room's truth, never from what the program believes.

use std::fmt::Write as _;

use jiff::{SignedDuration, Timestamp};

use super::physics::Truth;
use super::script::ScriptedStory;
use super::told::{NoticeAsRead, Telling};

/// How somebody takes a call.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Habit {
    /// Nobody wakes up.
    Sleeps,
    /// Says "I'm on it" to each call, and stays in bed.
    AnswersOnly,
    /// Answers, and is there an hour and a half later.
    ComesLate,
    /// Is there 40 minutes later, answers nothing and writes nothing down.
    ComesSilently,
}

impl Habit {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Sleeps, Self::AnswersOnly, Self::ComesLate, Self::ComesSilently];

    fn answers(self) -> bool {
        matches!(self, Self::AnswersOnly | Self::ComesLate)
    }

    fn there_after(self) -> Option<SignedDuration> {
        match self {
            Self::Sleeps | Self::AnswersOnly => None,
            Self::ComesLate => Some(SignedDuration::from_mins(90)),
            Self::ComesSilently => Some(SignedDuration::from_mins(40)),
        }
    }
}

/// A story that is watched while it goes on.
pub struct Watched {
    story: ScriptedStory,
    /// What people were told.
    pub telling: Telling,
    habit: Habit,
    mends: Box<dyn Fn(&mut ScriptedStory)>,
    answers: Vec<(Timestamp, u64)>,
    comes: Option<Timestamp>,
    came: bool,
    promised_until: Option<Timestamp>,
    called: Option<Timestamp>,
    danger_since: Option<Timestamp>,
    /// When fish were left in danger for longer than they may, without a call or a promise; each with what it was.
    pub silences: Vec<String>,
}

impl Watched {
    /// People of that habit; whoever comes `mends` what is wrong.
    pub fn new(
        story: ScriptedStory,
        site: &str,
        habit: Habit,
        mends: impl Fn(&mut ScriptedStory) + 'static,
    ) -> Self {
        let telling = Telling::live(site, story.now());
        Self {
            story,
            telling,
            habit,
            mends: Box::new(mends),
            answers: Vec::new(),
            comes: None,
            came: false,
            promised_until: None,
            called: None,
            danger_since: None,
            silences: Vec::new(),
        }
    }

    /// Lives until that time.
    pub fn until(mut self, end: Timestamp) -> Self {
        while self.story.now() < end {
            let messages = self.story.minute();
            let told = self.telling.hears(&messages).to_vec();
            for notice in &told {
                self.hear(notice);
            }
            self.act();
            self.look();
        }
        self
    }

    fn hear(&mut self, told: &NoticeAsRead) {
        let Some(calling) = &told.notice.calling else { return };
        self.called = Some(told.at);
        if self.habit.answers() {
            self.answers.push((told.at + ANSWERS_AFTER, told.notice.number));
            // What the message says of an answer is what the answer is worth.
            let until = calling.holds_until;
            let known = self.promised_until.unwrap_or(until);
            self.promised_until = Some(until.max(known));
        }
        if let Some(after) = self.habit.there_after().filter(|_| !self.came) {
            self.comes.get_or_insert(told.at + after);
        }
    }

    fn act(&mut self) {
        let now = self.story.now();
        let due: Vec<_> = self.answers.extract_if(.., |(at, _)| *at <= now).collect();
        for (_, notice) in due {
            self.story.answer(notice, "duty");
        }
        if self.comes.is_some_and(|at| at <= now) && !self.came {
            (self.mends)(&mut self.story);
            self.came = true;
            // Whoever is there sees the water clear up.
            self.promised_until = self.promised_until.max(Some(now + STAYS));
        }
    }

    fn look(&mut self) {
        let now = self.story.now();
        let Some(danger) = danger(self.story.truth()) else {
            self.danger_since = None;
            return;
        };
        let since = *self.danger_since.get_or_insert(now);
        let promised = self.promised_until.is_some_and(|until| now <= until);
        let heard = self.called.max(Some(since)).max(self.promised_until.filter(|until| *until <= now));
        if !promised && heard.is_some_and(|heard| now > heard + LONGEST) {
            self.silences.push(format!("{}: {danger}", now.strftime("%d. %H:%M")));
            // Each stretch is told once.
            self.called = Some(now);
        }
    }

    /// The calls between 22 and 6 o'clock.
    pub fn waking(&self) -> impl Iterator<Item = &NoticeAsRead> {
        let night = |told: &&NoticeAsRead| {
            let hour = told.at.strftime("%H").to_string().parse::<u32>().unwrap_or(0);
            told.notice.calling.is_some() && !(6..22).contains(&hour)
        };
        self.telling.told.iter().filter(night)
    }

    /// What was told, to whom and why, for messages of failed assertions.
    #[must_use]
    pub fn list(&self) -> String {
        let mut text = String::new();
        for told in &self.telling.told {
            let call = told.notice.calling.as_ref().map(|calling| calling.call);
            let line = format!(
                "{} {} {call:?} {:?} {}",
                told.clock, told.notice.cause, told.notice.to, told.subject
            );
            writeln!(text, "{line}").expect("a string takes all");
        }
        text
    }
}

/// What endangers the fish of the story's room, by what is truly so: half the lower end of the band, twice its upper end, two
/// degrees outside, less oxygen than they need (the site file of the stories).
fn danger(truth: &Truth) -> Option<String> {
    let turbidity = truth.background + truth.tanks;
    if !(25.0..=160.0).contains(&turbidity) {
        return Some(format!("{turbidity:.0} NTU in the tanks"));
    }
    if truth.oxygen < 5.9 {
        return Some(format!("{:.1} mg/L of oxygen", truth.oxygen));
    }
    let warmth = truth.temperature;
    (!(16.9..=23.1).contains(&warmth)).then(|| format!("{warmth:.1} °C"))
}

/// Nobody may be left without a word for longer; a minute for the look.
const LONGEST: SignedDuration = SignedDuration::from_mins(31);
const STAYS: SignedDuration = SignedDuration::from_hours(1);
const ANSWERS_AFTER: SignedDuration = SignedDuration::from_mins(4);
