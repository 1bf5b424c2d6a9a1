//! A refill that was written down counts from that moment, until the level can be believed and says otherwise.
//!
//! Freshly poured and stirred slurry foams, for half an hour and more: while it does, the level tells neither the old volume
//! nor the new one. So beside the hypotheses that the readings judge stands one more, in which it was done, and which is told:
//! forecast, sheet and evening check go by it. It isn't pruned and leads no other. It ends when the level shows the rise,
//! or when the level is calm and shows none; until that is settled, the earliest end is that of any hypothesis that fits
//! the readings, so that a slip of the pen hides no run-out.
//!
//! | stage | told | by |
//! |---|---|---|
//! | awaited | with it, unless no litres were written down | the pump (dead reckoning) |
//! | denied: the level is calm and shows no such rise | without it | the level |
//! | reckoned: no level is heard | with it, in all hypotheses | the pump |
//! | believed: the readings are of foam, and such as it makes probable | with it, by the leading hypothesis | the level |
//! | seen: the level shows it | with it | the level |

use super::facts::Facts;
use super::hours::minutes;
use super::hypothesis::{Hypothesis, Regime};
use super::log::{DrumEntry, DrumLog, Figures};
use super::state::Gaussian;
use super::tracker::{Phase, Tracker};
use super::tuning::{
    ADDED_SD, ASKED_HOURS, CONTRADICTS_SHARE, DENIED_HOURS, DENIED_READINGS, FOAMS_WHEN_POURED, LEAVES_HOURS,
    LEAVES_SHARE, LOG_APART_HOURS, PART_SHARE, POURED_LOG_PRIOR, STEP_LOG_ODDS, STEP_SHARE, UNFIT,
    UNKNOWN_ADDED_SHARE,
};
use super::written::{Rise, Stage, WrittenRefill, unseen};
use claymark_model::units::Litres;
use claymark_model::unseen::{Unseen, UnseenSign};

impl Tracker {
    /// Somebody wrote down a refill.
    pub(super) fn refill(&mut self, facts: &Facts, log: &DrumLog, (entry, figures): (&DrumEntry, Figures)) {
        if log.is_again(entry) {
            self.written.iter_mut().for_each(|written| written.again = true);
            return;
        }
        let Some(Figures { added: litres, .. }) = self.not_yet_shown(log, entry, figures) else { return };
        let silent = self.is_silent(facts);
        if let Some(few) = litres.filter(|litres| *litres < STEP_SHARE * self.size.span && !silent) {
            return self.pour(entry.at, few);
        }
        let base = self.told();
        let before = base.state.volume().mean;
        let (added, overfull) = self.room_for(before, litres);
        let written = |stage| {
            let (key, at) = (entry.key.clone(), entry.at);
            Box::new(WrittenRefill { key, at, figures, before, added, again: false, overfull, stage })
        };
        if silent {
            self.written = Some(written(Stage::Reckoned));
            self.add_blindly(added);
            return;
        }
        let partly = self.rise.is_some_and(|rise| (rise.at - entry.at).abs() < LOG_APART_HOURS);
        self.written = Some(if partly && self.is_calm() {
            written(Stage::Denied)
        } else {
            written(Stage::Awaited { hypothesis: self.poured(&base, added), was_denied: false })
        });
        if let Some(litres) = litres {
            self.pour(entry.at, litres);
        }
    }

    /// What of it the level hasn't shown already; `None`: it shows all.
    fn not_yet_shown(&self, log: &DrumLog, entry: &DrumEntry, figures: Figures) -> Option<Figures> {
        let shown = self.rise.filter(|rise| {
            let found = self.refilled.is_some_and(|then| (then - entry.at).abs() < LOG_APART_HOURS);
            found || (rise.at - entry.at).abs() < LOG_APART_HOURS
        });
        let Some(rise) = shown else { return Some(figures) };
        let all = log.litres_about(entry.at, LOG_APART_HOURS, entry)?;
        let missing = all - rise.added;
        let many = (CONTRADICTS_SHARE * self.size.span).max(PART_SHARE * all);
        (missing > many).then_some(Figures { added: Some(missing), ..figures })
    }

    /// What so many litres add to what was in it: the drum holds no more than the full line.
    fn room_for(&self, before: f64, litres: Option<f64>) -> (Gaussian, bool) {
        let room = (self.size.full - before).max(0.0);
        let Some(litres) = litres else {
            let (mean, sd) = UNKNOWN_ADDED_SHARE;
            return (Gaussian { mean: room * mean, sd: room * sd }, false);
        };
        let excess = (litres - room).max(0.0);
        let sd = (ADDED_SD * litres).hypot(0.5 * excess.min(room));
        (Gaussian { mean: litres.min(room), sd }, excess > CONTRADICTS_SHARE * self.size.span)
    }

    fn poured(&self, base: &Hypothesis, added: Gaussian) -> Hypothesis {
        let mut hypothesis = base.branch(Regime::Poured, self.at, POURED_LOG_PRIOR);
        hypothesis.state.add_volume(added);
        hypothesis.foam_probability = FOAMS_WHEN_POURED;
        hypothesis.draws |= self.phase == Phase::Dry;
        hypothesis
    }

    /// What is told: what was written down, while that counts, else the leading hypothesis.
    fn told(&self) -> Hypothesis {
        self.written
            .as_ref()
            .and_then(|written| written.counts())
            .map_or(self.lead, |(hypothesis, _)| hypothesis)
    }

    /// A refill was written down, and the level hasn't shown it.
    pub(super) fn awaits_a_rise(&self) -> bool {
        matches!(self.written.as_ref().map(|written| written.stage), Some(Stage::Awaited { .. }))
    }

    /// The level is steady and fits what is believed without a refill that was written down.
    fn is_calm(&self) -> bool {
        let moves = self.unfit.is_some() || self.foamed.is_some() || self.lead.froth_sd > 0.0;
        !moves && self.lead.is_steady() && !matches!(self.phase, Phase::Still { .. })
    }

    /// After each reading: whether the level is believed against what was written down.
    pub(super) fn judge_written(&mut self) {
        let calm = self.is_calm();
        let Some(mut written) = self.written.take() else { return };
        let young = self.at - written.at < LOG_APART_HOURS;
        written.stage = match written.stage {
            Stage::Awaited { hypothesis, .. }
                if calm
                    && hypothesis.log_odds < -STEP_LOG_ODDS
                    && hypothesis.readings >= DENIED_READINGS
                    && self.at - written.at >= DENIED_HOURS =>
            {
                Stage::Denied
            }
            Stage::Awaited { hypothesis, was_denied } => {
                // Whatever the pump does, it does with or without the refill.
                let draws = self.lead.draws || !matches!(self.phase, Phase::Drawn | Phase::Idle);
                Stage::Awaited { hypothesis: Hypothesis { draws, ..hypothesis }, was_denied }
            }
            Stage::Denied if young && (self.leaves_upward(&written) || self.dead().is_some()) => {
                Stage::Awaited { hypothesis: self.poured(&self.lead, written.added), was_denied: true }
            }
            Stage::Believed if calm => Stage::Seen,
            stage @ (Stage::Denied | Stage::Reckoned | Stage::Believed | Stage::Seen) => stage,
        };
        self.written = Some(written);
    }

    /// The readings have left the level upward for some minutes: that may be the pouring.
    fn leaves_upward(&self, written: &WrittenRefill) -> bool {
        let left = self.left.is_some_and(|left| self.at - left >= LEAVES_HOURS);
        let above = self.newest.is_some_and(|(_, reads)| {
            reads - self.lead.state.volume().mean > LEAVES_SHARE * written.added.mean
        });
        (left || self.lead.mean_weight < UNFIT) && above
    }

    /// The level rose, and that is believed, for that reason.
    pub(super) fn rose_by(&mut self, began: f64, added: f64, by: Regime) {
        let before =
            self.rise.filter(|rise| began - rise.at < LOG_APART_HOURS).map_or(0.0, |rise| rise.added);
        let rise = Rise { at: began, added: before + added };
        self.rise = Some(rise);
        let span = self.size.span;
        if let Some(written) = &mut self.written {
            let near = (began - written.at).abs() < LOG_APART_HOURS;
            written.stage = if by == Regime::Poured {
                Stage::Believed
            } else if near && !written.is_shown_by(rise.added, span) {
                Stage::Denied
            } else {
                Stage::Seen
            };
        }
    }

    /// What was taken for the rise was foam: the level has fallen back from where `old` had it.
    pub(super) fn rise_was_none(&mut self, old: &Hypothesis) {
        let fell = old.state.volume().mean - self.lead.state.volume().mean;
        let Some(mut written) = self.written.take() else { return };
        let lately = self.at - written.at < 2.0 * LOG_APART_HOURS;
        let was_done = matches!(written.stage, Stage::Seen | Stage::Believed);
        if lately && was_done && fell > MOST_OF_IT * written.added.mean {
            self.rise = None;
            written.stage = if self.is_calm() {
                Stage::Denied
            } else {
                let hypothesis = self.poured(&self.lead, written.added);
                Stage::Awaited { hypothesis, was_denied: true }
            };
        }
        self.written = Some(written);
    }

    /// Somebody looked at the mark after it was written down: the hypothesis that is nearer to what was read goes on.
    pub(super) fn look_settles_written(&mut self, litres: f64) {
        let Some(written) = self.written.take() else { return };
        if let Stage::Awaited { hypothesis, .. } = written.stage {
            let off = |hypothesis: &Hypothesis| (hypothesis.state.volume().mean - litres).abs();
            if off(&hypothesis) < off(&self.lead) {
                self.lead = Hypothesis { regime: Regime::Unchanged, log_odds: 0.0, ..hypothesis };
                self.others.clear();
                if self.phase == Phase::Dry {
                    self.phase = Phase::Drawn;
                }
            }
        }
    }

    /// What was written down leads from here on, where it is told; the hypotheses without it that fit the readings.
    pub(super) fn count_written(&mut self) -> Option<Vec<Hypothesis>> {
        let (hypothesis, was_denied) = self.written.as_ref()?.counts()?;
        let fits = |other: &Hypothesis| other.is_steady() && other.log_odds > hypothesis.log_odds;
        let rose = self.others.iter().filter(|other| other.regime == Regime::Rose);
        let mut without: Vec<Hypothesis> = rose.filter(|other| fits(other)).copied().collect();
        let heard = hypothesis.readings > 0.0 || self.newest.is_some_and(|(t, _)| self.at - t < HEARD_HOURS);
        if was_denied || heard && self.lead.is_steady() {
            without.push(self.lead);
        }
        self.lead = Hypothesis { regime: Regime::Unchanged, log_odds: 0.0, ..hypothesis };
        self.others.clear();
        if self.phase == Phase::Dry {
            self.phase = Phase::Drawn;
        }
        Some(without)
    }

    /// What the level doesn't show of what was written down.
    pub(super) fn unseen(&self) -> Option<Unseen> {
        let written = self.written.as_ref().filter(|written| self.at - written.at < ASKED_HOURS)?;
        let now = |hypothesis: &Hypothesis| Litres(hypothesis.state.volume().mean.clamp(0.0, self.size.brim));
        let (sign, after) = match &written.stage {
            Stage::Awaited { hypothesis, .. } => {
                (UnseenSign::Awaited, written.figures.added.map(|_| now(hypothesis)))
            }
            Stage::Denied => {
                let shows = now(&self.lead);
                (UnseenSign::Denied { shows }, Some(Litres(written.before + written.added.mean)))
            }
            Stage::Believed => (UnseenSign::Awaited, Some(now(&self.lead))),
            Stage::Reckoned => (UnseenSign::Reckoned, Some(now(&self.lead))),
            Stage::Seen => return None,
        };
        let before = Some(Litres(written.before.max(0.0)));
        let (again, overfull) = (written.again, written.overfull);
        Some(Unseen {
            before,
            after,
            sign,
            again,
            overfull,
            ..unseen(&written.key, written.at, written.figures)
        })
    }
}

/// h. A level that was last heard so long ago, and not since then, has nothing to say against it.
const HEARD_HOURS: f64 = minutes(3.0);
/// Share of what was written down by which a level falls back that hadn't risen.
const MOST_OF_IT: f64 = 0.5;
