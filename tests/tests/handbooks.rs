//! Worked examples of handbooks for operators of waterworks and hatcheries: a sum with its result, as it is printed there.

use claymark_clay::feed::HeadFeed;
use claymark_clay::oxygen::demand::{Demand, taken_up};
use claymark_clay::{Clouding, Yield};
use claymark_model::units::{
    GramsPerLitre, GramsPerMinute, Kilograms, Litres, LitresPerMinute, MilligramsPerLitre, Turbidity, Unit,
};

/// Whether `ours` is `printed` as far as its figures go.
fn near(ours: f64, printed: f64, by: f64) {
    assert!((ours - printed).abs() <= by, "{ours}, printed {printed}");
}

#[test]
fn a_waterworks_feeds_alum_as_the_operators_course_reckons() {
    // Mountain Empire Community College (Virginia), course ENV 115, lesson 4, Chemical Dosages, dry feed (as read in a
    // copy of its page): 15 million gallons a day at 18 mg/L are 2252 lb/day and 1.56 lb/min. It takes 8.34 lb for the
    // weight of a gallon; exactly it is 8.3454, which makes 2253.
    let flow = LitresPerMinute(Unit::UsGallonPerMinute.to_base(15e6 / (24.0 * 60.0)));
    let fed = flow.carrying(MilligramsPerLitre(18.0));
    near(Unit::Pound.from_base(fed.in_a_day().0), 2252.0, 1.5);
    near(Unit::Pound.from_base(Unit::Gram.to_base(fed.0)), 1.56, 0.005);
    near(flow.diluting(fed).unwrap().0, 18.0, 1e-9);
    // The same page, wet feed: 230 mg of polymer in 100 mL of water are 2.3 mg/mL.
    let polymer = Kilograms(Unit::Gram.to_base(0.230));
    near(GramsPerLitre::of(polymer, Litres::from_millilitres(100.0)).unwrap().0, 2.3, 1e-9);
}

#[test]
fn a_pump_is_set_for_a_dose_as_the_waterworks_procedure_reckons() {
    // Central Water, Standard Operating Procedure 204, Calculation of dose rate from jar test, section 4.2.1 (as read in a
    // copy): 40 mg/L of alum at 50 L/s take 40 · 50/10.1 = 198 mL/min. Its 10.1 stands for 606 g/L over 60 s (our reading).
    let clay = Yield { ntu_per_mg_l: 1.0, sd: 0.0, since: None, exponent: 1.0 };
    let feed = HeadFeed {
        water: LitresPerMinute(Unit::LitrePerSecond.to_base(50.0)),
        others: GramsPerMinute(0.0),
        clouding: Clouding { clay, background: Turbidity(0.0) },
    };
    let strength = GramsPerLitre(10.1 * 60.0);
    let pump = feed.pump_for(Turbidity(40.0), strength).unwrap();
    near(pump.ml_per_min(), 198.0, 0.5);
    near(feed.turbidity(pump, strength).unwrap().0, 40.0, 1e-9);
}

#[test]
fn water_with_half_the_oxygen_to_spare_carries_half_the_fish() {
    // Piper and others 1982, Fish Hatchery Management, on flow index (one page read in a copy): at 11 ppm and a
    // minimum of 5 ppm the index is 1.5; when the water comes with 8 ppm it is 0.75, since 3 ppm are to spare, not 6.
    let to_spare =
        |inflow: f64| taken_up(LitresPerMinute(100.0), MilligramsPerLitre(inflow), MilligramsPerLitre(5.0)).0;
    near(1.5 * to_spare(8.0) / to_spare(11.0), 0.75, 1e-9);
}

#[test]
fn fish_in_flowing_water_take_from_it_what_the_fao_s_engineers_reckon() {
    // Váradi in FAO, Inland Aquaculture Engineering (1984, X5744E), chapter 13, section 2.1 (as read in a copy of its
    // page): Q (Cs - C) = W r. Fish that take up 0.4 g a kilogram and hour want 2.4 m³ a day for each kilogram when the water
    // comes with 9 g/m³. So it leaves with 5 g/m³.
    let water = LitresPerMinute(2400.0 / (24.0 * 60.0));
    let taken = taken_up(water, MilligramsPerLitre(9.0), MilligramsPerLitre(5.0));
    near(Unit::Gram.from_base(taken.0) / 24.0, 0.4, 1e-9);
    let day = Demand { at: jiff::Timestamp::UNIX_EPOCH, taken, biomass: Some(Kilograms(1.0)) };
    near(day.per_kilogram().unwrap() * 1000.0, 9.6, 1e-9);
}
