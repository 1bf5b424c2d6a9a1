//! What to add, how long that lasts, and what else can be done.

use claymark_core::notice::content::{DrumState, Remedy, SeenRefill, Verdict};
use claymark_core::refill::residual::Source;
use claymark_core::refill::{Mix, Refill, Residual};

use crate::format;
use crate::notice::Teller;
use crate::notice::drum::rpm_at;

impl Teller<'_> {
    /// "Add 113 L of water, 2.05 kg of clay."
    pub(super) fn add_short(&self, remedy: &Remedy) -> Option<String> {
        let units = &self.site.units;
        match remedy.refill.as_ref()? {
            Refill::Mix(mix) => Some(format!(
                "Add {} water, {} clay.",
                format::volume_at_most(units, mix.water),
                format::mass(units, mix.clay, self.site.clay.scale_step)
            )),
            Refill::WaterOnly { water, .. } => {
                Some(format!("Add {} water, no clay.", format::volume_at_most(units, *water)))
            }
            Refill::NoRoom | Refill::TooThick { .. } => None,
        }
    }

    /// What to add and how long it then lasts, line by line.
    pub(super) fn chores(&self, state: &DrumState, remedy: &Remedy) -> Vec<String> {
        let mut lines = self.add(remedy);
        lines.extend(self.when_full(state, remedy));
        if let (Some(share), Verdict::WillNotLast | Verdict::MayNotLast | Verdict::Unknown) =
            (remedy.slower, remedy.full)
        {
            lines.push(format!(
                "Without a refill it lasts only with the pump at {}.",
                self.speed(state, share)
            ));
        } else if let Some(share) = remedy.slower {
            lines.push(format!("Or without a refill: set the pump to {}.", self.speed(state, share)));
        }
        lines
    }

    fn add(&self, remedy: &Remedy) -> Vec<String> {
        let units = &self.site.units;
        match &remedy.refill {
            None => vec![
                "How much to add can't be worked out without its volume: read it by eye, and fill it to the line."
                    .to_owned(),
            ],
            Some(Refill::Mix(mix)) => self.mix(mix),
            Some(Refill::WaterOnly { water, gives, residual }) => vec![format!(
                "To fill it: {} of water and no clay; that gives {} ({}).",
                format::volume_at_most(units, *water),
                format::strength(units, *gives),
                self.residual(residual)
            )],
            Some(Refill::NoRoom) => vec!["It is full: there is no room to add anything.".to_owned()],
            Some(Refill::TooThick { gives, thickest, residual }) => vec![format!(
                "Don't add clay: filled up it would hold {}, and the pump can lift {} at most ({}). Draw some off first.",
                format::strength(units, *gives),
                format::strength(units, *thickest),
                self.residual(residual)
            )],
        }
    }

    fn mix(&self, mix: &Mix) -> Vec<String> {
        let units = &self.site.units;
        let clay = format::mass(units, mix.clay, self.site.clay.scale_step);
        let bag = format::mass(units, self.site.clay.bag, self.site.clay.bag);
        let bags = if mix.bags >= 0.25 {
            format!(" ({} of a {bag} bag)", format::number(mix.bags, 1))
        } else {
            String::new()
        };
        vec![
            format!(
                "To fill it from {} now: {clay} of clay{bags} and {} of water.",
                format::volume(units, mix.from),
                format::volume_at_most(units, mix.water)
            ),
            "Mix the clay with some of the water in a bucket first, pour it in, then fill up to the line."
                .to_owned(),
            format!(
                "That gives {} of finished slurry ({}).",
                format::strength(units, mix.gives),
                self.residual(&mix.residual)
            ),
        ]
    }

    fn residual(&self, residual: &Residual) -> String {
        let strength = format::strength(&self.site.units, residual.strength);
        let because = match residual.source {
            Source::Logged { at } => format!("by the refill written down at {}", self.clock.time(at)),
            Source::NothingLogged => "the target, as no refill was ever written down".to_owned(),
            Source::RefillNotLogged { at } => {
                format!("the target, as the refill of {} wasn't written down", self.clock.time(at))
            }
            Source::FiguresMissing { at } => {
                format!(
                    "the target, as the refill of {} was written down without its figures",
                    self.clock.time(at)
                )
            }
        };
        format!("what is left counted at {strength}: {because}")
    }

    fn when_full(&self, state: &DrumState, remedy: &Remedy) -> Vec<String> {
        let Some(ends) = &remedy.full_ends else { return Vec::new() };
        let dry = self.dry(ends);
        match remedy.full {
            Verdict::Lasts => vec![format!("Full, it lasts: {dry}.")],
            Verdict::Unknown => vec![format!("Full, it is {dry}.")],
            Verdict::MayNotLast => vec![format!("Even full it may not last: {dry}.")],
            Verdict::WillNotLast => {
                let mut lines = vec![format!("EVEN FULL IT WILL NOT LAST: {dry}.")];
                lines.extend(
                    remedy.slower_when_full.map(|share| {
                        format!("Fill it and set the pump to {} too.", self.speed(state, share))
                    }),
                );
                lines
            }
        }
    }

    /// "39 rpm or less", or a share of the present speed where that isn't written down or isn't true.
    fn speed(&self, state: &DrumState, share: f64) -> String {
        let percent = format!("{} of its present speed or less", format::share(share));
        match rpm_at(&state.pump, share) {
            Some(rpm) => format!("{} rpm or less ({})", format::number(rpm, 0), format::share(share)),
            None => percent,
        }
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
