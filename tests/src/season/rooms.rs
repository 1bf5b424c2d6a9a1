//! The kinds of room, and how often what happens in each.

/// A kind of room.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum RoomKind {
    /// Still drums, careful people, fresh tubes.
    Calm,
    /// Aerated drums that foam over, coarse sensors.
    Noisy,
    /// People forget to write things down, or write them down wrong.
    Clumsy,
    /// Tubes worn until they slip, clogs, leaks.
    Worn,
    /// Several changes a day that nobody writes down.
    Unwritten,
    /// Lines that clog by and by, tubes that split.
    Clogged,
    /// Sensors that drift, strapping tables and ratings that are wrong.
    Misread,
    /// Pumps that stand for minutes, drums that are swapped, networks that fail.
    Broken,
}

impl RoomKind {
    /// The usual ones.
    pub const ALL: [Self; 4] = [Self::Calm, Self::Noisy, Self::Clumsy, Self::Worn];

    /// Those in which much goes wrong.
    pub const HARD: [Self; 4] = [Self::Unwritten, Self::Clogged, Self::Misread, Self::Broken];

    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Calm => "calm",
            Self::Noisy => "noisy",
            Self::Clumsy => "clumsy",
            Self::Worn => "worn",
            Self::Unwritten => "unwritten",
            Self::Clogged => "clogged",
            Self::Misread => "misread",
            Self::Broken => "broken",
        }
    }

    /// By its name.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().chain(Self::HARD).find(|kind| kind.name() == text)
    }
}
