//! Water that clears by and by is told before it is too clear; a step that ends above the least is not.

use claymark_notice::failure::Fault;
use claymark_tests::story::script::at;
use claymark_tests::story::{ScriptedStory, Truth, rooms};

/// From 22:00 on each ten minutes so much less clay arrives, for so many hours.
fn clears(seed: u64, ntu_per_hour: f64, hours: u32) -> ScriptedStory {
    let mut story = ScriptedStory::begin("18:00", seed, Truth::full());
    for step in 0..hours * 6 {
        let minutes = 10 * step;
        let (day, hour) = ((22 + minutes / 60) / 24, (22 + minutes / 60) % 24);
        let clock = format!("+{day} {hour:02}:{:02}", minutes % 60);
        story.happens(&clock, move |truth, _| truth.yield_ntu -= 0.85 / 63.0 * ntu_per_hour / 6.0);
    }
    story
}

#[test]
fn water_that_clears_by_and_by_calls_people_before_it_is_too_clear() {
    for seed in 0..SEEDS {
        // 65 NTU less 4 an hour: 50 NTU at 01:45 in the head tank, later in the tanks.
        let telling = clears(seed, 4.0, 9).told("+1 07:00", &rooms::plain());
        let found = telling.failures("18:00", "+1 01:45");
        let told = found.iter().find(|(_, fault)| matches!(fault, Fault::Clearing { .. }));
        let Some((told, _)) = told else { panic!("{}", telling.list()) };
        assert!(told.notice.calling.is_some() && told.subject.contains("50 NTU about"), "{}", told.words());
        assert!(told.at >= at("22:30"), "{}", telling.list());
        // Both are called, once.
        let calls = telling.calls("clearing");
        assert_eq!(calls.len(), 2, "{}", telling.list());
    }
}

#[test]
fn water_that_clears_a_little_or_in_one_step_and_stays_is_not_told_as_clearing() {
    for seed in 0..SEEDS {
        let clearing = |fault: &Fault| matches!(fault, Fault::Clearing { .. });
        let telling = clears(seed, 3.0, 2).told("+1 07:00", &rooms::plain());
        let told = telling.failures("18:00", "+1 07:00");
        assert!(!told.iter().any(|(_, fault)| clearing(fault)), "{}", telling.list());

        let mut story = ScriptedStory::begin("18:00", seed, Truth::full());
        story.happens("22:00", |truth, _| truth.yield_ntu *= 0.85);
        let telling = story.told("+1 07:00", &rooms::plain());
        let told = telling.failures("18:00", "+1 07:00");
        assert!(!told.iter().any(|(_, fault)| clearing(fault)), "{}", telling.list());
    }
}

const SEEDS: u64 = 2;
