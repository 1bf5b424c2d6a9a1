//! A failure that the signs together betray: what happened, since about when, by which signs, what to do, what not.

mod air;
mod blower;
mod clearing;
mod drum_air;
mod fresh_water_low;
mod mixture;
mod no_slurry;
mod out_of_limits;
mod probe;
mod pump;
mod pump_changed;
mod signs;
mod water;
mod water_only;
mod wrong_weighing;

use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_notice::failure::{ComesOf, Failure, Fault, StandingFailure};

use crate::names::{self, list};
use crate::notice::{Teller, Text, Wording};
use crate::typed;

/// What one failure says: its first line, what it means, what to do and what not.
struct Words {
    subject: String,
    meaning: Vec<String>,
    to_do: Vec<String>,
}

pub(super) fn wording(teller: Teller<'_>, failure: &Failure) -> Wording {
    let words = words(teller, failure);
    let mut text = Text::default();
    let (mut meaning, mut to_do) = (words.meaning.into_iter(), words.to_do.into_iter());
    // What, and what to do: the first lines are enough to go by.
    text.lines(meaning.next()).lines(to_do.next()).gap();
    text.lines(meaning).lines(to_do).gap();
    text.lines(teller.signs(failure));
    text.lines(teller.comes_of(failure));
    text.line(match &failure.near {
        Some(entry) => teller.nearest(entry),
        None => "Nothing was written down within three hours of it.".to_owned(),
    });
    text.gap();
    text.lines(failure.visit.map(|visit| format!("Next visit {}.", teller.clock.time(visit.at))));
    text.line("Claymark advises and switches nothing; it is no life-support control.");
    text.wording(words.subject)
}

/// "Fresh water low (notice 7)".
fn origin(origin: &ComesOf) -> String {
    let told = origin.told.as_ref().map_or("a drum that had run dry", name);
    format!("{told} (notice {})", origin.notice)
}

/// Its first line and its signs, for whoever asks.
pub(super) fn lines(teller: Teller<'_>, failure: &Failure) -> Vec<String> {
    let first = format!("NOW: {}", words(teller, failure).subject);
    std::iter::once(first).chain(teller.signs(failure)).collect()
}

/// How a yield that changed goes on, when it is no news any more; `None`: it is another fault.
pub(super) fn goes_on(teller: Teller<'_>, fault: &Fault) -> Option<(String, String)> {
    let Fault::YieldChanged { from, to, .. } = fault else { return None };
    let now = crate::format::number(to.ntu_per_mg_l, 2);
    Some((
        format!("The new yield of the clay is counted with: {now} NTU for each mg/L."),
        mixture::counted_with(teller, from, to),
    ))
}

/// "Fresh water low", for the word that it is over.
pub(super) fn name(fault: &Fault) -> &'static str {
    match fault {
        Fault::PumpChanged(_) => "Changed draw",
        Fault::Blower { .. } => "Blower",
        Fault::FreshWaterLow { .. } => "Fresh water low",
        Fault::TooMuchWater { .. } => "Too much fresh water",
        Fault::PumpStopped { .. } => "Pump stopped",
        Fault::LinePlugged { .. } => "Slurry line plugged",
        Fault::TubeSplit { .. } => "Tube split",
        Fault::TubeWear { .. } => "Tube wear",
        Fault::DrumAir { .. } => "Drum air off",
        Fault::WaterOnly(_) => "Water without clay",
        Fault::WrongWeighing { .. } => "Wrong weighing",
        Fault::Lumps => "Lumps",
        Fault::Clearing { .. } => "Water clears",
        Fault::YieldChanged { .. } => "Clay clouds otherwise",
        Fault::ProbeFouled { .. } => "Probe fouled",
        Fault::ProbeOut { .. } => "Probe out of the water",
        Fault::Bubbles { .. } => "Bubbles on a probe",
        Fault::HeaterOff { .. } => "Heater off",
        Fault::HeaterOn { .. } => "Heater stays on",
        Fault::OutOfLimits { .. } => "Water outside its limits",
        Fault::OxygenFalls { .. } => "Oxygen",
        Fault::PowerCut => "Power cut",
        Fault::DrumSwapped { .. } => "Pump on another drum",
    }
}

fn words(teller: Teller<'_>, failure: &Failure) -> Words {
    match &failure.fault {
        Fault::PumpChanged(changed) => pump_changed::words(teller, failure, changed),
        Fault::Blower { oxygen, limit_at } => blower::words(teller, failure, *oxygen, *limit_at),
        Fault::FreshWaterLow { share } => fresh_water_low::words(teller, failure, *share),
        Fault::TooMuchWater { share, overflows } => water::too_much(teller, failure, *share, *overflows),
        Fault::PumpStopped { pump, certain } => no_slurry::stopped(teller, failure, pump, *certain),
        Fault::LinePlugged { pump } => no_slurry::plugged(teller, failure, pump),
        Fault::TubeSplit { pump, lost } => no_slurry::split(teller, failure, pump, *lost),
        Fault::TubeWear { pump, per_day } => pump::wear(teller, failure, pump, *per_day),
        Fault::DrumAir { left, book } => drum_air::words(teller, failure, *left, *book),
        Fault::WaterOnly(poured) => water_only::words(teller, failure, poured),
        Fault::WrongWeighing { factor, booked } => wrong_weighing::words(teller, failure, *factor, *booked),
        Fault::Lumps => mixture::lumps(teller, failure),
        Fault::YieldChanged { from, to, lot } => mixture::yields(teller, failure, (from, to), lot.as_deref()),
        Fault::ProbeFouled { sensor, by } => probe::fouled(teller, failure, sensor, *by),
        Fault::ProbeOut { sensor } => probe::out(teller, failure, sensor),
        Fault::Bubbles { sensor } => probe::bubbles(teller, failure, sensor),
        Fault::HeaterOff { temperature, limit_at, steady } => {
            water::heater(teller, failure, *temperature, (*limit_at, *steady))
        }
        Fault::HeaterOn { temperature, limit_at, steady } => {
            water::heats_on(teller, failure, *temperature, (*limit_at, *steady))
        }
        Fault::OutOfLimits { place, of, is, least, most, all_along: Some(since) } => {
            out_of_limits::all_along(teller, (place, *of, [*is, *least, *most]), *since)
        }
        Fault::OutOfLimits { place, of, is, least, most, all_along: None } => {
            out_of_limits::words(teller, (place, *of, [*is, *least, *most]), failure)
        }
        Fault::OxygenFalls { place, oxygen, limit_at } => {
            air::oxygen(teller, failure, place, (*oxygen, *limit_at))
        }
        Fault::Clearing { place, is, least, limit_at, danger_at } => {
            clearing::words(teller, (place, *is, *least), (*limit_at, *danger_at))
        }
        Fault::PowerCut => air::power(teller, failure),
        Fault::DrumSwapped { pump, from, to } => pump::swapped(teller, failure, pump, (from, to)),
    }
}

impl Teller<'_> {
    /// "Not over: Oxygen, since about 21:05 (notice 7). Oxygen in Tank 1: 5.1 mg/L, below 6.0. Go now."
    pub(super) fn not_over(&self, standing: &StandingFailure) -> String {
        let failure = &standing.failure;
        let (danger, is) = (if standing.danger { "DANGER. " } else { "" }, self.failed(failure));
        format!(
            "{danger}Not over: {}, since about {} (notice {}). {is}",
            name(&failure.fault),
            self.clock.about(failure.since),
            standing.notice
        )
    }

    /// What it likely comes of.
    fn comes_of(&self, failure: &Failure) -> Option<String> {
        let told: Vec<String> = if failure.origins.is_empty() {
            failure.comes_of.iter().map(|notice| format!("what notice {notice} told")).collect()
        } else {
            failure.origins.iter().map(origin).collect()
        };
        (!told.is_empty()).then(|| format!("It likely comes of: {}.", list(&told)))
    }

    /// Its first line.
    pub(super) fn failed(&self, failure: &Failure) -> String {
        words(*self, failure).subject
    }

    fn signs(&self, failure: &Failure) -> impl Iterator<Item = String> {
        let since = format!("Since about {}. The signs:", self.clock.about(failure.since));
        let signs = failure.signs.iter().map(|sign| format!("- {}", self.sign(sign)));
        std::iter::once(since).chain(signs)
    }

    fn nearest(&self, entry: &LogEntry) -> String {
        let by = entry.by.as_ref().map(|by| format!(" by {}", typed::line(by))).unwrap_or_default();
        format!("Nearest in the log: {} at {}{by}.", self.deed(&entry.deed), self.clock.time(entry.at))
    }

    fn deed(&self, deed: &Deed) -> String {
        let drum = |drum: &Option<_>| {
            drum.as_ref().map(|drum| format!(" of {}", names::drum(self.site, drum))).unwrap_or_default()
        };
        match deed {
            Deed::Refill { drum: of, .. } => format!("refill{}", drum(of)),
            Deed::PumpSetting { rpm: Some(rpm), .. } => {
                format!("pump set to {} rpm", crate::format::number(*rpm, 0))
            }
            Deed::PumpSetting { rpm: None, .. } => "pump set".to_owned(),
            Deed::InUse { drum: of, .. } => format!("pump put on a drum{}", drum(of)),
            Deed::FlowCheck { .. } => "flow check".to_owned(),
            Deed::GrabSample { .. } => "grab sample".to_owned(),
            Deed::Cleaning { place, .. } => {
                let place = place.as_ref().map(|place| format!(" of {}", names::place(self.site, place)));
                format!("cleaning{}", place.unwrap_or_default())
            }
            Deed::Dip { drum: of, .. } => format!("level read by eye{}", drum(of)),
            Deed::Wipe { .. } => "sensor wiped".to_owned(),
            Deed::TubeChange { .. } => "new pump tube".to_owned(),
            Deed::ClogCleared { .. } => "clog cleared".to_owned(),
            Deed::Delivery { .. } => "clay delivered".to_owned(),
            Deed::Fish { .. } => "fish".to_owned(),
            Deed::Tonight { .. } => "the night given to somebody".to_owned(),
            Deed::Shelve { .. } => "a notice shelved".to_owned(),
            Deed::Note { .. } => "a note".to_owned(),
        }
    }
}
