//! Dead reckoning: from the last volume that can be believed, by what is known of the pump.

use super::facts::Facts;
use super::fit::Belief;
use super::hands::Act;
use super::line::{Line, Sym3};
use super::track::{Motion, Stillness, Track, View};
use super::tuning::{
    CARRIED_FREEDOM, LEARNED_RATE_SD, RATING_SD, RECKONED_AT_MOST, RECKONED_DRAW_SD, UNEXPLAINED_DRAW_SD,
    VOLUME_FLOOR_SHARE,
};

/// A draw that was seen, and at which pump speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct KnownDraw {
    pub draw: Belief,
    /// Volume in the drum then, L.
    pub volume: f64,
    /// Where somebody wrote it down.
    pub rpm: Option<f64>,
}

impl KnownDraw {
    /// The draw at `rpm`: as seen, in proportion to the speed, or by the rating.
    pub fn at(known: Option<&Self>, rpm: Option<f64>, facts: &Facts) -> Option<Belief> {
        let share = |mean: f64, share: f64| Belief { mean, sd: share * mean };
        let rated = || Some(share(facts.rating? * rpm?, RATING_SD));
        let Some(Self { draw, rpm: seen, .. }) = known else { return rated() };
        match (*seen, rpm) {
            (Some(seen), Some(rpm)) if (seen - rpm).abs() > f64::EPSILON * rpm && seen > 0.0 => {
                let scaled = draw.mean * rpm / seen;
                let sd = (draw.sd / draw.mean).hypot(LEARNED_RATE_SD) * scaled;
                Some(Belief { mean: scaled, sd })
            }
            (None, Some(_)) => rated().or(Some(share(draw.mean, UNEXPLAINED_DRAW_SD))),
            (Some(_) | None, None) | (Some(_), Some(_)) => Some(*draw),
        }
    }
}

/// Why dead reckoning says nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lost {
    /// No volume was ever known.
    NoVolume,
    /// No draw is known.
    NoDraw,
    /// It has gone on for too long.
    TooLong,
}

/// Where dead reckoning has come to.
pub(super) struct Reckoned {
    /// From `view.now` on.
    pub line: Line,
    /// Whether the pump draws from here.
    pub runs: bool,
}

/// Dead reckoning since `since`.
pub(super) fn reckoned(track: &Track, view: &View<'_>, since: f64) -> Result<Reckoned, Lost> {
    let mut walk = Walk::from(track, view, since).ok_or(Lost::NoVolume)?;
    for hand in view.hands.between(walk.t, view.now) {
        walk.draw_until(hand.at, view.facts);
        match hand.act {
            Act::Pump { rpm } => {
                walk.runs = rpm > 0.0;
                if walk.runs {
                    walk.draw = KnownDraw::at(track.known_draw.or(view.lent).as_ref(), Some(rpm), view.facts);
                }
            }
            Act::InUse { here } => walk.runs = here,
            Act::Refill { added } => walk.refill(added, view.facts),
            Act::Dip { volume } => walk.read(volume),
            Act::RefillSomewhere => {}
        }
    }
    walk.draw_until(view.now, view.facts);
    if view.now - walk.read_at > RECKONED_AT_MOST {
        return Err(Lost::TooLong);
    }
    let draw = walk.draw.ok_or(Lost::NoDraw)?;
    let sd = draw.sd.hypot(RECKONED_DRAW_SD * draw.mean * (1.0 + view.now - walk.read_at).sqrt());
    let span = view.facts.span();
    let bend = draw.mean * draw.mean / span;
    let covariance = Sym3 {
        vv: walk.variance + (sd * walk.drawn_hours).powi(2),
        vq: -sd * sd * walk.drawn_hours,
        qq: sd * sd,
        bb: (track.fading().sd * bend).powi(2),
        ..Sym3::default()
    };
    let floor = VOLUME_FLOOR_SHARE * span;
    let b = track.fading().mean * bend;
    let line = Line { v: walk.volume, q: draw.mean, b, covariance, freedom: CARRIED_FREEDOM, floor };
    Ok(Reckoned { line, runs: walk.runs })
}

/// A volume on its way to `now`.
struct Walk {
    t: f64,
    volume: f64,
    variance: f64,
    draw: Option<Belief>,
    runs: bool,
    /// Since the volume was last read the pump has drawn for so long, h.
    drawn_hours: f64,
    read_at: f64,
}

impl Walk {
    fn from(track: &Track, view: &View<'_>, since: f64) -> Option<Self> {
        let draw = |volume: f64| track.draw_if_on(view, volume);
        let start = |t: f64, volume: Belief, draw: Option<Belief>, runs: bool| Self {
            t,
            volume: volume.mean,
            variance: volume.sd * volume.sd,
            draw,
            runs,
            drawn_hours: 0.0,
            read_at: t,
        };
        let from_level = match (track.motion, track.fit) {
            (Motion::Still { volume, because: Stillness::Idle | Stillness::Empty, .. }, _) => {
                Some(start(since, Belief { mean: volume, sd: 0.0 }, draw(volume), false))
            }
            (Motion::Still { because: Stillness::Unexplained, .. } | Motion::Falling, Some(fit)) => {
                // From where the line was last believed: a refill that was written down since then counts.
                let since = since.min(fit.at);
                let then = fit.line.moved(since - fit.at);
                let volume = Belief { mean: then.v, sd: then.covariance.vv.max(0.0).sqrt() };
                let draw = Belief { mean: then.q.max(0.0), sd: then.covariance.qq.max(0.0).sqrt() };
                Some(start(since, volume, Some(draw), true))
            }
            (Motion::Still { .. } | Motion::Falling, None) => None,
        };
        from_level.or_else(|| {
            let (t, volume) = view.hands.dip(view.now)?;
            let runs = view.hands.rpm(t) != Some(0.0) && view.hands.here(t) != Some(false);
            Some(start(t, volume, draw(volume.mean), runs))
        })
    }

    fn draw_until(&mut self, t: f64, facts: &Facts) {
        let hours = (t - self.t).max(0.0);
        self.t = self.t.max(t);
        if let (true, Some(draw)) = (self.runs, self.draw) {
            self.drawn_hours += hours;
            // The pump lifts nothing from below the heel.
            self.volume = (self.volume - draw.mean * hours).max(facts.heel.min(self.volume));
        }
    }

    fn refill(&mut self, added: Option<f64>, facts: &Facts) {
        match added {
            Some(litres) => {
                self.volume = (self.volume + litres).min(facts.brim());
                self.variance += (ADDED_SD * litres).powi(2);
            }
            None => {
                // Somewhere between what was there and full.
                let room = (facts.full - self.volume).max(0.0);
                self.volume += room / 2.0;
                self.variance += room * room / 12.0;
            }
        }
    }

    fn read(&mut self, volume: Belief) {
        self.volume = volume.mean;
        self.variance = volume.sd * volume.sd;
        self.drawn_hours = 0.0;
        self.read_at = self.t;
    }
}

/// Added litres are known by marks on a bucket.
const ADDED_SD: f64 = 0.05;
