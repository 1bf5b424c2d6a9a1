//! Both levers for the night, in words.

use claymark_core::notice::content::NightMix;
use claymark_core::refill::Refill;
use claymark_core::room::{FilledUp, NoMix};
use claymark_core::units::Litres;

use super::Teller;
use crate::{drying, format, names};

impl Teller<'_> {
    pub(super) fn night(&self) -> Vec<String> {
        let title = "FOR THE NIGHT, both together (the weakest mix that lasts)";
        let (Some(visit), Some(night)) = (&self.dose.visit, &self.dose.night) else {
            return vec![title.to_owned()];
        };
        let until = format!("until {}", self.clock.time(visit.lasts_until()));
        let lines = match night {
            Ok(mix) => self.mixed(&until, mix),
            Err(none) => self.not_mixed(&until, none),
        };
        [format!("{title}:")].into_iter().chain(lines).collect()
    }

    fn mixed(&self, until: &str, night: &NightMix) -> Vec<String> {
        let Refill::Mix(mix) = &night.refill else { return Vec::new() };
        let site = self.site;
        vec![
            format!(
                "Mix the full drum to {} ({} of clay and {} of water), and when the new mix reaches the intake set the \
                 pump to {}.",
                format::strength(&site.units, mix.gives),
                format::mass(&site.units, mix.clay, site.clay.scale_step),
                format::volume_at_most(&site.units, mix.water),
                self.pump(night.slurry)
            ),
            format!(
                "Then {}, wanted {until}; the head tank is at {}. The new mix alone would make it {}: do both.",
                drying::dry(self.clock, self.dose.at, &night.ends),
                names::turbidity(site, night.turbidity),
                names::turbidity(site, night.mix_alone)
            ),
        ]
    }

    fn not_mixed(&self, until: &str, none: &NoMix) -> Vec<String> {
        match none {
            NoMix::EnoughClay(filled) => self.filled_up(filled),
            NoMix::DrumNotWanted => vec!["No clay is wanted from this drum: see above.".to_owned()],
            NoMix::FullOfWeak => vec![format!(
                "The drum is full of slurry that is too weak to last {until}: there is no room for the clay that it lacks. \
                 Refill once there is room, in the night if need be."
            )],
            NoMix::LookFirst => vec!["Look first, as said above: clay is not the remedy.".to_owned()],
            NoMix::NotKnown => vec!["How long a full drum would last isn't known now.".to_owned()],
            NoMix::Never => vec![format!(
                "No mix that can be pumped makes the full drum last {until}: plan a refill in the night."
            )],
        }
    }

    fn filled_up(&self, filled: &FilledUp) -> Vec<String> {
        let (fill, when) = if filled.fill < SPLASH {
            ("No clay: what is in the full drum is strong enough.".to_owned(), "Now ")
        } else {
            let water = format::volume_at_most(&self.site.units, filled.fill);
            (
                format!("No clay: what is in the drum is strong enough. Fill it up with {water} of water."),
                "When that reaches the intake: ",
            )
        };
        let pump = match &filled.way {
            Ok(way) => format!(
                "{when}set the pump to {}. Then {}; {}.",
                self.pump(way.slurry),
                self.way(way),
                self.lasts(filled.ends.as_ref())
            ),
            Err(cannot) => self.cannot(cannot),
        };
        vec![fill, pump]
    }
}

/// Less water than this isn't worth the way to the tap.
const SPLASH: Litres = Litres(0.5);
