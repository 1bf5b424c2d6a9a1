//! What is kept of a password and of a token: nothing from which either could be read back.

use std::fmt;

use argon2::password_hash::{PasswordHash, PasswordHasher, PasswordVerifier, SaltString};
use argon2::{Algorithm, Argon2};
use ring::digest::{SHA256, digest};
use ring::hmac;

/// A password by argon2id, in the PHC string format.
#[derive(Clone, PartialEq, Eq)]
pub struct KeptPassword(String);

/// Why it can't be kept or read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAPassword {
    /// It could be guessed.
    #[error(
        "a password has at least {SHORTEST} characters; four words that don't belong together are easy to type"
    )]
    TooShort,
    /// Nobody types so much.
    #[error("a password has at most {LONGEST} bytes")]
    TooLong,
    /// What is kept is no argon2id.
    #[error("a password isn't kept as $argon2id$…")]
    NotArgon2id,
    /// The library refuses.
    #[error("a password can't be kept: {0}")]
    Library(String),
}

impl KeptPassword {
    /// Keeps a new password. Takes a tenth of a second and 19 MiB.
    pub fn of(password: &str) -> Result<Self, NotAPassword> {
        if password.chars().count() < SHORTEST {
            return Err(NotAPassword::TooShort);
        }
        if password.len() > LONGEST {
            return Err(NotAPassword::TooLong);
        }
        let library = |error: argon2::password_hash::Error| NotAPassword::Library(error.to_string());
        let salt = SaltString::encode_b64(&rand::random::<[u8; 16]>()).map_err(library)?;
        // The crate's defaults are argon2id with 19 MiB, two passes, one lane: the second choice of RFC 9106's successors
        // for small machines (OWASP Password Storage Cheat Sheet; from memory).
        let hash = Argon2::default().hash_password(password.as_bytes(), &salt).map_err(library)?;
        Ok(Self(hash.to_string()))
    }

    /// As it was kept.
    pub fn read(kept: &str) -> Result<Self, NotAPassword> {
        let hash = PasswordHash::new(kept).map_err(|_no_hash| NotAPassword::NotArgon2id)?;
        let sound =
            hash.algorithm == Algorithm::Argon2id.ident() && hash.hash.is_some() && hash.salt.is_some();
        if sound { Ok(Self(kept.to_owned())) } else { Err(NotAPassword::NotArgon2id) }
    }

    /// What fits no password, and takes as long to say so: nobody learns from the time which names there are.
    #[must_use]
    pub fn nobodys() -> Self {
        Self(NOBODYS.to_owned())
    }

    /// Whether it is the password; compared in constant time by the library. Takes as long as keeping it.
    #[must_use]
    pub fn fits(&self, password: &str) -> bool {
        let Ok(hash) = PasswordHash::new(&self.0) else { return false };
        password.len() <= LONGEST && Argon2::default().verify_password(password.as_bytes(), &hash).is_ok()
    }

    /// As it is kept.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// No log shows it.
impl fmt::Debug for KeptPassword {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("KeptPassword")
    }
}

/// A token by SHA-256: it was drawn, not thought of, so that nobody guesses it.
#[derive(Clone, PartialEq, Eq)]
pub struct KeptToken([u8; 32]);

impl KeptToken {
    /// Of a token.
    #[must_use]
    pub fn of(token: &str) -> Self {
        let mut kept = [0; 32];
        kept.copy_from_slice(digest(&SHA256, token.as_bytes()).as_ref());
        Self(kept)
    }

    /// From its 64 hex digits.
    #[must_use]
    pub fn read(hex: &str) -> Option<Self> {
        let mut kept = [0; 32];
        if hex.len() != 64 || !hex.is_ascii() {
            return None;
        }
        for (place, byte) in kept.iter_mut().enumerate() {
            *byte = u8::from_str_radix(hex.get(2 * place..2 * place + 2)?, 16).ok()?;
        }
        Some(Self(kept))
    }

    /// Whether it is that token; in constant time.
    #[must_use]
    pub fn fits(&self, token: &str) -> bool {
        same(&self.0, &Self::of(token).0)
    }

    /// As it is kept.
    #[must_use]
    pub fn hex(&self) -> String {
        hex(&self.0)
    }
}

impl fmt::Debug for KeptToken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("KeptToken")
    }
}

/// A new token: 32 bytes that were drawn, in hex.
#[must_use]
pub fn token() -> String {
    hex(&rand::random::<[u8; 32]>())
}

/// In lower-case hex.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Whether two secrets are the same, in a time that doesn't say how far they are.
#[must_use]
pub fn same(one: &[u8], other: &[u8]) -> bool {
    let key = hmac::Key::new(hmac::HMAC_SHA256, &rand::random::<[u8; 32]>());
    hmac::verify(&key, one, hmac::sign(&key, other).as_ref()).is_ok()
}

/// Characters.
const SHORTEST: usize = 10;
/// Bytes.
const LONGEST: usize = 512;

/// Of the same cost as those that are kept; its salt and hash are all zeros.
const NOBODYS: &str =
    "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_fits_what_is_kept_of_it_and_no_other() {
        let kept = KeptPassword::of("clay drum pike nine").unwrap();
        assert!(kept.as_str().starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{}", kept.as_str());
        assert!(!kept.as_str().contains("clay"));
        let read = KeptPassword::read(kept.as_str()).unwrap();
        assert!(read.fits("clay drum pike nine"));
        for other in ["clay drum pike nin", "Clay drum pike nine", "", "clay drum pike nine\0"] {
            assert!(!read.fits(other), "{other:?}");
        }
        assert_ne!(KeptPassword::of("clay drum pike nine").unwrap(), kept, "each has a salt of its own");
        assert!(!KeptPassword::nobodys().fits("clay drum pike nine"));
        assert!(KeptPassword::read(NOBODYS).is_ok());
        assert_eq!(format!("{kept:?}"), "KeptPassword");
    }

    #[test]
    fn what_can_be_guessed_or_is_no_argon2id_is_refused() {
        assert_eq!(KeptPassword::of("123456789"), Err(NotAPassword::TooShort));
        assert_eq!(KeptPassword::of(&"x".repeat(513)), Err(NotAPassword::TooLong));
        for bad in [
            "",
            "secret",
            "$argon2i$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA",
            "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA",
        ] {
            assert_eq!(KeptPassword::read(bad), Err(NotAPassword::NotArgon2id), "{bad}");
        }
    }

    #[test]
    fn a_token_is_known_by_its_hash_alone() {
        let token = token();
        assert_eq!(token.len(), 64);
        let kept = KeptToken::read(&KeptToken::of(&token).hex()).unwrap();
        assert!(kept.fits(&token) && !kept.fits(&token.to_uppercase()) && !kept.fits(""));
        assert_ne!(kept.hex(), token);
        assert!(
            ["", "00", &"g".repeat(64), &"é".repeat(32)].iter().all(|bad| KeptToken::read(bad).is_none())
        );
        assert!(same(b"abc", b"abc") && !same(b"abc", b"abd") && !same(b"abc", b"ab"));
    }
}
