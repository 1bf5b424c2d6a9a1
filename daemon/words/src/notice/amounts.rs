//! What to add, how long that lasts, and what else can be done.

use claymark_core::notice::content::{DrumState, NightMix, Remedy, SeenRefill, Verdict};
use claymark_core::outlook::{Clearer, Enough, Slower};
use claymark_core::refill::Refill;

use crate::notice::Teller;
use crate::{format, names, refill};

impl Teller<'_> {
    /// "Add 113 L of water, 2.05 kg of clay."
    pub(super) fn add_short(&self, remedy: &Remedy) -> Option<String> {
        refill::short(self.site, remedy.refill.as_ref()?)
    }

    /// What would fill a drum that needs nothing tonight, where it is worth the way; and what is to be asked.
    pub(super) fn room_left(&self, remedy: &Remedy) -> Vec<String> {
        let mut lines = Vec::new();
        match &remedy.refill {
            Some(Refill::Mix(mix)) if mix.water.0 >= mix.to.0 * WORTH_THE_WAY => lines.push(format!(
                "To fill it to the line: {} of clay and {} of water.",
                format::mass(&self.site.units, mix.clay, self.site.clay.scale_step),
                format::volume_at_most(&self.site.units, mix.water)
            )),
            refill @ Some(Refill::LookFirst { .. } | Refill::TooStrong(_)) => {
                lines.extend(refill::lines(self.site, self.clock, refill.as_ref()));
            }
            Some(
                Refill::Mix(_)
                | Refill::WaterOnly { .. }
                | Refill::NoRoom
                | Refill::DrumTooSmall { .. }
                | Refill::TooThick { .. },
            )
            | None => {}
        }
        lines.extend(remedy.doubt.as_ref().map(|doubt| refill::doubt(self.site, self.clock, doubt)));
        lines
    }

    /// What to add and how long it then lasts, line by line.
    pub(super) fn chores(&self, state: &DrumState, remedy: &Remedy) -> Vec<String> {
        let mut lines = refill::lines(self.site, self.clock, remedy.refill.as_ref());
        lines.extend(remedy.doubt.as_ref().map(|doubt| refill::doubt(self.site, self.clock, doubt)));
        lines.extend(self.when_full(state, remedy));
        lines.extend(
            remedy
                .enough
                .as_ref()
                .filter(|enough| enough.refill.is_some())
                .map(|enough| self.must_hold(enough)),
        );
        lines.extend(remedy.slower_pump.as_ref().map(|slower| {
            let speed = self.slower(slower);
            match (slower.below, remedy.full) {
                (Some(slowest), _) => format!(
                    "A slower pump alone is no way out: {speed} would be needed, and below {} rpm clay settles in the line.",
                    format::number(slowest, 0)
                ),
                (None, Verdict::Lasts) => format!("Or without a refill: set the pump to {speed}. {}", self.clearer(slower)),
                (None, Verdict::WillNotLast | Verdict::MayNotLast | Verdict::Unknown) => {
                    format!("Without a refill it lasts only with the pump at {speed}. {}", self.clearer(slower))
                }
            }
        }));
        lines
    }

    /// How much must be in it, and what to add for that.
    pub(super) fn must_hold(&self, enough: &Enough) -> String {
        let units = &self.site.units;
        let litres = format::volume_at_least(units, enough.litres);
        let add = enough.refill.as_ref().and_then(|refill| refill::short(self.site, refill));
        let add = add.map(|add| format!(" {add}")).unwrap_or_default();
        match enough.holds {
            Some(holds) if enough.at > self.at => format!(
                "At {} it must hold {litres} or more; without a refill it will hold about {}.{add}",
                self.clock.time(enough.at),
                format::volume(units, holds)
            ),
            None if enough.at > self.at => {
                format!("At {} it must hold {litres} or more.", self.clock.time(enough.at))
            }
            Some(_) | None if add.is_empty() => format!("It lasts with {litres} or more in it."),
            Some(_) | None => format!("If you can't fill it: {litres} in it lasts too.{add}"),
        }
    }

    fn when_full(&self, state: &DrumState, remedy: &Remedy) -> Vec<String> {
        let Some(ends) = &remedy.full_ends else { return Vec::new() };
        let dry = self.dry(ends);
        // Asked long before: hands come once more, and what they must leave in it then is told next.
        let again = remedy.enough.as_ref().is_some_and(|enough| enough.at > self.at);
        match remedy.full {
            Verdict::MayNotLast | Verdict::WillNotLast if again => {
                vec![format!("Filled now and not again it won't last: {dry}.")]
            }
            Verdict::Lasts => vec![format!("Full, it lasts: {dry}.")],
            Verdict::Unknown => vec![format!("Full, it is {dry}.")],
            Verdict::MayNotLast => {
                let line = format!("Even full it may not last: {dry}.");
                std::iter::once(line)
                    .chain(remedy.night.iter().flat_map(|mix| self.night(state, mix)))
                    .collect()
            }
            Verdict::WillNotLast => {
                let mut lines = vec![format!("EVEN FULL IT WILL NOT LAST: {dry}.")];
                match (&remedy.night, &remedy.slower_pump_when_full) {
                    (Some(mix), _) => lines.extend(self.night(state, mix)),
                    (None, Some(slower)) => lines.extend(self.full_and_slower(slower)),
                    (None, None) => {}
                }
                lines
            }
        }
    }

    /// The stronger mix and the slower pump, always both together.
    fn night(&self, state: &DrumState, night: &NightMix) -> Vec<String> {
        let Refill::Mix(mix) = &night.refill else { return Vec::new() };
        let units = &self.site.units;
        vec![
            format!(
                "To make it last, do both together: mix it to {} ({} of clay and {} of water), and when the new mix \
                 reaches the intake set the pump to {}, {}.",
                format::strength(units, mix.gives),
                format::mass(units, mix.clay, self.site.clay.scale_step),
                format::volume_at_most(units, mix.water),
                format::slurry(night.slurry),
                self.speed(state, night.pump_share)
            ),
            format!(
                "Then it is {}, and the head tank is at {}; the new mix alone would make it {}.",
                self.dry(&night.ends),
                names::turbidity(self.site, night.turbidity),
                names::turbidity(self.site, night.mix_alone)
            ),
        ]
    }

    fn full_and_slower(&self, slower: &Slower) -> Option<String> {
        let speed = self.slower(slower);
        slower
            .below
            .is_none()
            .then(|| format!("Fill it and set the pump to {speed} too. {}", self.clearer(slower)))
    }

    /// "39 rpm or less", or a share of the present speed where that isn't written down or isn't true.
    fn speed(&self, state: &DrumState, share: f64) -> String {
        speed(state.pump.rpm_at(share), share)
    }

    fn slower(&self, slower: &Slower) -> String {
        speed(slower.rpm, slower.share)
    }

    /// Less slurry makes the water clearer, which the fish feel.
    fn clearer(&self, slower: &Slower) -> String {
        slower.clearer.map_or_else(
            || "The water gets clearer for it: watch the turbidity.".to_owned(),
            |Clearer { from, to }| {
                format!(
                    "The head tank then goes from about {} to {}.",
                    names::turbidity(self.site, from),
                    names::turbidity(self.site, to)
                )
            },
        )
    }

    /// "Refilled with about 97 L at 02:30".
    pub(super) fn refilled(&self, refill: &SeenRefill) -> String {
        format!(
            "refilled with about {} at {}",
            format::volume(&self.site.units, refill.added),
            self.clock.time(refill.at)
        )
    }
}

fn speed(rpm: Option<f64>, share: f64) -> String {
    match rpm {
        Some(rpm) => format!("{} rpm or less ({})", format::number(rpm, 0), format::share(share)),
        None => format!("{} of its present speed or less", format::share(share)),
    }
}

/// Room for less than this share of a drum isn't worth weighing clay for (common practice, no source).
const WORTH_THE_WAY: f64 = 0.1;
