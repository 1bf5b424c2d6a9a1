//! Refills and changes: which were found, and how soon the forecast was back on its track.

use claymark_model::happening::{Happening, What};

use crate::season::start;
use crate::season::truth::{Done, TrueDeed, TrueDrum};

/// Something that the watch found, and the minute in which it said so.
pub struct WatchFinding {
    /// Place of the drum.
    pub drum: usize,
    /// Minute of the season in which it was said.
    pub said: u32,
    /// What.
    pub happening: Happening,
}

/// What became of the deeds of a season.
#[derive(Debug, Default, Clone)]
pub struct DeedsFound {
    /// Refills that were found: litres found less litres poured.
    pub refills: Vec<f64>,
    /// Refills that weren't.
    pub refills_missed: u32,
    /// Refills that were found and weren't there.
    pub refills_false: u32,
    /// Unlogged changes that were found, and after how many minutes it was said.
    pub changes: Vec<f64>,
    /// Unlogged changes that weren't, within four hours.
    pub changes_missed: u32,
    /// All changes that were said.
    pub changes_said: u32,
    /// Where and when refills were missed or invented, for people.
    pub remarks: Vec<String>,
}

/// How long after a deed the forecast was off.
#[derive(Debug, Clone, Copy)]
pub struct Recovery {
    /// A refill, or else a change of the draw.
    pub refill: bool,
    /// Somebody wrote it down in time.
    pub logged: bool,
    /// Minutes until it was right again; `None`: not within [`WATCHED`].
    pub minutes: Option<u32>,
}

impl DeedsFound {
    /// Compares what was said with what was done.
    #[must_use]
    pub fn of(drums: &[TrueDrum], findings: &[WatchFinding]) -> Self {
        let mut found = Self::default();
        for (place, drum) in drums.iter().enumerate() {
            let ours: Vec<&WatchFinding> = findings.iter().filter(|finding| finding.drum == place).collect();
            found.refills(drum, &ours);
            found.changes(drum, &ours);
        }
        found
    }

    fn refills(&mut self, drum: &TrueDrum, findings: &[&WatchFinding]) {
        let mut seen: Vec<(u32, f64)> = findings
            .iter()
            .filter_map(|finding| Some((minute_of(&finding.happening), finding.happening.what.added()?.0)))
            .collect();
        for deed in &drum.deeds {
            let Done::Poured(litres) = deed.what else { continue };
            let near = |(at, _): &(u32, f64)| *at + APART >= deed.from && *at <= deed.to + APART;
            match seen.iter().position(near) {
                Some(which) => self.refills.push(seen.remove(which).1 - litres),
                None => {
                    self.refills_missed += 1;
                    self.remarks.push(format!(
                        "refill of {litres:.0} L at {} missed (drum {}, logged {})",
                        clock(deed.from),
                        drum.id,
                        deed.logged
                    ));
                }
            }
        }
        for (at, litres) in seen {
            self.refills_false += 1;
            self.remarks.push(format!("no refill of {litres:.0} L at {} (drum {})", clock(at), drum.id));
        }
    }

    fn changes(&mut self, drum: &TrueDrum, findings: &[&WatchFinding]) {
        let said: Vec<u32> = findings
            .iter()
            .filter(|finding| matches!(finding.happening.what, What::DrawChanged { .. }))
            .map(|finding| finding.said)
            .collect();
        self.changes_said += u32::try_from(said.len()).unwrap_or(u32::MAX);
        for deed in drum.deeds.iter().filter(|deed| !deed.logged && undisturbed(drum, deed, SOON_ENOUGH)) {
            let Done::Changed(_) = deed.what else { continue };
            match said.iter().find(|said| (deed.to..deed.to + SOON_ENOUGH).contains(*said)) {
                Some(said) => self.changes.push(f64::from(said - deed.to)),
                None => self.changes_missed += 1,
            }
        }
    }

    /// Adds another season's.
    pub fn add(&mut self, other: &Self) {
        self.refills.extend(&other.refills);
        self.changes.extend(&other.changes);
        self.refills_missed += other.refills_missed;
        self.refills_false += other.refills_false;
        self.changes_missed += other.changes_missed;
        self.changes_said += other.changes_said;
    }
}

/// Nothing else is done to the drum for so many minutes after the deed, and it is drawn.
#[must_use]
pub fn undisturbed(drum: &TrueDrum, deed: &TrueDeed, minutes: u32) -> bool {
    let alone = drum
        .deeds
        .iter()
        .all(|other| other.from <= deed.from && other.to <= deed.to || other.from > deed.to + minutes);
    alone && [5, minutes / 2, minutes].iter().all(|later| drum.moment(deed.to + later).drawn)
}

fn minute_of(happening: &Happening) -> u32 {
    u32::try_from(happening.at.duration_since(start()).as_secs() / 60).unwrap_or(0)
}

/// Day and time of a minute.
#[must_use]
pub fn clock(minute: u32) -> String {
    let of_day = minute % (24 * 60);
    format!("day {} {:02}:{:02}", minute / (24 * 60), of_day / 60, of_day % 60)
}

/// Minutes after a deed in which every minute's forecast is looked at.
pub const WATCHED: u32 = 90;
/// Minutes by which the time of a refill may be wrong.
const APART: u32 = 45;
/// Minutes.
const SOON_ENOUGH: u32 = 240;
