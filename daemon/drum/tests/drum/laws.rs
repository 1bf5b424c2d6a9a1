//! What holds for every forecast, whatever the sensor says and in whatever order it is heard.

use claymark_drum::{DrumWatch, WhatIf};
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::{Basis, EmptyAt, Forecast, Outlook};
use claymark_model::quality::Flag;
use claymark_model::units::{Litres, Millimetres};
use jiff::{SignedDuration, Timestamp};
use proptest::prelude::*;

use crate::physics::{height, reading};
use crate::rig::{id, site, start};

/// Something that reaches the watch.
#[derive(Debug, Clone)]
enum Input {
    /// A falling level with so much noise, for so many minutes.
    Falls {
        minutes: u8,
        l_per_h: f64,
        noise_mm: f64,
    },
    /// Nonsense for so many minutes.
    Nonsense {
        minutes: u8,
        mm: f64,
    },
    /// The same value, or nothing at all.
    Stands {
        minutes: u8,
    },
    Silence {
        minutes: u8,
    },
    Jumps {
        litres: f64,
    },
    Log(Deed),
}

fn inputs() -> impl Strategy<Value = Vec<Input>> {
    let minutes = || 1_u8..120;
    let pump = |rpm| Deed::PumpSetting { pump: Some(id("p1")), rpm: Some(rpm) };
    let refill =
        |water: Option<f64>| Deed::Refill { drum: Some(id("a")), water: water.map(Litres), clay: None };
    let dip = |mm| Deed::Dip { drum: Some(id("a")), level: Some(Millimetres(mm)), volume: None };
    prop::collection::vec(
        prop_oneof![
            4 => (minutes(), 0.0..40.0, 0.0..8.0)
                .prop_map(|(minutes, l_per_h, noise_mm)| Input::Falls { minutes, l_per_h, noise_mm }),
            1 => (minutes(), -50.0..900.0).prop_map(|(minutes, mm)| Input::Nonsense { minutes, mm }),
            1 => minutes().prop_map(|minutes| Input::Stands { minutes }),
            1 => minutes().prop_map(|minutes| Input::Silence { minutes }),
            1 => (-120.0..160.0).prop_map(|litres| Input::Jumps { litres }),
            1 => (0.0..200.0).prop_map(move |rpm| Input::Log(pump(rpm))),
            1 => prop::option::of(0.0..180.0).prop_map(move |water| Input::Log(refill(water))),
            1 => (0.0..800.0).prop_map(move |mm| Input::Log(dip(mm))),
            1 => any::<bool>().prop_map(|here| Input::Log(Deed::InUse {
                pump: Some(id("p1")),
                drum: Some(id(if here { "a" } else { "b" })),
            })),
        ],
        1..12,
    )
}

/// Feeds the inputs and gives each forecast on the way to `check`.
fn feed(inputs: &[Input], mut check: impl FnMut(&DrumWatch, Timestamp)) {
    let mut watch = DrumWatch::new(&site(&["a"]), &id("a")).unwrap();
    let (mut now, mut volume, mut key) = (start(), 150.0_f64, 0_u32);
    let mut minute = |watch: &mut DrumWatch, mm: Option<f64>| {
        now += SignedDuration::from_mins(1);
        if let Some(mm) = mm {
            watch.reading(now, &reading("level-a", now, now, mm, Flag::Pass));
        }
        watch.advance(now);
        check(watch, now);
        now
    };
    for input in inputs {
        match input {
            Input::Falls { minutes, l_per_h, noise_mm } => {
                for i in 0..*minutes {
                    volume = (volume - l_per_h / 60.0).max(0.0);
                    let noise = f64::from(u32::from(i).wrapping_mul(2_654_435_761) >> 16) / 65_536.0 - 0.5;
                    minute(&mut watch, Some(height(volume) + noise_mm * noise));
                }
            }
            Input::Nonsense { minutes, mm } => {
                for i in 0..*minutes {
                    minute(&mut watch, Some(mm * f64::from(i % 7) / 6.0));
                }
            }
            Input::Stands { minutes } => {
                for _ in 0..*minutes {
                    minute(&mut watch, Some(height(volume)));
                }
            }
            Input::Silence { minutes } => {
                for _ in 0..*minutes {
                    minute(&mut watch, None);
                }
            }
            Input::Jumps { litres } => volume = (volume + litres).clamp(0.0, 175.0),
            Input::Log(deed) => {
                let now = minute(&mut watch, None);
                key += 1;
                let (key, deed) = (key.to_string(), deed.clone());
                let entry = LogEntry { key, at: now, received_at: now, by: None, replaces: None, deed };
                watch.log(now, &entry);
            }
        }
    }
}

fn rising(empty: &EmptyAt) -> bool {
    let times = [empty.p05, empty.p25, empty.p50, empty.p75, empty.p95];
    // `None` is later than anything that is told.
    times.iter().zip(times.iter().skip(1)).all(|pair| match pair {
        (Some(a), Some(b)) => a <= b,
        (None, later) => later.is_none(),
        (Some(_), None) => true,
    })
}

fn is_lawful(forecast: &Forecast) -> Result<(), String> {
    let Outlook::Known { volume, draw, empty_at, .. } = &forecast.outlook else { return Ok(()) };
    let wrong = |what: &str| Err(format!("{what}: {forecast:?}"));
    if !rising(empty_at) {
        return wrong("quantiles fall");
    }
    if empty_at.p05.is_some_and(|at| at < forecast.at) {
        return wrong("empty before now");
    }
    if !(volume.0.is_finite() && volume.0 >= 0.0 && draw.0.is_finite() && draw.0 >= 0.0) {
        return wrong("no volume or draw");
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, ..ProptestConfig::default() })]

    #[test]
    fn quantiles_rise_and_are_never_past_and_volumes_never_negative(inputs in inputs()) {
        let mut broken = None;
        feed(&inputs, |watch, now| {
            if now.as_second() % 300 == 0 {
                let filled = watch.empty_if(now, WhatIf { volume: Some(Litres(175.0)), draw_share: 1.0 });
                let forecast = watch.forecast(now);
                let lawful = is_lawful(&forecast).and_then(|()| match filled {
                    Some(empty) if !rising(&empty) => Err(format!("filled: {empty:?}")),
                    Some(_) | None => Ok(()),
                });
                broken = broken.take().or(lawful.err());
            }
        });
        prop_assert!(broken.is_none(), "{}", broken.unwrap());
    }

    #[test]
    fn a_doubted_level_is_never_what_a_forecast_goes_by(inputs in inputs()) {
        let mut broken = None;
        feed(&inputs, |watch, now| {
            if now.as_second() % 300 != 0 {
                return;
            }
            let forecast = watch.forecast(now);
            let by_level = matches!(forecast.outlook, Outlook::Known { basis: Basis::Level, .. });
            if by_level && watch.doubt(now).is_some() {
                broken = Some(forecast);
            }
        });
        prop_assert!(broken.is_none(), "{broken:?}");
    }

    #[test]
    fn a_burst_gives_the_same_forecast_in_any_order(
        levels in prop::collection::vec(100.0_f64..700.0, 250..400),
        order in any::<u64>(),
    ) {
        let forecast = |shuffled: bool| {
            let mut watch = DrumWatch::new(&site(&["a"]), &id("a")).unwrap();
            let mut burst: Vec<_> = levels.iter().zip(0_i64..).collect();
            if shuffled {
                burst.sort_by_key(|(_, i)| (*i + 1).unsigned_abs().wrapping_mul(order | 1));
            }
            let now = start() + SignedDuration::from_mins(200);
            for (mm, i) in burst {
                let at = start() + SignedDuration::from_secs(3 * i);
                watch.reading(now, &reading("level-a", at, now, *mm, Flag::Pass));
            }
            watch.forecast(now)
        };
        prop_assert_eq!(forecast(false), forecast(true));
    }
}
