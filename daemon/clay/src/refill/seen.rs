//! What the head tank shows of the slurry that feeds it, held against the books.
//!
//! The settled head tank's turbidity tells the clay that is fed, and so the strength, by yield, fresh water and draw.
//! Several drums that feed it at once can't be told apart: the shortfall is shared out in proportion to the books.

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::feed::HeadFeed;
use crate::refill::Residual;
use crate::refill::books::{Books, StrengthSource};
use crate::response::Residence;
use crate::settling::ENOUGH;
use crate::water::{FlowBy, KnownFlow, Measured};
use claymark_model::units::{GramsPerLitre, GramsPerMinute, LitresPerHour, Turbidity};
use claymark_model::unseen::Unseen;

/// A strength that the head tank shows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Seen {
    /// The strength.
    pub strength: GramsPerLitre,
    /// Its standard deviation.
    pub sd: GramsPerLitre,
    /// When the head tank showed it.
    pub at: Timestamp,
    /// Of the head tank.
    pub turbidity: Turbidity,
    /// Whether one drum alone feeds the head tank: otherwise it can't tell which is weak.
    pub alone: bool,
    /// The yield is known well enough to hold this against the books.
    pub can_judge: bool,
}

/// The strength that a refill counts on.
#[derive(Debug, Clone, PartialEq)]
pub enum Counted {
    /// This.
    Known(Residual),
    /// None: the books say that the clay is in the drum, and the head tank doesn't get it.
    LookFirst {
        /// By the books.
        book: Residual,
        /// By the head tank.
        seen: Seen,
    },
    /// None: a refill was written down that nobody has seen yet.
    Unseen(Unseen),
}

/// A drum that feeds the head tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Feeding {
    /// Its strength by the books.
    pub strength: GramsPerLitre,
    /// What is drawn from it.
    pub draw: LitresPerHour,
}

/// The head tank, settled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SettledHeadTank {
    /// Water and yield.
    pub feed: HeadFeed,
    /// How the water is known.
    pub fresh: KnownFlow,
    /// What it shows.
    pub shows: Measured,
}

impl SettledHeadTank {
    /// What it shows of `drum`, one of `all` that feed it; `None` when nothing is fed.
    #[must_use]
    pub fn shows_of(&self, drum: &Feeding, all: &[Feeding]) -> Option<Seen> {
        let draw = all.iter().fold(LitresPerHour(0.0), |sum, feeding| sum + feeding.draw);
        let by_books =
            all.iter().fold(GramsPerMinute(0.0), |sum, feeding| sum + feeding.draw.clay(feeding.strength));
        if by_books.0 <= 0.0 {
            return None;
        }
        let fed = self.feed.demand(self.shows.turbidity, draw);
        let strength = drum.strength * (fed.0 / by_books.0);
        let above = (self.shows.turbidity - self.feed.clouding.background).max(Turbidity(1.0));
        let parts = [
            self.feed.clouding.share_in_doubt(),
            flow_doubt(self.fresh.by),
            DRAW_DOUBT,
            TURBIDITY_SD / above.0,
        ];
        let share = parts.iter().map(|part| part * part).sum::<f64>().sqrt();
        Some(Seen {
            strength,
            sd: strength * share,
            at: self.shows.at,
            turbidity: self.shows.turbidity,
            alone: all.len() == 1,
            can_judge: self.feed.clouding.can_judge(),
        })
    }
}

/// How long after a change the head tank shows it whole: three time constants, and the minutes of the median.
#[must_use]
pub fn settles_after(head: Residence) -> SignedDuration {
    head.wait(SETTLED) + MEDIAN_OF
}

impl Counted {
    /// By both estimates. The books are never undercut: clay that they say is in the drum isn't advised again.
    #[must_use]
    pub fn of(books: &Books, seen: Option<&Seen>) -> Self {
        let Some(seen) = seen else { return Self::Known(books.left) };
        let book = match books.left_if_meant {
            Some(meant) if apart(&meant, seen) < apart(&books.left, seen) => meant,
            Some(_) | None => books.left,
        };
        let by_seen =
            Residual { strength: seen.strength, sd: seen.sd, source: StrengthSource::Seen { at: seen.at } };
        if !seen.can_judge {
            Self::Known(book)
        } else if !book.is_known() || seen.strength * ENOUGH > book.strength {
            Self::Known(by_seen)
        } else if seen.strength < book.strength * ENOUGH {
            Self::LookFirst { book, seen: *seen }
        } else {
            Self::Known(Residual { sd: both(book.sd, seen.sd), ..book })
        }
    }
}

fn apart(book: &Residual, seen: &Seen) -> f64 {
    (book.strength.0 - seen.strength.0).abs()
}

/// Of two estimates that agree.
fn both(one: GramsPerLitre, other: GramsPerLitre) -> GramsPerLitre {
    let weight = |sd: GramsPerLitre| 1.0 / (sd.0 * sd.0).max(f64::MIN_POSITIVE);
    GramsPerLitre((weight(one) + weight(other)).sqrt().recip())
}

/// Share by which a flow may be wrong, one standard deviation (common practice, no source).
fn flow_doubt(by: FlowBy) -> f64 {
    match by {
        FlowBy::Sensor => 0.03,
        FlowBy::Check { .. } => 0.05,
        FlowBy::Plan | FlowBy::Share => 0.10,
    }
}

/// Share by which a draw that the level shows may be wrong (common practice, no source).
const DRAW_DOUBT: f64 = 0.03;
/// NTU by which the median of a clean probe may be wrong (common practice, no source).
const TURBIDITY_SD: f64 = 1.0;
/// Three time constants.
const SETTLED: f64 = 0.95;
const MEDIAN_OF: SignedDuration = SignedDuration::from_mins(10);
