//! One season's forecasts beside the truth, for inspection.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use claymark_drum::{DrumWatch, share_draws};
use claymark_model::forecast::{Basis, Outlook};
use claymark_tests::contest::case::SaidEnd;
use claymark_tests::contest::events::clock;
use claymark_tests::contest::play::{EVERY, HEARD_WITHIN};
use claymark_tests::season::rooms::RoomKind;
use claymark_tests::season::truth::TrueDrum;
use claymark_tests::season::{Season, SeasonNews};

use super::options::Options;

/// Writes it: a line for each drum and tenth minute.
pub fn write(options: &Options, room: RoomKind, seed: u64, file: &Path) {
    let season = options.simulator.season(room, seed, options.days);
    let mut traced: Vec<Traced> = season
        .drums
        .iter()
        .filter_map(|drum| {
            let watch = DrumWatch::new(&season.site, &drum.id)?;
            Some(Traced { drum, watch, raw: f64::NAN, what: String::new() })
        })
        .collect();
    let mut text = HEAD.to_owned();
    let mut heard = season.heard.iter().peekable();
    for minute in 0..season.minutes {
        let now = Season::at(minute) + HEARD_WITHIN;
        while let Some(heard) = heard.next_if(|heard| heard.at <= now) {
            traced.iter_mut().for_each(|traced| traced.hear(&season, heard.at, &heard.news));
        }
        traced.iter_mut().for_each(|traced| traced.note(minute));
        if minute % EVERY == 0 {
            traced.iter_mut().for_each(|traced| traced.watch.advance(now));
            share_draws(&mut traced.iter_mut().map(|traced| &mut traced.watch).collect::<Vec<_>>());
            traced.iter_mut().for_each(|traced| text.push_str(&traced.line(minute)));
        }
    }
    fs::write(file, text).unwrap_or_else(|error| println!("{}: {error}", file.display()));
}

struct Traced<'a> {
    drum: &'a TrueDrum,
    watch: DrumWatch,
    /// What the gauge read last, mm.
    raw: f64,
    /// What was written, found and done since the last line.
    what: String,
}

impl Traced<'_> {
    fn hear(&mut self, season: &Season, at: jiff::Timestamp, news: &SeasonNews) {
        match news {
            SeasonNews::Reading(assessed) => {
                self.watch.reading(at, assessed);
                let ours = season.site.level_sensor(&self.drum.id).map(|sensor| &sensor.id);
                if ours == Some(&assessed.reading.sensor) {
                    self.raw = assessed.reading.value;
                }
            }
            SeasonNews::Log(entry) => {
                self.watch.log(at, entry);
                self.add(format_args!("LOG at {}: {:?}; ", entry.at, entry.deed));
            }
        }
    }

    fn note(&mut self, minute: u32) {
        for happening in self.watch.take_happenings() {
            self.add(format_args!("FOUND at {}: {:?}; ", happening.at, happening.what));
        }
        for deed in self.drum.deeds.iter().filter(|deed| deed.to == minute) {
            self.add(format_args!("TRUE {:?}; ", deed.what));
        }
    }

    fn add(&mut self, what: std::fmt::Arguments<'_>) {
        self.what.write_fmt(what).expect("a string grows");
    }

    fn line(&mut self, minute: u32) -> String {
        let now = Season::at(minute) + HEARD_WITHIN;
        let (drum, moment) = (self.drum, *self.drum.moment(minute));
        let forecast = self.watch.forecast(now);
        let said = SaidEnd::from_forecast(&forecast, now);
        let hours = said.map_or(String::from(",,,,"), |said| said.hours.map(|h| format!("{h:.2}")).join(","));
        let (basis, litres, draw) = match &forecast.outlook {
            Outlook::Known { basis: Basis::Level, volume, draw, .. } => ("level", volume.0, draw.0),
            Outlook::Known { basis: Basis::Pump, volume, draw, .. } => ("pump", volume.0, draw.0),
            Outlook::Unknown { why } => {
                self.add(format_args!("WHY {}; ", why.kept()));
                ("none", f64::NAN, f64::NAN)
            }
        };
        let truth = drum.empty_in(minute).map_or(String::new(), |hours| format!("{hours:.2}"));
        let (drawn, pouring) = (u8::from(moment.drawn), u8::from(moment.pouring));
        let what = std::mem::take(&mut self.what).replace('"', "'");
        format!(
            "{minute},{},{},{drawn},{pouring},{},{:.2},{litres:.2},{:.3},{draw:.3},{truth},{hours},{basis},{:.0},\"{what}\"\n",
            clock(minute),
            drum.id,
            moment.fill,
            moment.volume,
            drum.outflow(minute),
            self.raw
        )
    }
}

const HEAD: &str = "minute,clock,drum,drawn,pouring,fill,true_l,said_l,true_draw,said_draw,true_h,p05_h,p25_h,p50_h,p75_h,p95_h,basis,raw_mm,what\n";
