//! What the data say has happened to a drum, in a sentence: what shows it, what it means, and what to check or do.
//!
//! A stopped pump, a split tube and a swapped drum are told apart by several sensors together; they have notices
//! of their own ([`crate::notice`]).

use claymark_model::fieldlog::LogEntry;
use claymark_model::happening::{Happening, What};
use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_model::units::{Litres, LitresPerHour};
use jiff::{SignedDuration, Timestamp};

use crate::format::{self, Clock};
use crate::{doubt, names};

/// One happening in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HappeningWords {
    /// What happened, by what it shows, and what it means.
    pub what: String,
    /// What to check or do, where something is to be done.
    pub to_do: Option<String>,
}

/// "17:05: Drum A was refilled: …", with what to do, as seen from `now` with what the log says by then.
#[must_use]
pub fn line(site: &Site, now: Timestamp, happening: &Happening, log: &[LogEntry]) -> String {
    let HappeningWords { what, to_do } = told(site, happening, log);
    let to_do = to_do.map(|to_do| format!(" {to_do}")).unwrap_or_default();
    format!("{}: {what}{to_do}", Clock::new(site, now).time(happening.at))
}

/// The sentences; when it happened is left to whoever lists it.
#[must_use]
pub fn told(site: &Site, happening: &Happening, log: &[LogEntry]) -> HappeningWords {
    let drum = &HappenedTo::of(site, &happening.drum);
    let written = happening.is_written(site, log);
    match &happening.what {
        What::Refilled { added, to, logged: _ } => drum.refilled(*added, *to, written),
        What::DrawChanged { from, to } => drum.draw_changed(*from, *to, written),
        What::TakenOut { taken, to } => drum.taken_out(*taken, *to),
        What::SensorShifted { by } => drum.sensor_shifted(*by),
        What::Clogging { from, to } => drum.clogging(*from, *to),
        What::Leaking { draw } => drum.leaking(*draw),
        What::Draws { draw } => drum.draws(*draw, written),
        What::Rests { volume } => drum.rests(*volume),
        What::StandsStill { volume, rpm, minutes, frozen } => {
            drum.stands_still(*volume, *rpm, *minutes, *frozen)
        }
        What::RanEmpty => drum.ran_empty(),
        What::LevelDoubted { why } => drum.level_doubted(&doubt::doubted(why)),
        What::LevelBelieved => drum.level_believed(),
    }
}

/// To which drum it happened, and what things are called there.
struct HappenedTo<'a> {
    site: &'a Site,
    id: &'a Id,
    drum: String,
    pump: String,
    pump_id: String,
}

impl<'a> HappenedTo<'a> {
    fn of(site: &'a Site, id: &'a Id) -> Self {
        let pump = site.drum(id).map(|drum| &drum.pump);
        Self {
            site,
            id,
            drum: names::drum(site, id),
            pump: pump.map_or_else(|| "its pump".to_owned(), |pump| names::pump(site, pump)),
            pump_id: pump.map_or_else(|| "ID".to_owned(), ToString::to_string),
        }
    }

    fn refilled(&self, added: Litres, to: Litres, written: bool) -> HappeningWords {
        let full = self.site.drum(self.id).is_none_or(|drum| to.0 >= FULL_SHARE * drum.full.0);
        let done = if full { "was refilled" } else { "was topped up, not to its full mark" };
        let rose = format!(
            "{} {done}: the level rose by {} to {} within minutes, what was drawn meanwhile included",
            self.drum,
            self.volume(added),
            self.volume(to)
        );
        if written {
            return HappeningWords { what: format!("{rose}; somebody wrote it down."), to_do: None };
        }
        HappeningWords {
            what: format!("{rose}, and nobody wrote it down, so its clay isn't known."),
            to_do: Some(format!(
                "Ask who filled it and write it down: claymark log refill --drum {} --water … --clay …",
                self.id
            )),
        }
    }

    fn draw_changed(&self, from: LitresPerHour, to: LitresPerHour, written: bool) -> HappeningWords {
        let (than, by) = if to.0 > from.0 {
            ("faster", "a faster pump, an opened valve or a split tube")
        } else {
            ("more slowly", "a slower pump, a closed valve or a line that begins to plug")
        };
        let falls = format!(
            "{} empties {than}: its level falls by {} instead of {}, from one minute to the next",
            self.drum,
            self.draw(to),
            self.draw(from)
        );
        if written {
            return HappeningWords {
                what: format!("{falls}; somebody wrote down about then what was done to {}.", self.pump),
                to_do: Some(format!("See that the dial of {} stands as it was written down.", self.pump)),
            };
        }
        HappeningWords {
            what: format!("{falls}, and nobody wrote a change down: {by}."),
            to_do: Some(format!(
                "Look at the dial of {}, its tube and the valves, and write the setting down: claymark log \
                 pump_setting --pump {} --rpm …",
                self.pump, self.pump_id
            )),
        }
    }

    fn taken_out(&self, taken: Litres, to: Litres) -> HappeningWords {
        HappeningWords {
            what: format!(
                "{} lost {} at once: its level fell to {} faster than {} can draw: slurry was taken out or runs \
                 out, or the sensor was moved.",
                self.drum,
                self.volume(taken),
                self.volume(to),
                self.pump
            ),
            to_do: Some(format!("Look for slurry on the floor; {}", self.dip())),
        }
    }

    fn sensor_shifted(&self, by: Litres) -> HappeningWords {
        let way = if by.0 < 0.0 { "less" } else { "more" };
        HappeningWords {
            what: format!(
                "{}'s level reads {} {way} since its sensor was wiped: what it holds hasn't changed, the reading has.",
                self.drum,
                self.volume(Litres(by.0.abs()))
            ),
            to_do: Some(format!("See that the sensor sits where it sat; {}", self.dip())),
        }
    }

    fn clogging(&self, from: LitresPerHour, to: LitresPerHour) -> HappeningWords {
        let less = 1.0 - to.0 / from.0;
        HappeningWords {
            what: format!(
                "{} has been drawn less and less since then with {} left as it was: {} where it was {}, {} less: a \
                 line that plugs by and by, or a worn tube. The drum lasts longer, but the tanks get less clay.",
                self.drum,
                self.pump,
                self.draw(to),
                self.draw(from),
                format::share(less)
            ),
            to_do: Some(format!(
                "Look at strainer, line and tube, and catch the outflow with cylinder and watch; then claymark log \
                 clog_cleared (or tube_change) --pump {}",
                self.pump_id
            )),
        }
    }

    fn leaking(&self, draw: LitresPerHour) -> HappeningWords {
        HappeningWords {
            what: format!(
                "{}'s level falls by {} although nothing should draw from it, as was written down: a leak, a siphon, \
                 a valve left open, or it is drawn after all.",
                self.drum,
                self.draw(draw)
            ),
            to_do: Some(format!(
                "Look for slurry on the floor and at its valve; if it is drawn on purpose, claymark log in_use \
                 --pump {} --drum {}",
                self.pump_id, self.id
            )),
        }
    }

    fn draws(&self, draw: LitresPerHour, written: bool) -> HappeningWords {
        let falls =
            format!("{} is drawn again: its level, which stood, falls by {}", self.drum, self.draw(draw));
        if written {
            return HappeningWords { what: format!("{falls}; somebody wrote it down."), to_do: None };
        }
        HappeningWords {
            what: format!("{falls}. Nobody wrote that down."),
            to_do: Some(format!(
                "Write it down if it is meant: claymark log in_use --pump {} --drum {}",
                self.pump_id, self.id
            )),
        }
    }

    fn rests(&self, volume: Litres) -> HappeningWords {
        HappeningWords {
            what: format!(
                "{} isn't drawn any more: its level stays at {}, and that needn't be a fault: its pump is off or \
                 draws from elsewhere.",
                self.drum,
                self.volume(volume)
            ),
            to_do: Some(format!(
                "If it should be drawn, look at {} and the valves; if not, write down what is: claymark log in_use",
                self.pump
            )),
        }
    }

    fn stands_still(&self, volume: Litres, rpm: Option<f64>, minutes: f64, frozen: bool) -> HappeningWords {
        let set = rpm.filter(|rpm| *rpm > 0.0).map_or_else(
            || format!("while {} should draw from it", self.pump),
            |rpm| format!("while {} is set to {} rpm", self.pump, format::number(rpm, 0)),
        );
        let lasted = format::duration(SignedDuration::try_from_secs_f64(60.0 * minutes).unwrap_or_default());
        let at = self.volume(volume);
        if frozen {
            return HappeningWords {
                what: format!(
                    "{}'s level has read {at}, the same to the last digit, for {lasted} {set}: a dead sensor rather than a \
                     stopped pump. It isn't believed; the forecast goes on by pump and time.",
                    self.drum
                ),
                to_do: Some(format!("Look at the sensor and its cable; {}", self.dip())),
            };
        }
        HappeningWords {
            what: format!(
                "{}'s level has not moved for {lasted} {set}; it stands at {at}: either the pump has stopped or the \
                 sensor is stuck.",
                self.drum
            ),
            to_do: Some(format!(
                "See whether {} turns and slurry reaches the head tank; if so, wipe the sensor and {}",
                self.pump,
                self.dip()
            )),
        }
    }

    fn ran_empty(&self) -> HappeningWords {
        let heel = self.site.drum(self.id).map(|drum| format!("the {} that", self.volume(drum.heel)));
        HappeningWords {
            what: format!(
                "{} ran empty: its level came down to {} the pump can't lift. The head tank gets no slurry from it, \
                 and the tanks clear.",
                self.drum,
                heel.as_deref().unwrap_or("what")
            ),
            to_do: Some(format!(
                "Fill it or draw from another drum; claymark mix --drum {} says what to add.",
                self.id
            )),
        }
    }

    fn level_doubted(&self, why: &str) -> HappeningWords {
        HappeningWords {
            what: format!(
                "{}'s level isn't believed from then on: {why}. Its forecast goes by pump and time, and is less sure, \
                 or says that nothing is known.",
                self.drum
            ),
            to_do: Some(format!("Look at the sensor: foam, dirt, cable, network; {}", self.dip())),
        }
    }

    fn level_believed(&self) -> HappeningWords {
        HappeningWords {
            what: format!("{}'s level is believed again, and its forecast goes by it.", self.drum),
            to_do: None,
        }
    }

    fn dip(&self) -> String {
        format!("read the drum by eye: claymark log dip --drum {} --volume …", self.id)
    }

    fn volume(&self, litres: Litres) -> String {
        format::volume(&self.site.units, litres)
    }

    fn draw(&self, draw: LitresPerHour) -> String {
        format::draw(&self.site.units, draw)
    }
}

/// Filled to within a hand's breadth of its full mark, a drum was refilled, below that topped up (common practice, no
/// source).
const FULL_SHARE: f64 = 0.9;

#[cfg(test)]
mod tests {
    use claymark_model::doubt::WhyDoubted;
    use claymark_model::fieldlog::Deed;
    use claymark_model::units::{PeopleUnits, Unit};

    use super::*;
    use crate::notice::tests::room;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn happening(drum: &str, what: What) -> Happening {
        Happening { drum: Id::new(drum).unwrap(), at: at("2027-04-20T15:10:00Z"), what }
    }

    fn all() -> Vec<What> {
        let (litres, per_hour) = (Litres, LitresPerHour);
        let still = |rpm, minutes, frozen| What::StandsStill { volume: litres(78.0), rpm, minutes, frozen };
        vec![
            What::Refilled { added: litres(110.4), to: litres(171.2), logged: true },
            What::Refilled { added: litres(110.4), to: litres(171.2), logged: false },
            What::Refilled { added: litres(41.0), to: litres(90.0), logged: false },
            What::DrawChanged { from: per_hour(12.5), to: per_hour(18.0) },
            What::DrawChanged { from: per_hour(12.5), to: per_hour(8.1) },
            What::TakenOut { taken: litres(38.0), to: litres(61.0) },
            What::SensorShifted { by: litres(-4.2) },
            What::Clogging { from: per_hour(12.5), to: per_hour(9.0) },
            What::Leaking { draw: per_hour(3.4) },
            What::Draws { draw: per_hour(9.4) },
            What::Rests { volume: litres(120.0) },
            still(Some(35.0), 40.0, false),
            still(None, 95.0, false),
            still(Some(35.0), 10.0, true),
            What::RanEmpty,
            What::LevelDoubted { why: WhyDoubted::JumpsAbout.into() },
            What::LevelBelieved,
        ]
    }

    fn lines(site: &Site) -> String {
        let now = at("2027-04-20T18:00:00Z");
        let lines = all().into_iter().map(|what| line(site, now, &happening("a", what), &[]));
        lines.collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn everything_that_can_happen_is_told_with_its_evidence_and_what_to_do() {
        insta::assert_snapshot!(lines(&room::site()));
    }

    #[test]
    fn a_happening_is_told_in_the_units_of_the_site() {
        let mut site = room::site();
        site.units = PeopleUnits { volume: Unit::UsGallon, ..site.units };
        let told = lines(&site);
        assert!(told.contains("rose by 29.2 US gal to 45.2 US gal"), "{told}");
        assert!(!told.split_whitespace().any(|word| word.starts_with("L/h") || word == "L"), "{told}");
    }

    #[test]
    fn a_drum_that_left_the_site_file_is_told_by_its_id() {
        let told = line(&room::site(), at("2027-04-24T18:00:00Z"), &happening("old", What::RanEmpty), &[]);
        assert!(
            told.starts_with("Tue 18:10: old ran empty: its level came down to what the pump can't lift."),
            "{told}"
        );
    }

    #[test]
    fn what_was_written_down_later_or_with_the_same_setting_is_not_said_to_be_unwritten() {
        let changed =
            happening("a", What::DrawChanged { from: LitresPerHour(12.5), to: LitresPerHour(18.0) });
        let entry = |minutes: i64, pump: &str| LogEntry {
            key: "k".to_owned(),
            at: changed.at + SignedDuration::from_mins(minutes),
            received_at: changed.at + SignedDuration::from_mins(300),
            by: None,
            replaces: None,
            deed: Deed::PumpSetting { pump: Some(Id::new(pump).unwrap()), rpm: Some(100.0) },
        };
        let site = room::site();
        let pump = site.drum(&changed.drum).unwrap().pump.clone();
        let told = |entry| told(&site, &changed, &[entry]).what;
        let late = told(entry(-4, pump.as_str()));
        assert!(late.contains("somebody wrote down") && !late.contains("nobody"), "{late}");
        for other in [entry(90, pump.as_str()), entry(-4, "another")] {
            assert!(told(other).contains("nobody wrote a change down"));
        }
    }
}
