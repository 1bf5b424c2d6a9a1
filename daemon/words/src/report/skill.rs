//! How good the forecasts were, in plain words.

use claymark_model::score::{Bounds, Coverage};
use claymark_model::skill::Lead;
use jiff::SignedDuration;
use jiff::civil::Date;

use super::Mark;
use crate::format;

/// Whether the stated spans hold what they should.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Held {
    /// Too few cases.
    TooLittle,
    /// As often as they promise, as far as so many cases can tell.
    Fits,
    /// Too seldom.
    TooSeldom,
    /// More often than they promise.
    TooOften,
}

impl Held {
    /// In a few words, with its mark.
    #[must_use]
    pub fn says(self) -> (Mark, &'static str) {
        match self {
            Self::TooLittle => (Mark::Unknown, "too little to judge"),
            Self::Fits => (Mark::Good, "as promised"),
            Self::TooSeldom => (Mark::Bad, "too sure of itself"),
            Self::TooOften => (Mark::Look, "wider than need be"),
        }
    }
}

/// "3 to 6 h".
#[must_use]
pub fn lead(lead: Lead) -> String {
    format!("{} to {} h", lead.begin().as_hours(), lead.end().as_hours())
}

/// "48 % (24 to 72)".
#[must_use]
pub fn share(coverage: Coverage, bounds: Option<Bounds>) -> String {
    let percent = |share: f64| format::number(100.0 * share, 0);
    match (coverage.share(), bounds) {
        (Some(share), Some(bounds)) => {
            format!("{} % ({} to {})", percent(share), percent(bounds.low), percent(bounds.high))
        }
        (Some(share), None) => format!("{} %", percent(share)),
        (None, _) => super::ahead::NOTHING.to_owned(),
    }
}

/// A time, or nothing.
#[must_use]
pub fn time(time: Option<SignedDuration>) -> String {
    time.map_or_else(|| super::ahead::NOTHING.to_owned(), format::duration)
}

/// Over the table: what was judged.
#[must_use]
pub fn judged(since: Date) -> String {
    format!(
        "Each half hour Claymark says when each drum in use will have come down to a few 5 L marks; here is when it did, \
         since {}. A mark counts when the level was believed and nobody refilled or changed the draw before.",
        format::date(since)
    )
}

/// Under the table: what the columns mean.
#[must_use]
pub fn means(enough: u32) -> String {
    format!(
        "Off by: half of the likely times were off by less. Half, nine tenths: how often it came within the span that \
         should hold half, and the one from earliest to latest that should hold nine of ten; in brackets where the true \
         share lies, with 95 % confidence. Forecasts half an hour apart are near copies, so each drum counts once a day \
         for that, and with fewer than {enough} of these nothing is judged. Score: the mean CRPS, a time; the smaller, \
         the better."
    )
}

/// What it means for those who rely on it: each lead that is judged.
#[must_use]
pub fn verdict(leads: &[(Lead, Held, Option<SignedDuration>)]) -> (Mark, String) {
    let of = |held: Held| {
        let leads = leads.iter().filter(|(_, one, _)| *one == held);
        leads.map(|(lead, _, _)| self::lead(*lead)).collect::<Vec<_>>()
    };
    let (seldom, often, fits) = (of(Held::TooSeldom), of(Held::TooOften), of(Held::Fits));
    if !seldom.is_empty() {
        let says = format!(
            "Drums came outside the stated spans too often ({} ahead): until that is mended, be there well before the \
             earliest time, and tell the developers.",
            seldom.join(", ")
        );
        return (Mark::Bad, says);
    }
    if !often.is_empty() {
        let says = format!(
            "The stated times can be relied on, and their spans are wider than they need be ({} ahead).",
            often.join(", ")
        );
        return (Mark::Look, says);
    }
    if fits.is_empty() {
        let says =
            "There is too little to judge the forecasts by yet; the figures below may be chance.".to_owned();
        return (Mark::Unknown, says);
    }
    let off = leads.iter().filter(|(_, held, _)| *held == Held::Fits).filter_map(|(_, _, off)| *off).max();
    let off =
        off.map(|off| format!("; the likely time is off by {} or less half the time", format::duration(off)));
    (
        Mark::Good,
        format!(
            "The stated spans held what came as often as they promise ({} ahead){}.",
            fits.join(", "),
            off.unwrap_or_default()
        ),
    )
}

/// Where nothing could be judged.
#[must_use]
pub fn nothing() -> (Mark, String) {
    let says = "No forecast of the last four weeks could be judged: no drum came down to a mark while its level was \
                believed and nobody refilled it.";
    (Mark::Unknown, says.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worst_of_what_is_known_is_said_first_and_too_little_is_called_that() {
        let minutes = |minutes| Some(SignedDuration::from_mins(minutes));
        let all = |held: [Held; 4]| -> Vec<_> {
            Lead::ALL.into_iter().zip(held).map(|(lead, held)| (lead, held, minutes(12))).collect()
        };
        let (mark, says) = verdict(&all([Held::Fits, Held::TooOften, Held::TooSeldom, Held::TooLittle]));
        assert_eq!(mark, Mark::Bad);
        assert!(says.contains("(6 to 12 h ahead)"), "{says}");
        let (mark, says) = verdict(&all([Held::Fits, Held::TooOften, Held::Fits, Held::TooLittle]));
        assert!(mark == Mark::Look && says.contains("(3 to 6 h ahead)"), "{says}");
        let (mark, says) = verdict(&all([Held::Fits, Held::Fits, Held::TooLittle, Held::TooLittle]));
        assert!(mark == Mark::Good && says.contains("off by 12 min or less"), "{says}");
        let (mark, says) = verdict(&all([Held::TooLittle; 4]));
        assert!(mark == Mark::Unknown && says.contains("too little to judge"), "{says}");
    }

    #[test]
    fn a_share_stands_with_its_bounds() {
        let coverage = Coverage { held: 9, of: 10 };
        let bounds = coverage.clopper_pearson(0.95);
        assert_eq!(share(coverage, bounds), "90 % (55 to 100)");
        assert_eq!(share(Coverage::default(), None), "–");
    }
}
