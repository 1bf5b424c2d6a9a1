//! Several things at once: two drums that are drawn, or a failure beside another one.

use claymark_core::notice::failure::Fault;
use claymark_core::site::Place;
use claymark_tests::story::script::at;
use claymark_tests::story::{Story, Truth, rooms};

#[test]
fn one_tank_that_is_short_of_oxygen_hides_neither_another_nor_the_fresh_water() {
    for seed in 0..SEEDS {
        let mut story = Story::begin("18:00", seed, Truth::full());
        story.happens("20:00", |_, instruments| instruments.tank_oxygen[0] = 5.8);
        story.happens("+1 00:00", |truth, _| truth.fresh = 25.6);
        for step in 0..12_u32 {
            let clock = format!("+1 02:{:02}", 5 * step);
            story.happens(&clock, move |_, instruments| {
                instruments.tank_oxygen[1] = 8.0 - 0.45 * f64::from(step)
            });
        }
        let telling = story.told("+1 03:00", &rooms::with_tank_oxygen());
        let found = telling.failures("18:00", "+1 03:00");
        let oxygen = |place: &str| {
            let place = Place::parse(place).expect("a place");
            found.iter().filter(
                move |(_, fault)| matches!(fault, Fault::OxygenFalls { place: of, .. } if *of == place),
            )
        };
        let first = oxygen("tank:t1").next().unwrap_or_else(|| panic!("{}", telling.list()));
        assert!(first.0.at <= at("20:05") && !first.0.words().contains("fell from"), "{}", first.0.words());
        let water = found.iter().find(|(_, fault)| matches!(fault, Fault::FreshWaterLow { .. }));
        assert!(water.is_some_and(|(told, _)| told.at <= at("+1 00:18")), "{}", telling.list());
        let second: Vec<_> = oxygen("tank:t2").collect();
        assert!((2..=3).contains(&second.len()), "told, and again as it gets worse:\n{}", telling.list());
        let limit = second.first().expect("told").0;
        assert!(limit.at <= at("+1 02:30"), "{}", telling.list());
        assert!(limit.subject.contains("one place more"), "{}", limit.subject);
        assert_eq!(oxygen("tank:t1").count(), 1, "{}", telling.list());
    }
}

/// Noise differs by them.
const SEEDS: u64 = 3;
