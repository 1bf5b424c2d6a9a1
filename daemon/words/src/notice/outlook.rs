//! Will it last: each drum and each supply, for whoever asks at the command line.

use claymark_model::forecast::Forecast;
use claymark_model::site::Site;
use claymark_notice::content::{EveningDrum, Verdict, Visit};
use jiff::Timestamp;

use crate::notice::{Teller, Text};
use crate::{caution, format};

/// Whether `drums` and `supplies` last until `visit`, and what would make them last.
#[must_use]
pub fn outlook(
    site: &Site,
    now: Timestamp,
    visit: &Visit,
    drums: &[EveningDrum],
    supplies: &[Forecast],
) -> String {
    let teller = Teller::new(site, now);
    let mut text = Text::default();
    let beyond = if visit.margin.is_zero() {
        String::new()
    } else {
        format!(" and {} beyond", format::duration(visit.margin))
    };
    let asked = now.to_zoned_datetime(site.time_zone.clone()).strftime("%a %-d %b %H:%M").to_string();
    text.line(format!("As of {asked}, until {}{beyond}:", teller.clock.time(visit.at))).gap();
    for drum in drums {
        text.lines(teller.evening_drum(drum));
        if drum.verdict == Verdict::Lasts && drum.state.forecast.in_use {
            text.lines(drum.remedy.enough.as_ref().map(|enough| teller.must_hold(enough)));
        }
        text.gap();
    }
    text.lines(supplies.iter().filter_map(|supply| teller.supply(supply))).gap();
    if drums.iter().any(|drum| drum.state.forecast.in_use && drum.verdict != Verdict::Lasts) {
        text.line(caution::HANDLING);
    }
    text.line("Claymark advises; it switches nothing.");
    text.0
}
