//! The recorded messages through decode, quality and room: what people were told.

use claymark::config::{self, Secrets, Surroundings};
use claymark::message::Message;
use claymark::pipeline::Pipeline;
use claymark::recording::Recording;
use claymark_model::forecast::{Forecast, Subject};
use claymark_notice::failure::Fault;
use claymark_notice::{Call, Content, Failure, Notice};
use claymark_room::{Event, Room};
use claymark_store::batch::Issued;
use jiff::Timestamp;

use super::script::at;

/// All that came of a story.
pub struct Telling {
    /// In order.
    pub told: Vec<NoticeAsRead>,
    /// Every ten minutes and with each notice.
    pub forecasts: Vec<Forecast>,
    pipeline: Pipeline,
}

/// One notice as people read it.
#[derive(Debug, Clone)]
pub struct NoticeAsRead {
    /// When.
    pub at: Timestamp,
    /// "+1 00:45"
    pub clock: String,
    /// All facts.
    pub notice: Notice,
    /// The first line.
    pub subject: String,
    /// The rest.
    pub text: String,
}

impl Telling {
    /// Reads `recorded` messages by the site file `site`.
    ///
    /// # Panics
    /// When the site file has a mistake, or the recording isn't one.
    #[must_use]
    pub fn of(site: &str, recorded: &str) -> Self {
        let mut telling = Self::new(site);
        telling.read(site, recorded, (true, Timestamp::MAX));
        telling
    }

    /// The same up to that clock time, by a room that only hears, as one that is asked by the command line.
    ///
    /// # Panics
    /// As [`Telling::of`].
    #[must_use]
    pub fn heard(site: &str, recorded: &str, until: &str) -> Self {
        let mut telling = Self::new(site);
        telling.read(site, recorded, (false, at(until)));
        telling
    }

    /// A room that was restarted at that clock time: it hears again what was recorded and what it had `told`.
    ///
    /// # Panics
    /// As [`Telling::of`].
    #[must_use]
    pub fn restarted(site: &str, recorded: &str, told: &[NoticeAsRead], clock: &str) -> Self {
        let mut telling = Self::new(site);
        let mut told = told.iter().filter(|told| told.at <= at(clock)).peekable();
        for line in recorded.split_inclusive('\n') {
            let heard = Recording::new(line.as_bytes(), false).expect("plain lines").next();
            let until = heard.expect("a line").expect("a recorded message").received_at;
            while let Some(earlier) = told.next_if(|told| told.at <= until) {
                telling.pipeline.event(earlier.at, Event::Recalled(earlier.notice.clone()));
            }
            telling.read(site, line, (false, at(clock)));
        }
        telling.pipeline.event(at(clock), Event::GoLive);
        telling
    }

    /// A room that speaks from that time on; nothing has been heard yet.
    ///
    /// # Panics
    /// As [`Telling::of`].
    #[must_use]
    pub fn live(site: &str, from: Timestamp) -> Self {
        let mut telling = Self::new(site);
        telling.pipeline.event(from, Event::GoLive);
        telling
    }

    /// Hears messages as they come; what people are told for them.
    pub fn hears(&mut self, messages: &[Message]) -> &[NoticeAsRead] {
        let known = self.told.len();
        for message in messages {
            self.pipeline.advance_before(message.received_at);
            self.pipeline.message(message);
            let output = self.pipeline.take_output();
            self.told.extend(output.issued.into_iter().map(NoticeAsRead::of));
        }
        self.told.get(known..).unwrap_or_default()
    }

    /// The room at the end.
    #[must_use]
    pub fn room(&self) -> &Room {
        self.pipeline.room()
    }

    fn new(site: &str) -> Self {
        let around = Surroundings {
            name: "story.toml".to_owned(),
            folder: std::env::temp_dir(),
            credentials: None,
            secrets: Secrets::Left,
        };
        let file = config::parse(site, &around).unwrap_or_else(|mistakes| panic!("{mistakes:?}"));
        let settings = file.settings;
        let pipeline = Pipeline::new(settings.site, settings.decode, &settings.notify);
        Self { told: Vec::new(), forecasts: Vec::new(), pipeline }
    }

    fn read(&mut self, site: &str, recorded: &str, (speaks, until): (bool, Timestamp)) {
        let mut live = !speaks;
        for message in Recording::new(recorded.as_bytes(), false).expect("plain lines") {
            let message = message.expect("a recorded message");
            // A room without that meter.
            if !site.contains(&message.topic) && message.topic != "claymark/story/log" {
                continue;
            }
            if message.received_at > until {
                break;
            }
            if !live {
                self.pipeline.event(message.received_at, Event::GoLive);
                live = true;
            }
            self.pipeline.advance_before(message.received_at);
            self.pipeline.message(&message);
            let output = self.pipeline.take_output();
            assert_eq!(output.batch.quarantined, [], "the story's instruments speak as the site file says");
            self.forecasts.extend(output.forecasts);
            self.told.extend(output.issued.into_iter().map(NoticeAsRead::of));
        }
        for told in &self.told {
            assert!(told.subject.chars().count() <= 110, "{}", told.subject);
            let call = told.notice.calling.is_some();
            assert!(!call || told.text.chars().count() <= CALL_CHARS, "{}", told.words());
        }
    }

    /// What was new or worse from one clock time to another, evening checks aside; in most stories nobody answers.
    #[must_use]
    pub fn between(&self, from: &str, to: &str) -> Vec<&NoticeAsRead> {
        let within = |told: &&NoticeAsRead| at(from) <= told.at && told.at < at(to);
        let news = |told: &&NoticeAsRead| !told.notice.cause.starts_with("evening:") && told.is_news();
        self.told.iter().filter(within).filter(news).collect()
    }

    /// All calls of one cause, the repeated ones too.
    #[must_use]
    pub fn calls(&self, cause: &str) -> Vec<&NoticeAsRead> {
        let of = |told: &&NoticeAsRead| told.notice.cause == cause && told.notice.calling.is_some();
        self.told.iter().filter(of).collect()
    }

    /// The failures that were told from one time to another.
    #[must_use]
    pub fn failures(&self, from: &str, to: &str) -> Vec<(&NoticeAsRead, &Fault)> {
        self.between(from, to).into_iter().filter_map(|told| Some((told, &told.failure()?.fault))).collect()
    }

    /// The same, without what is said of drum B, which stands idle.
    #[must_use]
    pub fn of_a(&self, from: &str, to: &str) -> Vec<&NoticeAsRead> {
        let idle = |told: &&&NoticeAsRead| told.notice.drum.as_ref().is_some_and(|drum| drum.as_str() == "b");
        let told = self.between(from, to);
        told.iter().filter(|told| !idle(told)).copied().collect()
    }

    /// No failure was told from one time to another.
    ///
    /// # Panics
    /// When one was, with all that was told.
    #[track_caller]
    pub fn tells_no_failure(&self, from: &str, to: &str) {
        assert!(self.failures(from, to).is_empty(), "{}", self.list());
    }

    /// The last forecast of a drum by that time.
    #[must_use]
    pub fn forecast(&self, drum: &str, clock: &str) -> Option<&Forecast> {
        let of = |forecast: &&Forecast| {
            matches!(&forecast.of, Subject::Drum(id) if id.as_str() == drum) && forecast.at <= at(clock)
        };
        self.forecasts.iter().rfind(of)
    }

    /// A line for each notice: for messages of failed assertions.
    #[must_use]
    pub fn list(&self) -> String {
        self.told
            .iter()
            .map(|told| format!("{} {} {}\n", told.clock, told.notice.cause, told.subject))
            .collect()
    }
}

impl NoticeAsRead {
    /// It isn't told once more only because nobody has come.
    #[must_use]
    pub fn is_news(&self) -> bool {
        let calling = self.notice.calling.as_ref();
        calling.is_none_or(|calling| matches!(calling.call, Call::First | Call::Worse))
    }

    fn of(issued: Issued) -> Self {
        Self {
            at: issued.notice.at,
            clock: clock(issued.notice.at),
            notice: issued.notice,
            subject: issued.subject,
            text: issued.text,
        }
    }

    /// What has failed, if that is what it tells.
    #[must_use]
    pub fn failure(&self) -> Option<&Failure> {
        if let Content::Failure(failure) = &self.notice.content { Some(failure) } else { None }
    }

    /// First line and text.
    #[must_use]
    pub fn words(&self) -> String {
        format!("{}\n{}", self.subject, self.text)
    }
}

fn clock(time: Timestamp) -> String {
    let hours = time.duration_since(at("00:00")).as_hours();
    format!("+{} {}", hours.div_euclid(24), time.strftime("%H:%M"))
}

/// A call is read at night, on a small screen: its body is no longer.
const CALL_CHARS: usize = 1200;
