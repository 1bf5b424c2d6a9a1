//! The pump or a valve was changed and nobody wrote it down.

use claymark_notice::content::Verdict;
use claymark_notice::failure::{Failure, PumpChanged};

use super::Words;
use crate::format;
use crate::names::{self, short};
use crate::notice::{Teller, fit};

pub(super) fn words(teller: Teller<'_>, failure: &Failure, changed: &PumpChanged) -> Words {
    let PumpChanged { pump, from, to, ends, verdict, .. } = changed;
    let drum = failure.drum.as_ref().map(|state| teller.name_of(state)).unwrap_or_default();
    let pump = names::pump(teller.site, pump);
    let draw = |draw| format::draw(&teller.site.units, draw);
    let rate = format!("{} to about {}", draw(*from), draw(*to));
    let since = teller.clock.about(failure.since);
    let dry = ends.as_ref().map(|ends| teller.dry(ends));
    let lasts = match verdict {
        Verdict::WillNotLast => " It will not last.",
        Verdict::MayNotLast => " It may not last.",
        Verdict::Lasts | Verdict::Unknown => "",
    };
    let end = dry.as_ref().map(|dry| format!(": {dry}.")).unwrap_or_else(|| ".".to_owned());
    let subject = fit(|room| format!("{}: {rate} since {since}{end}{lasts}", short(&drum, room)));
    let mut meaning =
        vec![format!("{pump} draws from {drum} at {rate} since about {since}, and nobody wrote that down.")];
    meaning.extend(ends.as_ref().map(|ends| teller.dry_line(ends)));
    meaning.extend(failure.visit.as_ref().and(match verdict {
        Verdict::WillNotLast => Some("It will not last until the next visit.".to_owned()),
        Verdict::MayNotLast => Some("It may not last until the next visit.".to_owned()),
        Verdict::Lasts => Some("It lasts until the next visit all the same.".to_owned()),
        Verdict::Unknown => None,
    }));
    Words {
        subject,
        meaning,
        to_do: vec![
            format!("Did somebody set {pump} or a valve? If so, write it down (claymark log pump_setting)."),
            "If nobody did, look at the pump's dial and the valves, and catch a minute of its outflow in a cylinder."
                .to_owned(),
        ],
    }
}
