//! What a drum does that isn't stirred: the answer to `claymark settle`.

use claymark_clay::settling::ENOUGH;
use claymark_model::id::Id;
use claymark_model::units::{Celsius, GramsPerLitre, Micrometres, Millimetres};
use jiff::{SignedDuration, Timestamp};

use crate::Failure;

/// What happens in a drum that isn't stirred.
#[derive(Debug, Clone, PartialEq)]
pub struct UnstirredDrum {
    /// When it was asked.
    pub at: Timestamp,
    /// Which.
    pub drum: Id,
    /// Its strength as it is counted on.
    pub strength: GramsPerLitre,
    /// Of the water.
    pub water: Celsius,
    /// From the surface down to what the pump can't lift.
    pub depth: Millimetres,
    /// The grain that a tenth of the clay is coarser than.
    pub coarse: Option<Micrometres>,
    /// When the slurry at the intake has lost a tenth, at the latest; `None`: the grain isn't known.
    pub weaker_by_tenth: Option<SignedDuration>,
    /// Nothing is left that the pump could lift.
    pub empty: bool,
    /// Strength that the head tank shows, as a share of what the books say; `None`: it can't.
    pub seen: Option<f64>,
    /// The books know what is in it.
    pub booked: bool,
    /// What has failed, where that may be why less clay comes.
    pub failure: Option<Failure>,
}

impl UnstirredDrum {
    /// Whether the head tank gets less clay than the books say.
    #[must_use]
    pub fn is_short(&self) -> bool {
        self.seen.is_some_and(|seen| seen < ENOUGH)
    }
}
