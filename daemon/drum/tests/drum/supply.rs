//! Drums on one pump: their supply as a whole, their shares of it, and what its settings say.

use claymark_drum::{DrumWatch, supply_forecast};
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::{EmptyAt, Forecast, Outlook};
use claymark_model::quality::Flag;
use claymark_model::site::{Draws, Site};
use jiff::Timestamp;

use crate::physics::{HEEL, PumpedDrum, reading};
use crate::rig::{id, site, start};

/// Two drums on one pump, which is `draws`.
struct TwoDrums {
    site: Site,
    barrels: [PumpedDrum; 2],
    watches: [DrumWatch; 2],
}

impl TwoDrums {
    /// With that many litres in them, each drawn at that many L/h.
    fn new(draws: Draws, litres: [f64; 2], draw: [f64; 2]) -> Self {
        let mut site = site(&["a", "b"]);
        site.pumps.iter_mut().for_each(|pump| pump.draws = draws);
        let watches = ["a", "b"].map(|drum| DrumWatch::new(&site, &id(drum)).unwrap());
        let mut seed = 6;
        let mut barrels = litres.map(|litres| {
            seed += 1;
            PumpedDrum::new(seed, start(), litres)
        });
        for (barrel, draw) in barrels.iter_mut().zip(draw) {
            barrel.pump = draw;
        }
        Self { site, barrels, watches }
    }

    fn now(&self) -> Timestamp {
        self.barrels[0].now
    }

    fn run(&mut self, hours: f64) {
        let end = self.now() + crate::rig::hours(hours);
        while self.now() < end {
            let drums = self.barrels.iter_mut().zip(&mut self.watches);
            for ((barrel, watch), sensor) in drums.zip(["level-a", "level-b"]) {
                let value = barrel.step();
                watch.reading(barrel.now, &reading(sensor, barrel.now, barrel.now, value, Flag::Pass));
            }
        }
        let now = self.now();
        self.watches.iter_mut().for_each(|watch| watch.advance(now));
    }

    fn log(&mut self, deed: &Deed) {
        let now = self.now();
        let entry = LogEntry {
            key: now.to_string(),
            at: now,
            received_at: now,
            by: None,
            replaces: None,
            deed: deed.clone(),
        };
        self.watches.iter_mut().for_each(|watch| watch.log(now, &entry));
    }

    fn supply(&self) -> (f64, f64, EmptyAt) {
        let pump = self.site.pump(&id("p1")).unwrap();
        known(&supply_forecast(self.now(), pump, &self.watches.each_ref()))
    }

    /// Of each drum.
    fn own(&self) -> [(f64, f64, EmptyAt); 2] {
        self.watches.each_ref().map(|watch| known(&watch.forecast(self.now())))
    }

    fn hours_to(&self, at: Option<Timestamp>) -> f64 {
        at.map_or(f64::INFINITY, |at| at.duration_since(self.now()).as_secs_f64() / 3600.0)
    }
}

fn known(forecast: &Forecast) -> (f64, f64, EmptyAt) {
    let Outlook::Known { volume, draw, empty_at, .. } = &forecast.outlook else { panic!("{forecast:?}") };
    (volume.0, draw.0, *empty_at)
}

#[test]
fn a_common_suction_line_ends_with_its_first_dry_drum_and_draws_from_all() {
    // The fuller drum gives more of the flow, but not so much more that it is empty first.
    let mut pair = TwoDrums::new(Draws::Together, [160.0, 90.0], [6.0, 4.5]);
    pair.run(6.0);
    let (volume, draw, ends) = pair.supply();
    let [a, b] = pair.own();
    let [left_a, left_b] = pair.barrels.each_ref().map(PumpedDrum::hours_left);
    assert!(left_b + 5.0 < left_a, "{left_b} h, {left_a} h");
    assert_eq!(ends, b.2, "it ends when drum b does");
    let likely = pair.hours_to(ends.p50);
    assert!((likely - left_b).abs() < 0.1 * left_b, "{likely} h, truly {left_b} h");
    assert!((volume - a.0 - b.0).abs() < 1e-9 && (draw - a.1 - b.1).abs() < 1e-9, "{volume} L, {draw} L/h");
    let truly: f64 = pair.barrels.iter().map(PumpedDrum::draw).sum();
    assert!((draw - truly).abs() < 0.08 * truly, "{draw} L/h, truly {truly}");
    // The same two drums, drawn one after the other, last as long as both.
    pair.site.pumps[0].draws = Draws::One;
    let one_by_one = pair.hours_to(pair.supply().2.p50);
    assert!((one_by_one - left_a - left_b).abs() < 1.0, "{one_by_one} h, truly {left_a} + {left_b}");
}

#[test]
fn drums_that_level_out_are_empty_together_and_so_is_their_supply() {
    let mut pair = TwoDrums::new(Draws::Together, [120.0, 120.0], [5.0, 5.0]);
    pair.run(6.0);
    let (_, draw, ends) = pair.supply();
    let (likely, truth) = (pair.hours_to(ends.p50), pair.barrels[0].hours_left());
    assert!((likely - truth).abs() < 0.1 * truth, "{likely} h, truly {truth} h");
    assert!((draw - 10.0).abs() < 1.0, "{draw} L/h");
}

#[test]
fn while_one_drum_flows_into_the_other_their_supply_does_not_end_with_either() {
    for seed in 0..6 {
        let mut pair = TwoDrums::new(Draws::Together, [90.0, 90.0], [5.0, 5.0]);
        pair.site.pumps[0].levels_out = true;
        for (barrel, more) in pair.barrels.iter_mut().zip(0..) {
            *barrel = PumpedDrum::new(10 * seed + more, start(), 90.0);
            (barrel.pump, barrel.foam) = (5.0, 0.0);
        }
        pair.run(4.0);
        pair.barrels[0].volume += 80.0;
        for five_minutes in 1..=36 {
            // What flows is in proportion to how much higher the one stands.
            let flows = 0.9 * (pair.barrels[0].volume - pair.barrels[1].volume);
            (pair.barrels[0].pump, pair.barrels[1].pump) = (5.0 + flows, 5.0 - flows);
            pair.run(1.0 / 12.0);
            if five_minutes < 6 {
                continue;
            }
            let truth = pair.barrels.iter().map(|barrel| barrel.volume - HEEL).sum::<f64>() / 9.7;
            let (_, _, ends) = pair.supply();
            let (earliest, likely) = (pair.hours_to(ends.p05), pair.hours_to(ends.p50));
            let when = format!("seed {seed}, {} min after the refill", 5 * five_minutes);
            assert!(earliest > 0.45 * truth, "{when}: from {earliest} h on, truly {truth} h");
            assert!((likely / truth - 1.0).abs() < 0.35, "{when}: {likely} h, truly {truth} h");
        }
    }
}

#[test]
fn a_dry_drum_ends_the_supply_until_somebody_writes_down_that_its_valve_is_shut() {
    let mut pair = TwoDrums::new(Draws::Together, [170.0, 60.0], [5.0, 5.0]);
    while pair.barrels[1].volume > HEEL {
        pair.run(0.5);
    }
    pair.run(0.5);
    let now = pair.now();
    let (volume, _, ends) = pair.supply();
    assert!(volume > 100.0, "{volume} L are left, and the pump lifts air");
    assert!(ends.p50.is_some_and(|empty| empty <= now), "{ends:?}");
    pair.log(&Deed::InUse { pump: Some(id("p1")), drum: Some(id("a")) });
    let (_, draw, ends) = pair.supply();
    let [a, _] = pair.own();
    assert_eq!((draw, ends), (a.1, a.2));
    assert!(ends.p50.is_some_and(|empty| empty > now), "{ends:?}");
}

#[test]
fn of_what_a_pump_is_rated_each_of_two_drums_drawn_at_once_gives_half() {
    for (draws, share) in [(Draws::One, 1.0), (Draws::Together, 0.5)] {
        let mut pair = TwoDrums::new(draws, [160.0, 160.0], [6.0, 6.0]);
        pair.log(&Deed::PumpSetting { pump: Some(id("p1")), rpm: Some(60.0) });
        pair.run(2.0 / 60.0);
        let rated = pair.site.pump(&id("p1")).unwrap().rated(60.0).unwrap().0;
        for (_, draw, _) in pair.own() {
            assert!((draw / (share * rated) - 1.0).abs() < 0.1, "{draws:?}: {draw} of {rated} L/h");
        }
    }
}

#[test]
fn a_setting_counts_at_once_however_long_ago_the_one_before_was_written_down() {
    let setting = |rpm| Deed::PumpSetting { pump: Some(id("p1")), rpm: Some(rpm) };
    let mut pair = TwoDrums::new(Draws::One, [160.0, 160.0], [1.0, 1.0]);
    pair.log(&setting(60.0));
    // Entries are kept for three days.
    pair.run(80.0);
    let before = pair.own()[0].1;
    pair.log(&setting(30.0));
    let after = pair.own()[0].1;
    assert!((after / before - 0.5).abs() < 0.02, "{before} and then {after} L/h");
}
