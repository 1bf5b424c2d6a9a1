//! What to add, how long that lasts, and what else can be done.

use claymark_clay::refill::Refill;
use claymark_model::happening::SeenRefill;
use claymark_model::quality::thresholds::Span;
use claymark_model::site::Place;
use claymark_model::units::Turbidity;
use claymark_notice::content::{DrumState, NightMix, Remedy, Verdict};
use claymark_notice::drum::{Clearer, Enough, Slower};

use crate::notice::Teller;
use crate::{format, names, refill, unseen};

impl Teller<'_> {
    /// "Add 113 L water, 2.05 kg clay."
    pub(super) fn add_short(&self, remedy: &Remedy) -> Option<String> {
        refill::short(self.site, remedy.refill.as_ref()?)
    }

    /// "Add 113 L water, 2.86 kg clay, pump 167 mL/min.": both levers, where the one isn't enough.
    pub(super) fn both_short(&self, remedy: &Remedy) -> Option<String> {
        let night = self.both(remedy)?;
        let add = if let Refill::TooStrong(strong) = &night.refill {
            format!("Add {} water, no clay", format::volume_at_most(&self.site.units, strong.fill))
        } else {
            refill::short(self.site, &night.refill)?.trim_end_matches('.').to_owned()
        };
        Some(format!("{add}, pump {}.", format::slurry(night.slurry)))
    }

    /// Mix and pump together, where the full drum doesn't last with the pump as it is.
    fn both<'b>(&self, remedy: &'b Remedy) -> Option<&'b NightMix> {
        let lasts = matches!(remedy.full, Verdict::Lasts | Verdict::Unknown);
        remedy.night.as_ref().filter(|_| !lasts && !self.again(remedy))
    }

    /// Asked long before: hands come once more, and what they must leave in it then is told next.
    fn again(&self, remedy: &Remedy) -> bool {
        remedy.enough.as_ref().is_some_and(|enough| enough.at > self.at)
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
            refill @ Some(Refill::LookFirst { .. } | Refill::TooStrong(_) | Refill::WrittenDown(_)) => {
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
        lines.extend(self.asked(remedy));
        lines.extend(remedy.doubt.as_ref().map(|doubt| refill::doubt(self.site, self.clock, doubt)));
        lines
    }

    /// A refill that was written down and that no level shows, where other amounts are told.
    fn asked(&self, remedy: &Remedy) -> Vec<String> {
        let told = matches!(remedy.refill, Some(Refill::WrittenDown(_)));
        let unseen = remedy.unseen.iter().filter(|_| !told);
        unseen.flat_map(|unseen| unseen::asked(self.site, self.clock, unseen)).collect()
    }

    /// What to add and how long it then lasts, line by line.
    pub(super) fn chores(&self, state: &DrumState, remedy: &Remedy) -> Vec<String> {
        let doubt = remedy.doubt.iter().map(|doubt| refill::doubt(self.site, self.clock, doubt));
        let mut lines = match (&remedy.refill, self.both(remedy)) {
            (Some(look @ Refill::LookFirst { .. }), _) => {
                let mut lines = refill::lines(self.site, self.clock, Some(look));
                lines.extend(doubt);
                lines.push(format!(
                    "When the clay comes again, ask again what to add: claymark mix --drum {}.",
                    state.drum
                ));
                return lines;
            }
            (Some(waits @ Refill::WrittenDown(_)), _) => {
                let mut lines = refill::lines(self.site, self.clock, Some(waits));
                lines.extend(doubt);
                lines.push(unseen::ask_again(&state.drum));
                return lines;
            }
            (_, Some(both)) => self.night(state, (remedy, both)),
            (Some(refill), None) => refill::lines(self.site, self.clock, Some(refill)),
            (None, None) => {
                let target = self.site.drum(&state.drum).map(|drum| drum.target);
                target.map(|target| refill::unknown(self.site, &state.drum, target)).unwrap_or_default()
            }
        };
        lines.extend(self.asked(remedy));
        lines.extend(doubt);
        lines.extend(self.when_full(remedy));
        let enough = remedy.enough.as_ref().filter(|enough| enough.refill.is_some());
        lines.extend(enough.map(|enough| self.must_hold(enough)));
        lines.extend(remedy.slower_pump.as_ref().map(|slower| self.without_refill(slower, remedy.full)));
        lines
    }

    fn without_refill(&self, slower: &Slower, full: Verdict) -> String {
        let (speed, clearer) = (self.slower(slower), self.clearer(slower));
        match (slower.below, full) {
            (Some(slowest), _) => format!(
                "A slower pump alone is no way out: {speed} would be needed, and below {} rpm clay settles in the line.",
                format::number(slowest, 0)
            ),
            (None, _) if self.too_clear(slower).is_some() => {
                format!("Only if nobody can refill it: set the pump to {speed}. {clearer}")
            }
            (None, Verdict::Lasts) => format!("Or without a refill: set the pump to {speed}. {clearer}"),
            (None, Verdict::WillNotLast | Verdict::MayNotLast | Verdict::Unknown) => {
                format!("Without a refill it lasts only with the pump at {speed}. {clearer}")
            }
        }
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
            Some(_) | None => format!("Filling to {litres} is enough.{add}"),
        }
    }

    fn when_full(&self, remedy: &Remedy) -> Vec<String> {
        let Some(ends) = &remedy.full_ends else { return Vec::new() };
        let dry = self.dry(ends);
        match remedy.full {
            Verdict::MayNotLast | Verdict::WillNotLast if self.again(remedy) => {
                vec![format!("Filled now and not again it won't last: {dry}.")]
            }
            Verdict::MayNotLast | Verdict::WillNotLast if self.both(remedy).is_some() => Vec::new(),
            Verdict::Lasts => vec![format!("Full, it lasts: {dry}.")],
            Verdict::Unknown => vec![format!("Full, it is {dry}.")],
            Verdict::MayNotLast => vec![format!("Even full it may not last: {dry}.")],
            Verdict::WillNotLast => {
                let slower = remedy.slower_pump_when_full.as_ref();
                std::iter::once(format!("EVEN FULL IT WILL NOT LAST: {dry}."))
                    .chain(slower.and_then(|slower| self.full_and_slower(slower)))
                    .collect()
            }
        }
    }

    /// The new mix and the slower pump, always both together, and no other amounts beside them.
    fn night(&self, state: &DrumState, (remedy, night): (&Remedy, &NightMix)) -> Vec<String> {
        let full = remedy.full_ends.as_ref().map(|ends| self.dry(ends)).unwrap_or_default();
        let even_full = match remedy.full {
            Verdict::WillNotLast => format!("EVEN FULL IT WILL NOT LAST with the pump as it is: {full}."),
            Verdict::MayNotLast | Verdict::Lasts | Verdict::Unknown => {
                format!("Even full it may not last with the pump as it is: {full}.")
            }
        };
        let mut lines = vec![
            even_full,
            format!(
                "To make it last, do both together: fill it as follows, and when the new mix reaches the intake set the \
                 pump to {}, {}.",
                format::slurry(night.slurry),
                self.speed(state, night.pump_share)
            ),
        ];
        lines.extend(refill::for_the_night(self.site, self.clock, &night.refill));
        lines.push(format!(
            "Then it is {}, and the head tank is at {}; the new mix alone would make it {}.",
            self.dry(&night.ends),
            names::turbidity(self.site, night.turbidity),
            names::turbidity(self.site, night.mix_alone)
        ));
        lines
    }

    fn full_and_slower(&self, slower: &Slower) -> Option<String> {
        let (speed, clearer) = (self.slower(slower), self.clearer(slower));
        let said = match self.too_clear(slower) {
            Some(_) => {
                format!("Fill it; only if nobody can refill it in the night, set the pump to {speed}, too.")
            }
            None => format!("Fill it and set the pump to {speed} too."),
        };
        slower.below.is_none().then(|| format!("{said} {clearer}"))
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
        let Some(Clearer { from, to }) = slower.clearer else {
            return "The water gets clearer for it: watch the turbidity.".to_owned();
        };
        let turbidity = |value| names::turbidity(self.site, value);
        let below = self.too_clear(slower).map(|band| {
            format!(
                ", BELOW THE FISH'S BAND of {} to {}",
                format::number(band.min(), 0),
                turbidity(Turbidity(band.max()))
            )
        });
        let (from, to) = (turbidity(from), turbidity(to));
        format!("The head tank then goes from about {from} to {to}{}.", below.unwrap_or_default())
    }

    /// The band of the fish that day, where the slower pump leaves the water clearer than that.
    fn too_clear(&self, slower: &Slower) -> Option<Span> {
        let band = self.site.limits_at(&Place::Head, self.at).turbidity;
        slower.clearer.filter(|clearer| clearer.to.0 < band.min()).map(|_| band)
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
