//! What is known of one drum when people are told of it, whether it lasts, and what would make it last.

use claymark_clay::refill::Refill;
use claymark_clay::refill::books::MassDoubt;
use claymark_model::doubt::{Grounds, WhyDoubted};
use claymark_model::forecast::{EmptyAt, Forecast, Outlook};
use claymark_model::happening::SeenRefill;
use claymark_model::id::Id;
use claymark_model::site::Pump;
use claymark_model::units::{Litres, LitresPerHour, Turbidity};
use claymark_model::unseen::Unseen;
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

/// What is known of one drum at the time of a notice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DrumState {
    /// Which.
    pub drum: Id,
    /// Volume, draw and when it is empty, or why nothing can be said.
    pub forecast: Forecast,
    /// Since when the draw has been what it is.
    pub draw_since: Option<Timestamp>,
    /// When the level sensor last spoke.
    pub level_heard: Option<Timestamp>,
    /// The level isn't believed.
    pub doubt: Option<Doubted>,
    /// What is known of its pump.
    pub pump: PumpState,
    /// The last refill that the data show.
    pub last_refill: Option<SeenRefill>,
    /// When it ran empty, if it did since then.
    pub ran_empty: Option<Timestamp>,
}

/// A level that isn't believed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Doubted {
    /// Since when.
    pub since: Timestamp,
    /// Why.
    pub why: Grounds<WhyDoubted>,
}

/// What is known of a pump: the log against the data.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PumpState {
    /// Which.
    pub pump: Id,
    /// The last speed that somebody wrote down.
    pub set: Option<PumpSetting>,
    /// What the rating says that it delivers at that speed.
    pub rated: Option<LitresPerHour>,
    /// What the data say that it draws from all its drums together.
    pub drawn: Option<LitresPerHour>,
}

/// A pump speed from the field log.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PumpSetting {
    /// Revolutions per minute; 0 is off.
    pub rpm: f64,
    /// Since when.
    pub at: Timestamp,
}

/// The next visit, and how long beyond it a drum must last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Visit {
    /// When.
    pub at: Timestamp,
    /// How long beyond.
    pub margin: SignedDuration,
}

/// Whether a drum lasts until the next visit and its margin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Even the earliest time is late enough.
    Lasts,
    /// The likely time is late enough, the earliest isn't.
    MayNotLast,
    /// The likely time is too early.
    WillNotLast,
    /// Nothing can be said.
    Unknown,
}

/// What can be done for a drum.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Remedy {
    /// What to add; `None`: the volume isn't known.
    pub refill: Option<Refill>,
    /// When the full drum is empty at the present draw.
    pub full_ends: Option<EmptyAt>,
    /// Whether the full drum lasts.
    pub full: Verdict,
    /// Less than full that lasts, as the pump goes.
    #[serde(default)]
    pub enough: Option<Enough>,
    /// The pump with which it lasts without a refill.
    #[serde(default)]
    pub slower_pump: Option<Slower>,
    /// The pump with which the full drum lasts, where full it doesn't.
    #[serde(default)]
    pub slower_pump_when_full: Option<Slower>,
    /// The weakest mix that lasts, with the pump turned down for it, where the full drum at its target doesn't.
    #[serde(default)]
    pub night: Option<NightMix>,
    /// The mass of the last refill looks like the wrong unit.
    #[serde(default)]
    pub doubt: Option<MassDoubt>,
    /// A refill that was written down and that no level shows.
    #[serde(default)]
    pub unseen: Option<Unseen>,
    /// Another drum of the same pump that stands ready: to put the pump on it is the quickest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ready: Option<ReadyDrum>,
}

/// A drum that stands full while another one of its pump ends.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReadyDrum {
    /// Which.
    pub drum: Id,
    /// What is in it.
    pub holds: Litres,
    /// When it is empty if it is drawn from now on.
    pub ends: EmptyAt,
}

/// A new mix and a slower pump together: the water stays as cloudy, and the drum lasts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NightMix {
    /// What to add.
    pub refill: Refill,
    /// The pump's flow for it, from all drums that it draws at once.
    pub slurry: LitresPerHour,
    /// As a share of the present flow.
    pub pump_share: f64,
    /// When the drum is then empty.
    pub ends: EmptyAt,
    /// Of the head tank with both.
    pub turbidity: Turbidity,
    /// Of the head tank with the mix alone.
    pub mix_alone: Turbidity,
}

/// A slower pump, with which a drum lasts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Slower {
    /// Of the present speed, whole percents, rounded down.
    pub share: f64,
    /// The speed, rounded down; `None` where the present one isn't written down, or what leaves the drum denies it.
    pub rpm: Option<f64>,
    /// The pump's slowest speed, rpm, where it would have to run slower: clay settles in the line.
    pub below: Option<f64>,
    /// What the head tank then gets.
    pub clearer: Option<Clearer>,
}

/// Less slurry makes the water clearer.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Clearer {
    /// Of the head tank as the pump runs now.
    pub from: Turbidity,
    /// Of the head tank with the slower pump, once it has settled down.
    pub to: Turbidity,
}

/// Less than full that lasts all the same.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Enough {
    /// When so much must be there.
    pub at: Timestamp,
    /// So much must be there, whole litres.
    pub litres: Litres,
    /// What will be there without a refill, by the likely course; what is there, when it must be there now.
    pub holds: Option<Litres>,
    /// What to add then, the target strength kept; `None` where what is in it isn't known, or is enough.
    pub refill: Option<Refill>,
}

impl Slower {
    /// That share of what is known of the pump.
    #[must_use]
    pub fn of(share: f64, state: &PumpState, pump: Option<&Pump>) -> Self {
        let rpm = state.rpm_at(share);
        let below = rpm.zip(pump.and_then(|pump| pump.min_rpm)).filter(|(rpm, slowest)| rpm < slowest);
        Self { share, rpm, below: below.map(|(_, slowest)| slowest), clearer: None }
    }
}

impl Visit {
    /// Until when a drum must last.
    #[must_use]
    pub fn lasts_until(&self) -> Timestamp {
        self.at + self.margin
    }
}

impl Verdict {
    /// Of a drum that is empty at `empty_at`; later than the horizon lasts.
    #[must_use]
    pub fn of(empty_at: &EmptyAt, visit: &Visit) -> Self {
        let lasts = |time: Option<Timestamp>| time.is_none_or(|time| time >= visit.lasts_until());
        if lasts(empty_at.p05) {
            Self::Lasts
        } else if lasts(empty_at.p50) {
            Self::MayNotLast
        } else {
            Self::WillNotLast
        }
    }

    /// Of an outlook.
    #[must_use]
    pub fn of_outlook(outlook: &Outlook, visit: &Visit) -> Self {
        match outlook {
            Outlook::Known { empty_at, .. } => Self::of(empty_at, visit),
            Outlook::Unknown { .. } => Self::Unknown,
        }
    }
}

impl PumpState {
    /// What leaves its drums, as a share of what its rating says at the speed that was written down.
    #[must_use]
    pub fn delivers(&self) -> Option<f64> {
        let (rated, drawn) = (self.rated?, self.drawn?);
        (rated.0 > 0.0).then(|| drawn.0 / rated.0)
    }

    /// Whether a share of the rating is as good as the rating.
    #[must_use]
    pub fn agrees(share: f64) -> bool {
        (SLOWEST..=FASTEST).contains(&share)
    }

    /// The speed that is `share` of the one written down, rounded down, where the data agree with that.
    #[must_use]
    pub fn rpm_at(&self, share: f64) -> Option<f64> {
        let agree = self.delivers().is_some_and(Self::agrees);
        self.set.filter(|_| agree).map(|set| (set.rpm * share).floor()).filter(|rpm| *rpm >= 1.0)
    }
}

/// A rating is no calibration, and tubes wear, so a quarter less is the same; more than the rating isn't wear,
/// and it is what empties a drum too soon (common practice, no source).
const SLOWEST: f64 = 0.75;
/// See [`SLOWEST`].
const FASTEST: f64 = 1.15;

/// One drum in the evening.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EveningDrum {
    /// What is known.
    pub state: DrumState,
    /// Whether it lasts.
    pub verdict: Verdict,
    /// What can be done.
    pub remedy: Remedy,
}

#[cfg(test)]
mod tests {
    use super::*;
    use claymark_model::units::LitresPerHour;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn visit() -> Visit {
        Visit { at: at("2027-04-21T04:30:00Z"), margin: SignedDuration::from_hours(1) }
    }

    fn empty_at(p05: Option<&str>, p50: Option<&str>) -> EmptyAt {
        let (p05, p50) = (p05.map(at), p50.map(at));
        EmptyAt { p05, p25: p05, p50, p75: p50, p95: None }
    }

    #[test]
    fn lasting_is_judged_by_the_earliest_and_the_likely_time_against_visit_and_margin() {
        for (p05, p50, verdict) in [
            (Some("2027-04-21T05:30:00Z"), Some("2027-04-21T09:00:00Z"), Verdict::Lasts),
            (Some("2027-04-21T05:29:59Z"), Some("2027-04-21T05:30:00Z"), Verdict::MayNotLast),
            (Some("2027-04-21T04:29:59Z"), Some("2027-04-21T05:29:59Z"), Verdict::WillNotLast),
            (Some("2027-04-21T01:00:00Z"), None, Verdict::MayNotLast),
            (None, None, Verdict::Lasts),
        ] {
            assert_eq!(Verdict::of(&empty_at(p05, p50), &visit()), verdict, "{p05:?} {p50:?}");
        }
    }

    #[test]
    fn a_speed_is_told_only_where_what_leaves_agrees_with_it_and_its_slowest_is_minded() {
        let state = |drawn| PumpState {
            pump: claymark_invented::id("p1"),
            set: Some(PumpSetting { rpm: 75.0, at: at("2027-04-20T04:00:00Z") }),
            rated: Some(LitresPerHour(9.45)),
            drawn: Some(LitresPerHour(drawn)),
        };
        let pump = |min_rpm| Pump { max_rpm: Some(100.0), min_rpm, ..claymark_invented::pump("p1") };
        // 75 rpm · 0.52 = 39 rpm.
        let slower = |drawn, min_rpm| Slower::of(0.52, &state(drawn), Some(&pump(min_rpm)));
        assert_eq!((slower(9.4, None).rpm, slower(9.4, None).below), (Some(39.0), None));
        assert_eq!(slower(9.4, Some(39.0)).below, None);
        assert_eq!(slower(9.4, Some(40.0)).below, Some(40.0));
        assert_eq!(slower(17.0, Some(40.0)).rpm, None, "it isn't true that it runs at 75 rpm");
    }
}
