//! Every number that was chosen rather than derived, with its unit and the reason.
//!
//! Shares are of the usable span of the drum (full line less heel) unless said. All are engineering
//! judgement (common practice, no source), checked against the simulated drums of `tests/drum.rs`.

// What is kept.

/// min. Minute medians kept: two days, longer than any fill lasts.
pub(super) const KEPT_MINUTES: u32 = 2880;
/// min. Raw values are kept so long after their minute was last touched, so that a late verdict can strike one out.
pub(super) const REMEMBERED_RAW_MINUTES: u32 = 10;
/// h. Log entries older than this can't change a forecast any more.
pub(super) const KEPT_LOG_HOURS: f64 = 72.0;

// The line.

/// Blocks that a line is fitted to at most: fine enough for a fill, cheap enough for 200 drums.
pub(super) const BLOCKS: usize = 90;
/// h. A block so old counts 1/e: valves and tubes drift slowly.
pub(super) const FORGETTING_HOURS: f64 = 16.0;
/// Standard deviations. Above the line a point counts for nothing from here: foam reads high.
pub(super) const BISQUARE_ABOVE: f64 = 4.0;
/// Standard deviations. Below the line: the usual 95 % efficient bisquare is 4.685, a little more since a fall is news.
pub(super) const BISQUARE_BELOW: f64 = 6.0;
/// Points and h needed before data alone tell a draw.
pub(super) const DATA_ONLY_POINTS: usize = 8;
/// h. See [`DATA_ONLY_POINTS`]: ten minutes.
pub(super) const DATA_ONLY_HOURS: f64 = 10.0 / 60.0;
/// h. Data that are to overrule a carried draw must span this.
pub(super) const OVERRULING_HOURS: f64 = 0.5;
/// Standard deviations between the draw of the data and the carried one that make the data stand alone.
pub(super) const PRIOR_CONFLICT: f64 = 3.0;
/// Share. Scatter of a minute that is assumed before any was seen.
pub(super) const SCATTER_SHARE: f64 = 0.004;
/// Share. Scatter below this isn't believed: no drum is that still.
pub(super) const LEAST_SCATTER_SHARE: f64 = 0.000_5;
/// The assumed scatter weighs as much as so many points.
pub(super) const SCATTER_PRIOR_POINTS: f64 = 5.0;

/// Degrees of freedom of Student's distribution that a carried draw stands for.
pub(super) const CARRIED_FREEDOM: f64 = 12.0;

// The future.

/// Share. Least standard deviation of a volume: the strapping table and the heel are not better than that.
pub(super) const VOLUME_FLOOR_SHARE: f64 = 0.002;
/// 1/√h. The draw wanders like a random walk: half a percent in an hour, 2.5 % in a day.
pub(super) const DRAW_WANDER_PER_ROOT_HOUR: f64 = 0.005;
/// Share of the draw. What a parabola can't say of the way ahead.
pub(super) const DRAW_MODEL_SHARE: f64 = 0.005;
/// Share of the draw by which it falls from full to heel: a peristaltic pump fills its tube less as the level sinks.
pub(super) const FADING_MEAN: f64 = 0.08;
/// Its standard deviation before any fill was seen.
pub(super) const FADING_SD: f64 = 0.06;
/// The standard deviation never goes below this, however many fills were seen.
pub(super) const FADING_LEAST_SD: f64 = 0.03;

// Draws carried over a change.

/// Share. The draw after a refill against the one before it, the level allowed for.
pub(super) const REFILL_DRAW_SD: f64 = 0.04;
/// Share. The draw at a new pump speed, from the learned rate.
pub(super) const LEARNED_RATE_SD: f64 = 0.06;
/// Share. The draw from the pump's rating.
pub(super) const RATING_SD: f64 = 0.15;
/// Share. The draw after something that nobody explained.
pub(super) const UNEXPLAINED_DRAW_SD: f64 = 0.4;
/// Share, times the root of 1 + hours. Added to the draw while it is only dead reckoning.
pub(super) const RECKONED_DRAW_SD: f64 = 0.03;
/// h. Dead reckoning longer than this says nothing: somebody has been there.
pub(super) const RECKONED_AT_MOST: f64 = 24.0;
/// Share. How well a level is read by eye.
pub(super) const DIP_SD: f64 = 0.02;

// Steps in the level.

/// Share, and standard deviations of a minute: nearer to the line than both is no step.
pub(super) const STEP_SHARE: f64 = 0.025;
/// See [`STEP_SHARE`].
pub(super) const STEP_SCATTERS: f64 = 5.0;
/// Share of rise and h for which it must stand: foam reads several percent high for minutes, a bucket stays.
pub(super) const RISES: [(f64, f64); 3] =
    [(0.25, 4.0 / 60.0), (0.10, 15.0 / 60.0), (STEP_SHARE, 30.0 / 60.0)];
/// h. A rise that somebody has logged needs to stand no longer than this.
pub(super) const LOGGED_RISE_HOURS: f64 = 4.0 / 60.0;
/// h. A logged refill and one that was found are the same when no further apart.
pub(super) const LOG_APART_HOURS: f64 = 0.75;
/// h. A level that has come down by a step is believed after this.
pub(super) const DROP_HOURS: f64 = 10.0 / 60.0;
/// Scatters. A rise that scatters more about a falling line isn't a refill but foam.
pub(super) const STEADY_SCATTERS: f64 = 2.5;
/// h. A high, restless level for longer than this is a doubt.
pub(super) const FOAM_HOURS: f64 = 45.0 / 60.0;

// Changes of draw.

/// h. Windows at the end in which a changed draw is looked for.
pub(super) const CHANGE_WINDOWS: [f64; 9] =
    [10.0 / 60.0, 15.0 / 60.0, 20.0 / 60.0, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0];
/// h. A slower draw, which foam can feign, needs a window of this length.
pub(super) const SLOWER_HOURS: f64 = 0.5;
/// Shares of a window within which a change that it shows must have begun, counted from its start.
pub(super) const CHANGE_BEGINS: (f64, f64) = (-0.4, 0.4);
/// Standard deviations that a changed draw must differ by.
pub(super) const CHANGE_SIGMAS: f64 = 4.5;
/// Standard deviations that the lines before and after it must differ by in the end.
pub(super) const CHANGED_SIGMAS: f64 = 3.5;
/// h. A slower draw or a still level must be seen for so long.
pub(super) const SUSPECTED_HOURS: f64 = 8.0 / 60.0;
/// Share of the draw that a changed draw must differ by.
pub(super) const CHANGE_SHARE: f64 = 0.12;
/// h. Data before the window that tell the old draw.
pub(super) const CHANGE_BASE_HOURS: f64 = 0.5;

// Standing still.

/// Share. The expected fall over the window in which a level must have stood still.
pub(super) const STILL_FALL_SHARE: f64 = 0.025;
/// Scatters of the same.
pub(super) const STILL_FALL_SCATTERS: f64 = 5.0;
/// h. The shortest and the longest such window.
pub(super) const STILL_HOURS: (f64, f64) = (25.0 / 60.0, 4.0);
/// Share of the expected fall by which a level that stands still must end above its old line.
pub(super) const STILL_ABOVE_SHARE: f64 = 0.6;
/// Share of the expected draw below which a level stands still.
pub(super) const STILL_DRAW_SHARE: f64 = 0.25;
/// L/h. The same where no draw is known.
pub(super) const STILL_DRAW: f64 = 0.5;
/// h. A level that stands still although the pump should run is doubted after this.
pub(super) const STUCK_HOURS: f64 = 30.0 / 60.0;
/// Share. A still level that is off by this moves again.
pub(super) const MOVED_SHARE: f64 = 0.012;
/// Scatters of the same.
pub(super) const MOVED_SCATTERS: f64 = 3.0;
/// Share above the heel at which a level that stands still is an empty drum.
pub(super) const EMPTY_STILL_SHARE: f64 = 0.03;
/// Share above the heel at which a drum is empty.
pub(super) const EMPTY_SHARE: f64 = 0.002;
