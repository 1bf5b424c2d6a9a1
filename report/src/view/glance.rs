//! The first page: the verdict, and the room as a picture.

use serde::Serialize;

use claymark_model::site::Place;
use claymark_model::units::Unit;
use claymark_words::format;
use claymark_words::report as words;
use claymark_words::report::cut::By;
use claymark_words::report::unmade::{self, Part, WhyUnmade};
use claymark_words::report::water::Kept;

use super::record::COMPLETE_PERCENT;
use super::water::range_of_all;
use super::{MarkedLine, Picture, Pictures, breakable, with_cut};
use crate::charts::scale::{Cut, around};
use crate::charts::{Undrawn, strip, vessel};
use crate::facts::WeekFacts;
use crate::facts::drums::{DrumWeek, WELL_KNOWN_PERCENT};
use crate::facts::trace::{Shares, Slot};
use crate::facts::warnings::Calls;
use crate::facts::water::{BandGrade, MeasuredWeek, PlaceWeek, STEADY_PERCENT};
use crate::parts::attempt;

/// The room as it stood in the week.
#[derive(Debug, Clone, Serialize)]
pub struct RoomPart {
    vessels: Vec<VesselCard>,
    head: Vec<Card>,
    tanks: Vec<Card>,
    legend: String,
}

#[derive(Debug, Clone, Serialize)]
struct VesselCard {
    name: String,
    picture: Picture,
    lines: Vec<String>,
}

#[derive(Debug, Clone, Serialize)]
struct Card {
    name: String,
    mark: &'static str,
    shape: &'static str,
    word: &'static str,
    picture: Picture,
    lines: Vec<String>,
}

impl RoomPart {
    /// From the facts of a week.
    pub fn of(facts: &WeekFacts, pictures: &mut Pictures) -> Result<Self, Undrawn> {
        let (scale, cut) = scale(facts);
        let vessels =
            facts.drums.iter().map(|drum| VesselCard::of(drum, facts, pictures)).collect::<Result<_, _>>()?;
        let (mut head, mut tanks) = (Vec::new(), Vec::new());
        for place in &facts.places {
            let list = if place.place == Place::Head { &mut head } else { &mut tanks };
            list.extend(Card::all_of(place, facts, scale, pictures)?);
        }
        let legend = words::glance::legend(STEADY_PERCENT);
        let unit = facts.places.iter().flat_map(|place| &place.turbidity).next();
        let unit = unit.map_or(Unit::Ntu, |measured| measured.sensor.unit.base());
        let legend = with_cut(legend, cut, unit.symbol());
        Ok(Self { vessels, head, tanks, legend })
    }
}

impl VesselCard {
    fn of(drum: &DrumWeek, facts: &WeekFacts, pictures: &mut Pictures) -> Result<Self, Undrawn> {
        let units = &facts.site.units;
        let share = |volume: claymark_model::units::Litres| volume.0 / drum.drum.full.0;
        let shown = vessel::Vessel {
            now: drum.last().map(share),
            lowest: drum.lowest().map(share),
            heel: share(drum.drum.heel),
            ran_empty: !drum.run_outs.is_empty(),
        };
        let lowest = drum.lowest().map(|lowest| words::drums::lowest(lowest, units)).unwrap_or_default();
        let svg = vessel::draw(&shown, &lowest, words::drums::EMPTY)?;
        let alt = words::drums::picture(
            &drum.drum.name,
            drum.lowest(),
            drum.last(),
            drum.refills.len(),
            drum.run_outs.len(),
            units,
        );
        let happened = drum.lowest().map(|_| words::drums::events(drum.refills.len(), drum.run_outs.len()));
        Ok(Self {
            name: breakable(&drum.drum.name),
            picture: pictures.keep(svg, alt),
            lines: std::iter::once(words::drums::at_the_end(drum.last(), drum.drum.full, units))
                .chain(happened)
                .collect(),
        })
    }
}

impl Card {
    fn all_of(
        place: &PlaceWeek,
        facts: &WeekFacts,
        scale: (f64, f64),
        pictures: &mut Pictures,
    ) -> Result<Vec<Self>, Undrawn> {
        if place.turbidity.is_empty() {
            let kept = Kept::NotMeasured;
            let alt = words::water::tank_picture(&place.name, kept, "", "");
            let picture = pictures.keep(strip::blank(SIZE)?, alt);
            return Ok(vec![Self::new(&place.name, kept, picture, Vec::new())]);
        }
        let several = place.turbidity.len() > 1;
        place
            .turbidity
            .iter()
            .map(|measured| {
                let name = if several {
                    format!("{}: {}", place.name, measured.sensor.name)
                } else {
                    place.name.clone()
                };
                let shares = measured.shares();
                let kept = kept(measured.grade());
                let in_band = in_band(&shares);
                let how_far = words::water::how_far(
                    measured.extremes(),
                    measured.trace.furthest_below(),
                    measured.trace.furthest_above(),
                    measured.sensor.unit.base(),
                );
                let (size, days) = if place.place == Place::Head {
                    let beside_the_drums = facts.drums.len() <= 3;
                    (if beside_the_drums { HEAD_SIZE } else { WIDE_SIZE }, super::drums::day_names(facts))
                } else {
                    (SIZE, Vec::new())
                };
                let svg = strip::draw(&measured.trace, &facts.week, facts.until, scale, size, &days)?;
                let picture = pictures.keep(svg, words::water::tank_picture(&name, kept, &in_band, &how_far));
                let lines =
                    [Some(in_band), words::water::stretch(measured.longest_outside_s()), Some(how_far)];
                Ok(Self::new(&name, kept, picture, lines.into_iter().flatten().collect()))
            })
            .collect()
    }

    fn new(name: &str, kept: Kept, picture: Picture, lines: Vec<String>) -> Self {
        let mark = kept.mark();
        Self {
            name: breakable(name),
            mark: mark.name(),
            shape: mark.shape(),
            word: kept.word(),
            picture,
            lines,
        }
    }
}

/// The week in a few sentences.
pub fn verdict(facts: &WeekFacts) -> Vec<MarkedLine> {
    if facts.unmade.why(Part::Complete).is_none() && !facts.heard_anything() {
        return vec![MarkedLine::of(words::glance::nothing_heard())];
    }
    let told: [(Part, Tell); 6] = [
        (Part::Drums, |facts| Some(drums(facts))),
        (Part::Water, |facts| Some(tanks(facts))),
        (Part::Water, |facts| Some(water(facts))),
        (Part::Told, |facts| Some(warnings(facts))),
        (Part::Complete, |facts| Some(data(facts))),
        (Part::Ahead, order),
    ];
    // What a part that isn't there would say isn't known: no sentence may stand for it.
    let known = told.into_iter().filter(|(part, _)| facts.unmade.why(*part).is_none());
    let fault = |said| Some(unmade::part(&WhyUnmade::Fault(said)));
    known.filter_map(|(_, tell)| attempt(|| tell(facts)).unwrap_or_else(fault)).map(MarkedLine::of).collect()
}

/// One sentence of the verdict, where there is something to tell.
type Tell = fn(&WeekFacts) -> Option<words::glance::Marked>;

/// Clay that must be ordered by the end of the week ahead.
fn order(facts: &WeekFacts) -> Option<words::glance::Marked> {
    let (first, last) = (facts.ahead.from()?, facts.ahead.days.last()?.date);
    let says = claymark_words::stock::next(facts.ahead.stock.as_ref()?, first, last)?;
    Some((words::Mark::Look, says))
}

fn drums(facts: &WeekFacts) -> words::glance::Marked {
    let all: Vec<_> = facts
        .drums
        .iter()
        .map(|drum| {
            let length = drum.run_outs.iter().map(|run_out| run_out.lasted(facts.until)).sum();
            (drum.drum.name.as_str(), drum.run_outs.len(), length)
        })
        .collect();
    let unknown: Vec<&str> = facts
        .drums
        .iter()
        .filter(|drum| drum.known_percent(&facts.week, facts.until) < WELL_KNOWN_PERCENT)
        .map(|drum| drum.drum.name.as_str())
        .collect();
    words::glance::drums(&all, &unknown)
}

fn tanks(facts: &WeekFacts) -> words::glance::Marked {
    let mut sorted = words::glance::Tanks::default();
    for place in facts.places.iter().filter(|place| place.place != Place::Head) {
        let list = match place.turbidity_grade() {
            BandGrade::Steady => &mut sorted.steady,
            BandGrade::Drifting => &mut sorted.drifting,
            BandGrade::Poor => &mut sorted.poor,
            BandGrade::TooLittleData | BandGrade::NotMeasured => &mut sorted.unknown,
        };
        list.push(place.name.as_str());
    }
    words::glance::tanks(&sorted, STEADY_PERCENT)
}

fn water(facts: &WeekFacts) -> words::glance::Marked {
    let outside = |of: fn(&PlaceWeek) -> &Vec<MeasuredWeek>| -> Vec<(&str, String)> {
        facts
            .places
            .iter()
            .filter_map(|place| {
                let shares = of(place).iter().map(MeasuredWeek::shares);
                let worst = shares.map(|shares| shares.below_s + shares.above_s).fold(0.0, f64::max);
                (worst > 0.0).then(|| (place.name.as_str(), words::seconds(worst)))
            })
            .collect()
    };
    let measured = |place: &PlaceWeek| place.temperature.iter().chain(&place.oxygen).count() > 0;
    let unknown: Vec<&str> = facts
        .places
        .iter()
        .filter(|place| {
            place.temperature.iter().chain(&place.oxygen).any(|one| one.grade() == BandGrade::TooLittleData)
        })
        .map(|place| place.name.as_str())
        .collect();
    words::glance::water(
        &outside(|place| &place.temperature),
        &outside(|place| &place.oxygen),
        &unknown,
        facts.places.iter().any(measured),
    )
}

fn warnings(facts: &WeekFacts) -> words::glance::Marked {
    let calls = Calls::of(&facts.warnings);
    let undelivered = facts.warnings.iter().map(|warning| warning.delivery.given_up).sum();
    words::glance::calls(calls.calls, (calls.answered, calls.settled, calls.open), undelivered)
}

fn data(facts: &WeekFacts) -> words::glance::Marked {
    let all = facts.coverage();
    let poor = facts.sensors.iter().filter(|sensor| sensor.known_percent() < COMPLETE_PERCENT).count();
    words::glance::data(
        all.percent(all.known_s()).unwrap_or(0.0),
        all.percent(all.doubtful_s).unwrap_or(0.0),
        poor,
        facts.sensors.len(),
    )
}

/// The same scale for all tanks: the bands of the week with some air, and what was seen as ten-minute means.
fn scale(facts: &WeekFacts) -> ((f64, f64), Option<Cut>) {
    let all = || facts.places.iter().flat_map(|place| &place.turbidity);
    let wanted = all().flat_map(|measured| measured.trace.wanted());
    let bands = wanted.filter_map(|(_, _, limits)| limits.low.zip(limits.high));
    let hull = |(low, high): (f64, f64), (least, most): (f64, f64)| (low.min(least), high.max(most));
    let usual = facts.site.water.turbidity;
    let (low, high) = bands.reduce(hull).unwrap_or((usual.min(), usual.max()));
    let air = (high - low) * 0.35;
    let wanted = (low - air, high + air);
    let means = all().flat_map(|measured| measured.trace.slots().iter().filter_map(Slot::mean));
    let range = range_of_all(all().map(|measured| &measured.sensor));
    let ((least, most), cut) = around(wanted, means.collect(), range);
    let beyond = |beyond: bool| if beyond { air / 4.0 } else { 0.0 };
    let ends = (least - beyond(least < wanted.0), most + beyond(most > wanted.1));
    let slots = all().flat_map(|measured| measured.trace.slots());
    let readings = slots.filter_map(Slot::range).reduce(hull).filter(|(low, high)| {
        // Means of what no water can be may look well; the veil around them doesn't.
        low.abs().max(high.abs()) >= format::ABSURD
    });
    (ends, cut.or_else(|| readings.map(|figures| Cut { by: By::Means, scale: ends, figures })))
}

fn kept(grade: BandGrade) -> Kept {
    match grade {
        BandGrade::Steady => Kept::Steady,
        BandGrade::Drifting => Kept::Drifting,
        BandGrade::Poor => Kept::Poor,
        BandGrade::TooLittleData => Kept::TooLittle,
        BandGrade::NotMeasured => Kept::NotMeasured,
    }
}

fn in_band(shares: &Shares) -> String {
    let unknown = shares.doubtful_s + shares.missing_s;
    let inside = shares.percent(shares.inside_s).filter(|_| shares.known_s() > 0.0);
    words::water::in_band(inside, shares.percent(unknown).unwrap_or(100.0))
}

const SIZE: (u32, u32) = (480, 130);

/// Of the head tank, which all water comes from.
const HEAD_SIZE: (u32, u32) = (860, 290);
/// Of the head tank, where it has a row of its own.
const WIDE_SIZE: (u32, u32) = (1800, 260);
