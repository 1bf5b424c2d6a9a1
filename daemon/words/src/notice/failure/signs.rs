//! What the data show, a line a sign.

use claymark_clay::Yield;
use claymark_model::id::Id;
use claymark_model::site::{Place, Quantity};
use claymark_model::units::{Celsius, Litres, LitresPerHour};
use claymark_notice::failure::{Limited, Sign};

use crate::notice::Teller;
use crate::{format, names};

impl Teller<'_> {
    pub(super) fn sign(&self, sign: &Sign) -> String {
        match sign {
            Sign::DrawChanged { from, to } => self.draw_changed(*from, *to),
            Sign::DrawUnchanged { drum, draw } => self.draw_unchanged(drum.as_ref(), *draw),
            Sign::FitsToo { place } => {
                format!("the same signs fit {}: look there too;", names::place(self.site, place))
            }
            Sign::OtherFalls { drum, draw } => self.other_falls(drum, *draw),
            Sign::Catch { caught, rated } => self.catch(*caught, *rated),
            Sign::LevelStands => "the level doesn't fall any more;".to_owned(),
            Sign::LevelRose { added, to } => self.level_rose(*added, *to),
            Sign::Turbidity { place, from, now, towards, .. } => self.goes(place, [*from, *now, *towards]),
            Sign::TurbiditySteady { place, at } => self.stays(place, *at),
            Sign::TurbidityRises { place, from, now, wanted } => self.rises(place, [*from, *now, *wanted]),
            Sign::Climbs { place, from, now } => self.climbs(place, *from, *now),
            Sign::Clears { place, from, now, hours } => self.clears(place, (*from, *now), *hours),
            Sign::FellAtOnce { place, from, now } => self.fell_at_once(place, *from, *now),
            Sign::SiblingsSteady { probes, by } => siblings(*probes, *by),
            Sign::Spikes { place, up, usual } => self.spikes(place, *up, *usual),
            Sign::Yield { from, to } => yields(*from, *to),
            Sign::Declines { draw_per_day, clay_per_day } => declines(*draw_per_day, *clay_per_day),
            Sign::OxygenFalls { place, from, now } => self.oxygen(place, *from, *now),
            Sign::OxygenLow { place, now } => self.oxygen_low(place, *now),
            Sign::Outside { place, of, is } => {
                format!("{} is at {};", names::place(self.site, place), self.amount(place, *of, *is))
            }
            Sign::Warms { place, from, now } => self.warms(place, Celsius(*from), Celsius(*now)),
            Sign::Cools { place, from, now } => self.cools(place, Celsius(*from), Celsius(*now)),
            Sign::AirFlow { place, from, now } => self.meter("air", place, [*from, *now], 0),
            Sign::Flow { place, from, now } => self.meter("flow", place, [*from, *now], 1),
            Sign::Turns { turns: true } => "the pump's contact says that it turns;".to_owned(),
            Sign::Turns { turns: false } => "the pump's contact says that it stands;".to_owned(),
            Sign::Vanished { mains } => format!("all {mains} sensors on the mains fell silent together;"),
            Sign::GoOn { batteries } => format!("{batteries} on batteries speak on;"),
        }
    }
}

/// Level and draw.
impl Teller<'_> {
    fn level_rose(&self, added: Litres, to: Litres) -> String {
        let units = &self.site.units;
        format!("the level rose by {} to {};", format::volume(units, added), format::volume(units, to))
    }

    fn draw_unchanged(&self, drum: Option<&Id>, draw: LitresPerHour) -> String {
        let level = match drum {
            Some(drum) => format!("the level of {}", names::drum(self.site, drum)),
            None => "the drum's level".to_owned(),
        };
        format!("{level} falls as before, by {};", format::draw(&self.site.units, draw))
    }

    fn other_falls(&self, drum: &Id, draw: LitresPerHour) -> String {
        let draw = format::draw(&self.site.units, draw);
        format!("{} falls by {draw} instead;", names::drum(self.site, drum))
    }

    fn draw_changed(&self, from: LitresPerHour, to: LitresPerHour) -> String {
        let draw = |draw| format::draw(&self.site.units, draw);
        format!("the level falls by about {}, before by {};", draw(to), draw(from))
    }

    fn catch(&self, caught: LitresPerHour, rated: LitresPerHour) -> String {
        let draw = |draw| format::draw(&self.site.units, draw);
        format!("the last catch gave {}, the dial says {};", draw(caught), draw(rated))
    }
}

/// Turbidity and clay.
impl Teller<'_> {
    fn goes(&self, place: &Place, [from, now, towards]: [f64; 3]) -> String {
        format!(
            "turbidity of {} went from {} to {} and is on its way to about {};",
            names::place(self.site, place),
            format::number(from, 0),
            format::number(now, 0),
            // Water without clay isn't clearer than it is.
            self.turbidity(place, towards.max(self.site.clay.background_ntu))
        )
    }

    fn stays(&self, place: &Place, at: f64) -> String {
        format!("turbidity of {} stays at {};", names::place(self.site, place), self.turbidity(place, at))
    }

    fn rises(&self, place: &Place, [from, now, wanted]: [f64; 3]) -> String {
        format!(
            "turbidity of {} was {}, comes up to {} by itself, and should be {};",
            names::place(self.site, place),
            format::number(from, 0),
            format::number(now, 0),
            self.turbidity(place, wanted)
        )
    }

    fn clears(&self, place: &Place, (from, now): (f64, f64), hours: f64) -> String {
        format!(
            "turbidity of {} sank from {} to {} over {} h, by and by;",
            names::place(self.site, place),
            format::number(from, 0),
            self.turbidity(place, now),
            format::number(hours, 1)
        )
    }

    fn climbs(&self, place: &Place, from: f64, now: f64) -> String {
        format!(
            "turbidity of {} climbed from {} to {} over six hours;",
            names::place(self.site, place),
            format::number(from, 0),
            self.turbidity(place, now)
        )
    }

    fn fell_at_once(&self, place: &Place, from: f64, now: f64) -> String {
        format!(
            "turbidity of {} fell from {} to {} from one reading to the next, faster than its water is exchanged;",
            names::place(self.site, place),
            format::number(from, 0),
            self.turbidity(place, now)
        )
    }

    fn spikes(&self, place: &Place, up: f64, usual: f64) -> String {
        format!(
            "readings of {} reach {} above their middle, usually {};",
            names::place(self.site, place),
            format::number(up, 0),
            self.turbidity(place, usual)
        )
    }

    /// "65 NTU", in the unit in which that place's sensor speaks.
    pub(in crate::notice) fn turbidity(&self, place: &Place, value: f64) -> String {
        let here = |sensor: &&claymark_model::site::Sensor| {
            sensor.quantity == Quantity::Turbidity && sensor.place == *place
        };
        let unit = self.site.sensors.iter().find(here).map(|sensor| sensor.unit.to_string());
        format!("{} {}", format::number(value, 0), unit.unwrap_or_else(|| "NTU".to_owned()))
    }
}

fn siblings(probes: u32, by: f64) -> String {
    format!("the middle one of the {probes} other probes moved by {} only;", format::number(by, 0))
}

fn yields(from: Yield, to: Yield) -> String {
    format!(
        "a mg/L of clay gave {} NTU and gives {};",
        format::number(from.ntu_per_mg_l, 2),
        format::number(to.ntu_per_mg_l, 2)
    )
}

fn declines(draw_per_day: f64, clay_per_day: f64) -> String {
    format!(
        "draw falls by {} % and clay by {} % a day;",
        format::number(100.0 * draw_per_day, 1),
        format::number(100.0 * clay_per_day, 1)
    )
}

/// Water and air.
impl Teller<'_> {
    fn oxygen(&self, place: &Place, from: f64, now: f64) -> String {
        format!(
            "oxygen in {} fell from {} to {} mg/L;",
            names::place(self.site, place),
            format::number(from, 1),
            format::number(now, 1)
        )
    }

    fn oxygen_low(&self, place: &Place, now: f64) -> String {
        let least = self.site.limits_at(place, self.at).oxygen_min_mg_l;
        format!(
            "oxygen in {} is {} mg/L, and the fish need {};",
            names::place(self.site, place),
            format::number(now, 1),
            format::number(least, 1)
        )
    }

    fn cools(&self, place: &Place, from: Celsius, now: Celsius) -> String {
        format!(
            "{} cooled from {} to {};",
            names::place(self.site, place),
            format::temperature(&self.site.units, from),
            format::temperature(&self.site.units, now)
        )
    }

    fn warms(&self, place: &Place, from: Celsius, now: Celsius) -> String {
        format!(
            "{} warmed from {} to {};",
            names::place(self.site, place),
            format::temperature(&self.site.units, from),
            format::temperature(&self.site.units, now)
        )
    }

    /// A value of the water in the site's unit: "65 NTU", "20.1 °C", "108 % of oxygen saturation".
    pub(super) fn amount(&self, place: &Place, of: Limited, value: f64) -> String {
        match of {
            Limited::Temperature => format::temperature(&self.site.units, Celsius(value)),
            Limited::OxygenSaturation => format!("{} % of oxygen saturation", format::number(value, 0)),
            Limited::Turbidity => self.turbidity(place, value),
        }
    }

    fn meter(&self, of: &str, place: &Place, [from, now]: [f64; 2], digits: usize) -> String {
        format!(
            "the {of} meter of {} shows {} L/min, before {};",
            names::place(self.site, place),
            format::number(now, digits),
            format::number(from, digits)
        )
    }
}
