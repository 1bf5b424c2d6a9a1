//! What the templates set: the room's facts in words and lines.

use askama::Template;
use jiff::Timestamp;

use claymark_model::site::{Place, Quantity, Sensor, Site};
use claymark_notice::glance::{DrumAtAGlance, Glance};
use claymark_words::page::{self as words, CallLines, DrumLines, NewestReading, WaterLine, Weight};
use claymark_words::{names, typed};

use super::feed::RoomSeen;
use super::vessel::{self, DrawnVessel};
use crate::snapshot::Connection;

/// The frame around every page.
#[derive(Template)]
#[template(path = "frame.html")]
pub(super) struct PageFrame<'a> {
    pub(super) title: &'a str,
    pub(super) site: &'a str,
    /// How bright it is: `paper`, `dark` or `night`; empty: as the machine is set.
    pub(super) light: &'a str,
    /// `room`, `wall` or `sheet`.
    pub(super) kind: &'a str,
    /// Where the part that stays as the room is comes from; empty: the page stands still.
    pub(super) live: &'a str,
    /// That part.
    pub(super) now: &'a str,
    /// What stands below it.
    pub(super) below: &'a str,
}

/// The room, as its water runs.
#[derive(Template)]
#[template(path = "room_now.html")]
pub(super) struct RoomNowPart {
    pub(super) first: String,
    pub(super) press: &'static str,
    pub(super) as_of: String,
    pub(super) night: String,
    pub(super) troubles: Vec<String>,
    pub(super) calls: Vec<CallRow>,
    pub(super) drums: Vec<DrumOnPage>,
    pub(super) head: WaterPlace,
    pub(super) tanks: Vec<WaterPlace>,
    pub(super) room: WaterPlace,
}

/// The same for a wall, read at three metres.
#[derive(Template)]
#[template(path = "wall_now.html")]
pub(super) struct WallPart {
    pub(super) room: RoomNowPart,
    /// Tanks of which somebody must know something, as far as there is room for them.
    pub(super) tanks: Vec<WaterPlace>,
    /// All others, in one sentence.
    pub(super) others: Option<String>,
}

/// One drum at length.
#[derive(Template)]
#[template(path = "drum_now.html")]
pub(super) struct DrumPart {
    pub(super) as_of: String,
    pub(super) drum: DrumOnPage,
    pub(super) waters: Vec<ShownWater>,
}

/// What stands and calls people.
pub(super) struct CallRow {
    pub(super) press: &'static str,
    pub(super) lines: CallLines,
}

/// A drum on the page.
pub(super) struct DrumOnPage {
    pub(super) id: String,
    pub(super) press: &'static str,
    pub(super) vessel: Option<DrawnVessel>,
    pub(super) lines: DrumLines,
}

/// A place of the water with its readings.
pub(super) struct WaterPlace {
    pub(super) name: String,
    pub(super) press: &'static str,
    pub(super) waters: Vec<ShownWater>,
}

/// A reading on the page.
pub(super) struct ShownWater {
    pub(super) press: &'static str,
    /// Where it stands along the bar of its band, 0 to 200 with the band from 50 to 150.
    pub(super) mark: Option<f64>,
    pub(super) line: WaterLine,
}

impl RoomNowPart {
    pub(super) fn of(site: &Site, seen: &RoomSeen) -> Self {
        let glance = &seen.room.glance;
        let (first, weight) = words::first_sentence(site, glance);
        let calls = glance.standing.iter().map(|alarm| {
            let said = seen.room.said.get(&alarm.number).map(String::as_str);
            let lines = words::call(site, glance, alarm, said);
            CallRow { press: press(lines.weight), lines }
        });
        let tanks = site.tanks.iter().map(|tank| place(site, seen, &Place::Tank(tank.id.clone())));
        Self {
            first,
            press: press(weight),
            as_of: as_of(site, glance.at),
            night: words::whose_night(site, glance),
            troubles: troubles(seen),
            calls: calls.collect(),
            drums: glance.drums.iter().map(|drum| DrumOnPage::of(site, glance, drum)).collect(),
            head: place(site, seen, &Place::Head),
            tanks: tanks.collect(),
            room: place(site, seen, &Place::Room),
        }
    }
}

impl WallPart {
    /// A wall can't be scrolled: what is as it should be takes one line, however many tanks there are.
    pub(super) fn of(mut room: RoomNowPart) -> Self {
        let all = std::mem::take(&mut room.tanks);
        let (quiet, mut told): (Vec<_>, Vec<_>) = all.into_iter().partition(|tank| tank.press == "quiet");
        told.sort_by_key(|tank| std::cmp::Reverse(weight_of(tank.press)));
        let more = told.split_off(told.len().min(TANKS_ON_THE_WALL));
        let names = |tanks: &[WaterPlace]| tanks.iter().map(|tank| tank.name.clone()).collect::<Vec<_>>();
        Self { room, others: words::other_tanks(&names(&more), &names(&quiet)), tanks: told }
    }
}

impl DrumPart {
    /// The drum's name.
    pub(super) fn name(site: &Site, drum: &DrumAtAGlance) -> String {
        names::drum(site, &drum.outlook.state.drum)
    }

    pub(super) fn of(site: &Site, seen: &RoomSeen, drum: &DrumAtAGlance) -> Self {
        let glance = &seen.room.glance;
        let at = Place::Drum(drum.outlook.state.drum.clone());
        Self {
            as_of: as_of(site, glance.at),
            drum: DrumOnPage::of(site, glance, drum),
            waters: place(site, seen, &at).waters,
        }
    }
}

impl DrumOnPage {
    fn of(site: &Site, glance: &Glance, drum: &DrumAtAGlance) -> Self {
        let lines = words::drum(site, glance, drum);
        Self {
            id: drum.outlook.state.drum.to_string(),
            press: press(lines.weight),
            vessel: vessel::of(site, drum),
            lines,
        }
    }
}

/// Everything that is measured at a place.
fn place(site: &Site, seen: &RoomSeen, at: &Place) -> WaterPlace {
    let of_place = site.sensors.iter().filter(|sensor| sensor.place == *at);
    let waters: Vec<ShownWater> = of_place.map(|sensor| water(site, seen, sensor)).collect();
    let heaviest = waters.iter().map(|water| weight_of(water.press)).max().unwrap_or(Weight::Quiet);
    WaterPlace { name: capital(&names::place(site, at)), press: press(heaviest), waters }
}

fn water(site: &Site, seen: &RoomSeen, sensor: &Sensor) -> ShownWater {
    let glance = &seen.room.glance;
    let newest = seen.snapshot.last.get(&sensor.id);
    let newest = newest.map(|last| NewestReading { at: last.at, value: last.value, flag: last.flag });
    let silent = glance.silent.iter().any(|silent| silent.sensor == sensor.id);
    let line = words::water(site, glance.at, sensor, (newest, silent));
    let bar = matches!(sensor.quantity, Quantity::Turbidity | Quantity::Temperature);
    let mark = line.in_band.filter(|_| bar).map(|share| (50.0 + share * 100.0).round());
    ShownWater { press: press(line.weight), mark, line }
}

/// What is wrong with the watch itself.
fn troubles(seen: &RoomSeen) -> Vec<String> {
    let snapshot = &seen.snapshot;
    let link = match &snapshot.connection {
        Connection::Watching { .. } => None,
        Connection::Down { why } => Some(words::not_connected(why)),
    };
    let store = snapshot.store_trouble.as_ref().map(|why| words::nothing_kept(why));
    let nobody = snapshot.reached_nobody.map(words::reached_nobody);
    link.into_iter().chain(store).chain(nobody).collect()
}

pub(super) fn as_of(site: &Site, at: Timestamp) -> String {
    at.to_zoned_datetime(site.time_zone.clone()).strftime("%a %-d %b %H:%M:%S").to_string()
}

/// The site's name as it is shown.
pub(super) fn site_name(site: &Site) -> String {
    typed::name(&site.name)
}

/// The class by which the style knows how much something presses.
fn press(weight: Weight) -> &'static str {
    match weight {
        Weight::Quiet => "quiet",
        Weight::Unsure => "unsure",
        Weight::Drifts => "drifts",
        Weight::Danger => "danger",
    }
}

fn weight_of(press: &str) -> Weight {
    match press {
        "danger" => Weight::Danger,
        "drifts" => Weight::Drifts,
        "unsure" => Weight::Unsure,
        _ => Weight::Quiet,
    }
}

fn capital(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// More than that isn't read at three metres.
const TANKS_ON_THE_WALL: usize = 8;
