//! When another hypothesis is believed: enough evidence, for long enough.
//!
//! Foam can feign anything for a while, so each regime must also have lasted: a high rise less long than a low one,
//! one that somebody wrote down least.

use super::facts::Facts;
use super::hours::{MINUTES_PER_HOUR, minutes};
use super::hypothesis::{Hypothesis, Regime};
use super::log::DrumLog;
use super::state::Gaussian;
use super::tracker::{Phase, Tracker};
use super::tuning::{
    BACK_LOG_ODDS, CHANGE_LOG_ODDS, CHANGE_SHARE, CHANGE_SIGMAS, CLOG_HOURS, CLOG_KNOWN_SD, CLOG_SHARE,
    CONTRADICTS_SHARE, DROP_HOURS, EMPTY_SHARE, EMPTY_STILL_SHARE, FAR_BACK_LOG_ODDS, FASTER_HOURS,
    FOAMED_RISE_HOURS, FROTH_ENDS_LOG_ODDS, FROTH_HOURS, FROTH_SEEN_HOURS, FROTH_SHARE, HINTED_LOG_ODDS,
    KNOWN_DRAW_SD, LEAK_HOURS, LEAK_KNOWN_SD, LEAK_LOG_ODDS, LEAK_SCATTERS, LEAK_SD, LEAK_SHARE,
    LOG_APART_HOURS, LOGGED_RISE_HOURS, MENDED_HOURS, MOST_CHANGE, POURED_LOG_ODDS, RISEN_SD_SHARE, RISES,
    SLOWER_HOURS, START_HOURS, STEADY, STEP_LOG_ODDS, STEP_SHARE, STOP_HOURS, UNFIT,
};
use claymark_model::happening::What;
use claymark_model::units::{Litres, LitresPerHour};

/// Something found, and when it began, hours since 1970.
pub(super) type Detection = (f64, What);

impl Tracker {
    /// Believes another hypothesis if it is time; says what that means.
    pub fn judge(&mut self, facts: &Facts, log: &DrumLog, found: &mut Vec<Detection>) {
        if let Some(place) = self.others.iter().position(|other| self.convinces(other, log)) {
            self.believe(place, facts, log, found);
        }
        self.may_be_dry(found);
        self.may_be_dead(log, found);
        self.may_be_clogging(found);
        self.judge_written();
    }

    fn convinces(&self, other: &Hypothesis, log: &DrumLog) -> bool {
        let age = self.at - other.since;
        let rise = other.state.volume().mean - self.lead.state.volume().mean;
        let steady = other.is_steady();
        match other.regime {
            Regime::Unchanged if self.lead.froth_sd > 0.0 => {
                other.log_odds > FROTH_ENDS_LOG_ODDS && steady && age >= FROTH_SEEN_HOURS
            }
            // A stuck sensor that comes back stands where reckoning says.
            Regime::Unchanged if matches!(self.phase, Phase::Still { .. }) => {
                other.log_odds > FAR_BACK_LOG_ODDS
                    || other.log_odds > BACK_LOG_ODDS && other.newest_weight > STEADY
            }
            Regime::Unchanged => {
                other.log_odds > BACK_LOG_ODDS
                    && (steady || self.lead.mean_weight < UNFIT && other.log_odds > FAR_BACK_LOG_ODDS)
            }
            Regime::Rose => steady && self.rise_convinces(other, log),
            // When it rose, the level may not yet have been known for as restless as it is.
            Regime::Foamed => {
                let stands_out = other.state.froth_height() > FOAM_SCATTERS * self.scatter();
                other.log_odds > STEP_LOG_ODDS && steady && age >= FROTH_SEEN_HOURS && stands_out
            }
            Regime::Poured => other.log_odds > POURED_LOG_ODDS && age >= LOGGED_RISE_HOURS,
            Regime::Dropped => rise < 0.0 && steady && other.log_odds > STEP_LOG_ODDS && age >= DROP_HOURS,
            Regime::Changed => steady && self.changed_draw_convinces(other),
            Regime::Hinted => other.log_odds > HINTED_LOG_ODDS && steady,
            Regime::Leaks | Regime::Mended => {
                other.log_odds > LEAK_LOG_ODDS && steady && self.leak_convinces(other)
            }
            Regime::Stopped => {
                other.log_odds > CHANGE_LOG_ODDS && age >= STOP_HOURS && other.mean_weight > STEADY
            }
            Regime::Started => {
                // A level that hardly falls isn't drawn from.
                let by = other.state.log_draw().mean - self.lead.state.log_draw().mean;
                let fell = other.draw(&self.size).mean * age;
                let seen = !self.told_off || fell > SEEN_FALL * self.scatter();
                other.log_odds > CHANGE_LOG_ODDS && age >= START_HOURS && by.abs() < MOST_CHANGE && seen
            }
        }
    }

    fn rise_convinces(&self, rose: &Hypothesis, log: &DrumLog) -> bool {
        let share = (rose.state.volume().mean - self.lead.state.volume().mean) / self.size.span;
        let foamed = self.unfit.is_some_and(|unfit| rose.since - unfit > IN_FOAM_HOURS);
        let dwell = if foamed || self.contradicts_log(rose) {
            Some(FOAMED_RISE_HOURS)
        } else if self.is_logged(log, rose.since) {
            Some(LOGGED_RISE_HOURS)
        } else {
            dwell(share)
        };
        share > STEP_SHARE / 2.0
            && rose.log_odds - self.foamed_log_odds() > STEP_LOG_ODDS
            && dwell.is_some_and(|dwell| self.at - rose.since >= dwell)
    }

    fn changed_draw_convinces(&self, changed: &Hypothesis) -> bool {
        let (new, old) = (changed.state.log_draw(), self.lead.state.log_draw());
        let by = new.mean - old.mean;
        let lasts = if by > 0.0 { FASTER_HOURS } else { SLOWER_HOURS };
        changed.log_odds > CHANGE_LOG_ODDS
            && self.at - changed.since >= lasts
            && (CHANGE_SHARE..=MOST_CHANGE).contains(&by.abs())
            && by.abs() >= CHANGE_SIGMAS * new.sd
    }

    /// A leak falls smoothly and much faster than the line: no step, no dying froth.
    fn leak_convinces(&self, other: &Hypothesis) -> bool {
        let (new, old) = (other.state.log_draw(), self.lead.state.log_draw());
        let by = (new.mean - old.mean).abs();
        let apart = (other.state.volume().mean - self.lead.state.volume().mean).abs();
        let froths = self.refilled.is_some_and(|refilled| self.at - refilled < FROTH_HOURS);
        let least = if froths { FROTH_SHARE * self.size.span } else { LEAK_SCATTERS * self.scatter() };
        let (least_by, hours) = if other.regime == Regime::Leaks {
            (if self.lead.draws { LEAK_SHARE } else { 0.0 }, LEAK_HOURS)
        } else {
            (0.0, MENDED_HOURS)
        };
        by > least_by.max(CHANGE_SIGMAS * new.sd)
            && new.sd < LEAK_KNOWN_SD
            && apart > least
            && self.at - other.since >= hours
    }

    /// How probable it is that foam stands on the level.
    fn foamed_log_odds(&self) -> f64 {
        let foamed = self.others.iter().filter(|other| other.regime == Regime::Foamed);
        foamed.map(|foamed| foamed.log_odds).fold(0.0, f64::max)
    }

    /// Somebody wrote down quite other litres just now.
    fn contradicts_log(&self, rose: &Hypothesis) -> bool {
        let apart = |poured: &&Hypothesis| {
            (poured.state.volume().mean - rose.state.volume().mean).abs() > CONTRADICTS_SHARE * self.size.span
        };
        self.others.iter().filter(|other| other.regime == Regime::Poured).any(|poured| apart(&poured))
    }

    /// Somebody wrote down a refill about `t` that isn't the last one found.
    pub fn is_logged(&self, log: &DrumLog, t: f64) -> bool {
        let taken = self.refilled.is_some_and(|refilled| (t - refilled).abs() < 2.0 * LOG_APART_HOURS);
        log.refills_about(t, LOG_APART_HOURS) > usize::from(taken)
    }

    fn believe(&mut self, place: usize, facts: &Facts, log: &DrumLog, found: &mut Vec<Detection>) {
        let (left, unfit) = (self.left, self.unfit);
        let old = self.promote(place);
        let regime = std::mem::replace(&mut self.lead.regime, Regime::Unchanged);
        let began = left
            .map_or(self.lead.since, |left| left.min(self.lead.since).max(self.lead.since - POURING_HOURS));
        match regime {
            Regime::Unchanged => {
                self.go_back();
                self.rise_was_none(&old);
            }
            Regime::Rose | Regime::Poured => self.rose((began, regime), &old, log, found),
            Regime::Foamed => self.others.retain(|other| other.regime != Regime::Foamed),
            Regime::Dropped => self.dropped(began, &old, found),
            Regime::Changed => self.changed(&old, found),
            Regime::Hinted => {
                self.changed(&old, found);
                // The other sensor may be wrong.
                self.others.push(Hypothesis { regime: Regime::Unchanged, since: self.at, ..old });
            }
            Regime::Leaks => {
                self.leak_from = Some(old.state.log_draw().mean);
                if old.draws {
                    self.changed(&old, found)
                } else {
                    self.started(log, found)
                }
                // Some minutes tell a draw roughly.
                self.lead.state.shift_draw(Gaussian { mean: 0.0, sd: LEAK_SD });
                // It may have been a bucket that was taken out, or a sensor that came back.
                self.others.push(Hypothesis { regime: Regime::Unchanged, since: self.at, ..old });
            }
            Regime::Mended => {
                self.leak_from = None;
                self.changed(&old, found);
            }
            Regime::Stopped => self.stopped(&old, facts, log, found),
            Regime::Started => self.started(log, found),
        }
        if regime == Regime::Foamed {
            self.foamed = Some(unfit.map_or(began, |unfit| unfit.min(began)));
        } else {
            self.lead.since = self.at;
        }
        if regime == Regime::Poured {
            // The log was believed, not the readings.
            let foamed = self.lead.mean_weight < UNFIT;
            self.unfit = unfit.or(foamed.then_some(self.at - 1.01 * IN_FOAM_HOURS));
        } else {
            self.lead.mean_weight = 1.0;
        }
    }

    /// What was taken for a step or a stop was foam or a stuck sensor.
    fn go_back(&mut self) {
        self.phase = if self.lead.draws { Phase::Drawn } else { Phase::Idle };
        self.others.clear();
    }

    fn rose(
        &mut self,
        (began, by): (f64, Regime),
        old: &Hypothesis,
        log: &DrumLog,
        found: &mut Vec<Detection>,
    ) {
        let to = self.lead.state.volume().mean;
        let added = to - old.state.volume().mean;
        let logged = self.is_logged(log, began);
        found.push((began, What::Refilled { added: Litres(added), to: Litres(to), logged }));
        self.refilled = Some(self.at);
        self.rose_by(began, added, by);
        self.since = began;
        if self.lead.draws {
            self.phase = Phase::Drawn;
        }
        // Freshly stirred slurry foams; the level isn't yet what it will be.
        self.lead.state.add_volume(Gaussian { mean: 0.0, sd: RISEN_SD_SHARE * self.size.span });
        self.others.clear();
        self.others.push(Hypothesis { regime: Regime::Unchanged, since: self.at, ..*old });
    }

    fn dropped(&mut self, began: f64, old: &Hypothesis, found: &mut Vec<Detection>) {
        let taken = old.state.volume().mean - self.lead.state.volume().mean;
        let froth = self.refilled.is_some_and(|refilled| self.at - refilled < FROTH_HOURS);
        self.rise_was_none(old);
        if self.wiped.is_some_and(|wiped| (began - wiped).abs() < LOG_APART_HOURS) {
            found.push((began, What::SensorShifted { by: Litres(-taken) }));
        } else if !froth && taken > STEP_SHARE * self.size.span {
            found.push((
                began,
                What::TakenOut { taken: Litres(taken), to: Litres(self.lead.state.volume().mean) },
            ));
            self.since = began;
        }
        self.others.clear();
    }

    fn changed(&mut self, old: &Hypothesis, found: &mut Vec<Detection>) {
        let volume = self.lead.state.volume().mean;
        let from = old.state.draw_at(&self.size, volume).mean;
        let to = self.lead.state.draw_at(&self.size, volume).mean;
        self.since = self.lead.since;
        self.steps_down += u32::from(to < from);
        if to > from {
            self.new_setting();
        }
        found.push((self.since, What::DrawChanged { from: LitresPerHour(from), to: LitresPerHour(to) }));
        self.others.clear();
    }

    fn started(&mut self, log: &DrumLog, found: &mut Vec<Detection>) {
        let draw = LitresPerHour(self.lead.draw(&self.size).mean);
        let off = log.rpm(self.at).is_some_and(|rpm| rpm <= 0.0) || log.here(self.at) == Some(false);
        let still = matches!(self.phase, Phase::Still { .. });
        self.phase = Phase::Drawn;
        self.since = self.lead.since;
        self.others.clear();
        if !still {
            found.push((self.since, if off { What::Leaking { draw } } else { What::Draws { draw } }));
        }
    }

    fn stopped(&mut self, old: &Hypothesis, facts: &Facts, log: &DrumLog, found: &mut Vec<Detection>) {
        let since = self.lead.since;
        let over = self.lead.state.volume().mean - self.size.heel;
        self.others.clear();
        self.since = since;
        if over <= EMPTY_STILL_SHARE * self.size.span {
            found.push((since, What::RanEmpty));
            self.phase = Phase::Dry;
        } else if self.should_draw(old, facts, log) {
            let then = self.lead;
            found.push((since, self.stands_still(log, since, false)));
            self.stand_still(since, then);
        } else {
            self.phase = Phase::Idle;
            found.push((since, What::Rests { volume: Litres(self.lead.state.volume().mean) }));
        }
    }

    fn stands_still(&self, log: &DrumLog, since: f64, frozen: bool) -> What {
        What::StandsStill {
            volume: Litres(self.lead.state.volume().mean),
            rpm: log.rpm(self.at),
            minutes: (self.at - since) * MINUTES_PER_HOUR,
            frozen,
        }
    }

    /// Readings that are the same to the last digit aren't those of a drum that is drawn.
    fn may_be_dead(&mut self, log: &DrumLog, found: &mut Vec<Detection>) {
        if self.phase != Phase::Drawn {
            return;
        }
        let Some((since, then)) = self.dead() else { return };
        let mut stands = then;
        stands.draws = false;
        self.lead = Hypothesis { log_odds: 0.0, since, ..stands };
        found.push((since, self.stands_still(log, since, true)));
        self.stand_still(since, then);
    }

    /// A draw that falls by and by at the same setting; one step down is a changed draw, two are a clog.
    fn may_be_clogging(&mut self, found: &mut Vec<Detection>) {
        let draw = self.lead.state.log_draw();
        let well_known = draw.sd < CLOG_KNOWN_SD && self.phase == Phase::Drawn && self.unfit.is_none();
        if !well_known {
            return;
        }
        let Some((since, before)) = self.setting else {
            self.setting = Some((self.at, draw.mean));
            return;
        };
        if draw.mean > before {
            self.setting = Some((self.at, draw.mean));
        } else if before - draw.mean > CLOG_SHARE && self.at - since > CLOG_HOURS && self.steps_down != 1 {
            let now = self.lead.draw(&self.size).mean;
            let from = LitresPerHour(now * (before - draw.mean).exp());
            found.push((since, What::Clogging { from, to: LitresPerHour(now) }));
            self.new_setting();
        }
    }

    /// Reckoning goes on from before the level stood still.
    fn stand_still(&mut self, since: f64, then: Hypothesis) {
        self.phase = Phase::Still { since };
        self.since = since;
        let mut reckoned =
            Hypothesis { draws: true, regime: Regime::Unchanged, since, log_odds: -STILL_LEAD, ..then };
        reckoned.set_froth(0.0);
        reckoned.state.predict(&self.size, self.at - since, true, &self.noise.ripple(), 0.0);
        self.others.clear();
        self.others.push(reckoned);
    }

    fn should_draw(&self, old: &Hypothesis, facts: &Facts, log: &DrumLog) -> bool {
        let (rpm, here) = (log.rpm(self.at), log.here(self.at));
        let known = old.state.log_draw().sd < KNOWN_DRAW_SD;
        match (rpm, here) {
            (Some(rpm), _) if rpm <= 0.0 => false,
            (_, Some(false)) => false,
            // Another drum may be drawn instead; but then the air goes on rippling this one.
            (_, None) if facts.shared => known && self.noise.is_dead(),
            (Some(_), _) => true,
            (None, _) => known,
        }
    }

    fn may_be_dry(&mut self, found: &mut Vec<Detection>) {
        let empty = self.size.heel + EMPTY_SHARE * self.size.span;
        if self.phase == Phase::Drawn && self.lead.state.volume().mean <= empty && self.unfit.is_none() {
            self.phase = Phase::Dry;
            self.since = self.at;
            self.others.clear();
            found.push((self.at, What::RanEmpty));
        }
    }
}

/// How long an unlogged rise by that share must stand.
fn dwell(share: f64) -> Option<f64> {
    RISES.iter().find(|(least, _)| share >= *least).map(|(_, hours)| *hours)
}

/// h. Readings that didn't fit for so long before a rise are of foam.
const IN_FOAM_HOURS: f64 = minutes(25.0);
/// h. Pouring takes no longer.
const POURING_HOURS: f64 = minutes(4.0);
/// Scatters. By so much a level must have fallen of which somebody said that nothing draws from it.
const SEEN_FALL: f64 = 3.0;
/// Scatters. Foam that stands no higher is the restlessness of the level.
const FOAM_SCATTERS: f64 = 4.0;
/// By so much (ln) a level that stands still is believed against a pump that goes on.
const STILL_LEAD: f64 = 10.0;
