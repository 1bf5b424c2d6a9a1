//! What is told of turbidity, temperature and oxygen.

use claymark_model::units::Unit;

use super::{Mark, percent, seconds};
use crate::caution::TOTAL_GAS;
use crate::format::number;
use crate::typed;

/// How a tank kept its band.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kept {
    /// Nearly all week.
    Steady,
    /// Not for some of it.
    Drifting,
    /// Not for much of it.
    Poor,
    /// Not judged, for want of data.
    TooLittle,
    /// Not measured.
    NotMeasured,
}

impl Kept {
    /// In a word or two.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Steady => "steady",
            Self::Drifting => "drifted",
            Self::Poor => "poor",
            Self::TooLittle => "too little data",
            Self::NotMeasured => "not measured",
        }
    }

    /// With its shape.
    #[must_use]
    pub fn mark(self) -> Mark {
        match self {
            Self::Steady => Mark::Good,
            Self::Drifting => Mark::Look,
            Self::Poor => Mark::Bad,
            Self::TooLittle | Self::NotMeasured => Mark::Unknown,
        }
    }
}

/// "97 % in band", and how much of the week isn't known where that is more than 1 %.
#[must_use]
pub fn in_band(inside_percent: Option<f64>, unknown_percent: f64) -> String {
    let Some(inside_percent) = inside_percent else { return "not known".to_owned() };
    if unknown_percent > 1.0 {
        format!("{} in band, {} not known", percent(inside_percent), percent(unknown_percent))
    } else {
        format!("{} in band", percent(inside_percent))
    }
}

/// The longest stretch outside the band, where it is worth telling.
#[must_use]
pub fn stretch(longest_s: f64) -> Option<String> {
    (longest_s >= 60.0).then(|| format!("out for {} at a stretch", seconds(longest_s)))
}

/// From what to what, and how far outside: "31 to 84 NTU; at worst 19 under the band (at 31) and 4 over it (at 84)".
///
/// `under` and `over` are the values that lay furthest outside what was wanted then, and by how much.
#[must_use]
pub fn how_far(
    extremes: Option<(f64, f64)>,
    under: Option<(f64, f64)>,
    over: Option<(f64, f64)>,
    unit: Unit,
) -> String {
    let Some((least, most)) = extremes else { return "no usable reading".to_owned() };
    let range = format!("{} to {} {}", number(least, 0), number(most, 0), unit.symbol());
    let by = |by: f64| if by < 0.5 { "under 1".to_owned() } else { number(by, 0) };
    let side = |side: Option<(f64, f64)>, word: &str| {
        side.map(|(value, far)| format!("{} {word} the band (at {})", by(far), number(value, 0)))
    };
    let both: Vec<String> = [side(under, "under"), side(over, "over")].into_iter().flatten().collect();
    if both.is_empty() { range } else { format!("{range}; at worst {}", both.join(" and ")) }
}

/// For those who can't see a tank's picture.
#[must_use]
pub fn tank_picture(name: &str, kept: Kept, in_band: &str, how_far: &str) -> String {
    let name = typed::name(name);
    format!("Turbidity of {name} over the week against its band: {}, {in_band}, {how_far}.", kept.word())
}

/// For those who can't see the picture of one quantity in all tanks.
#[must_use]
pub fn spread_picture(quantity: &str, extremes: Option<(f64, f64)>, unit: &str) -> String {
    match extremes {
        None => format!("{quantity} over the week: no usable reading."),
        Some((least, most)) => {
            let (least, most) = (number(least, 1), number(most, 1));
            format!("{quantity} of all tanks over the week: from {least} to {most} {unit}.")
        }
    }
}

/// "50 to 80 NTU", or from what to what it moved in the week.
#[must_use]
pub fn moving_range(first: (f64, f64), last: (f64, f64), unit: Unit) -> String {
    let [from, to] = [first, last].map(|(low, high)| (plain(low), plain(high)));
    if from == to {
        range(first.0, first.1, unit)
    } else {
        format!("{} to {} {unit} at first, {} to {} {unit} at the end", from.0, from.1, to.0, to.1)
    }
}

/// "50 to 80 NTU".
#[must_use]
pub fn range(low: f64, high: f64, unit: Unit) -> String {
    format!("{} to {} {}", plain(low), plain(high), unit.symbol())
}

/// "Oxygen, at least 7 mg/L wanted", or from what to what it moved in the week.
#[must_use]
pub fn oxygen_title(first: f64, last: f64) -> String {
    match (plain(first), plain(last)) {
        (first, last) if first == last => format!("Oxygen, at least {first} mg/L wanted"),
        (first, last) => format!("Oxygen, at least {first} mg/L wanted at first, {last} mg/L at the end"),
    }
}

/// "47 to 78".
#[must_use]
pub fn low_to_high(low: f64, high: f64, decimals: usize) -> String {
    format!("{} to {}", number(low, decimals), number(high, decimals))
}

/// For those who can't see how a bar divides the week.
#[must_use]
pub fn bar(inside: f64, below: f64, above: f64, unknown: f64) -> String {
    format!(
        "The week of this tank: in its band for {}, below it for {}, above it for {}, not known for {}.",
        percent(inside),
        percent(below),
        percent(above),
        percent(unknown)
    )
}

/// As few decimals as it needs, at most two.
fn plain(value: f64) -> String {
    let text = number(value, 2);
    if text.contains('e') { text } else { text.trim_end_matches('0').trim_end_matches('.').to_owned() }
}

/// Which pressure the saturation goes by.
#[must_use]
pub fn pressure(elevation_m: f64, hectopascals: f64, by_sensor: bool) -> String {
    if by_sensor {
        "Percent of saturation at the air pressure that the site's sensor showed.".to_owned()
    } else {
        format!(
            "Percent of saturation at local pressure: {hectopascals:.0} hPa by the standard atmosphere at {elevation_m:.0} m. \
             A figure taken at sea-level pressure would differ."
        )
    }
}

/// Where the temperature for the saturation isn't the tank's own.
#[must_use]
pub fn warmth_of_head_tank() -> String {
    "Where a tank has no temperature sensor, the head tank's temperature was used for the saturation."
        .to_owned()
}

/// Supersaturated oxygen hints at gas that no oxygen sensor shows.
#[must_use]
pub fn supersaturated(tanks: &str, most_percent: f64, limit_percent: f64) -> String {
    format!(
        "Oxygen stood above {limit_percent:.0} % of saturation in {tanks} (up to {} %). {TOTAL_GAS}",
        number(most_percent, 0)
    )
}

/// Beside the lower limit.
pub const LOWER: &str = "least";
/// Beside the upper limit.
pub const UPPER: &str = "most";
/// Beside full saturation.
pub const SATURATED: &str = "full";
/// Of the first picture.
pub const TEMPERATURE: &str = "Temperature";
/// Of the second picture.
pub const OXYGEN: &str = "Oxygen";
/// Of the second picture, where no sensor tells oxygen in mg/L.
pub const SATURATION: &str = "Oxygen saturation";
/// Over it.
pub const SATURATION_TITLE: &str = "Oxygen, percent of saturation";
/// Over the scale of saturation.
pub const PERCENT: &str = "%";
