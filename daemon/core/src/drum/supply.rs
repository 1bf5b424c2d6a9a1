//! All drums of one pump, emptied one after the other.

use super::Ahead;
use super::line::{Line, Sym3};
use super::stats::count;
use crate::forecast::Basis;

/// What the drums say of themselves, with their heels.
pub(super) fn together(drums: &[(Ahead, f64)]) -> Option<Ahead> {
    let drawn = drums.iter().find(|(ahead, _)| ahead.in_use).or(drums.first())?.0;
    let usable = |ahead: &Ahead, heel: f64| (ahead.line.v - heel).max(0.0);
    let volume: f64 = drums.iter().map(|(ahead, heel)| usable(ahead, *heel)).sum();
    let hours: f64 = drums.iter().map(|(ahead, heel)| usable(ahead, *heel) / ahead.mean_draw(*heel)).sum();
    let draw = if hours > 0.0 { volume / hours } else { drawn.line.q };
    let share = |ahead: &Ahead| ahead.line.covariance.qq.max(0.0).sqrt() / ahead.line.q.abs();
    let sd = draw * drums.iter().map(|(ahead, _)| share(ahead)).fold(0.0, f64::max);
    let covariance = Sym3 {
        vv: drums.iter().map(|(ahead, _)| ahead.line.covariance.vv).sum(),
        vq: drums.iter().map(|(ahead, _)| ahead.line.covariance.vq).sum(),
        qq: sd * sd,
        ..Sym3::default()
    };
    let freedom = drums.iter().map(|(ahead, _)| ahead.line.freedom).fold(f64::INFINITY, f64::min);
    let floor = drawn.line.floor * count(drums.len()).sqrt();
    let by_level = drums.iter().all(|(ahead, _)| ahead.basis == Basis::Level);
    Some(Ahead {
        basis: if by_level { Basis::Level } else { Basis::Pump },
        line: Line { v: volume, q: draw, b: 0.0, covariance, freedom, floor },
        in_use: drums.iter().any(|(ahead, _)| ahead.in_use),
        empty: drums.iter().all(|(ahead, _)| ahead.empty),
    })
}
