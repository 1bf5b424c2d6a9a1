//! The simulated seasons themselves: the truth is true, the messages are as bad as they should be, nothing is known
//! of the estimator.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

use std::collections::HashSet;
use std::fs;
use std::path::Path;

use claymark_model::fieldlog::Deed;
use claymark_model::quality::Flag;
use claymark_tests::season::rooms::RoomKind;
use claymark_tests::season::truth::{DrumMinute, TrueDrum};
use claymark_tests::season::{Season, SeasonNews, Simulator, seeds};

const BOTH: [Simulator; 2] = [Simulator::Mechanistic, Simulator::Drifting];

/// A minute after which nothing is touched until the drum is empty, and the minute in which it is.
fn untouched(drum: &TrueDrum, from: u32) -> Option<u32> {
    let first = drum.moment(from);
    let last = u32::try_from(drum.moments.len()).unwrap() - 1;
    for minute in from..last {
        let moment = drum.moment(minute);
        // A tube wears by a few parts in a thousand within a night.
        let same = (moment.gain / first.gain - 1.0).abs() < 0.004
            && moment.curve == first.curve
            && (moment.leak - first.leak).abs() < 1e-9
            && !moment.pouring;
        if !same {
            return None;
        }
        if moment.volume <= drum.heel {
            return Some(minute);
        }
    }
    None
}

#[test]
fn where_nobody_touches_anything_the_drum_is_empty_when_the_truth_says() {
    for by in BOTH {
        let mut compared = 0;
        for seed in seeds::TUNING.take(4) {
            for drum in &by.season(RoomKind::Calm, seed, 20).drums {
                let minutes = u32::try_from(drum.moments.len()).unwrap();
                let drawn = (0..minutes).step_by(60).filter(|minute| drum.moment(*minute).drawn);
                for minute in drawn.filter(|minute| drum.moment(*minute).volume > drum.heel + 1.0) {
                    let Some(empty) = untouched(drum, minute) else { continue };
                    let hours = f64::from(empty - minute) / 60.0;
                    let said = drum.empty_in(minute).unwrap();
                    assert!(
                        (said - hours).abs() < 0.1 + 0.01 * hours,
                        "{by:?} {seed} {minute}: {said} {hours}"
                    );
                    compared += 1;
                }
            }
        }
        assert!(compared > 20, "{by:?}: only {compared} untouched stretches");
    }
}

#[test]
fn no_litre_appears_or_disappears() {
    for by in BOTH {
        let mut compared = 0;
        for drum in &by.season(RoomKind::Worn, 7, 10).drums {
            for (before, after) in drum.moments.iter().zip(drum.moments.iter().skip(1)) {
                if before.pouring || after.pouring || before.volume <= drum.heel + 0.2 {
                    continue;
                }
                let place = drum.moments.iter().position(|moment| std::ptr::eq(moment, before)).unwrap();
                let lost = before.volume - after.volume;
                let drawn = drum.outflow(u32::try_from(place).unwrap()) / 60.0;
                assert!((lost - drawn).abs() < 0.01, "{by:?} minute {place}: lost {lost}, drawn {drawn}");
                compared += 1;
            }
        }
        assert!(compared > 10_000, "{by:?}: only {compared} pairs of minutes");
    }
}

#[test]
fn a_seed_makes_the_same_season_twice_and_another_seed_another() {
    for by in BOTH {
        let volumes = |seed: u64| {
            let season = by.season(RoomKind::Clumsy, seed, 3);
            let of_drum = |drum: &TrueDrum| drum.moments.iter().map(|m| m.volume).collect::<Vec<_>>();
            let volumes: Vec<_> = season.drums.iter().map(of_drum).collect();
            assert!(
                season.heard.len() > 1000 && volumes.iter().all(|volumes| volumes.len() > 3 * 1400),
                "{by:?}"
            );
            (season.heard.len(), volumes)
        };
        assert_eq!(volumes(5), volumes(5));
        assert_ne!(volumes(5), volumes(6));
    }
}

#[test]
fn a_short_season_is_the_beginning_of_a_long_one() {
    for by in BOTH {
        let [short, long] = [3, 5].map(|days| by.season(RoomKind::Worn, 9, days));
        assert!(!short.drums.is_empty() && short.drums.len() == long.drums.len(), "{by:?}");
        for (short, long) in short.drums.iter().zip(&long.drums) {
            assert!(short.moments.len() > 3 * 1400 && short.moments.len() < long.moments.len(), "{by:?}");
            let same = |(a, b): (&DrumMinute, &DrumMinute)| (a.volume - b.volume).abs() < 1e-9;
            assert!(short.moments.iter().zip(&long.moments).all(same), "{by:?} drum {}", short.id);
        }
    }
}

#[test]
fn messages_come_late_twice_wrong_and_not_at_all() {
    for by in BOTH {
        let seasons: Vec<Season> =
            seeds::TUNING.take(3).map(|seed| by.season(RoomKind::Noisy, seed, 20)).collect();
        let (mut late, mut readings, mut failed) = (0_u32, 0_u32, 0_u32);
        let mut expected = 0;
        for season in &seasons {
            expected += season.minutes * 2;
            for heard in &season.heard {
                let SeasonNews::Reading(assessed) = &heard.news else { continue };
                readings += 1;
                late += u32::from(heard.at.duration_since(assessed.reading.at).as_secs() > 300);
                failed += u32::from(assessed.flag == Flag::Fail);
            }
            assert!(season.heard.is_sorted_by_key(|heard| heard.at));
        }
        assert!(readings * 2 > expected, "{by:?}: {readings} readings of {expected}");
        assert!(late * 1000 > readings, "{by:?}: {late} of {readings} are late");
        assert!(failed > 0, "{by:?}: no reading fails its quality tests");
        let distinct: HashSet<_> = seasons
            .iter()
            .flat_map(|season| &season.heard)
            .filter_map(|heard| match &heard.news {
                SeasonNews::Reading(assessed) => Some((assessed.reading.sensor.clone(), assessed.reading.at)),
                SeasonNews::Log(_) => None,
            })
            .collect();
        assert!(distinct.len() < expected as usize, "{by:?}: none is missing");
    }
}

#[test]
fn clumsy_people_write_down_less_than_careful_ones() {
    for by in BOTH {
        let [calm, clumsy] = [RoomKind::Calm, RoomKind::Clumsy].map(|kind| {
            let (mut poured, mut written) = (0_u32, 0_u32);
            for seed in seeds::TUNING.take(3) {
                let season = by.season(kind, seed, 20);
                let deeds = season.drums.iter().flat_map(|drum| &drum.deeds);
                poured += u32::try_from(deeds.filter(|deed| deed.from < deed.to).count()).unwrap();
                let refill = |news: &SeasonNews| matches!(news, SeasonNews::Log(entry) if matches!(entry.deed, Deed::Refill { .. }));
                written +=
                    u32::try_from(season.heard.iter().filter(|heard| refill(&heard.news)).count()).unwrap();
            }
            assert!(poured > 20, "{by:?} {kind:?}: only {poured} refills");
            f64::from(written) / f64::from(poured)
        });
        assert!(calm > 0.9 && clumsy < 0.8, "{by:?}: calm {calm}, clumsy {clumsy}");
    }
}

#[test]
fn tuning_and_judging_share_no_seed() {
    assert!(seeds::TUNING.end() < seeds::JUDGING.start());
    assert!(seeds::TUNING.contains(seeds::PEERS.start()) && seeds::TUNING.contains(seeds::PEERS.end()));
}

#[test]
fn no_season_knows_the_estimator() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut folders = vec![folder.join("season")];
    let mut files = vec![folder.join("season.rs")];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() { folders.push(path) } else { files.push(path) }
        }
    }
    assert!(files.len() > 12);
    for file in files {
        let text = fs::read_to_string(&file).unwrap();
        for word in ["core::drum", "core::forecast", "core::happening", "core::room"] {
            assert!(!text.contains(word), "{} names {word}", file.display());
        }
    }
}
