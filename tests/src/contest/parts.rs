//! Where the error of the likely time comes from: the same forecast again, with one thing truly known.
//!
//! With V litres above the heel, draw q now and shape S, the time is T = S V / q; S is what the curve ahead makes of it.

use claymark_model::forecast::{Forecast, Outlook};

use super::case::{LONGEST, SaidEnd};
use crate::season::truth::TrueDrum;

/// Hours to the likely time if the drum watch also knew one thing.
#[derive(Debug, Clone, Copy)]
pub struct IfKnown {
    /// The true volume.
    pub with_volume: f64,
    /// The true draw of that minute.
    pub with_draw: f64,
    /// How the draw truly falls with the level from here.
    pub with_curve: f64,
}

impl IfKnown {
    /// Of a forecast at that minute; `None` where one of the two has no end.
    #[must_use]
    pub fn of(drum: &TrueDrum, minute: u32, forecast: &Forecast, said: &SaidEnd) -> Option<Self> {
        let Outlook::Known { volume, draw, .. } = &forecast.outlook else { return None };
        let true_hours = drum.empty_in_by_curve(minute)?;
        let (over, draw) = ((volume.0 - drum.heel).max(LEAST_LITRES), draw.0);
        let (true_over, true_draw) = (drum.moment(minute).volume - drum.heel, drum.outflow(minute));
        let likely = said.likely();
        let known = likely > 0.0 && likely < LONGEST && draw > 0.0 && true_over > 0.0;
        known.then(|| Self {
            with_volume: likely * true_over / over,
            with_draw: likely * draw / true_draw,
            with_curve: true_hours * (over / true_over) * (true_draw / draw),
        })
    }
}

/// Below this a share of what is left says nothing.
const LEAST_LITRES: f64 = 0.05;
