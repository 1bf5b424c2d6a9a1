//! The scores as a table, and as lines of JSON.

use std::fmt::Write as _;
use std::fs;

use claymark_tests::contest::case::{Case, Who};
use claymark_tests::contest::events::{DeedsFound, Recovery, clock};
use claymark_tests::contest::parts::IfKnown;
use claymark_tests::contest::peers::median;
use claymark_tests::contest::play::Played;
use claymark_tests::contest::tally::{
    BUCKETS, Score, bounds, coverage as covered, in50, in90, one_of_each_fill, shared,
};
use serde_json::{Value, json};

use super::options::Options;

/// Prints everything.
pub fn print(options: &Options, played: &[Played]) {
    let mut lines = Vec::new();
    accuracy(played, &mut lines);
    coverage(options, played, &mut lines);
    volumes(options, played, &mut lines);
    events(played, &mut lines);
    worst(options, played);
    if let Some(file) = &options.json {
        let text = lines.iter().fold(String::new(), |mut text, line| {
            writeln!(text, "{line}").expect("a string grows");
            text
        });
        fs::write(file, text).unwrap_or_else(|error| println!("{}: {error}", file.display()));
    }
}

fn accuracy(played: &[Played], lines: &mut Vec<Value>) {
    let everybody: Vec<Who> = Who::ALL
        .into_iter()
        .filter(|who| played.iter().flat_map(|played| &played.cases).any(|case| case.of(*who).is_some()))
        .collect();
    println!("forecasts at which everybody said something; minutes");
    println!(
        "{:<20}{:>9}{:>8}{:>8}{:>9}{:>8}{:>8}{:>8}{:>8}",
        "all leads", "cases", "|p50|", "CRPS", "int.sc", "bias", "width", "in 90", "in 50"
    );
    for bucket in std::iter::once(None).chain(BUCKETS.map(Some)) {
        if let Some((from, to)) = bucket {
            println!("{from:.0} to {to:.0} h");
        }
        let cases = shared(played, bucket, &everybody);
        for who in &everybody {
            let Some(score) = Score::of(*who, &cases) else { continue };
            println!(
                "{:<20}{:>9}{:>8.1}{:>8.1}{:>9.0}{:>8.1}{:>8.0}{:>8.3}{:>8.3}",
                who.name(),
                score.cases,
                score.error,
                score.crps,
                score.interval,
                score.bias,
                score.width,
                score.in90,
                score.in50
            );
            lines.push(json!({
                "table": "accuracy", "who": who.name(), "bucket": bucket, "cases": score.cases,
                "median_abs_error_min": score.error, "crps_min": score.crps, "interval_score_min": score.interval,
                "bias_min": score.bias, "width_min": score.width, "in90": score.in90, "in50": score.in50,
            }));
        }
    }
    let all = shared(played, None, &everybody);
    let of = |who| Score::of(who, &all);
    let peers: Vec<Score> = Who::PEERS.into_iter().filter_map(of).collect();
    if let (Some(ours), Some(curve)) = (of(Who::DrumWatch), of(Who::TrueCurve)) {
        let best = |what: fn(&Score) -> f64| peers.iter().map(what).fold(f64::INFINITY, f64::min);
        let (error, crps) = (ours.error / best(|score| score.error), ours.crps / best(|score| score.crps));
        let limit = ours.error / curve.error;
        println!(
            "ratios: |p50| to best peer {error:.2} (goal 0.50), to the practical limit {limit:.2} (goal 1.70); CRPS to best peer {crps:.2} (goal 0.80)"
        );
        lines.push(json!({"table": "ratios", "error_to_best_peer": error, "error_to_limit": limit, "crps_to_best_peer": crps}));
        parts(&all, curve.error, lines);
    }
}

/// How near the limit it would come if one thing were truly known to it.
fn parts(cases: &[&Case], limit: f64, lines: &mut Vec<Value>) {
    let of = |what: fn(&IfKnown) -> f64| {
        let off = |case: &&Case| Some((what(case.parts.as_ref()?) - case.truth).abs() * 60.0);
        let mut errors: Vec<f64> = cases.iter().filter_map(off).collect();
        median(&mut errors).map_or(f64::NAN, |error| error / limit)
    };
    let (volume, draw, curve) =
        (of(|parts| parts.with_volume), of(|parts| parts.with_draw), of(|parts| parts.with_curve));
    println!(
        "|p50| to the practical limit if the drum watch were told the true volume {volume:.2}, the true draw {draw:.2}, the true curve {curve:.2}"
    );
    lines.push(json!({"table": "parts", "true_volume": volume, "true_draw": draw, "true_curve": curve}));
}

fn coverage(options: &Options, played: &[Played], lines: &mut Vec<Value>) {
    println!("\ncoverage of the drum watch, one forecast of each fill and bucket (95 % bounds)");
    let mut rooms = vec![("all rooms", None)];
    rooms.extend(options.rooms.iter().map(|kind| (kind.name(), Some(*kind))));
    for (name, kind) in rooms {
        for bucket in BUCKETS {
            let of_room: Vec<&Case> = one_of_each_fill(played, bucket, kind);
            let [c90, c50] = [in90, in50].map(|held| covered(Who::DrumWatch, &of_room, held));
            let [(low90, high90), (low50, high50)] = [&c90, &c50].map(bounds);
            let [share90, share50] = [&c90, &c50].map(|covered| covered.share().unwrap_or(f64::NAN));
            println!(
                "{name:<10}{:>3.0} to {:>2.0} h {:>6} fills   90 %: {share90:.3} ({low90:.3} to {high90:.3})   50 %: {share50:.3} ({low50:.3} to {high50:.3})",
                bucket.0, bucket.1, c90.of
            );
            lines.push(json!({"table": "coverage", "room": name, "bucket": bucket, "fills": c90.of,
                "in90": share90, "bounds90": [low90, high90], "in50": share50, "bounds50": [low50, high50]}));
        }
    }
}

fn volumes(options: &Options, played: &[Played], lines: &mut Vec<Value>) {
    println!(
        "\nby room: volume error of the drum watch (litres), |p50| and CRPS (minutes), instants without a forecast or by dead reckoning"
    );
    for kind in &options.rooms {
        let of_kind: Vec<&Played> = played.iter().filter(|played| played.kind == *kind).collect();
        let cases: Vec<&Case> = of_kind.iter().flat_map(|played| &played.cases).collect();
        let Some(score) = Score::of(Who::DrumWatch, &cases) else { continue };
        let count = |n: usize| f64::from(u32::try_from(n).unwrap_or(u32::MAX));
        let unknown = count(of_kind.iter().map(|played| played.unknown.len()).sum()) / count(cases.len());
        let by_pump =
            cases.iter().filter(|case| case.of(Who::DrumWatch).is_some_and(|said| said.by_pump)).count();
        let by_pump = count(by_pump) / count(cases.len());
        println!(
            "{:<10} volume {:.2} (95 %: {:.2})   |p50| {:.1}   CRPS {:.1}   in 90 {:.3}   none {:.3}   by pump {:.3}",
            kind.name(),
            score.volume.0,
            score.volume.1,
            score.error,
            score.crps,
            score.in90,
            unknown,
            by_pump
        );
        lines.push(json!({"table": "room", "room": kind.name(), "volume_median_l": score.volume.0, "volume_p95_l": score.volume.1,
            "median_abs_error_min": score.error, "crps_min": score.crps, "in90": score.in90, "none": unknown, "by_pump": by_pump}));
    }
    let mut whys = std::collections::BTreeMap::<&str, u32>::new();
    for (_, _, why) in played.iter().flat_map(|played| &played.unknown) {
        *whys.entry(why).or_default() += 1;
    }
    for (why, times) in whys {
        println!("  {times:>5} × {why}");
    }
}

fn events(played: &[Played], lines: &mut Vec<Value>) {
    let mut found = DeedsFound::default();
    played.iter().for_each(|played| found.add(&played.found));
    let mut litres: Vec<f64> = found.refills.iter().map(|litres| litres.abs()).collect();
    let mut minutes = found.changes.clone();
    println!(
        "\nrefills: {} found, {} missed, {} false, litres off by {:.1} (median)",
        found.refills.len(),
        found.refills_missed,
        found.refills_false,
        median(&mut litres).unwrap_or(f64::NAN)
    );
    println!(
        "unlogged changes over 10 %: {} found after {:.0} min (median), {} not within 4 h; {} changes said in all",
        found.changes.len(),
        median(&mut minutes).unwrap_or(f64::NAN),
        found.changes_missed,
        found.changes_said
    );
    lines.push(json!({"table": "events", "refills_found": found.refills.len(), "refills_missed": found.refills_missed,
        "refills_false": found.refills_false, "changes_found": found.changes.len(), "changes_missed": found.changes_missed}));
    let all: Vec<Recovery> = played.iter().flat_map(|played| played.recoveries.iter().copied()).collect();
    for (refill, logged) in [(true, true), (true, false), (false, true), (false, false)] {
        let mut after: Vec<f64> = all
            .iter()
            .filter(|r| r.refill == refill && r.logged == logged)
            .map(|r| r.minutes.map_or(999.0, f64::from))
            .collect();
        after.sort_by(f64::total_cmp);
        let at = |share: usize| after.get(after.len() * share / 100).copied().unwrap_or(f64::NAN);
        let what = if refill { "refill" } else { "change" };
        let how = if logged { "logged" } else { "not logged" };
        println!(
            "back on track after a {what} ({how}): {} of them, median {:.0} min, 75 % {:.0}, 90 % {:.0} (999: not within 90)",
            after.len(),
            at(50),
            at(75),
            at(90)
        );
        lines.push(json!({"table": "recovery", "what": what, "logged": logged, "of": after.len(), "median_min": at(50), "p90_min": at(90)}));
    }
}

fn worst(options: &Options, played: &[Played]) {
    let mut all: Vec<(f64, &Played, &Case)> = Vec::new();
    for one in played {
        let mut of_fill = std::collections::HashMap::<(usize, u32), (f64, &Case)>::new();
        for case in &one.cases {
            let Some(said) = case.of(Who::DrumWatch) else { continue };
            let miss = (said.hours[0] - case.truth).max(case.truth - said.hours[4]) * 60.0;
            let worst = of_fill.entry((case.drum, case.fill)).or_insert((miss, case));
            if miss > worst.0 {
                *worst = (miss, case);
            }
        }
        all.extend(of_fill.into_values().map(|(miss, case)| (miss, one, case)));
    }
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    println!("\nfarthest outside the 90 % interval, one a fill");
    for (miss, one, case) in all.iter().take(options.worst) {
        let Some(said) = case.of(Who::DrumWatch) else { continue };
        println!(
            "{} drum {} {}: by {miss:.0} min; {:.1} h true, said {:.1} to {:.1} to {:.1} h; {:.1} L true, said {:.1}{}",
            one.season,
            case.drum,
            clock(case.minute),
            case.truth,
            said.hours[0],
            said.hours[2],
            said.hours[4],
            case.volume,
            said.volume,
            if said.by_pump { " (by pump)" } else { "" }
        );
    }
    for one in played {
        for remark in one.found.remarks.iter().take(options.worst.saturating_sub(4)) {
            println!("{}: {remark}", one.season);
        }
    }
}
