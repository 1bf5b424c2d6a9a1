//! Percent saturation of a real river, 1360 m above the sea, by day and by season; and whether the record's
//! clock is what its description says. Run with `--nocapture` to see the numbers.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::collections::{BTreeMap, BTreeSet};

use claymark_clay::oxygen::{percent_saturation, pressure_at};
use claymark_model::units::{Celsius, MilligramsPerLitre};
use claymark_tests::river::{CLOCK_HOURS, ELEVATION_M, RiverRow, Variable, rows};
use jiff::civil::{DateTime, date};
use jiff::tz::{TimeZone, offset};

/// Values by month, then by hour of the record's clock.
type ByMonthAndHour = BTreeMap<i8, BTreeMap<i8, Vec<f64>>>;

#[test]
fn percent_saturation_is_plausible_by_day_and_by_season() {
    let rows = rows();
    let local = by_month_and_hour(&saturation(&rows, ELEVATION_M));
    let at_sea_level = by_month_and_hour(&saturation(&rows, 0.0));
    println!("percent saturation, medians by month: night (0-5 h), day's highest and its hour, lowest");
    for (month, hours) in &local {
        let night = median((0..5).flat_map(|hour| hours[&hour].iter().copied()));
        let medians: Vec<(i8, f64)> =
            hours.iter().map(|(hour, values)| (*hour, median(values.iter().copied()))).collect();
        let (hour, highest) = *medians.iter().max_by(|a, b| a.1.total_cmp(&b.1)).unwrap();
        let lowest = medians.iter().map(|(_, value)| *value).fold(f64::INFINITY, f64::min);
        println!("{month:>5}: {night:6.1} {highest:6.1} at {hour} h {lowest:6.1}");
        // A cold clear river breathes close to balance at night, in August less so, and its plants overfill
        // it by day (general limnology, from memory).
        assert!((85.0..=102.0).contains(&night), "month {month}: {night} at night");
        assert!((102.0..=130.0).contains(&highest), "month {month}: {highest} by day");
        assert!((11..=15).contains(&hour), "month {month}: highest at {hour} h, not around noon or after");
        assert!(highest - night > 4.0, "month {month} has no day");
        // Without the elevation the same water would seem to lack a seventh of its oxygen every night.
        let wrong = median((0..5).flat_map(|hour| at_sea_level[month][&hour].iter().copied()));
        assert!((night / wrong - 1.18).abs() < 0.01, "month {month}: {night} against {wrong}");
        assert!(wrong < 85.0, "month {month}: {wrong}");
    }
    let amplitude = |month: i8| {
        let medians = local[&month].values().map(|values| median(values.iter().copied()));
        let (low, high) = medians.fold((f64::INFINITY, 0.0_f64), |(low, high), m| (low.min(m), high.max(m)));
        high - low
    };
    // In June snowmelt fills the river; in August it is low, clear and full of plants.
    assert!(amplitude(8) > 3.0 * amplitude(6), "{} {}", amplitude(8), amplitude(6));
    let mut all: Vec<f64> = local.values().flat_map(BTreeMap::values).flatten().copied().collect();
    all.sort_by(f64::total_cmp);
    let share = |percent: usize| all.get(all.len() * percent / 100).copied().unwrap();
    println!(
        "{} values; 1 % below {:.1}, half below {:.1}, 99 % below {:.1}",
        all.len(),
        share(1),
        share(50),
        share(99)
    );
    assert!(share(1) > 85.0 && share(99) < 130.0 && (98.0..103.0).contains(&share(50)));
}

#[test]
fn the_records_clock_is_standard_time_all_year() {
    let rows = rows();
    let times: BTreeSet<DateTime> = rows.iter().map(local).collect();
    // A clock on US summer time would skip 02:00 to 03:00 on 10 March 2019.
    for minute in [0, 15, 30, 45] {
        assert!(times.contains(&date(2019, 3, 10).at(2, minute, 0, 0)), "02:{minute:02} is there");
    }
    // Light makes the oxygen, so the middle of the day's excess follows the sun: solar noon here is at
    // 12.5 h of UTC-7 (112° west, from memory; up to 0.3 h of that by season), and the water lags.
    let mut middles = Vec::new();
    for (month, hours) in by_month_and_hour(&saturation(&rows, ELEVATION_M)) {
        let night = median((0..5).flat_map(|hour| hours[&hour].iter().copied()));
        let excess = |values: &[f64]| (median(values.iter().copied()) - night).max(0.0);
        let total: f64 = hours.values().map(|values| excess(values)).sum();
        let moment: f64 = hours.iter().map(|(hour, values)| (f64::from(*hour) + 0.5) * excess(values)).sum();
        let middle = moment / total;
        println!("month {month}: the middle of the oxygen's day is at {middle:.2} h");
        assert!((12.3..14.0).contains(&middle), "month {month}: {middle} h");
        middles.push(middle);
    }
    // Summer time would move it by an hour between February and April.
    let spread = middles.iter().copied().fold(0.0, f64::max) - middles.iter().copied().fold(24.0, f64::min);
    assert!(spread < 1.0, "{middles:?}");
    // The water is coldest around sunrise and warmest in the afternoon or, in summer, at its end.
    for (month, hours) in by_month_and_hour(&good(&rows, Variable::Temperature)) {
        let medians: Vec<(i8, f64)> =
            hours.iter().map(|(hour, values)| (*hour, median(values.iter().copied()))).collect();
        let coldest = medians.iter().min_by(|a, b| a.1.total_cmp(&b.1)).unwrap().0;
        let warmest = medians.iter().max_by(|a, b| a.1.total_cmp(&b.1)).unwrap().0;
        println!("month {month}: coldest at {coldest} h, warmest at {warmest} h");
        assert!((3..=9).contains(&coldest) && (13..=20).contains(&warmest), "month {month}");
    }
}

/// Percent saturation where the technicians found nothing wrong with temperature and oxygen.
fn saturation(rows: &[RiverRow], elevation_m: f64) -> Vec<(DateTime, f64)> {
    let air = pressure_at(elevation_m);
    let water: BTreeMap<DateTime, f64> = good(rows, Variable::Temperature).into_iter().collect();
    good(rows, Variable::Oxygen)
        .into_iter()
        .filter_map(|(at, oxygen)| {
            let water = Celsius(*water.get(&at)?);
            Some((at, percent_saturation(MilligramsPerLitre(oxygen), water, air)?.0))
        })
        .collect()
}

/// What the technicians found nothing wrong with.
fn good(rows: &[RiverRow], variable: Variable) -> Vec<(DateTime, f64)> {
    let good = rows.iter().filter(|row| row.variable == variable && row.label.is_none());
    good.map(|row| (local(row), row.raw)).collect()
}

fn local(row: &RiverRow) -> DateTime {
    row.at.to_zoned_datetime(TimeZone::fixed(offset(CLOCK_HOURS))).datetime()
}

fn by_month_and_hour(values: &[(DateTime, f64)]) -> ByMonthAndHour {
    let mut sorted = ByMonthAndHour::new();
    for (at, value) in values {
        sorted.entry(at.month()).or_default().entry(at.hour()).or_default().push(*value);
    }
    sorted
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap()
}
