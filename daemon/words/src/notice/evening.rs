//! The evening check: sent even when all is well.

use claymark_model::forecast::{Forecast, Outlook, Subject};
use claymark_model::site::Draws;
use claymark_notice::content::{EveningCheck, EveningDrum, Verdict};
use jiff::SignedDuration;

use crate::names::{self, short};
use crate::notice::{SUBJECT_CHARS, Teller, Text, Wording, fit, fit_with, fitting};
use crate::{caution, checks, doubt, format, stock, typed};

pub(super) fn wording(teller: Teller<'_>, check: &EveningCheck) -> Wording {
    let mut text = Text::default();
    // What endangers fish comes before all that lasts or doesn't.
    let danger = check.standing.iter().filter(|standing| standing.danger);
    text.lines(danger.map(|standing| teller.not_over(standing))).gap();
    text.lines(teller.heading(check)).gap();
    for drum in &check.drums {
        text.lines(teller.evening_drum(drum)).gap();
    }
    text.lines(check.supplies.iter().filter_map(|supply| teller.supply(supply))).gap();
    text.lines(teller.watch(check));
    if check.drums.iter().any(needs_hands) {
        text.gap().line(caution::HANDLING);
    }
    text.gap().line(caution::NOT_LIFE_SUPPORT);
    text.wording(subject(teller, check))
}

fn subject(teller: Teller<'_>, check: &EveningCheck) -> String {
    let late = if teller.is_late(check) { "Late evening check" } else { "Evening check" };
    let in_use = || check.drums.iter().filter(|drum| drum.state.forecast.in_use);
    let of = |verdict| in_use().filter(move |drum| drum.verdict == verdict).collect::<Vec<_>>();
    let (lost, doubtful, unknown) = (of(Verdict::WillNotLast), of(Verdict::MayNotLast), of(Verdict::Unknown));
    let silent = match check.silent.len() {
        0 => String::new(),
        1 => "1 sensor is silent.".to_owned(),
        n => format!("{n} sensors are silent."),
    };
    if let Some(standing) = check.standing.iter().find(|standing| standing.danger) {
        return short(&format!("{late}: {}", teller.failed(&standing.failure)), SUBJECT_CHARS);
    }
    match (first_dry(&lost), first_dry(&doubtful), unknown.first()) {
        (Some(drum), _, _) => {
            let others = lost.len() + doubtful.len() + unknown.len() - 1;
            let even_full = match drum.remedy.full {
                Verdict::WillNotLast if teller.both_short(&drum.remedy).is_none() => ", even full",
                Verdict::WillNotLast | Verdict::MayNotLast | Verdict::Lasts | Verdict::Unknown => "",
            };
            teller.drum_subject(late, drum, &format!("will not last{even_full}"), others)
        }
        (None, Some(drum), _) => {
            teller.drum_subject(late, drum, "may not last", doubtful.len() + unknown.len() - 1)
        }
        (None, None, Some(drum)) => {
            let name = teller.name_of(&drum.state);
            let line = |room| {
                format!(
                    "{late}: I don't know whether {} lasts. Look at it before you go.",
                    short(&name, room)
                )
            };
            fit_with(line, &silent)
        }
        (None, None, None) => {
            let all = match in_use().count() {
                0 => "no drum is being drawn".to_owned(),
                1 => "the drum in use lasts".to_owned(),
                2 => "both drums in use last".to_owned(),
                n => format!("all {n} drums in use last"),
            };
            let until = teller.clock.time(check.visit.at);
            let beyond = format::duration(check.visit.margin);
            let first = in_use().collect::<Vec<_>>();
            let first = first_dry(&first).map(|drum| teller.first_dry(drum)).unwrap_or_default();
            let stands = teller.stands(check);
            let extra = [silent, stands].into_iter().find(|extra| !extra.is_empty()).unwrap_or(first);
            fit_with(|_| format!("{late}: {all} until {until} and {beyond} beyond."), &extra)
        }
    }
}

/// The one that is dry first.
fn first_dry<'a>(drums: &[&'a EveningDrum]) -> Option<&'a EveningDrum> {
    let p50 = |drum: &&&EveningDrum| drum.state.forecast.outlook.empty_at().and_then(|empty_at| empty_at.p50);
    drums.iter().min_by_key(|drum| (p50(drum).is_none(), p50(drum))).copied()
}

fn needs_hands(drum: &EveningDrum) -> bool {
    drum.state.forecast.in_use && drum.verdict != Verdict::Lasts
}

impl Teller<'_> {
    fn is_late(&self, check: &EveningCheck) -> bool {
        self.at.duration_since(check.due) >= LATE
    }

    /// "First dry: Drum B about Wed 17:20."
    fn first_dry(&self, drum: &EveningDrum) -> String {
        let likely = drum.state.forecast.outlook.empty_at().and_then(|empty_at| empty_at.p50);
        likely.map_or_else(String::new, |p50| {
            format!("First dry: {} about {}.", self.name_of(&drum.state), self.clock.about(p50))
        })
    }

    /// "Not over: Oxygen and 1 more."
    fn stands(&self, check: &EveningCheck) -> String {
        let Some((first, others)) = check.standing.split_first() else { return String::new() };
        let name = super::failure::name(&first.failure.fault);
        let more = if others.is_empty() { String::new() } else { format!(" and {} more", others.len()) };
        format!("Not over: {name}{more}.")
    }

    fn drum_subject(&self, late: &str, drum: &EveningDrum, verdict: &str, others: usize) -> String {
        let name = self.name_of(&drum.state);
        let dry =
            drum.state.forecast.outlook.empty_at().map(|empty_at| self.dry(&empty_at)).unwrap_or_default();
        let more = match others {
            0 => String::new(),
            1 => " One more too.".to_owned(),
            n => format!(" {n} more too."),
        };
        let likely = drum.state.forecast.outlook.empty_at().and_then(|empty_at| empty_at.p50);
        let with_both = self.both_short(&drum.remedy).zip(likely).map(|(both, likely)| {
            let dry = self.clock.about(likely);
            fitting(|room| format!("{late}: {} {verdict}: dry about {dry}.{more} {both}", short(&name, room)))
        });
        let line = |room| format!("{late}: {} {verdict}: {dry}.{more}", short(&name, room));
        match with_both {
            Some(both) => both.unwrap_or_else(|| fit(line)),
            None => fit_with(line, &self.add_short(&drum.remedy).unwrap_or_default()),
        }
    }

    fn heading(&self, check: &EveningCheck) -> Vec<String> {
        let mut lines = Vec::new();
        if self.is_late(check) {
            lines.push(format!(
                "This check is {} late: Claymark wasn't watching at {}.",
                format::duration(self.at.duration_since(check.due)),
                self.clock.time(check.due)
            ));
        }
        lines.push(format!(
            "Next visit {}. A drum lasts when it is dry {} later at the earliest.",
            self.clock.time(check.visit.at),
            format::duration(check.visit.margin)
        ));
        lines
    }

    pub(super) fn evening_drum(&self, drum: &EveningDrum) -> Vec<String> {
        let name = self.name_of(&drum.state);
        let empty_at = drum.state.forecast.outlook.empty_at();
        let verdict = match drum.verdict {
            _ if !drum.state.forecast.in_use => "NOT IN USE",
            Verdict::Lasts => "lasts",
            Verdict::MayNotLast => "MAY NOT LAST",
            Verdict::WillNotLast if empty_at.is_some_and(|empty_at| self.is_empty(&empty_at)) => "IS EMPTY",
            Verdict::WillNotLast => "WILL NOT LAST",
            Verdict::Unknown => "I DON'T KNOW",
        };
        let mut lines = vec![format!("{name}: {verdict}.")];
        lines
            .extend(empty_at.filter(|_| drum.state.forecast.in_use).map(|empty_at| self.dry_line(&empty_at)));
        lines.extend(self.known(&drum.state));
        lines.extend(empty_at.filter(|_| !drum.state.forecast.in_use).map(|empty_at| {
            if self.is_empty(&empty_at) {
                "It is empty: fill it before it is drawn from.".to_owned()
            } else {
                format!("Drawn from now on it would be {}.", self.dry(&empty_at))
            }
        }));
        if needs_hands(drum) {
            lines.extend(self.chores(&drum.state, &drum.remedy));
        } else {
            lines.extend(self.room_left(&drum.remedy));
        }
        lines
    }

    /// All drums of one pump together.
    pub(super) fn supply(&self, supply: &Forecast) -> Option<String> {
        let Subject::Supply(pump) = &supply.of else { return None };
        let name = names::pump(self.site, pump);
        let of_all = match self.site.pump(pump).map(|pump| pump.draws) {
            Some(Draws::Together) => {
                format!("{name} draws its drums at once and lifts air when the first is dry")
            }
            Some(Draws::One) | None => format!("All drums of {name} together"),
        };
        Some(match &supply.outlook {
            Outlook::Known { empty_at, .. } => format!("{of_all}: {}.", self.dry(empty_at)),
            Outlook::Unknown { why } => format!("{of_all}: I don't know when: {}.", doubt::unknown(why)),
        })
    }

    fn watch(&self, check: &EveningCheck) -> Vec<String> {
        let mut lines = Vec::new();
        if check.silent.is_empty() {
            lines.push(format!("All {} sensors speak.", check.heard));
        } else {
            lines.push(format!("{} sensors speak. Silent: {}.", check.heard, self.silent(&check.silent)));
        }
        lines.extend(
            check.standing.iter().filter(|standing| !standing.danger).map(|standing| self.not_over(standing)),
        );
        lines.extend(check.shelved.iter().map(|shelf| {
            let by = shelf.by.as_deref().map(|by| format!(" by {}", typed::line(by))).unwrap_or_default();
            let until = self.clock.time(shelf.until);
            format!(
                "Shelved{by} until {until}, nobody is called for it: notice {}, {}.",
                shelf.notice,
                typed::line(&shelf.why)
            )
        }));
        if let Some(since) = check.store_failing_since {
            lines.push(format!("Readings can't be kept since {}; warnings go on.", self.clock.time(since)));
        }
        let today = self.site.date_at(self.at);
        lines.extend(check.order_due.as_ref().and_then(|stock| stock::due(stock, today)));
        lines.extend(
            check.doubtful_catches.iter().map(|doubt| checks::catch_doubt(self.site, self.at, doubt)),
        );
        let overdue = checks::overdue(self.site, &check.overdue, self.at);
        if !overdue.is_empty() {
            lines.push(
                "Checks by hand that are overdue; make them before you go, and write them down (claymark log flow_check, \
                 claymark log grab_sample):"
                    .to_owned(),
            );
            lines.extend(overdue.into_iter().map(|late| format!("- {late}")));
        }
        if let Some(by) = check.confirm_by {
            lines.push(format!(
                "Is tonight yours? Answer this message by {}; otherwise the next person is asked.",
                self.clock.time(by)
            ));
        }
        lines.push(match &check.first_called {
            Some(contact) => format!(
                "If a drum moves before the next visit, {} is called first, in time to act.",
                names::contact(self.site, contact)
            ),
            None => "Nobody is named to be called tonight.".to_owned(),
        });
        lines
    }
}

/// Sent so long after its time, a check is late and says so.
const LATE: SignedDuration = SignedDuration::from_mins(5);
