//! What is asked about before it is sent: figures that speak against what is known of the room.
//!
//! Only where the store is at hand: elsewhere the daemon asks in its next message. `--sure` sends them as they stand.

pub(super) mod figures;
mod flow;
mod mass;

use claymark_model::fieldlog::Deed;
use claymark_model::units::LitresPerMinute;
use jiff::Timestamp;

use super::past::RoomAsOf;
use super::{CommandFailure, by_hand};
use crate::run::Settings;

/// Refuses figures that can hardly be meant, and says how to write what is; `for_granted`: the clay's unit wasn't typed.
pub(super) fn ask(
    settings: &Settings,
    (deed, at, now): (&Deed, Timestamp, Timestamp),
    for_granted: bool,
) -> Result<(), CommandFailure> {
    by_the_room(settings, (deed, at), for_granted)?;
    figures::likely(&settings.site, deed, (at, now), by_hand::saturation(settings, deed, at))
}

/// What the rest of the log and the sensors speak against.
fn by_the_room(
    settings: &Settings,
    (deed, at): (&Deed, Timestamp),
    for_granted: bool,
) -> Result<(), CommandFailure> {
    let site = &settings.site;
    // No store, less to hold it against.
    let standing = || RoomAsOf::at(settings.clone(), at).ok();
    if let Deed::Refill { drum, water, clay: Some(clay) } = deed {
        let only = || site.drums.first().filter(|_| site.drums.len() == 1);
        let named = drum.as_ref().and_then(|id| site.drum(id));
        let Some(drum) = named.or_else(only) else { return Ok(()) };
        let doubt = standing().and_then(|then| then.known().mass_doubt(at, &drum.id, (*water, *clay)));
        return doubt.map_or(Ok(()), |doubt| mass::asked(site, &doubt, for_granted));
    }
    if let Deed::FlowCheck { place: Some(place), volume: Some(volume), seconds: Some(seconds) } = deed
        && let Some(caught) = LitresPerMinute::caught(*volume, *seconds)
    {
        let doubt = standing().and_then(|then| then.known().catch_doubt(at, place, caught));
        return doubt.map_or(Ok(()), |doubt| Err(flow::asked(site, caught, doubt)));
    }
    Ok(())
}

/// The way out for whoever means it.
const SURE: &str = "If it is right as it stands, add --sure.";
