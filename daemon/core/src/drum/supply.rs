//! All drums of one pump together.

use jiff::Timestamp;

use super::ahead::{Ahead, quantiles};
use super::calibration::Calibration;
use super::{DrumWatch, Prospect};
use crate::forecast::{Basis, Forecast, Outlook, Subject};
use crate::id::Id;
use crate::units::{Litres, LitresPerHour};

/// When the last of the drums that share `pump` is empty, drawn one after the other.
#[must_use]
pub fn supply_forecast(now: Timestamp, pump: &Id, watches: &[&DrumWatch]) -> Forecast {
    let of = Subject::Supply(pump.clone());
    let ours = watches.iter().filter(|watch| watch.facts.pump == *pump);
    // Past errors of the drum that is drawn stand for all.
    let new = Calibration::new();
    let drawn = ours.clone().find(|watch| watch.in_use()).map(|watch| &watch.calibration);
    let calibration = drawn.unwrap_or(&new);
    let prospects: Result<Vec<_>, String> = ours
        .map(|watch| watch.prospect(now).map_err(|why| format!("drum {}: {why}", watch.facts.drum)))
        .collect();
    let (in_use, outlook) = match prospects {
        Ok(drums) if drums.is_empty() => {
            (false, Outlook::Unknown { why: "no drum draws through this pump".to_owned() })
        }
        Ok(drums) => (drums.iter().any(|drum| drum.in_use), together(now, &drums, calibration)),
        Err(why) => (true, Outlook::Unknown { why }),
    };
    Forecast { at: now, of, in_use, outlook }
}

fn together(now: Timestamp, drums: &[Prospect], calibration: &Calibration) -> Outlook {
    let lead = |drum: &Prospect| {
        let nearest = drum.ahead(drum.bank.vessel.heel);
        nearest.first().map_or(Ahead::REACHED, |(_, ahead)| *ahead)
    };
    let times: Vec<Ahead> = drums.iter().map(lead).collect();
    let hours: f64 = times.iter().map(|time| time.hours).sum();
    let stretched: f64 = times.iter().map(|time| time.stretch * time.hours).sum();
    let shift = times.iter().map(|time| time.shift).fold(0.0, f64::hypot);
    // What is wrong of one pump's draw is wrong of all its drums, so those doubts add up.
    let stretch = if hours > 0.0 { stretched / hours } else { 0.0 };
    let drawn: f64 = drums.iter().filter(|drum| drum.in_use).map(draw).sum();
    let volume =
        drums.iter().map(|drum| drum.bank.lead.state.volume().mean.clamp(0.0, drum.bank.vessel.brim)).sum();
    let by_level = drums.iter().all(|drum| drum.basis == Basis::Level);
    Outlook::Known {
        basis: if by_level { Basis::Level } else { Basis::Pump },
        volume: Litres(volume),
        draw: LitresPerHour(if drawn > 0.0 { drawn } else { drums.iter().map(draw).fold(0.0, f64::max) }),
        empty_at: quantiles(now, &[(1.0, Ahead { hours, stretch, shift })], calibration),
    }
}

fn draw(drum: &Prospect) -> f64 {
    drum.bank.lead.draw(&drum.bank.vessel).mean
}
