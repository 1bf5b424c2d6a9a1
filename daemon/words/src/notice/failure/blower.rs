//! The blower has stopped.

use claymark_model::site::Place;
use claymark_notice::failure::Failure;
use jiff::Timestamp;

use super::Words;
use crate::caution::PURE_OXYGEN;
use crate::format;
use crate::notice::Teller;

pub(super) fn words(
    teller: Teller<'_>,
    failure: &Failure,
    oxygen: f64,
    limit_at: Option<Timestamp>,
) -> Words {
    let since = teller.clock.about(failure.since);
    let least_mg_l = teller.site.limits_at(&Place::Head, teller.at).oxygen_min_mg_l;
    let is_short = oxygen < least_mg_l;
    let (oxygen, least) = (format::number(oxygen, 1), format::number(least_mg_l, 1));
    let how = if is_short {
        format!(", below the {least} mg/L that the fish need")
    } else {
        " and falls".to_owned()
    };
    let limit = limit_at.map(|at| format!(", {least} about {}", teller.clock.about(at))).unwrap_or_default();
    let mut meaning = vec![
        format!(
            "The blower seems to have stopped at about {since}: drum air and head-tank air are gone together."
        ),
        format!("Oxygen in the head tank is {oxygen} mg/L{how}."),
    ];
    meaning.extend(limit_at.map(|at| {
        format!(
            "At this rate it is down to {least} mg/L, the least for the fish, at about {}.",
            teller.clock.about(at)
        )
    }));
    meaning.push(
        "The clay is in the drum, but settles there: turbidity sags although the pump draws as before."
            .to_owned(),
    );
    Words {
        subject: format!("Blower off since {since}: oxygen first, {oxygen} mg/L{limit}. Do not add clay."),
        meaning,
        to_do: vec![
            "To do, oxygen first: start the blower or the spare, or open the oxygen, and watch the fish.".to_owned(),
            "Look at its plug, breaker, belt and filter, with dry hands: local rules first.".to_owned(),
            "Do not add clay: it lies in the drum. When air is back, stir the drum up slowly and watch turbidity rise."
                .to_owned(),
            PURE_OXYGEN.to_owned(),
        ],
    }
}
