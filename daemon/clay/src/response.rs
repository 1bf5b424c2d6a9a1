//! How long a change takes: the head tank and a rearing tank behind it as stirred tanks in series.
//!
//! With time constants th = Vh/Qh and tt = Vt/Qt, a step in the feed reaches the head tank as 1 - e^(-t/th) and
//! the rearing tank as F(t) = 1 - (tt e^(-t/tt) - th e^(-t/th))/(tt - th); for th = tt, 1 - (1 + t/th) e^(-t/th)
//! (Levenspiel, Chemical Reaction Engineering, ch. 11, from memory). Fish tanks were found well mixed by tracer
//! (Watten and Beck 1987, Aquacultural Engineering 6:127-140).

use jiff::SignedDuration;

use claymark_model::units::{Litres, LitresPerMinute, Turbidity};

/// A stirred tank: its volume over the flow through it.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Residence {
    seconds: f64,
}

/// A rearing tank behind the head tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cascade {
    /// Of the head tank.
    pub head: Residence,
    /// Of the rearing tank.
    pub tank: Residence,
}

/// Turbidity of the head tank and of a rearing tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TurbidityPair {
    /// Of the head tank.
    pub head: Turbidity,
    /// Of the rearing tank.
    pub tank: Turbidity,
}

impl Residence {
    /// Of a tank with that flow through it; `None` when nothing flows.
    #[must_use]
    pub fn of(volume: Litres, flow: LitresPerMinute) -> Option<Self> {
        let time = flow.time_for(volume)?;
        (time > SignedDuration::ZERO).then(|| Self { seconds: time.as_secs_f64() })
    }

    /// The time constant.
    #[must_use]
    pub fn time(self) -> SignedDuration {
        SignedDuration::from_secs_f64(self.seconds)
    }

    /// The share of a step in its inflow that it shows after `after`.
    #[must_use]
    pub fn share(self, after: SignedDuration) -> f64 {
        -(-after.as_secs_f64() / self.seconds).exp_m1()
    }

    /// How long until it shows `share` of a step.
    #[must_use]
    pub fn wait(self, share: f64) -> SignedDuration {
        SignedDuration::from_secs_f64(-(-share.clamp(0.0, ALL)).ln_1p() * self.seconds)
    }

    /// After `after`, when it was at `from` and its inflow comes to `to`.
    #[must_use]
    pub fn after(self, from: Turbidity, to: Turbidity, after: SignedDuration) -> Turbidity {
        from + (to - from) * self.share(after)
    }
}

impl Cascade {
    /// F(t): the share of a step in the feed that the rearing tank shows after `after`.
    #[must_use]
    pub fn share(self, after: SignedDuration) -> f64 {
        let t = after.as_secs_f64().max(0.0);
        let rest = (-t / self.tank.seconds).exp() + self.passed_on(t);
        (1.0 - rest).clamp(0.0, 1.0)
    }

    /// How long until the rearing tank shows `share` of a step: the time to wait before measuring again.
    #[must_use]
    pub fn wait(self, share: f64) -> SignedDuration {
        let share = share.clamp(0.0, ALL);
        let shown = |t: f64| self.share(SignedDuration::from_secs_f64(t));
        let mut late = self.head.seconds + self.tank.seconds;
        while shown(late) < share {
            late *= 2.0;
        }
        let mut early = 0.0;
        while late - early > SHORTEST_S {
            let middle = f64::midpoint(early, late);
            if shown(middle) < share { early = middle } else { late = middle }
        }
        SignedDuration::from_secs_f64(late)
    }

    /// Both tanks after `after`, when the feed's turbidity has become `to`.
    #[must_use]
    pub fn after(self, from: TurbidityPair, to: Turbidity, after: SignedDuration) -> TurbidityPair {
        let t = after.as_secs_f64().max(0.0);
        let own = (from.tank - to) * (-t / self.tank.seconds).exp();
        let passed_on = (from.head - to) * self.passed_on(t);
        TurbidityPair { head: self.head.after(from.head, to, after), tank: to + own + passed_on }
    }

    /// Where the rearing tank will end, by an early reading; both tanks were at `from` when the feed changed.
    ///
    /// `None` while the share shown is so small that noise would be blown up tenfold.
    #[must_use]
    pub fn ends(self, from: Turbidity, read: Turbidity, after: SignedDuration) -> Option<Turbidity> {
        let share = self.share(after);
        (share >= LEAST_SHARE).then(|| from + (read - from) * (1.0 / share))
    }

    /// The share of a surplus in the head tank that stands in the rearing tank t minutes later:
    /// (t/tt) e^(-t/τ) (1 - e^-u)/u, with u = t |1/th - 1/tt| and τ the longer of the two, which stays exact
    /// where both are equal.
    fn passed_on(self, t: f64) -> f64 {
        let (head, tank) = (1.0 / self.head.seconds, 1.0 / self.tank.seconds);
        let apart = t * (head - tank).abs();
        let spread = if apart > 0.0 { -(-apart).exp_m1() / apart } else { 1.0 };
        t * tank * (-t * head.min(tank)).exp() * spread
    }
}

/// Later than this is for ever.
const ALL: f64 = 1.0 - 1e-9;

/// Nobody waits more exactly.
const SHORTEST_S: f64 = 0.01;

const LEAST_SHARE: f64 = 0.1;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::checks;

    fn residence(minutes: f64) -> Residence {
        Residence { seconds: minutes * 60.0 }
    }

    fn mins(minutes: f64) -> SignedDuration {
        SignedDuration::from_secs_f64(minutes * 60.0)
    }

    fn minutes(duration: SignedDuration) -> f64 {
        duration.as_secs_f64() / 60.0
    }

    #[test]
    fn one_stirred_tank_answers_a_step_as_the_textbook_says() {
        let tank = residence(30.0);
        for check in checks::of("cstr_step") {
            let [x] = check.inputs(["t_over_tau"]);
            check.accepts(tank.share(mins(30.0 * x)));
        }
        for check in checks::of("cstr_t_over_tau") {
            let [share] = check.inputs(["frac"]);
            check.accepts(tank.wait(share).as_secs_f64() / (30.0 * 60.0));
        }
        // Feed 50, tank 40, 30 min: 49 at 69.078 min; washed out with clean water 70 falls to 50 at 10.094 min.
        let at = |from, to, t| tank.after(Turbidity(from), Turbidity(to), mins(t)).0;
        assert!((at(40.0, 50.0, 69.078) - 49.0).abs() < 1e-4);
        assert!((at(70.0, 0.0, 10.094) - 50.0).abs() < 1e-3);
    }

    #[test]
    fn two_tanks_in_series_answer_as_the_gamma_distribution_says() {
        for check in checks::of("tanks_in_series") {
            let [x, n] = check.inputs(["t_over_tau", "n"]);
            assert!((n - 2.0).abs() < f64::EPSILON);
            let equal = Cascade { head: residence(10.0), tank: residence(10.0) };
            check.accepts(equal.share(mins(10.0 * x)));
        }
        for check in checks::of("tanks_in_series_wait") {
            let [share] = check.inputs(["frac"]);
            let equal = Cascade { head: residence(10.0), tank: residence(10.0) };
            check.accepts(equal.wait(share).as_secs_f64() / (10.0 * 60.0));
        }
    }

    #[test]
    fn the_stories_pass_their_limits_when_they_should() {
        // An invented room, worked out by hand: head 450 L at 51.2 L/min, 16 tanks of 280 L at 3.2 L/min.
        let cascade = |through: f64| Cascade {
            head: Residence::of(Litres(450.0), LitresPerMinute(through)).unwrap(),
            tank: Residence::of(Litres(280.0), LitresPerMinute(through / 16.0)).unwrap(),
        };
        // (through, from, to, limit, the head passes it after, the tanks after), minutes.
        for (through, from, to, limit, head, tank) in [
            (51.2, 65.0, 2.0 + 63.0 * 300.0 / 209.0, 80.0, 7.0, 79.0),
            (25.6, 65.0, 128.0, 80.0, 5.0, 66.0),
            (51.2, 65.0, 26.0, 50.0, 4.0, 51.0),
        ] {
            let share = (limit - from) / (to - from);
            let room = cascade(through);
            let (head_is, tank_is) = (minutes(room.head.wait(share)), minutes(room.wait(share)));
            assert!((head_is - head).abs() < 0.5 && (tank_is - tank).abs() < 1.0, "{head_is} {tank_is}");
        }
    }

    proptest! {
        #[test]
        fn the_general_formula_is_the_textbooks_where_that_has_no_hole(
            head in 1.0..60.0_f64, apart in 0.5..5.0_f64, t in 0.0..500.0_f64,
        ) {
            let tank = head + apart * head;
            let cascade = Cascade { head: residence(head), tank: residence(tank) };
            let textbook = 1.0 - (tank * (-t / tank).exp() - head * (-t / head).exp()) / (tank - head);
            prop_assert!((cascade.share(mins(t)) - textbook).abs() < 1e-9);
        }

        #[test]
        fn waiting_shows_more_and_an_early_reading_tells_the_end(
            head in 1.0..60.0_f64, tank in 1.0..200.0_f64, t in 1.0..500.0_f64, more in 0.1..100.0_f64,
            from in 0.0..100.0_f64, to in 0.0..100.0_f64, share in 0.05..0.99_f64,
        ) {
            let cascade = Cascade { head: residence(head), tank: residence(tank) };
            prop_assert!(cascade.share(mins(t)) <= cascade.share(mins(t + more)) + 1e-12);
            prop_assert!((cascade.share(cascade.wait(share)) - share).abs() < 1e-4);
            prop_assert!(cascade.wait(share) >= cascade.head.wait(share).max(cascade.tank.wait(share)) - mins(0.001));
            let pair = TurbidityPair { head: Turbidity(from), tank: Turbidity(from) };
            let read = cascade.after(pair, Turbidity(to), mins(t)).tank;
            if let Some(ends) = cascade.ends(Turbidity(from), read, mins(t)) {
                prop_assert!((ends.0 - to).abs() < 1e-6, "{ends:?}");
            }
        }

        #[test]
        fn clay_is_neither_made_nor_lost_on_its_way_through_both_tanks(
            head in 5.0..30.0_f64, tank in 5.0..60.0_f64, a in 0.0..100.0_f64, b in 0.0..100.0_f64, to in 0.0..100.0_f64,
        ) {
            // d(tank)/dt = (head - tank)/tt, by a central difference.
            let cascade = Cascade { head: residence(head), tank: residence(tank) };
            let from = TurbidityPair { head: Turbidity(a), tank: Turbidity(b) };
            let at = |t: f64| cascade.after(from, Turbidity(to), mins(t));
            for t in [1.0, 7.0, 40.0] {
                let rate = (at(t + 0.01).tank.0 - at(t - 0.01).tank.0) / 0.02;
                let carried = (at(t).head.0 - at(t).tank.0) / tank;
                prop_assert!((rate - carried).abs() < 1e-4, "{rate} {carried}");
            }
        }
    }
}
