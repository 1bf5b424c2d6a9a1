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
}

impl RoomKind {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Calm, Self::Noisy, Self::Clumsy, Self::Worn];

    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Calm => "calm",
            Self::Noisy => "noisy",
            Self::Clumsy => "clumsy",
            Self::Worn => "worn",
        }
    }

    /// By its name.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == text)
    }
}
