//! The code by which one contact answers one notice.
//!
//! Made from a secret, the contact and the number, so that it needs no place to be kept: a mail that goes out twice has
//! the same code, and a restart forgets none. Four digits are enough for what answers and nothing else, since only a few
//! wrong ones are looked at.

use ring::hmac;

use claymark_model::id::Id;

/// Four digits.
#[must_use]
pub fn of(secret: &str, contact: &Id, notice: u64) -> String {
    let key = hmac::Key::new(hmac::HMAC_SHA256, secret.as_bytes());
    let tag = hmac::sign(&key, format!("{contact} {notice}").as_bytes());
    let number = tag.as_ref().iter().take(4).fold(0_u64, |number, byte| number * 256 + u64::from(*byte));
    format!("{:04}", number % CODES)
}

const CODES: u64 = 10_000;

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn a_code_is_bound_to_secret_contact_and_notice() {
        let id = |name| Id::new(name).unwrap();
        let codes: BTreeSet<_> = ["s", "t"]
            .iter()
            .flat_map(|secret| {
                [("ann", 7), ("kim", 7), ("ann", 8), ("ann", 70)]
                    .map(|(name, number)| of(secret, &id(name), number))
            })
            .collect();
        assert_eq!(codes.len(), 8, "{codes:?}");
        assert!(codes.iter().all(|code| code.len() == 4 && code.bytes().all(|digit| digit.is_ascii_digit())));
        assert_eq!(of("s", &id("ann"), 7), of("s", &id("ann"), 7));
    }
}
