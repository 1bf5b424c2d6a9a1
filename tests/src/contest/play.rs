//! One season told minute by minute.

use claymark_drum::{DrumWatch, share_draws};
use claymark_model::forecast::{Forecast, Outlook};
use claymark_model::site::Sensor;
use jiff::{SignedDuration, Timestamp};

use super::case::{Case, LONGEST, SaidEnd, Who};
use super::events::{DeedsFound, Recovery, WATCHED, WatchFinding, undisturbed};
use super::kalman::{self, GridSeries};
use super::parts::IfKnown;
use super::peers::DrumHistory;
use crate::season::rooms::RoomKind;
use crate::season::truth::{Done, TrueDeed, TrueDrum};
use crate::season::{Season, SeasonArrival, SeasonNews, start};

/// Who plays, beside simple peers and cheats.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Whom {
    /// The drum watch.
    pub watch: bool,
    /// The Kalman filter of the reference library, which must be installed.
    pub kalman: bool,
}

/// What came of a season.
pub struct Played {
    /// Its name.
    pub season: String,
    /// Its room.
    pub kind: RoomKind,
    /// Forecasts at every tenth minute at which a drum was drawn and would be empty within a day.
    pub cases: Vec<Case>,
    /// Instants at which it was drawn and the watch had nothing to say, and why.
    pub unknown: Vec<(usize, u32, String)>,
    /// What was found.
    pub found: DeedsFound,
    /// How soon the forecast was right again.
    pub recoveries: Vec<Recovery>,
    /// Of each drum what the Kalman filter is to be asked.
    pub series: Vec<GridSeries>,
}

/// A drum while the season is told.
struct Seat {
    sensor: Sensor,
    history: DrumHistory,
    watch: DrumWatch,
    /// Minutes of the season at which its forecast was right.
    right: Vec<bool>,
}

/// Tells it.
///
/// # Panics
/// When the season's site doesn't fit its drums.
#[must_use]
pub fn play(season: &Season, whom: Whom) -> Played {
    let mut seats: Vec<Seat> = (0..season.drums.len()).map(|drum| Seat::new(season, drum)).collect();
    let mut heard = season.heard.iter().peekable();
    let (mut cases, mut unknown, mut findings) = (Vec::new(), Vec::new(), Vec::new());
    let watched = watched_minutes(season);
    let mut series: Vec<GridSeries> = season.drums.iter().map(|_| GridSeries::default()).collect();
    for minute in 0..season.minutes {
        let now = Season::at(minute) + HEARD_WITHIN;
        while let Some(SeasonArrival { at, news }) = heard.next_if(|heard| heard.at <= now) {
            seats.iter_mut().for_each(|seat| seat.hear(*at, news, whom));
        }
        let look = |drum: usize| watched.get(drum).is_some_and(|of| of.contains(&minute));
        let forecast = minute % EVERY == 0;
        if whom.watch && (forecast || (0..seats.len()).any(look)) {
            share_draws(&mut seats.iter_mut().map(|seat| &mut seat.watch).collect::<Vec<_>>());
        }
        for (place, (seat, drum)) in seats.iter_mut().zip(&season.drums).enumerate() {
            let moment = drum.moment(minute);
            let disturbed = moment.pouring || !moment.drawn;
            if disturbed {
                seat.history.disturbed(hours(minute));
            }
            if whom.kalman
                && minute % kalman::STEP == 0
                && let Some(series) = series.get_mut(place)
            {
                series.push(&seat.history, hours(minute) + HEARD_WITHIN.as_secs_f64() / 3600.0, disturbed);
            }
            if whom.watch {
                let taken = seat.watch.take_happenings().into_iter();
                findings.extend(taken.map(|happening| WatchFinding { drum: place, said: minute, happening }));
                if look(place) {
                    seat.judge(drum, minute, now);
                }
            }
            let ours = (forecast && whom.watch).then(|| seat.forecast(now));
            if !forecast || disturbed || minute < FIRST {
                continue;
            }
            let Some(truth) = drum.empty_in(minute).filter(|truth| (LEAST..=DAY_HOURS).contains(truth))
            else {
                continue;
            };
            if let Some(Outlook::Unknown { why }) = ours.as_ref().map(|ours| &ours.outlook) {
                unknown.push((place, minute, why.kept()));
            }
            cases.push(case(place, seat, drum, minute, truth, ours.as_ref()));
        }
    }
    let recoveries = recoveries(season, &seats, whom);
    Played {
        season: season.name(),
        kind: season.kind,
        cases,
        unknown,
        found: DeedsFound::of(&season.drums, &findings),
        recoveries,
        series,
    }
}

impl Seat {
    fn new(season: &Season, drum: usize) -> Self {
        let id = &season.site.drums.get(drum).expect("the site has this drum").id;
        Self {
            sensor: season.site.level_sensor(id).expect("every drum has one").clone(),
            history: DrumHistory::new(&season.site, drum),
            watch: DrumWatch::new(&season.site, id).expect("the site has this drum"),
            right: vec![false; season.minutes as usize],
        }
    }

    fn hear(&mut self, at: Timestamp, news: &SeasonNews, whom: Whom) {
        match news {
            SeasonNews::Reading(assessed) => {
                if assessed.reading.sensor == self.sensor.id {
                    let own = assessed.reading.at.duration_since(start()).as_secs_f64() / 3600.0;
                    self.history.reading(own, assessed);
                }
                if whom.watch {
                    self.watch.reading(at, assessed);
                }
            }
            SeasonNews::Log(entry) => {
                if whom.watch {
                    self.watch.log(at, entry);
                }
            }
        }
    }

    /// As the room does: the watch learns from how it did.
    fn forecast(&mut self, now: Timestamp) -> Forecast {
        let said = self.watch.forecast(now);
        self.watch.score(&said);
        said
    }

    /// Whether the forecast of that minute is right.
    fn judge(&mut self, drum: &TrueDrum, minute: u32, now: Timestamp) {
        let forecast: Forecast = self.watch.forecast(now);
        let said = SaidEnd::from_forecast(&forecast, now);
        let truth = drum.empty_in(minute).unwrap_or(LONGEST);
        let right = said.is_some_and(|said| (said.likely() - truth).abs() <= (truth * 0.1).max(1.0 / 3.0));
        if let Some(cell) = self.right.get_mut(minute as usize) {
            *cell = right;
        }
    }
}

fn case(
    place: usize,
    seat: &Seat,
    drum: &TrueDrum,
    minute: u32,
    truth: f64,
    ours: Option<&Forecast>,
) -> Case {
    let now = hours(minute) + HEARD_WITHIN.as_secs_f64() / 3600.0;
    let moment = drum.moment(minute);
    let at = Season::at(minute) + HEARD_WITHIN;
    let cheat = |hours: Option<f64>| Some(SaidEnd::without_spread(hours.unwrap_or(LONGEST), moment.volume));
    let said = Who::ALL.map(|who| match who {
        Who::DrumWatch => ours.and_then(|ours| SaidEnd::from_forecast(ours, at)),
        Who::TwoPoints => seat.history.two_points(now),
        Who::LeastSquares => seat.history.least_squares(now),
        Who::TheilSen => seat.history.theil_sen(now),
        Who::Holt => seat.history.holt_said(now),
        Who::Kalman => None,
        Who::TrueDraw => cheat(drum.empty_in_by_line(minute)),
        Who::TrueCurve => cheat(drum.empty_in_by_curve(minute)),
    });
    let parts = ours.zip(said.first().copied().flatten());
    let parts = parts.and_then(|(ours, said)| IfKnown::of(drum, minute, ours, &said));
    Case { drum: place, minute, fill: moment.fill, truth, volume: moment.volume, said, parts }
}

/// Of each drum the minutes after its deeds.
fn watched_minutes(season: &Season) -> Vec<std::collections::HashSet<u32>> {
    let after = |deed: &TrueDeed| deed.to..deed.to + WATCHED + 3;
    let of_drum = |drum: &TrueDrum| {
        drum.deeds.iter().filter(|deed| undisturbed(drum, deed, WATCHED)).flat_map(after).collect()
    };
    season.drums.iter().map(of_drum).collect()
}

fn recoveries(season: &Season, seats: &[Seat], whom: Whom) -> Vec<Recovery> {
    if !whom.watch {
        return Vec::new();
    }
    let mut recoveries = Vec::new();
    for (drum, seat) in season.drums.iter().zip(seats) {
        for deed in drum.deeds.iter().filter(|deed| undisturbed(drum, deed, WATCHED) && deed.to >= FIRST) {
            if drum.empty_in(deed.to).is_none_or(|truth| truth < LEAST) {
                continue;
            }
            let right = |minute: u32| seat.right.get(minute as usize).copied().unwrap_or(false);
            let minutes = (0..=WATCHED).find(|later| (0..3).all(|more| right(deed.to + later + more)));
            let refill = matches!(deed.what, Done::Poured(_));
            recoveries.push(Recovery { refill, logged: deed.logged, minutes });
        }
    }
    recoveries
}

fn hours(minute: u32) -> f64 {
    f64::from(minute) / 60.0
}

/// Minutes between forecasts that are scored.
pub const EVERY: u32 = 10;
/// What is sent in a minute has arrived by then.
pub const HEARD_WITHIN: SignedDuration = SignedDuration::from_secs(10);
/// Minutes: from here on a season counts.
const FIRST: u32 = 60;
/// Hours: nearer to the end nothing is left to forecast.
const LEAST: f64 = 0.1;
/// Hours: the longest lead that is judged.
const DAY_HOURS: f64 = 24.0;
