//! What is known of the slurry in one drum.

use claymark_clay::refill::books::{Books, StrengthSource};
use claymark_clay::refill::{Aim, Counted, Seen};
use claymark_model::units::GramsPerLitre;
use claymark_model::unseen::Unseen;

/// What is known of the slurry in one drum.
#[derive(Debug)]
pub(crate) struct Mixture {
    /// By the refills that were written down.
    pub(crate) books: Books,
    /// By the head tank.
    pub(crate) seen: Option<Seen>,
    /// What a full drum should hold.
    pub(crate) aim: Aim,
    /// A refill that was written down and that no level shows.
    pub(crate) unseen: Option<Unseen>,
    /// Nothing more is to be added before somebody has looked for it.
    pub(crate) waits: bool,
}

impl Mixture {
    /// What a refill counts on.
    pub(crate) fn counted(&self) -> Counted {
        match &self.unseen {
            Some(unseen) if self.waits => Counted::Unseen(unseen.clone()),
            Some(_) | None => self.by_estimates(),
        }
    }

    fn by_estimates(&self) -> Counted {
        Counted::of(&self.books, self.seen.as_ref())
    }

    /// It is counted by the head tank.
    pub(crate) fn is_by_head(&self) -> bool {
        match self.by_estimates() {
            Counted::Known(residual) => matches!(residual.source, StrengthSource::Seen { .. }),
            Counted::LookFirst { .. } => true,
            Counted::Unseen(_) => false,
        }
    }

    /// The strength by the head tank, where that is asked for and it shows one; else by the books.
    pub(crate) fn strength(&self, by_head: bool) -> GramsPerLitre {
        match (self.by_estimates(), &self.seen) {
            (_, Some(seen)) if by_head => seen.strength,
            (Counted::Known(residual), _) if !self.is_by_head() => residual.strength,
            (Counted::LookFirst { book, .. }, _) => book.strength,
            (Counted::Known(_) | Counted::Unseen(_), _) => self.books.left.strength,
        }
    }
}
