//! The nights of the real room, by kind of room.

use claymark_tests::contest::each_on_its_core;
use claymark_tests::contest::nights::Nights;

use super::options::Options;

/// Prints them.
pub fn print(options: &Options) {
    for kind in &options.rooms {
        let of_season = |seed: &u64| Nights::of(&options.simulator.season(*kind, *seed, options.days));
        let mut nights = Nights::default();
        each_on_its_core(&options.seeds, of_season).into_iter().for_each(|one| nights.add(one));
        println!(
            "{:<8} {} nights, {} run-outs before the visit: {} told in the evening, {} warned in time, {} missed; {:.2} false warnings a drum and month; evening too careful {}, unknown {}",
            kind.name(),
            nights.nights,
            nights.run_outs,
            nights.told_in_the_evening,
            nights.warned,
            nights.missed.len(),
            nights.false_a_month(),
            nights.evenings_too_careful,
            nights.evenings_unknown,
        );
        nights.missed.iter().take(options.worst).for_each(|missed| println!("  missed: {missed}"));
        nights.false_warnings.iter().take(options.worst).for_each(|one| println!("  false: {one}"));
    }
}
