//! What is asked of a drum beside its forecast holds when it is done.

use claymark_drum::WhatIf;
use claymark_model::units::Litres;

use crate::rig::Rig;

#[test]
fn a_slower_pump_and_more_slurry_only_make_the_earliest_time_later() {
    let mut rig = Rig::new(3, 150.0);
    rig.run(4.0);
    let now = rig.now();
    let earliest = |volume: Option<f64>, draw_share| {
        let ends = rig.watch.empty_if(now, WhatIf { volume: volume.map(Litres), draw_share }).unwrap();
        rig.hours_to(ends.p05)
    };
    let by_speed: Vec<f64> = (1..=20).map(|step| earliest(None, f64::from(step) / 20.0)).collect();
    assert!(by_speed.is_sorted_by(|slower, faster| slower >= faster), "{by_speed:?}");
    let by_litres: Vec<f64> = (2..=17).map(|step| earliest(Some(f64::from(step) * 10.0), 1.0)).collect();
    assert!(by_litres.is_sorted(), "{by_litres:?}");
    // Half the draw takes about twice as long: a drum's own forecast, not a rule of thumb.
    let (whole, half) = (earliest(None, 1.0), earliest(None, 0.5));
    assert!((1.7..2.3).contains(&(half / whole)), "{whole} h, {half} h");
}
