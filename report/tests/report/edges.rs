//! Pictures of whatever a 64-bit float can hold: each is drawn, is bounded, and has no figure that is none.

use claymark_model::units::Litres;
use claymark_report::charts::{demand, drum, share, spread, strip, vessel};
use claymark_report::facts::WeekFacts;
use claymark_report::facts::trace::Shares;
use jiff::SignedDuration;
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};

use crate::facts_of;
use crate::invented::RoomPlan;

const SIZE: (u32, u32) = (1800, 360);

fn edge() -> impl Strategy<Value = f64> {
    let edges = [0.0, -0.0, 5e-324, -5e-324, 1e-300, 65.0, 1e9, 1e300, 1.7e308, -1.7e308, f64::MAX, f64::MIN];
    prop_oneof![prop::sample::select(edges.to_vec()), prop::num::f64::NORMAL, -1e3..1e3_f64]
}

fn spreads(facts: &WeekFacts, figures: &[f64]) -> Result<String, claymark_report::charts::Undrawn> {
    let each = figures.chunks(3).enumerate().map(|(hour, some)| {
        let at = facts.week.start() + SignedDuration::from_hours(i64::try_from(hour).unwrap());
        let mut some = some.to_vec();
        some.sort_by(f64::total_cmp);
        let ends = some.first().zip(some.last());
        let span = ends.zip(some.get(some.len() / 2)).map(|((low, high), middle)| (*low, *middle, *high));
        spread::HourSpread { at, span, due: true }
    });
    let lettering = spread::SpreadLettering {
        days: Vec::new(),
        unit: "°C".to_owned(),
        band: Vec::new(),
        levels: vec![spread::SteppedLevel {
            steps: vec![(facts.week.start(), facts.week.end(), figures.first().copied().unwrap_or(20.0))],
            name: "most".to_owned(),
        }],
        range: None,
        not_yet: "not yet".to_owned(),
    };
    spread::draw(&each.collect::<Vec<_>>(), &facts.week, facts.until, SIZE, &lettering)
}

fn demands(facts: &WeekFacts, figures: &[f64]) -> Result<String, claymark_report::charts::Undrawn> {
    let days = facts.week.days().iter().zip(figures).map(|(day, figure)| demand::DayBar {
        from: day.start,
        to: day.end,
        taken: Some(*figure),
        by_weight: figures.last().copied(),
    });
    let lettering = demand::DemandLettering {
        days: Vec::new(),
        unit: "g".to_owned(),
        trend: figures.first().map(|first| [(facts.week.start(), *first), (facts.until, -*first)]),
        most: figures.last().map(|last| (*last, "most".to_owned())),
        not_yet: "not yet".to_owned(),
    };
    demand::draw(&days.collect::<Vec<_>>(), &facts.week, facts.until, SIZE, &lettering)
}

fn drums(facts: &WeekFacts, figures: &[f64]) -> Result<String, claymark_report::charts::Undrawn> {
    let mut week = facts.drums.first().unwrap().clone();
    for (figure, point) in figures.iter().cycle().zip(&mut week.volume) {
        point.volume = Some(Litres(*figure));
    }
    for (figure, refill) in figures.iter().zip(&mut week.refills) {
        (refill.to, refill.added) = (Litres(*figure), Litres(-*figure));
    }
    week.seen = figures.iter().map(|figure| Some((Litres(-figure.abs()), Litres(figure.abs())))).collect();
    let lettering = drum::DrumLettering {
        days: Vec::new(),
        unit: facts.site.units.volume,
        heel: String::new(),
        full: String::new(),
        empty: String::new(),
        doubt: String::new(),
        not_yet: String::new(),
        refills: vec![String::new(); week.refills.len()],
    };
    drum::draw(&week, &facts.week, facts.until, SIZE, &lettering)
}

#[test]
fn any_figures_at_all_make_a_bounded_picture() {
    let dir = tempfile::tempdir().unwrap();
    let facts = facts_of(dir.path(), &RoomPlan { tanks: 1, drums: 1, ..RoomPlan::ORDINARY }, "2026-W47");
    let trace = &facts.sensors[0].trace;
    let mut runner = TestRunner::new(Config { cases: 200, failure_persistence: None, ..Config::default() });
    let figures = prop::collection::vec(edge(), 1..40);
    runner
        .run(&figures, |figures| {
            let (first, last) = (figures[0], figures[figures.len() - 1]);
            let shown = vessel::Vessel { now: Some(first), lowest: Some(last), heel: last, ran_empty: true };
            let shares = Shares { inside_s: first.abs(), above_s: last.abs(), ..Shares::default() };
            for svg in [
                spreads(&facts, &figures),
                demands(&facts, &figures),
                drums(&facts, &figures),
                vessel::draw(&shown, "lowest", "empty"),
                share::draw(&shares, (400, 36)),
                strip::draw(trace, &facts.week, facts.until, (first, last), (480, 130), &[]),
            ] {
                let svg = svg.unwrap();
                prop_assert!(!svg.contains("NaN") && !svg.contains("inf"), "{figures:?}");
                prop_assert!(svg.len() < 400_000, "{} bytes of {figures:?}", svg.len());
            }
            Ok(())
        })
        .unwrap();
}
