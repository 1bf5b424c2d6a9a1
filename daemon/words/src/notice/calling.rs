//! Why people are called now, and what becomes of it when nobody answers.

use claymark_notice::calling::{AlsoStands, AlsoWhat, Call, Calling, Earlier, Promise};
use claymark_notice::{Audience, Notice};

use crate::names::{self, list, short};
use crate::notice::Teller;
use crate::typed;

impl Teller<'_> {
    /// What else stands and calls the same people.
    pub(super) fn also(&self, also: &[AlsoStands]) -> Vec<String> {
        let mut lines: Vec<String> = also.iter().map(|also| format!("- {}", self.stands_too(also))).collect();
        if !lines.is_empty() {
            lines.insert(0, "This stands, too; one answer holds for all of it:".to_owned());
        }
        lines
    }

    fn stands_too(&self, also: &AlsoStands) -> String {
        let number = also.notice;
        match &also.what {
            AlsoWhat::Failure { failure } => format!("{} (notice {number})", self.failed(failure)),
            AlsoWhat::Runout { drum, ends } => {
                let name = short(&names::drum(self.site, drum), NAME_CHARS);
                let dry = ends.as_ref().map(|ends| self.dry(ends));
                format!(
                    "{name}: {} (notice {number})",
                    dry.unwrap_or_else(|| "its end isn't known".to_owned())
                )
            }
            AlsoWhat::LevelDoubt { drum } => {
                let name = short(&names::drum(self.site, drum), NAME_CHARS);
                format!("{name}: its level isn't believed (notice {number})")
            }
            AlsoWhat::Unattended { seen: Some(seen) } => {
                format!("Nobody has been seen in the room since {} (notice {number})", self.clock.time(*seen))
            }
            AlsoWhat::Unattended { seen: None } => {
                format!("Nobody has been seen in the room (notice {number})")
            }
            AlsoWhat::Silent { sensors } => format!("Silent: {} (notice {number})", self.sensors(sensors)),
        }
    }

    /// Why it is told once more; `None`: it is new, or worse, which its own words say.
    pub(super) fn why_again(&self, calling: &Calling) -> Option<String> {
        match (calling.call, &calling.broken, &calling.earlier) {
            (Call::First | Call::Worse, ..) => None,
            (_, Some(Promise { by, comes_late: Some(late), .. }), _) => Some(format!(
                "{} comes only by {}: that may be too late.",
                by.as_deref().map_or_else(|| "Somebody".to_owned(), |by| short(&typed::name(by), NAME_CHARS)),
                self.clock.time(*late)
            )),
            (Call::Again | Call::Next, _, None) => None,
            (Call::PromiseBroken, Some(promise), _) => Some(self.broken(promise)),
            (Call::PromiseBroken, None, _) => {
                Some("Somebody was on it, and nothing was seen of it.".to_owned())
            }
            (Call::Again | Call::Next, _, Some(earlier)) => Some(self.unanswered(earlier)),
        }
    }

    fn broken(&self, promise: &Promise) -> String {
        let until = self.clock.time(promise.until);
        match &promise.by {
            Some(by) => format!(
                "{} answered at {}, to be there by {until}; what it needs wasn't seen.",
                short(&typed::name(by), NAME_CHARS),
                self.clock.time(promise.at)
            ),
            None => format!(
                "Somebody was on it from {} on; by {until} nothing was seen of it.",
                self.clock.time(promise.at)
            ),
        }
    }

    fn unanswered(&self, earlier: &Earlier) -> String {
        let at = self.clock.time(earlier.at);
        match self.people_of(&earlier.to).as_slice() {
            [] => format!("Told at {at}; nobody has answered."),
            [one] => format!("{one} was told at {at} and hasn't answered."),
            several => format!("{} were told at {at}; nobody has answered.", list(several)),
        }
    }

    /// How to answer, and what comes without an answer.
    pub(super) fn answering(&self, notice: &Notice, calling: &Calling) -> Vec<String> {
        let number = notice.number;
        let holds = self.clock.time(calling.holds_until);
        let mut lines = vec![format!(
            "On it? Answer notice {number} (claymark answer {number}). That holds until {holds}; another time: --there-by."
        )];
        lines.push(match &calling.later {
            None => "Without an answer nobody is called again until it gets worse.".to_owned(),
            Some(later) => {
                let at = self.clock.time(later.at);
                match self.people_of(&later.to).as_slice() {
                    [] => format!("Without an answer everybody is told again at {at}."),
                    people if later.to == notice.to => {
                        format!("Without an answer this comes again at {at} ({}).", list(people))
                    }
                    people => format!("Without an answer {} is called at {at}.", list(people)),
                }
            }
        });
        lines
    }

    /// Their names; none where everybody is told.
    pub(super) fn people_of(&self, audience: &Audience) -> Vec<String> {
        match audience {
            Audience::Everyone => Vec::new(),
            Audience::Only(contacts) => contacts
                .iter()
                .map(|contact| short(&names::contact(self.site, contact), NAME_CHARS))
                .collect(),
        }
    }
}

/// Of a name.
const NAME_CHARS: usize = 32;
