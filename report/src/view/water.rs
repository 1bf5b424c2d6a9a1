//! The water's page: turbidity, temperature and oxygen of every tank.

use jiff::Timestamp;
use serde::Serialize;

use claymark_clay::oxygen::{SUPERSATURATED, pressure_at};
use claymark_model::quality::thresholds::Span;
use claymark_model::site::{Place, Sensor, WaterLimits};
use claymark_model::units::Unit;
use claymark_words::format;
use claymark_words::report as words;

use super::{Picture, Pictures, breakable, drums};
use crate::charts::spread::{self, HourSpread};
use crate::charts::{Undrawn, share};
use crate::facts::WeekFacts;
use crate::facts::days::BandDay;
use crate::facts::oxygen::{PressureFrom, WarmthFrom};
use crate::facts::trace::{Slot, even_mean};
use crate::facts::water::{MeasuredWeek, PlaceWeek, pressure_from};

/// Turbidity, temperature and oxygen.
#[derive(Debug, Clone, Serialize)]
pub struct WaterPart {
    band: String,
    turbidity_unit: &'static str,
    temperature_unit: &'static str,
    temperature_limits: String,
    oxygen_title: String,
    temperature: Option<Picture>,
    oxygen: Option<Picture>,
    tanks: Vec<TankRow>,
    days: Vec<Vec<String>>,
    notes: Vec<String>,
}

/// A tank's row.
#[derive(Debug, Clone, Serialize)]
struct TankRow {
    name: String,
    bar: Option<Picture>,
    inside: String,
    turbidity: String,
    temperature: String,
    oxygen: String,
    saturation: String,
}

impl WaterPart {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts, pictures: &mut Pictures) -> Result<Self, Undrawn> {
        let (first, last) = facts.wanted();
        let warm = facts.site.units.temperature;
        let unit =
            facts.places.iter().flat_map(|place| &place.turbidity).map(|one| one.sensor.unit.base()).next();
        let tanks =
            facts.places.iter().map(|place| TankRow::of(place, warm, pictures)).collect::<Result<_, _>>()?;
        Ok(Self {
            band: words::water::moving_range(
                (first.turbidity.min(), first.turbidity.max()),
                (last.turbidity.min(), last.turbidity.max()),
                unit.unwrap_or(Unit::Ntu),
            ),
            turbidity_unit: unit.unwrap_or(Unit::Ntu).symbol(),
            temperature_unit: warm.symbol(),
            temperature_limits: words::water::moving_range(
                in_unit(first.temperature_c, warm),
                in_unit(last.temperature_c, warm),
                warm,
            ),
            oxygen_title: if by_weight(facts) {
                words::water::oxygen_title(first.oxygen_min_mg_l, last.oxygen_min_mg_l)
            } else {
                words::water::SATURATION_TITLE.to_owned()
            },
            temperature: temperature(facts, pictures)?,
            oxygen: oxygen(facts, pictures)?,
            tanks,
            days: facts.band_days.iter().map(band_day).collect(),
            notes: notes(facts),
        })
    }
}

impl TankRow {
    fn of(place: &PlaceWeek, warm: Unit, pictures: &mut Pictures) -> Result<Self, Undrawn> {
        let worst = place.turbidity.iter().max_by_key(|measured| measured.grade());
        let bar = worst
            .map(|measured| {
                let shares = measured.shares();
                let percent = |seconds: f64| shares.percent(seconds).unwrap_or(0.0);
                let alt = words::water::bar(
                    percent(shares.inside_s),
                    percent(shares.below_s),
                    percent(shares.above_s),
                    percent(shares.doubtful_s + shares.missing_s),
                );
                Ok::<_, Undrawn>(pictures.keep(share::draw(&shares, BAR)?, alt))
            })
            .transpose()?;
        let inside = worst.and_then(|measured| {
            let shares = measured.shares();
            shares.percent(shares.inside_s).filter(|_| shares.known_s() > 0.0)
        });
        let none = |sensors: &[MeasuredWeek]| {
            let words = if sensors.is_empty() { words::drums::NO_SENSOR } else { words::drums::NOT_KNOWN };
            words.to_owned()
        };
        let span = |extremes: Option<(f64, f64)>, decimals: usize, sensors: &[MeasuredWeek]| {
            extremes
                .map_or_else(|| none(sensors), |(low, high)| words::water::low_to_high(low, high, decimals))
        };
        let temperature = place
            .temperature
            .first()
            .and_then(MeasuredWeek::extremes)
            .map(|(low, high)| (warm.from_base(low), warm.from_base(high)));
        let lowest = place.oxygen.first().and_then(MeasuredWeek::extremes).map(|(low, _)| low);
        let by_sensor = place.oxygen_saturation.first().and_then(MeasuredWeek::extremes);
        let saturation = saturation(place).map(|(low, _, high)| (low, high)).or(by_sensor);
        let any_oxygen = [place.oxygen.as_slice(), place.oxygen_saturation.as_slice()].concat();
        Ok(Self {
            name: breakable(&place.name),
            bar,
            inside: inside.map_or_else(|| none(&place.turbidity), words::percent),
            turbidity: span(worst.and_then(MeasuredWeek::extremes), 0, &place.turbidity),
            temperature: span(temperature, 1, &place.temperature),
            oxygen: lowest.map_or_else(|| none(&place.oxygen), |low| format::number(low, 1)),
            saturation: span(saturation, 0, &any_oxygen),
        })
    }
}

/// A day's row: the fish, their band, how the time of all tanks divides, and the tank that kept it least.
fn band_day(day: &BandDay) -> Vec<String> {
    let shares = &day.shares;
    let percent = |seconds: f64| {
        shares.percent(seconds).map_or_else(|| words::glance::NOT_YET.to_owned(), words::percent)
    };
    // Of a day of which nothing is known no share is known either.
    let of_known = |seconds: f64| {
        let silent = shares.known_s() <= 0.0 && shares.due_s() > 0.0;
        if silent { words::drums::NOT_KNOWN.to_owned() } else { percent(seconds) }
    };
    vec![
        words::day(day.date),
        words::ahead::fish_days(day.fish.iter().map(|(_, fish)| *fish)),
        words::water::low_to_high(day.band.min(), day.band.max(), 0),
        of_known(shares.inside_s),
        of_known(shares.below_s),
        of_known(shares.above_s),
        percent(shares.doubtful_s + shares.missing_s),
        day.least.as_ref().map_or_else(String::new, |(name, least)| {
            format!("{} ({})", breakable(name), words::percent(*least))
        }),
    ]
}

fn in_unit(limits: Span, unit: Unit) -> (f64, f64) {
    (unit.from_base(limits.min()), unit.from_base(limits.max()))
}

fn temperature(facts: &WeekFacts, pictures: &mut Pictures) -> Result<Option<Picture>, Undrawn> {
    let warm = facts.site.units.temperature;
    let limit = |end: fn((f64, f64)) -> f64, name: &str| {
        level(facts, name, |wanted| end(in_unit(wanted.temperature_c, warm)))
    };
    let levels =
        vec![limit(|(low, _)| low, words::water::LOWER), limit(|(_, high)| high, words::water::UPPER)];
    let band = facts.week.days().iter().map(|day| {
        let wanted = facts.site.limits_at(&Place::Head, day.start).temperature_c;
        (day.start, day.end, in_unit(wanted, warm))
    });
    let means: Vec<Vec<Option<f64>>> = facts
        .places
        .iter()
        .flat_map(|place| &place.temperature)
        .map(|measured| {
            measured.trace.slots().iter().map(|slot| slot.mean().map(|mean| warm.from_base(mean))).collect()
        })
        .collect();
    let sensors = facts.places.iter().flat_map(|place| &place.temperature).map(|one| &one.sensor);
    let range = range_of_all(sensors);
    let lettering = spread::SpreadLettering {
        days: drums::day_names(facts),
        unit: warm.symbol().to_owned(),
        band: band.collect(),
        levels,
        range: range.map(|(low, high)| (warm.from_base(low), warm.from_base(high))),
        not_yet: words::glance::NOT_YET.to_owned(),
    };
    picture(facts, &means, words::water::TEMPERATURE, &lettering, pictures)
}

/// Whether a single sensor tells oxygen in mg/L, in which it is wanted.
fn by_weight(facts: &WeekFacts) -> bool {
    facts.places.iter().any(|place| !place.oxygen.is_empty())
}

fn oxygen(facts: &WeekFacts, pictures: &mut Pictures) -> Result<Option<Picture>, Undrawn> {
    let by_weight = by_weight(facts);
    let sensors = || {
        let of = |place| if by_weight { oxygen_of(place) } else { saturation_of(place) };
        facts.places.iter().flat_map(of)
    };
    let means = |measured: &MeasuredWeek| measured.trace.slots().iter().map(Slot::mean).collect();
    let (unit, level) = if by_weight {
        let least = level(facts, words::water::LOWER, |wanted| wanted.oxygen_min_mg_l);
        (Unit::MilligramPerLitre.symbol(), least)
    } else {
        (words::water::PERCENT, level(facts, words::water::SATURATED, |_| 100.0))
    };
    let lettering = spread::SpreadLettering {
        days: drums::day_names(facts),
        unit: unit.to_owned(),
        band: Vec::new(),
        levels: vec![level],
        range: range_of_all(sensors().map(|one| &one.sensor)),
        not_yet: words::glance::NOT_YET.to_owned(),
    };
    let series: Vec<Vec<Option<f64>>> = sensors().map(means).collect();
    let quantity = if by_weight { words::water::OXYGEN } else { words::water::SATURATION };
    picture(facts, &series, quantity, &lettering, pictures)
}

fn oxygen_of(place: &PlaceWeek) -> &[MeasuredWeek] {
    &place.oxygen
}

fn saturation_of(place: &PlaceWeek) -> &[MeasuredWeek] {
    &place.oxygen_saturation
}

/// A line at what was wanted of the head tank's water, day by day.
fn level(facts: &WeekFacts, name: &str, of: impl Fn(&WaterLimits) -> f64) -> spread::SteppedLevel {
    let step =
        |day: &crate::week::Day| (day.start, day.end, of(&facts.site.limits_at(&Place::Head, day.start)));
    spread::SteppedLevel { steps: facts.week.days().iter().map(step).collect(), name: name.to_owned() }
}

/// What the sensors can show together; `None`: of one of them nobody says it.
pub fn range_of_all<'a>(sensors: impl Iterator<Item = &'a Sensor>) -> Option<(f64, f64)> {
    let ranges = sensors.map(|sensor| {
        let range = sensor.thresholds.gross_range?.sensor();
        Some((range.min(), range.max()))
    });
    let hull = |(a, b): (f64, f64), (low, high): (f64, f64)| (a.min(low), b.max(high));
    ranges.reduce(|one, other| Some(hull(one?, other?))).flatten()
}

fn picture(
    facts: &WeekFacts,
    series: &[Vec<Option<f64>>],
    quantity: &str,
    lettering: &spread::SpreadLettering,
    pictures: &mut Pictures,
) -> Result<Option<Picture>, Undrawn> {
    if series.is_empty() {
        return Ok(None);
    }
    let spreads = spreads(facts, series);
    let extremes = spreads.iter().filter_map(|spread| spread.span).fold(None, |sum, (low, _, high)| {
        let (least, most) = sum.unwrap_or((low, high));
        Some((f64::min(least, low), f64::max(most, high)))
    });
    let svg = spread::draw(&spreads, &facts.week, facts.until, SIZE, lettering)?;
    let (_, cut) = spread::scale(&spreads, lettering);
    let alt = words::water::spread_picture(quantity, extremes, &lettering.unit);
    Ok(Some(pictures.keep_cut(svg, alt, cut, &lettering.unit)))
}

/// Hour by hour the lowest and the highest slot of all tanks, and the hour's mean of the tank in the middle.
fn spreads(facts: &WeekFacts, series: &[Vec<Option<f64>>]) -> Vec<HourSpread> {
    let Some(clock) = facts.sensors.first().map(|sensor| &sensor.trace) else { return Vec::new() };
    (0..clock.slots().len())
        .step_by(SLOTS_AN_HOUR)
        .map(|first| {
            let at: Timestamp = clock.slot_start(first + SLOTS_AN_HOUR / 2);
            let mut known: Vec<f64> = series.iter().filter_map(|one| mean_of_hour(one, first)).collect();
            known.sort_by(f64::total_cmp);
            let middle = known.get(known.len() / 2).copied();
            let slots = series.iter().flat_map(|one| of_hour(one, first));
            let span = slots.map(|slot| (slot, slot)).reduce(|(low, high), (a, b)| (low.min(a), high.max(b)));
            let span = span.zip(middle).map(|((low, high), middle)| (low, middle, high));
            HourSpread { at, span, due: at < facts.until }
        })
        .collect()
}

fn mean_of_hour(series: &[Option<f64>], first: usize) -> Option<f64> {
    even_mean(&of_hour(series, first).collect::<Vec<_>>())
}

fn of_hour(series: &[Option<f64>], first: usize) -> impl Iterator<Item = f64> {
    series.iter().skip(first).take(SLOTS_AN_HOUR).filter_map(|value| *value)
}

fn saturation(place: &PlaceWeek) -> Option<(f64, f64, f64)> {
    let saturation = place.saturation.as_ref()?;
    saturation.summary(0, saturation.percent.len())
}

fn notes(facts: &WeekFacts) -> Vec<String> {
    let mut notes = Vec::new();
    let computed: Vec<&PlaceWeek> = facts.places.iter().filter(|place| place.saturation.is_some()).collect();
    if !computed.is_empty() {
        let elevation = facts.site.elevation_m;
        let by_sensor = pressure_from(&facts.site) == PressureFrom::Sensor;
        notes.push(words::water::pressure(elevation, pressure_at(elevation).0, by_sensor));
    }
    let from_head = |place: &&PlaceWeek| {
        place.saturation.as_ref().is_some_and(|saturation| saturation.warmth == WarmthFrom::HeadTank)
    };
    if computed.iter().any(from_head) {
        notes.push(words::water::warmth_of_head_tank());
    }
    let over: Vec<(&str, f64)> = computed
        .iter()
        .filter_map(|place| Some((place.name.as_str(), saturation(place)?.2)))
        .filter(|(_, most)| *most > SUPERSATURATED.0)
        .collect();
    if !over.is_empty() {
        let names: Vec<&str> = over.iter().map(|(name, _)| *name).collect();
        let most = over.iter().map(|(_, most)| *most).fold(0.0, f64::max);
        notes.push(words::water::supersaturated(&words::names(&names), most, SUPERSATURATED.0));
    }
    notes
}

const SLOTS_AN_HOUR: usize = 6;
const SIZE: (u32, u32) = (1800, 360);
const BAR: (u32, u32) = (400, 36);
