//! A drum will not last: told to the person who must get up.

use claymark_notice::content::{Again, Runout};
use claymark_notice::drum::ReadyDrum;

use crate::names::{self, short};
use crate::notice::{Teller, Text, Wording, fit};
use crate::{caution, format};

pub(super) fn wording(teller: Teller<'_>, runout: &Runout, again: bool) -> Wording {
    let mut text = Text::default();
    // What, until when, what to carry: the first lines are enough to go by.
    text.lines((!again).then(|| teller.why_now(runout)));
    let empty_at = runout.state.forecast.outlook.empty_at();
    text.lines(empty_at.map(|empty_at| teller.dry_line(&empty_at)));
    let by_rote = |line: &String| line == caution::PREMIX;
    let mut chores = teller.chores(&runout.state, &runout.remedy).into_iter().filter(|line| !by_rote(line));
    let ready = runout.remedy.ready.as_ref().map(|ready| teller.ready(runout, ready));
    text.lines(ready.or_else(|| chores.next())).gap();
    text.lines(chores).gap();
    text.lines(teller.known(&runout.state)).gap();
    text.lines(runout.supply.as_ref().and_then(|supply| teller.supply(supply)));
    text.lines(teller.if_nobody_comes(runout)).gap();
    text.line(caution::HANDLING);
    text.wording(subject(teller, runout))
}

fn subject(teller: Teller<'_>, runout: &Runout) -> String {
    let name = teller.name_of(&runout.state);
    let dry = runout.state.ran_empty.map(|at| format!("dry since {}", teller.clock.time(at)));
    let empty_at = runout.state.forecast.outlook.empty_at();
    let dry = dry.or_else(|| empty_at.map(|empty_at| teller.dry(&empty_at)));
    let dry = dry.unwrap_or_else(|| "it was running dry, and now its level isn't known".to_owned());
    let go = match runout.be_there_by {
        Some(by) if by > teller.at => format!("Be there by {}.", teller.clock.by(by)),
        Some(_) | None => "Go now.".to_owned(),
    };
    fit(|room| format!("{}: {dry}. {go}", short(&name, room)))
}

impl Teller<'_> {
    /// "Quickest: put Pump 1 on Drum B, which holds 170 L and is then dry about 13:20. ..."
    fn ready(&self, runout: &Runout, ready: &ReadyDrum) -> String {
        let pump = &runout.state.pump.pump;
        format!(
            "Quickest: put {} on {}, which holds {} and is then {}. See that its air bubbles, and write it down \
             (claymark log in_use --pump {pump} --drum {}).",
            names::pump(self.site, pump),
            names::drum(self.site, &ready.drum),
            format::volume(&self.site.units, ready.holds),
            self.dry(&ready.ends),
            ready.drum
        )
    }

    fn why_now(&self, runout: &Runout) -> String {
        let in_time = runout.be_there_by.is_some_and(|by| by > self.at);
        match &runout.because {
            Again::Due if in_time => "There is just time to get there and mix.".to_owned(),
            Again::Due => "This comes late: there was no sign of it in time.".to_owned(),
            Again::Earlier { told: Some(told) } => {
                format!("Now expected earlier than the {} we told you.", self.clock.about(*told))
            }
            Again::Earlier { told: None } => {
                "Now expected to run dry; when you were told last, it wasn't.".to_owned()
            }
            Again::Empty => "It has run dry since you were told, and no refill was seen.".to_owned(),
        }
    }

    fn if_nobody_comes(&self, runout: &Runout) -> Option<String> {
        let visit = runout.visit?.at;
        let ends = runout.state.forecast.outlook.empty_at()?;
        let dry = ends.p50?.max(self.at);
        let alone = format::duration(visit.duration_since(dry));
        let is_dry = ends.p95.is_some_and(|latest| latest <= self.at);
        if is_dry || runout.state.ran_empty.is_some() {
            return Some(format!("If nobody comes the tanks go on clearing, for {alone} until the visit."));
        }
        Some(if dry < visit {
            format!(
                "If nobody comes the tanks clear from then on, {alone} before the visit at {}.",
                self.clock.time(visit)
            )
        } else {
            format!(
                "If nobody can come: it likely lasts until the visit at {}, but the earliest time is before that.",
                self.clock.time(visit)
            )
        })
    }
}
