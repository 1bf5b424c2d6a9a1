//! What the data show, a line a sign.

use claymark_core::notice::failure::Sign;
use claymark_core::site::{Place, Quantity};
use claymark_core::units::{Celsius, LitresPerHour};

use crate::format;
use crate::names;
use crate::notice::Teller;

impl Teller<'_> {
    #[expect(clippy::too_many_lines, reason = "one short arm for each sign")]
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
            Sign::LevelStands => "the level doesn't fall any more;".to_owned(),
            Sign::LevelRose { added, to } => format!(
                "the level rose by {} to {};",
                format::volume(&self.site.units, *added),
                format::volume(&self.site.units, *to)
            ),
            Sign::Turns { turns: true } => "the pump's contact says that it turns;".to_owned(),
            Sign::Turns { turns: false } => "the pump's contact says that it stands;".to_owned(),
            Sign::TurbidityRises { place, from, now, wanted } => format!(
                "turbidity of {} was {}, comes up to {} by itself, and should be {};",
                names::place(self.site, place),
                format::number(*from, 0),
                format::number(*now, 0),
                self.turbidity(place, *wanted)
            ),
            Sign::Climbs { place, from, now } => format!(
                "turbidity of {} climbed from {} to {} over six hours;",
                names::place(self.site, place),
                format::number(*from, 0),
                self.turbidity(place, *now)
            ),
            Sign::SiblingsSteady { probes, by } => {
                format!(
                    "the middle one of the {probes} other probes moved by {} only;",
                    format::number(*by, 0)
                )
            }
            Sign::Spikes { place, up, usual } => format!(
                "readings of {} reach {} above their middle, usually {};",
                names::place(self.site, place),
                format::number(*up, 0),
                self.turbidity(place, *usual)
            ),
            Sign::Cools { place, from, now } => format!(
                "{} cooled from {} to {};",
                names::place(self.site, place),
                format::temperature(&self.site.units, Celsius(*from)),
                format::temperature(&self.site.units, Celsius(*now))
            ),
            Sign::Vanished { mains } => format!("all {mains} sensors on the mains fell silent together;"),
            Sign::GoOn { batteries } => format!("{batteries} on batteries speak on;"),
            Sign::OtherFalls { drum, draw } => format!(
                "{} falls by {} mL a minute instead;",
                names::drum(self.site, drum),
                format::number(draw.ml_per_min(), 0)
            ),
            Sign::Declines { draw_per_day, clay_per_day } => format!(
                "draw falls by {} % and clay by {} % a day;",
                format::number(100.0 * draw_per_day, 1),
                format::number(100.0 * clay_per_day, 1)
            ),
            Sign::Catch { caught, rated } => format!(
                "the last catch gave {} mL a minute, the dial says {};",
                format::number(caught.ml_per_min(), 0),
                format::number(rated.ml_per_min(), 0)
            ),
            Sign::Yield { from, to } => format!(
                "a mg/L of clay gave {} NTU and gives {};",
                format::number(from.ntu_per_mg_l, 2),
                format::number(to.ntu_per_mg_l, 2)
            ),
            Sign::AirFlow { place, from, now } => format!(
                "the air meter of {} shows {} L/min, before {};",
                names::place(self.site, place),
                format::number(*now, 0),
                format::number(*from, 0)
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
