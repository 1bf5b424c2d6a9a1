//! The accounts of a drum that are still probable, and the leading one.
//!
//! Whenever a reading stands off the line, and every few minutes in any case, an account parts from the leading one:
//! the level rose here, it fell here, the draw changed here, it stopped here. All are carried on side by side and
//! judged by the same readings, so that "refill or foam" and "slower or foam" are decided by evidence, as soon
//! as there is enough, and the decision can be taken back while the other account lives: multiple hypotheses as in
//! Reid (IEEE Trans. Autom. Control 24:843, 1979, from memory).

use super::hypothesis::{Account, Turn};
use super::noise::Noise;
use super::state::{Belief, Ripple, State, Vessel, sight};
use super::tuning::{
    ACCOUNT_HOURS, AGES_HOURS, BACK_PRIOR, CHANGE_PRIOR, CHANGE_SD, DEAD_FALL_SHARE, DEAD_HOURS, DROP_PRIOR,
    FEW_ODDS, FROTH_ENDS_PRIOR, FROTH_HOURS, FROTH_PRIOR, FROTH_SPREAD, HIDDEN_SCATTERS, HIDDEN_SHARE,
    HIGHEST_FROTH_SHARE, LEAST_WEIGHT, LOGGED_RISE_PRIOR, LONG_ODDS_HOURS, LOOSE_PRIOR, NOT_DONE_PRIOR,
    OUT_OF_FOAM_PRIOR, PARTS_HOURS, RISE_PRIOR, START_PRIOR, STARTED_SD, STEP_SHARE, STOP_PRIOR, UNFIT,
    WELL_FIT,
};
use super::written::{Rise, Written};

/// What the drum is doing, as far as is believed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Phase {
    /// The pump draws from it.
    Drawn,
    /// Nothing draws from it, and nothing should.
    Idle,
    /// The level stands although the pump should draw: stopped, or the sensor is stuck. Since when, h since 1970.
    Still { since: f64 },
    /// Nothing is left that the pump could lift.
    Dry,
}

/// All that is believed of a drum at one time.
#[derive(Debug, Clone)]
pub(super) struct Bank {
    /// Up to when, hours since 1970.
    pub at: f64,
    pub vessel: Vessel,
    /// The account that is believed.
    pub lead: Account,
    /// The others.
    pub others: Vec<Account>,
    pub phase: Phase,
    pub noise: Noise,
    /// Since when the draw has been what it is.
    pub since: f64,
    /// Own time and litres of the newest minute.
    pub newest: Option<(f64, f64)>,
    /// Since when the readings haven't fitted.
    pub unfit: Option<f64>,
    /// Since when foam stands on the level, if it does.
    pub foamed: Option<f64>,
    /// When the readings left the line, if they are off it now.
    pub left: Option<f64>,
    /// Draw (ln, at the full line) at the present setting, and since when it is followed, h since 1970.
    pub setting: Option<(f64, f64)>,
    /// Sudden falls of the draw at that setting.
    pub steps_down: u32,
    /// Somebody said that nothing draws from it.
    pub told_off: bool,
    /// When the sensor was last wiped.
    pub wiped: Option<f64>,
    /// When slurry last came in.
    pub refilled: Option<f64>,
    /// The rise that the level showed last.
    pub rise: Option<Rise>,
    /// The refill that was written down last, until the level shows it.
    pub written: Option<Box<Written>>,
    parted: f64,
    /// When the first minute was read, hours since 1970.
    pub began: f64,
    /// Up to when log entries have been heard, hours since 1970.
    pub heard: f64,
    /// Since when the readings have been the same to the last digit, and what was believed then.
    same: Option<Box<(f64, Account)>>,
    read_before: Option<f64>,
    /// Older beliefs than this one were forgotten.
    pub forgot: bool,
}

impl Bank {
    /// At the first minute.
    pub fn new(vessel: Vessel, at: f64, reads: f64, draw: Option<Belief>, phase: Phase) -> Self {
        let noise = Noise::usual(vessel.span);
        let volume = Belief { mean: reads, sd: FIRST_SCATTERS * noise.scatter() };
        let draws = phase == Phase::Drawn;
        Self {
            at,
            vessel,
            lead: Account::new(State::first(&vessel, volume, draw), at, draws),
            others: Vec::new(),
            phase,
            noise,
            since: at,
            newest: Some((at, reads)),
            unfit: None,
            foamed: None,
            left: None,
            setting: None,
            steps_down: 0,
            told_off: phase == Phase::Idle,
            wiped: None,
            refilled: None,
            rise: None,
            written: None,
            parted: at,
            began: at,
            heard: at,
            same: None,
            read_before: Some(reads),
            forgot: false,
        }
    }

    /// Carries all accounts on to `t` without a reading.
    pub fn go_to(&mut self, t: f64) {
        let hours = t - self.at;
        if hours <= 0.0 {
            return;
        }
        let (vessel, ripple) = (self.vessel, self.noise.ripple());
        self.each(|account| account.predict(&vessel, hours, &ripple));
        self.at = t;
    }

    /// Takes a minute; `likely_refill`: somebody wrote down a refill about now.
    pub fn take(&mut self, t: f64, reads: f64, likely_refill: bool) {
        let follows = self.newest.is_some_and(|(last, _)| t - last < FOLLOWS_HOURS);
        if let Some((_, before)) = self.newest.filter(|_| follows) {
            self.noise.moved(reads - before);
        }
        self.go_to(t);
        let (vessel, ripple, before) = (self.vessel, self.noise.ripple(), self.lead);
        let sight = sight(t);
        self.lead.take(&sight, reads, &vessel, &ripple);
        let stuck = matches!(self.phase, Phase::Still { .. }) && self.lead.newest > WELL_FIT;
        // What a stuck sensor says mustn't draw the reckoning along.
        let odds = self.lead.odds;
        for other in &mut self.others {
            let believed = other.state;
            other.take(&sight, reads, &vessel, &ripple);
            if stuck && other.turn == Turn::Goes {
                other.state = believed;
            }
        }
        if let Some(account) = self.written.as_mut().and_then(|written| written.account_mut()) {
            account.take(&sight, reads, &vessel, &ripple);
        }
        self.each(|account| account.odds -= odds);
        if let Phase::Still { .. } = self.phase {
            // A stuck sensor may come back at any minute.
            let reckons = |other: &&mut Account| other.turn == Turn::Goes;
            self.others.iter_mut().filter(reckons).for_each(|other| other.odds = other.odds.max(BACK_PRIOR));
        }
        self.lead.teach(&mut self.noise, &sight, reads, follows);
        self.newest = Some((t, reads));
        // Foam that falls in on itself soon comes again.
        if self.lead.froth <= 0.0 && self.lead.fits > CALM_AGAIN.0 && t - self.lead.since > CALM_AGAIN.1 {
            self.foamed = None;
        }
        self.note_sameness(t, reads, &before);
        self.note_fit(t);
        self.part_steps(t, reads, &before, &ripple, likely_refill);
        self.part_turns(t);
        self.part_froth(t);
        self.prune(t);
    }

    /// The account at that place leads from now on; the one before stays as one of the others.
    pub fn follow(&mut self, place: usize) -> Account {
        let next = self.others.swap_remove(place);
        let old = std::mem::replace(&mut self.lead, Account { odds: 0.0, ..next });
        for other in &mut self.others {
            other.odds -= next.odds;
        }
        if let Some(account) = self.written.as_mut().and_then(|written| written.account_mut()) {
            account.odds -= next.odds;
        }
        self.unfit = None;
        self.left = None;
        Account { odds: -next.odds, ..old }
    }

    /// A copy to come back to, with so many of the other accounts, the best.
    pub fn kept(&self, others: usize) -> Self {
        let others = self.others.iter().take(others).copied().collect();
        Self { others, same: self.same.clone(), written: self.written.clone(), ..*self }
    }

    /// The same for all accounts.
    pub fn each(&mut self, mut change: impl FnMut(&mut Account)) {
        change(&mut self.lead);
        self.others.iter_mut().for_each(&mut change);
        self.written.iter_mut().filter_map(|written| written.account_mut()).for_each(change);
    }

    /// The pump or its line is another from here on.
    pub fn new_setting(&mut self) {
        self.setting = None;
        self.steps_down = 0;
    }

    /// Usual standard deviation of a minute, L.
    pub fn scatter(&self) -> f64 {
        self.noise.scatter()
    }

    /// What strapping table and sensor may be wrong by without the level showing it, L: a sensor that is restless within
    /// minutes isn't true over days.
    pub fn hidden(&self) -> f64 {
        (HIDDEN_SHARE * self.vessel.span).hypot(HIDDEN_SCATTERS * self.noise.scatter())
    }

    /// The readings haven't moved for so long that the sensor must be dead, or the pump and the air with it; since when,
    /// and what was believed then.
    pub fn dead(&self) -> Option<(f64, Account)> {
        let (since, then) = **self.same.as_ref()?;
        let hours = self.at - since;
        let fall = then.draw(&self.vessel).mean * hours;
        (hours >= DEAD_HOURS && fall >= DEAD_FALL_SHARE * self.vessel.span).then_some((since, then))
    }

    fn note_sameness(&mut self, t: f64, reads: f64, before: &Account) {
        let same = self.read_before.is_some_and(|last| (last - reads).abs() < SAME_LITRES);
        self.read_before = Some(reads);
        if !same {
            self.same = None;
        } else if self.same.is_none() {
            self.same = Some(Box::new((t, *before)));
        }
    }

    fn note_fit(&mut self, t: f64) {
        if self.lead.newest < LEAST_WEIGHT {
            self.left.get_or_insert(t);
        } else if self.lead.newest > WELL_FIT && self.lead.fits > WELL_FIT {
            self.left = None;
        }
        if self.lead.fits < UNFIT {
            self.unfit = self.unfit.or(self.left).or(Some(t));
        } else if self.lead.fits > WELL_FIT {
            self.unfit = None;
        }
    }

    /// A reading that stands off the line may be a new level.
    fn part_steps(&mut self, t: f64, reads: f64, before: &Account, ripple: &Ripple, likely_refill: bool) {
        if self.lead.newest >= LEAST_WEIGHT {
            return;
        }
        let off = reads - before.state.expected(&sight(t), ripple).0;
        // Out of foam the level may come back a little lower than it was believed to be.
        let share = if self.unfit.is_some() && off < 0.0 { STEP_SHARE / 4.0 } else { STEP_SHARE };
        let least = (share * self.vessel.span).max(STEP_SCATTERS * self.scatter());
        if off.abs() < least || self.others.iter().any(|other| is_step(other) && other.newest > LEAST_WEIGHT)
        {
            return;
        }
        let (turn, prior) = match (off > 0.0, likely_refill) {
            (true, true) => (Turn::Rose, LOGGED_RISE_PRIOR),
            (true, false) => (Turn::Rose, RISE_PRIOR),
            (false, _) if self.unfit.is_some() => (Turn::Dropped, OUT_OF_FOAM_PRIOR),
            (false, _) => (Turn::Dropped, DROP_PRIOR),
        };
        // Beforehand, a new level is as probable anywhere in the drum.
        let mut account = self.lead.part(turn, t, prior - self.vessel.span.ln() - self.lead.told);
        account
            .state
            .set_volume(Belief { mean: reads - account.state.daily(&sight(t)), sd: self.scatter() }, ripple);
        account.foaming = CALM;
        if turn == Turn::Rose && self.phase == Phase::Dry {
            account.draws = true;
        }
        let mut loose = account;
        loose.odds += LOOSE_PRIOR;
        loose.state.shift_draw(Belief { mean: 0.0, sd: CHANGE_SD });
        self.others.push(account);
        // Whoever refills may also turn the pump.
        self.others.push(loose);
        if off > 0.0 && off < HIGHEST_FROTH_SHARE * self.vessel.span {
            let mut foamed =
                self.lead.part(Turn::Foamed, t, FROTH_PRIOR - (FROTH_SPREAD * off).ln() - self.lead.told);
            foamed.foam(off);
            self.others.push(foamed);
        }
    }

    /// Every few minutes the draw may have changed, stopped or started.
    fn part_turns(&mut self, t: f64) {
        // What parts in foam has seen nothing but foam.
        if t - self.parted < PARTS_HOURS || self.phase == Phase::Dry || self.unfit.is_some() {
            return;
        }
        self.parted = t;
        let told_off = self.told_off;
        let froths = self.refilled.is_some_and(|refilled| t - refilled < FROTH_HOURS);
        let mut part = |turn: Turn, prior: f64, draws: bool, sd: f64| {
            let mut account = self.lead.part(turn, t, prior);
            account.draws = draws;
            account.state.shift_draw(Belief { mean: 0.0, sd });
            self.others.push(account);
        };
        if self.lead.draws {
            // Dying froth looks like a faster draw.
            if !froths {
                part(Turn::Changed, CHANGE_PRIOR, true, CHANGE_SD);
            }
            part(Turn::Stopped, STOP_PRIOR, false, 0.0);
        } else {
            let prior = if told_off { START_PRIOR + NOT_DONE_PRIOR } else { START_PRIOR };
            part(Turn::Started, prior, true, STARTED_SD);
        }
    }

    /// Foam that stands may fall in on itself at any minute.
    fn part_froth(&mut self, t: f64) {
        if self.lead.froth > 0.0 {
            let mut ended = self.lead.part(Turn::Goes, t, FROTH_ENDS_PRIOR);
            ended.foam(0.0);
            self.others.push(ended);
        }
    }

    /// Of accounts of about the same age that say the same, the best stays; hopeless and old ones go.
    fn prune(&mut self, t: f64) {
        self.others.retain(|other| {
            let age = t - other.since;
            let hopeless = other.odds < FEW_ODDS && age > LONG_ODDS_HOURS;
            let no_level = is_level(other) && other.minutes > YOUNG_MINUTES && other.fits < NO_LEVEL;
            let reckons = other.turn == Turn::Goes && matches!(self.phase, Phase::Still { .. });
            reckons || !no_level && (age < ACCOUNT_HOURS && (other.turn == Turn::Goes || !hopeless))
        });
        self.others.sort_by(|a, b| b.odds.total_cmp(&a.odds));
        let mut seen: Vec<(Turn, usize)> = Vec::with_capacity(self.others.len());
        self.others.retain(|other| {
            let class = (other.turn, age_class(t - other.since, is_step(other)));
            let first = seen.iter().filter(|known| **known == class).count() < alike(other);
            if first {
                seen.push(class);
            }
            first
        });
    }
}

/// Whether the account says that the level stepped.
pub(super) fn is_step(account: &Account) -> bool {
    matches!(account.turn, Turn::Rose | Turn::Dropped | Turn::Poured | Turn::Foamed)
}

fn is_level(account: &Account) -> bool {
    matches!(account.turn, Turn::Rose | Turn::Dropped | Turn::Foamed)
}

fn alike(account: &Account) -> usize {
    if !is_step(account) {
        1
    } else if account.minutes <= YOUNG_MINUTES {
        YOUNG_KEPT
    } else {
        STEPS_KEPT
    }
}

fn age_class(age: f64, step: bool) -> usize {
    if step {
        usize::from(age > YOUNG_HOURS)
    } else {
        AGES_HOURS.iter().filter(|limit| age > **limit).count()
    }
}

/// The first reading counts as so many scatters.
const FIRST_SCATTERS: f64 = 1.5;
/// Minutes no further apart than this follow each other.
const FOLLOWS_HOURS: f64 = 1.6 / 60.0;
/// Mean weight of the readings, and h, from which it is calm again.
const CALM_AGAIN: (f64, f64) = (0.9, 10.0 / 60.0);
/// A step is at least so many scatters.
const STEP_SCATTERS: f64 = 4.0;
const CALM: f64 = 0.05;
/// L. Readings no further apart are the same.
const SAME_LITRES: f64 = 1e-6;
const STEPS_KEPT: usize = 4;
/// A step this young has hardly been judged.
const YOUNG_MINUTES: f64 = 2.0;
const YOUNG_HOURS: f64 = 2.5 / 60.0;
const YOUNG_KEPT: usize = 4;
/// An account whose readings count less than this on the mean says nothing of a level.
const NO_LEVEL: f64 = 0.25;
