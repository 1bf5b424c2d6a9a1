//! A drum as a vessel: how full it is, and below which line the pump lifts nothing.

use claymark_model::site::{Drum, Site};
use claymark_notice::glance::DrumAtAGlance;

/// The drawing of a drum, in units of a box of 100 by 120, y downwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DrawnVessel {
    /// Where the surface stands; `None`: what is in it isn't known.
    pub(super) surface: Option<f64>,
    /// How high the slurry stands.
    pub(super) depth: f64,
    /// The line below which the pump lifts nothing.
    pub(super) heel: f64,
    /// The line that must be reached so that it lasts, where one is known.
    pub(super) enough: Option<f64>,
}

/// Of a drum at a glance.
pub(super) fn of(site: &Site, drum: &DrumAtAGlance) -> Option<DrawnVessel> {
    let state = &drum.outlook.state;
    let vessel = site.drum(&state.drum)?;
    let y = |litres: f64| BOTTOM - (BOTTOM - FULL) * share(vessel, litres);
    let surface = state.forecast.outlook.volume().map(|volume| y(volume.0));
    let enough = drum.outlook.remedy.enough.as_ref().map(|enough| y(enough.litres.0));
    Some(DrawnVessel {
        surface,
        depth: surface.map_or(0.0, |surface| BOTTOM - surface),
        heel: y(vessel.heel.0),
        enough,
    })
}

fn share(drum: &Drum, litres: f64) -> f64 {
    if drum.full.0 > 0.0 { (litres / drum.full.0).clamp(0.0, MOST) } else { 0.0 }
}

/// The full line and the bottom.
const FULL: f64 = 16.0;
const BOTTOM: f64 = 116.0;
/// A little above the full line there is still drum.
const MOST: f64 = 1.1;
