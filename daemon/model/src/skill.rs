//! How well drums are forecast: what was said of each five-litre mark, and when the volume came down to it.
//!
//! People refill before a drum is empty, so the run-out itself is seldom seen. Each forecast therefore also says when
//! the volume will have come down to a few marks on the way, and is judged by when it did, unless a refill or a change
//! of the draw comes between. Only a level that is believed settles a mark.
//!
//! Two things to know when reading the figures. A drum that is refilled early settles only its early marks, which
//! makes the settled ones look a little early. And forecasts half an hour apart are near copies: as independent counts
//! no more than one for each drum and day.

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::forecast::{EmptyAt, HORIZON};
use crate::id::Id;
use crate::score::{Coverage, crps_of_quantiles};
use crate::units::Litres;

/// When a drum was to come down to a mark, and what became of that.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MarkForecast {
    /// Which drum.
    pub drum: Id,
    /// When it was said.
    pub made_at: Timestamp,
    /// The mark; heel included.
    pub mark: Litres,
    /// How far ahead the likely time was. By what was said, not by what came, which would favour one side.
    pub lead: Lead,
    /// When it was to come down to the mark.
    pub reached: EmptyAt,
    /// What became of it.
    pub fate: Fate,
}

/// What became of a forecast.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "fate", rename_all = "kebab-case")]
pub enum Fate {
    /// Not yet known.
    Open,
    /// The volume came down to the mark.
    Came {
        /// When.
        at: Timestamp,
    },
    /// It can't be judged: a refill or a change came first, or the level wasn't believed when it was passed.
    Dropped,
}

/// How far ahead something was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Lead {
    /// Less than 3 h.
    To3h,
    /// 3 to 6 h.
    To6h,
    /// 6 to 12 h.
    To12h,
    /// 12 to 24 h.
    To24h,
}

/// Between which of the stated quantiles something came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Band {
    /// Before p05.
    Earliest,
    /// From p05 to p25.
    Early,
    /// From p25 to p50.
    BeforeLikely,
    /// From p50 to p75.
    AfterLikely,
    /// From p75 to p95.
    Late,
    /// After p95.
    Latest,
}

/// A past error, as far as it serves to widen or narrow later forecasts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settled {
    /// When it was said.
    pub made_at: Timestamp,
    /// How far ahead the likely time was, h.
    pub lead_h: f64,
    /// Where it came.
    pub hit: Band,
}

/// How well it was forecast, by how far ahead.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Skill {
    leads: [LeadSkill; 4],
}

/// How well it was forecast so far ahead.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LeadSkill {
    /// Of the interval from p25 to p75, which should hold half.
    pub inner: Coverage,
    /// Of the interval from p05 to p95, which should hold nine of ten.
    pub outer: Coverage,
    /// Sum of the CRPS, s.
    crps_s: f64,
}

impl Lead {
    /// All, the nearest first.
    pub const ALL: [Self; 4] = [Self::To3h, Self::To6h, Self::To12h, Self::To24h];

    /// `None` beyond 24 h.
    #[must_use]
    pub fn of(ahead: SignedDuration) -> Option<Self> {
        Self::ALL.into_iter().find(|lead| ahead < lead.end())
    }

    /// From how many hours on.
    #[must_use]
    pub fn begin(self) -> SignedDuration {
        SignedDuration::from_hours(match self {
            Self::To3h => 0,
            Self::To6h => 3,
            Self::To12h => 6,
            Self::To24h => 12,
        })
    }

    /// To how many hours.
    #[must_use]
    pub fn end(self) -> SignedDuration {
        SignedDuration::from_hours(match self {
            Self::To3h => 3,
            Self::To6h => 6,
            Self::To12h => 12,
            Self::To24h => 24,
        })
    }

    /// Its name in the store and in metrics.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::To3h => "0-3h",
            Self::To6h => "3-6h",
            Self::To12h => "6-12h",
            Self::To24h => "12-24h",
        }
    }

    /// The reverse of [`Lead::name`].
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|lead| lead.name() == name)
    }
}

impl MarkForecast {
    /// When the volume came down to the mark, if it did.
    #[must_use]
    pub fn came(&self) -> Option<Timestamp> {
        match self.fate {
            Fate::Came { at } => Some(at),
            Fate::Open | Fate::Dropped => None,
        }
    }

    /// What is to be learned from it, once it is settled.
    #[must_use]
    pub fn settled(&self) -> Option<Settled> {
        let came = self.came()?;
        let EmptyAt { p05, p25, p50, p75, p95 } = self.reached;
        let bands = [Band::Earliest, Band::Early, Band::BeforeLikely, Band::AfterLikely, Band::Late];
        let before = |quantile: Option<Timestamp>| quantile.is_none_or(|time| came < time);
        let hit = [p05, p25, p50, p75, p95].into_iter().zip(bands).find(|(quantile, _)| before(*quantile));
        let ahead = p50?.duration_since(self.made_at);
        Some(Settled {
            made_at: self.made_at,
            lead_h: in_hours(ahead),
            hit: hit.map_or(Band::Latest, |(_, band)| band),
        })
    }

    /// By how much the likely time was off.
    #[must_use]
    pub fn off(&self) -> Option<SignedDuration> {
        Some(self.came()?.duration_since(self.reached.p50?))
    }

    /// The CRPS by the five quantiles, s; what was said to be later than the horizon stands at the horizon.
    fn crps_s(&self) -> Option<f64> {
        let ahead = |time: Timestamp| time.duration_since(self.made_at).as_secs_f64();
        let EmptyAt { p05, p25, p50, p75, p95 } = self.reached;
        let stated = [(0.05, p05), (0.25, p25), (0.5, p50), (0.75, p75), (0.95, p95)];
        let stated = stated.map(|(level, time)| (level, time.map_or(HORIZON.as_secs_f64(), ahead)));
        crps_of_quantiles(&stated, ahead(self.came()?))
    }
}

impl Skill {
    /// Of many forecasts; those that aren't settled don't count.
    #[must_use]
    pub fn of<'a>(forecasts: impl IntoIterator<Item = &'a MarkForecast>) -> Self {
        let mut skill = Self::default();
        for forecast in forecasts {
            skill.count(forecast);
        }
        skill
    }

    /// Counts a forecast, if it is settled.
    pub fn count(&mut self, forecast: &MarkForecast) {
        let (Some(settled), Some(crps_s)) = (forecast.settled(), forecast.crps_s()) else { return };
        let of_lead = Lead::ALL.into_iter().zip(&mut self.leads).find(|(lead, _)| *lead == forecast.lead);
        if let Some((_, skill)) = of_lead {
            skill.inner.count(matches!(settled.hit, Band::BeforeLikely | Band::AfterLikely));
            skill.outer.count(!matches!(settled.hit, Band::Earliest | Band::Latest));
            skill.crps_s += crps_s;
        }
    }

    /// By how far ahead, the nearest first.
    pub fn leads(&self) -> impl Iterator<Item = (Lead, &LeadSkill)> {
        Lead::ALL.into_iter().zip(&self.leads)
    }
}

impl LeadSkill {
    /// Mean CRPS, a time; `None` when nothing is settled.
    #[must_use]
    pub fn crps(&self) -> Option<SignedDuration> {
        let mean = || SignedDuration::from_secs_f64(self.crps_s / f64::from(self.outer.of));
        (self.outer.of > 0).then(mean)
    }
}

fn in_hours(duration: SignedDuration) -> f64 {
    duration.div_duration_f64(SignedDuration::from_hours(1))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minutes: i64) -> Timestamp {
        "2027-04-20T14:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_mins(minutes)
    }

    /// Said at the beginning: likely in 4 h, each quantile half an hour from the next.
    fn said(came: Option<i64>) -> MarkForecast {
        let [p05, p25, p50, p75, p95] = [180, 210, 240, 270, 300].map(|minutes| Some(at(minutes)));
        MarkForecast {
            drum: Id::new("a").unwrap(),
            made_at: at(0),
            mark: Litres(60.0),
            lead: Lead::To6h,
            reached: EmptyAt { p05, p25, p50, p75, p95 },
            fate: came.map_or(Fate::Open, |minutes| Fate::Came { at: at(minutes) }),
        }
    }

    #[test]
    fn what_came_falls_into_the_band_that_holds_it() {
        for (came, hit) in [
            (179, Band::Earliest),
            (180, Band::Early),
            (239, Band::BeforeLikely),
            (240, Band::AfterLikely),
            (299, Band::Late),
            (300, Band::Latest),
        ] {
            let settled = said(Some(came)).settled().unwrap();
            assert_eq!((settled.hit, settled.made_at), (hit, at(0)), "{came} min");
            assert!((settled.lead_h - 4.0).abs() < 1e-9);
        }
        assert_eq!(said(None).settled(), None);
        let mut open_end = said(Some(100_000));
        open_end.reached.p95 = None;
        assert_eq!(open_end.settled().unwrap().hit, Band::Late, "nothing comes after later than can be said");
    }

    #[test]
    fn a_lead_is_a_half_open_stretch_of_hours() {
        for (minutes, lead) in [
            (0, Some(Lead::To3h)),
            (179, Some(Lead::To3h)),
            (180, Some(Lead::To6h)),
            (720, Some(Lead::To24h)),
            (1440, None),
        ] {
            assert_eq!(Lead::of(SignedDuration::from_mins(minutes)), lead, "{minutes} min");
        }
        assert!(Lead::ALL.into_iter().all(|lead| Lead::parse(lead.name()) == Some(lead)));
    }

    #[test]
    fn skill_counts_what_is_settled_and_nothing_else() {
        let skill = Skill::of(&[said(Some(250)), said(Some(205)), said(Some(400)), said(None)]);
        let (_, of_lead) = skill.leads().find(|(lead, _)| *lead == Lead::To6h).unwrap();
        assert_eq!(
            (of_lead.inner, of_lead.outer),
            (Coverage { held: 1, of: 3 }, Coverage { held: 2, of: 3 })
        );
        // Twice the mean pinball loss, by hand: 250 min gives (3.5 + 10 + 5 + 5 + 2.5) · 2/5 = 10.4 min,
        // 205 min gives (1.25 + 3.75 + 17.5 + 16.25 + 4.75) · 2/5 = 17.4 min,
        // 400 min gives (11 + 47.5 + 80 + 97.5 + 95) · 2/5 = 132.4 min.
        let crps = of_lead.crps().unwrap().as_secs_f64() / 60.0;
        assert!((crps - (10.4 + 17.4 + 132.4) / 3.0).abs() < 1e-6, "{crps} min");
        let (_, untouched) = skill.leads().next().unwrap();
        assert_eq!((untouched.crps(), untouched.outer.share()), (None, None));
    }
}
