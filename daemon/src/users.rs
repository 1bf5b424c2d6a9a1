//! Who may log in at the page, and which screens may look: a file of their own, in which no password stands.
//!
//! - [`secret`]: what is kept of a password and of a token; [`file`]: the file, read and written whole.

pub mod file;
pub mod secret;

use std::fmt;

use secret::{KeptPassword, KeptToken};

/// What somebody may do; each may do all that stands before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum PageRole {
    /// See the room.
    Look,
    /// Write into the field log.
    Log,
    /// Say "I'm on it" and "not me".
    Answer,
    /// Shelve notices, and give the night to somebody.
    Set,
}

impl PageRole {
    /// All, from the least on.
    pub const ALL: [Self; 4] = [Self::Look, Self::Log, Self::Answer, Self::Set];

    /// As it is typed and kept.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Look => "look",
            Self::Log => "log",
            Self::Answer => "answer",
            Self::Set => "set",
        }
    }

    /// Read from its name.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.name() == name)
    }
}

impl fmt::Display for PageRole {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// Somebody who may log in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Account {
    /// The id or name of a contact, or any other name.
    pub name: String,
    /// What they may do.
    pub role: PageRole,
    /// What is kept of the password.
    pub password: KeptPassword,
}

/// A screen on a wall, which may look and nothing else.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WallScreen {
    /// Where it hangs.
    pub name: String,
    /// What is kept of its token.
    pub token: KeptToken,
}

/// All of them.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Users {
    /// In the order in which they were added.
    pub accounts: Vec<Account>,
    /// Likewise.
    pub screens: Vec<WallScreen>,
}

/// Why a name can't be had.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotAName {
    /// Of other characters, or too long.
    #[error(
        "a name has 1 to {LONGEST_NAME} letters, digits, spaces and . - _ and begins and ends with none of these signs"
    )]
    Form,
    /// Somebody, or some screen, has it.
    #[error("that name is taken")]
    Taken,
}

impl Users {
    /// Whether there is nobody.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.accounts.is_empty() && self.screens.is_empty()
    }

    /// Whoever logs in by that name; letters count in either case.
    #[must_use]
    pub fn account(&self, name: &str) -> Option<&Account> {
        self.accounts.iter().find(|account| same(&account.name, name))
    }

    /// Whether a token is that of a screen.
    #[must_use]
    pub fn screen(&self, token: &str) -> Option<&WallScreen> {
        self.screens.iter().find(|screen| screen.token.fits(token))
    }

    /// Whether a new one may have that name.
    pub fn may_be_called(&self, name: &str) -> Result<(), NotAName> {
        sound(name)?;
        let taken = self.accounts.iter().any(|account| same(&account.name, name))
            || self.screens.iter().any(|screen| same(&screen.name, name));
        if taken { Err(NotAName::Taken) } else { Ok(()) }
    }

    /// Takes somebody, or a screen, out; whether there was one.
    pub fn remove(&mut self, name: &str) -> bool {
        let before = self.accounts.len() + self.screens.len();
        self.accounts.retain(|account| !same(&account.name, name));
        self.screens.retain(|screen| !same(&screen.name, name));
        self.accounts.len() + self.screens.len() < before
    }
}

/// So that it can stand in a file, a cookie's stead and a sentence without any care.
fn sound(name: &str) -> Result<(), NotAName> {
    let sign = |c: char| matches!(c, ' ' | '.' | '-' | '_');
    let fits = (1..=LONGEST_NAME).contains(&name.chars().count())
        && name.chars().all(|c| c.is_alphanumeric() || sign(c))
        && !name.starts_with(sign)
        && !name.ends_with(sign);
    if fits { Ok(()) } else { Err(NotAName::Form) }
}

fn same(one: &str, other: &str) -> bool {
    one.to_lowercase() == other.to_lowercase()
}

/// Of a name.
const LONGEST_NAME: usize = 40;

#[cfg(test)]
mod tests {
    use super::*;

    fn users() -> Users {
        let account = |name: &str| Account {
            name: name.to_owned(),
            role: PageRole::Log,
            password: KeptPassword::nobodys(),
        };
        let screen = WallScreen { name: "hall".to_owned(), token: KeptToken::of("abc") };
        Users { accounts: vec![account("Aino"), account("Östen")], screens: vec![screen] }
    }

    #[test]
    fn a_role_may_do_all_that_stands_before_it_and_is_read_from_its_name() {
        assert!(PageRole::ALL.windows(2).all(|pair| pair[0] < pair[1]));
        assert!(PageRole::ALL.iter().all(|role| PageRole::parse(role.name()) == Some(*role)));
        assert_eq!(PageRole::parse("admin"), None);
    }

    #[test]
    fn a_name_is_had_once_whatever_its_case_and_holds_nothing_that_needs_care() {
        let users = users();
        assert_eq!(users.may_be_called("kim 2"), Ok(()));
        for taken in ["aino", "AINO", "östen", "Hall"] {
            assert_eq!(users.may_be_called(taken), Err(NotAName::Taken), "{taken}");
        }
        for bad in
            ["", " kim", "kim-", "a\nb", "a\"b", "<b>", "kim;x=1", "a/b", "\u{202e}kim", &"x".repeat(41)]
        {
            assert_eq!(users.may_be_called(bad), Err(NotAName::Form), "{bad:?}");
        }
    }

    #[test]
    fn whoever_is_removed_is_gone() {
        let mut users = users();
        assert!(users.remove("AINO") && users.account("Aino").is_none());
        assert!(users.remove("hall") && users.screen("abc").is_none());
        assert!(!users.remove("hall"));
    }
}
