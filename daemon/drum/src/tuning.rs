//! Every number that was chosen rather than derived, with its unit and the reason: the one table.
//!
//! Shares are of the usable span of the drum (full line less heel) unless said. Where a reason names the
//! *tuning seasons*, the value was set on the simulated seasons of `tests/src/season` with seeds 1 to 40, and judged
//! on seeds from 1001 on; the rest are engineering judgement (common practice, no source).

use super::hours::minutes;

// What is kept.

/// min. Minute medians kept: as long as can be gone back.
pub(super) const KEPT_MINUTES: u32 = 1560;
/// min. Raw values are kept so long after their minute was last touched, so that a late verdict can strike one out.
pub(super) const REMEMBERED_RAW_MINUTES: u32 = 10;
/// h. Log entries older than this can't change a forecast any more.
pub(super) const KEPT_LOG_HOURS: f64 = 72.0;
/// h. Ages at which checkpoints are kept, to go back to when something arrives late.
pub(super) const CHECKPOINT_HOURS: [f64; 9] = [0.04, 0.16, 0.5, 1.0, 2.0, 4.0, 8.0, 14.0, 25.0];

// The filter.

/// h. The longest step of the filter.
pub(super) const LONGEST_STEP: f64 = 0.25;
/// h. Before anything is known a full drum is thought to last so long.
pub(super) const FIRST_DRAW_HOURS: f64 = 14.0;
/// Ln. How well that is known.
pub(super) const FIRST_DRAW_SD: f64 = 0.8;
/// β₁, β₂ before any fill was seen: 8 % less at the heel (McIntyre et al., arXiv 2011.13167, 2020, model the suction side).
pub(super) const CURVE_PRIOR: (f64, f64) = (0.05, 0.03);
/// Their standard deviations.
pub(super) const CURVE_SD: (f64, f64) = (0.08, 0.06);
/// 1/√h. β wander: a curve changes with a new tube.
pub(super) const CURVE_PROCESS_NOISE: f64 = 0.000_3;
/// 1/√h. ln q wanders so much while it is followed.
pub(super) const DRAW_PROCESS_NOISE: f64 = 0.003;
/// 1/h. How fast the draw falls or rises by and by, as with a tube that wears.
pub(super) const DRIFT_SD: f64 = 0.0005;
/// 1/h/√h. That changes so much.
pub(super) const DRIFT_PROCESS_NOISE: f64 = 0.000_05;
/// Shares. What a sensor reads otherwise by the time of day, as temperature rises and falls: once a day, twice a day.
pub(super) const DAILY_SHARE: (f64, f64) = (0.001, 0.000_5);
/// Share/√h. That changes so much.
pub(super) const DAILY_PROCESS_NOISE: f64 = 0.000_01;
/// Share/√h. What a sensor drifts with the temperature of the day.
pub(super) const VOLUME_PROCESS_NOISE: f64 = 0.0008;

// The level.

/// Share. Scatter of a minute that is assumed before any was seen.
pub(super) const SCATTER_SHARE: f64 = 0.004;
/// Share. Scatter below this isn't believed.
pub(super) const LEAST_SCATTER_SHARE: f64 = 0.000_5;
/// Share. Nor a larger one: then the hypothesis is wrong.
pub(super) const MOST_SCATTER_SHARE: f64 = 0.02;
/// min. The assumed scatter weighs so much.
pub(super) const SCATTER_PRIOR_READINGS: f64 = 15.0;
/// min. The scatter is that of so many minutes.
pub(super) const SCATTER_READINGS: f64 = 240.0;
/// Standard deviations. A minute that is off by more counts as this for the scatter.
pub(super) const SCATTER_CUT: f64 = 2.5;
/// Share of the variance of a minute that is new each minute.
pub(super) const FRESH_SHARE: f64 = 0.3;
/// Highest correlation of neighbouring minutes that is believed.
pub(super) const MOST_CORRELATION: f64 = 0.97;

// Foam and nonsense.

/// 1/h. Foam begins so often.
pub(super) const FOAM_BEGINS_PER_HOUR: f64 = 0.15;
/// 1/h. And ends: in half an hour on the mean.
pub(super) const FOAM_ENDS_PER_HOUR: f64 = 2.0;
/// Share of minutes that foam spoils while it stands.
pub(super) const FOAMED_SHARE: f64 = 0.93;
/// Share of spoiled readings that read high.
pub(super) const FOAM_ABOVE_SHARE: f64 = 0.9;
/// Share. How high foam stands on the mean.
pub(super) const FOAM_HEIGHT_SHARE: f64 = 0.08;
/// Share of minutes that are nonsense without foam.
pub(super) const NONSENSE_SHARE: f64 = 0.005;
/// Ln. Foam that stands steadily on the level rose in this minute.
pub(super) const FROTH_LOG_PRIOR: f64 = -6.0;
/// Its height may be anything up to so many times what is seen first.
pub(super) const FROTH_SPREAD: f64 = 2.0;
/// Ln. It fell in on itself in this minute.
pub(super) const FROTH_ENDS_LOG_PRIOR: f64 = -4.0;
/// Log odds to believe that.
pub(super) const FROTH_ENDS_LOG_ODDS: f64 = -1.0;
/// Share of its height by which it is unsteady.
pub(super) const FROTH_UNSTEADY_SHARE: f64 = 0.3;
/// h. It forgets its height in so long.
pub(super) const FROTH_STANDS_HOURS: f64 = 0.7;
/// Share. It never stands higher.
pub(super) const HIGHEST_FROTH_SHARE: f64 = 0.15;
/// h. It must have stood so long to be believed.
pub(super) const FROTH_SEEN_HOURS: f64 = minutes(7.0);
/// Probability that a level foams into which somebody has just poured.
pub(super) const FOAMS_WHEN_POURED: f64 = 0.5;
/// A reading that counts less isn't used at all.
pub(super) const LEAST_WEIGHT: f64 = 0.05;
/// Below this mean weight of its readings a hypothesis doesn't fit.
pub(super) const UNFIT: f64 = 0.35;
/// Above this it does.
pub(super) const WELL_FIT: f64 = 0.6;

// Hypotheses beside the leading one. Priors are ln of the probability that it happens in the time for which the hypothesis stands.

/// A refill in this minute: two a day.
pub(super) const RISE_LOG_PRIOR: f64 = -6.6;
/// Where somebody wrote one down.
pub(super) const LOGGED_RISE_LOG_PRIOR: f64 = -3.0;
/// The draw changed as well.
pub(super) const LOOSE_LOG_PRIOR: f64 = -4.0;
/// Somebody took slurry out, or moved the sensor, in this minute: rare.
pub(super) const DROP_LOG_PRIOR: f64 = -9.0;
/// Foam ended in this minute, and the level stands lower than was thought.
pub(super) const OUT_OF_FOAM_LOG_PRIOR: f64 = -4.0;
/// The draw changed in these minutes.
pub(super) const CHANGE_LOG_PRIOR: f64 = -4.0;
/// Another sensor says that it did.
pub(super) const HINTED_LOG_PRIOR: f64 = -1.0;
/// The pump stopped in these minutes.
pub(super) const STOP_LOG_PRIOR: f64 = -6.0;
/// It was switched on in these minutes, and nobody wrote it down.
pub(super) const START_LOG_PRIOR: f64 = -5.0;
/// What somebody wrote down was done, just then, with these litres.
pub(super) const POURED_LOG_PRIOR: f64 = -1.0;
/// What somebody wrote down wasn't done.
pub(super) const NOT_DONE_LOG_PRIOR: f64 = -3.0;
/// A stuck sensor came back, or a stopped pump went on, in this minute.
pub(super) const BACK_LOG_PRIOR: f64 = -8.0;
/// Ln. A changed draw may be so much another.
pub(super) const CHANGE_SD: f64 = 0.25;
/// Ln. A draw that began again.
pub(super) const STARTED_SD: f64 = 0.15;
/// h. So often hypotheses of another draw branch off.
pub(super) const BRANCH_HOURS: f64 = minutes(4.9);
/// h. Of hypotheses between these ages the best is kept.
pub(super) const AGE_CLASS_HOURS: [f64; 6] = [0.12, 0.25, 0.5, 0.8, 1.3, 2.2];
/// h. Older hypotheses are given up.
pub(super) const HYPOTHESIS_HOURS: f64 = 3.5;
/// Log odds. Less probable ones too, after a while.
pub(super) const HOPELESS_LOG_ODDS: f64 = -25.0;
/// h. That while.
pub(super) const HOPELESS_HOURS: f64 = 0.4;

// When another hypothesis is believed.

/// Share. A smaller step is none.
pub(super) const STEP_SHARE: f64 = 0.025;
/// Log odds for a step.
pub(super) const STEP_LOG_ODDS: f64 = 4.0;
/// Log odds for what somebody wrote down.
pub(super) const POURED_LOG_ODDS: f64 = 2.0;
/// Weight of its readings from which a hypothesis is steady.
pub(super) const STEADY: f64 = 0.6;
/// Share of rise and h for which it must stand: foam reads several percent high for minutes, a bucket stays.
pub(super) const RISES: [(f64, f64); 3] = [(0.25, minutes(4.0)), (0.10, minutes(9.0)), (0.0, minutes(25.0))];
/// h. A rise that somebody has logged needs to stand no longer than this.
pub(super) const LOGGED_RISE_HOURS: f64 = minutes(4.0);
/// h. A rise out of foam must stand so long: foam has plateaus, too.
pub(super) const FOAMED_RISE_HOURS: f64 = minutes(25.0);
/// Share. Litres that differ by so much from what was written down contradict it.
pub(super) const CONTRADICTS_SHARE: f64 = 0.1;
pub(super) use claymark_model::happening::SAME_REFILL_HOURS as LOG_APART_HOURS;
/// h. A level that has come down by a step is believed after this.
pub(super) const DROP_HOURS: f64 = minutes(10.0);
/// h. So long after a refill froth dies, which looks like a faster draw.
pub(super) const FROTH_HOURS: f64 = 0.5;
/// Share. The level after a refill isn't yet surer than this.
pub(super) const RISEN_SD_SHARE: f64 = 0.006;
/// Log odds for another draw.
pub(super) const CHANGE_LOG_ODDS: f64 = 12.0;
/// Ln. A changed draw must differ by this.
pub(super) const CHANGE_SHARE: f64 = 0.08;
/// Ln. A draw that seems to be so much another isn't a draw: somebody took slurry out, or the sensor came back.
pub(super) const MOST_CHANGE: f64 = 0.8;
/// Standard deviations of the same.
pub(super) const CHANGE_SIGMAS: f64 = 3.0;
/// h. A faster draw must have lasted so long.
pub(super) const FASTER_HOURS: f64 = minutes(9.0);
/// h. A slower one, which foam can feign.
pub(super) const SLOWER_HOURS: f64 = minutes(20.0);
/// Ln. A draw that fell by so much at the same setting is clogging.
pub(super) const CLOG_SHARE: f64 = 0.15;
/// h. In at least so long.
pub(super) const CLOG_HOURS: f64 = 1.5;
/// Ln. If it is known that well.
pub(super) const CLOG_KNOWN_SD: f64 = 0.05;
/// h. A level that stands.
pub(super) const STOP_HOURS: f64 = minutes(14.0);
/// h. One that falls again.
pub(super) const START_HOURS: f64 = minutes(9.0);
/// Log odds to go back to what was believed before.
pub(super) const BACK_LOG_ODDS: f64 = 6.0;
/// Log odds to go back although the readings of neither hypothesis fit.
pub(super) const FAR_BACK_LOG_ODDS: f64 = 15.0;
/// Ln. A draw is known when its standard deviation is below this.
pub(super) const KNOWN_DRAW_SD: f64 = 0.12;
/// Share above the heel at which a level that stands still is an empty drum.
pub(super) const EMPTY_STILL_SHARE: f64 = 0.03;
/// Share above the heel at which a drum is empty.
pub(super) const EMPTY_SHARE: f64 = 0.002;
/// h. A level that stands still although the pump should run is doubted after this.
pub(super) const STUCK_HOURS: f64 = minutes(30.0);
/// h. Readings that are the same to the last digit for so long come from a dead sensor.
pub(super) const DEAD_HOURS: f64 = minutes(9.5);
/// Share. If meanwhile the level should have fallen by this.
pub(super) const DEAD_FALL_SHARE: f64 = 0.008;
/// h. Readings that don't fit for longer than this are a doubt.
pub(super) const FOAM_HOURS: f64 = minutes(45.0);
/// Log odds for the draw that another sensor tells: at 2 a wrong hint of a slower draw was believed on a night in ten.
pub(super) const HINTED_LOG_ODDS: f64 = 4.0;

// A leak beside the pump.

/// Ln, and how sure it is. Slurry leaves by so much faster: four times, a third more to ten times as fast.
pub(super) const LEAK_LN: (f64, f64) = (1.5, 0.9);
/// A leak began in this minute, or was mended: rare.
pub(super) const LEAK_LOG_PRIOR: f64 = -11.0;
/// The same where the readings of the last quarter of an hour were restless.
pub(super) const LEAK_IN_FOAM_LOG_PRIOR: f64 = -40.0;
/// Log odds to believe it.
pub(super) const LEAK_LOG_ODDS: f64 = 3.0;
/// h. It must have lasted so long: shorter than any bout of foam, which reads high.
pub(super) const LEAK_HOURS: f64 = minutes(2.9);
/// Ln. It is at least by so much faster; less is a changed draw.
pub(super) const LEAK_SHARE: f64 = 0.5;
/// Scatters by which the level must have left its line.
pub(super) const LEAK_SCATTERS: f64 = 4.0;
/// Scatters by which it may have left it before that minute.
pub(super) const LEAK_BEGAN_SCATTERS: f64 = 2.0;
/// Ln. It must be known so well.
pub(super) const LEAK_KNOWN_SD: f64 = 0.4;
/// Ln. A leak that is just believed may be so much more or less.
pub(super) const LEAK_SD: f64 = 0.2;
/// Share by which it must have left it while the froth of a refill dies.
pub(super) const FROTH_SHARE: f64 = 0.05;
/// Ln. How nearly the draw is the old one again.
pub(super) const MENDED_SD: f64 = 0.1;
/// h. A leak that was mended, which foam can feign.
pub(super) const MENDED_HOURS: f64 = minutes(9.0);

// What people do.

/// Ln. The draw at a new pump speed, from the one before in proportion.
pub(super) const SETTING_SD: f64 = 0.02;
/// Ln. The draw from the pump's rating.
pub(super) const RATING_SD: f64 = 0.15;
/// Ln. The draw after a new tube or a cleared clog.
pub(super) const SERVICED_SD: f64 = 0.15;
/// Ln. A catch with cylinder and watch.
pub(super) const CAUGHT_SD: f64 = 0.05;
/// Ln. The draw of another drum on the same pump.
pub(super) const LENT_SD: f64 = 0.05;
/// Share of the litres. The same, for a rise that was found and may be a part of what was written down.
pub(super) const PART_SHARE: f64 = 0.2;
/// h. A level that is believed is believed against a refill that was written down after this: four minutes are what a
/// logged rise needs to be found, and one more (our own choice).
pub(super) const DENIED_HOURS: f64 = minutes(5.0);
/// Readings since then that it takes as well.
pub(super) const DENIED_READINGS: f64 = 3.0;
/// h. Readings that leave a level upward for so long may be the refill after all.
pub(super) const LEAVES_HOURS: f64 = minutes(3.0);
/// Share of the litres that were written down by which they must have left it, or fallen back.
pub(super) const LEAVES_SHARE: f64 = 0.25;
/// h. A refill that no level ever showed is asked about for so long.
pub(super) const ASKED_HOURS: f64 = 12.0;
/// Share of the litres. Added litres are known by marks on a bucket.
pub(super) const ADDED_SD: f64 = 0.05;
/// Shares of the room in the drum: litres added and their deviation where nobody wrote them down (uniform).
pub(super) const UNKNOWN_ADDED_SHARE: (f64, f64) = (0.5, 0.29);
/// Share. A wiped sensor may read otherwise by this.
pub(super) const WIPED_SHARE: f64 = 0.01;
/// Share. How well a level is read by eye.
pub(super) const DIP_SD: f64 = 0.02;
/// Standard deviations. A level read by eye that lies farther from the reckoning contradicts it.
pub(super) const SURPRISE: f64 = 2.5;
/// h. Reckoning longer than this says nothing: somebody has been there.
pub(super) const RECKONED_AT_MOST: f64 = 24.0;

// The time ahead.

/// Ln. A draw that is less known than this tells nothing.
pub(super) const UNTOLD_DRAW_SD: f64 = 0.5;
/// h. The first word of a drum of which nothing was known; set on the tuning seasons, whose nights it spares a call.
pub(super) const FIRST_WORD_HOURS: f64 = minutes(15.0);
/// 1/√h. The draw wanders on.
pub(super) const DRAW_NOISE_AHEAD: f64 = 0.002;
/// Share of the time. What the curve can't say of the way ahead.
pub(super) const CURVE_MODEL_SHARE: f64 = 0.006;
/// Share. Strapping table and sensor are not better than this. Set on the tuning seasons, as the next one.
pub(super) const HIDDEN_SHARE: f64 = 0.0019;
/// Scatters of a minute. Nor is a restless sensor better than this.
pub(super) const HIDDEN_SCATTERS: f64 = 0.4;
/// How far p05, p25, p75 and p95 stand from p50 at first, against what the filter says, for leads of 0-3, 3-6, 6-12 and
/// 12-24 h: set on the tuning seasons, all rooms.
pub(super) const FIRST_STRETCH: [[f64; 4]; 4] = [[1.4; 4], [1.4; 4], [1.3; 4], [1.3, 1.2, 1.2, 1.3]];
/// By so much an error widens the interval (ln) and the lack of one narrows it.
pub(super) const LEARNING_RATE: f64 = 0.08;
/// Nor is it ever stretched or shrunk more than this.
pub(super) const MOST_STRETCH: f64 = 6.0;
/// Odds. A hypothesis less probable than this, against the leading one, doesn't widen a forecast. Set on the tuning seasons: lower
/// values call people at night for what the next minute refutes.
pub(super) const TOLD_ODDS: f64 = 7.0;
/// h. Nor does one younger than this, which hasn't been held against many readings. Set as the one above.
pub(super) const TOLD_AGE: f64 = minutes(45.0);
