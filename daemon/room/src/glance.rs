//! The room at a glance, for a page or a wall.

use jiff::Timestamp;

use crate::alarms::Alarms;
use crate::knowledge::Knowledge;
use crate::pace::Pace;
use claymark_model::site::Site;
use claymark_notice::content::Visit;
use claymark_notice::glance::{DrumAtAGlance, Glance};

/// How it stands at `now`.
pub(crate) fn glance(known: &Knowledge, alarms: &Alarms, now: Timestamp) -> Glance {
    let visit = known.next_visit(now);
    let on_call = known.on_call(now);
    let pace = Pace::of(known.site(), known.shift(now), &on_call);
    let until = visit.unwrap_or_else(|| at_once(known.site(), now));
    let (outlooks, supplies) = known.outlook(now, &until, now);
    let sheets = known.sheets(now, &known.forecasts(now));
    let drums = outlooks.into_iter().zip(sheets);
    Glance {
        at: now,
        visit,
        drums: drums.map(|(outlook, sheet)| DrumAtAGlance { outlook, sheet }).collect(),
        supplies,
        silent: known.sensors.roll_call(now).0,
        tonight: known.on_tonight(now),
        first_called: on_call.for_danger().first().map(|contact| contact.id.clone()),
        hands_seen: known.hands_seen,
        standing: alarms.standing(&pace),
    }
}

/// Where no visit is known, a drum lasts that isn't empty.
fn at_once(site: &Site, now: Timestamp) -> Visit {
    Visit { at: now, margin: site.staff.margin }
}
