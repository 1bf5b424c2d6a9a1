//! What the data show, a line a sign.

use claymark_core::notice::failure::Sign;
use claymark_core::site::{Place, Quantity};
use claymark_core::units::LitresPerHour;

use crate::format;
use crate::names;
use crate::notice::Teller;

impl Teller<'_> {
    pub(super) fn sign(&self, sign: &Sign) -> String {
        match sign {
            Sign::DrawChanged { from, to } => format!(
                "the level falls by {} a minute, before by {} mL;",
                about_ml(*to),
                format::number(from.ml_per_min(), 0)
            ),
            Sign::DrawUnchanged { draw } => format!(
                "the drum's level falls as before, by {} mL a minute;",
                format::number(draw.ml_per_min(), 0)
            ),
            Sign::Turbidity { place, from, now, towards, .. } => format!(
                "turbidity of {} went from {} to {} and is on its way to about {};",
                names::place(self.site, place),
                format::number(*from, 0),
                format::number(*now, 0),
                self.turbidity(place, towards.max(0.0))
            ),
            Sign::TurbiditySteady { place, at } => format!(
                "turbidity of {} stays at {};",
                names::place(self.site, place),
                self.turbidity(place, *at)
            ),
            Sign::OxygenFalls { place, from, now } => format!(
                "oxygen in {} fell from {} to {} mg/L;",
                names::place(self.site, place),
                format::number(*from, 1),
                format::number(*now, 1)
            ),
            Sign::Flow { place, from, now } => format!(
                "the flow meter of {} shows {} L/min, before {};",
                names::place(self.site, place),
                format::number(*now, 1),
                format::number(*from, 1)
            ),
        }
    }

    /// "65 NTU", in the unit in which that place's sensor speaks.
    pub(super) fn turbidity(&self, place: &Place, value: f64) -> String {
        let here = |sensor: &&claymark_core::site::Sensor| {
            sensor.quantity == Quantity::Turbidity && sensor.place == *place
        };
        let unit = self.site.sensors.iter().find(here).map(|sensor| sensor.unit.to_string());
        format!("{} {}", format::number(value, 0), unit.unwrap_or_else(|| "NTU".to_owned()))
    }
}

/// "300 mL", to the nearest five: what an estimate is worth.
pub(super) fn about_ml(draw: LitresPerHour) -> String {
    format!("{} mL", format::number((draw.ml_per_min() / 5.0).round() * 5.0, 0))
}
