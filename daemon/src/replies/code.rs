//! The code by which one contact answers one notice by mail, and the token of the link that opens the page for it.
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

/// The token of a link: 128 bits, since nobody types it, and a page can be asked as often as anybody likes.
#[must_use]
pub fn of_link(secret: &str, contact: &Id, notice: u64) -> String {
    let key = hmac::Key::new(hmac::HMAC_SHA256, secret.as_bytes());
    // No id has a space in it: this is the text of no mail's code, though the secret may be the same.
    let tag = hmac::sign(&key, format!("link {contact} {notice}").as_bytes());
    tag.as_ref().iter().take(16).map(|byte| format!("{byte:02x}")).collect()
}

const CODES: u64 = 10_000;

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn the_token_of_a_link_is_bound_likewise_and_is_no_code() {
        let id = |name| Id::new(name).unwrap();
        let tokens: BTreeSet<_> =
            [("s", "ann", 7), ("t", "ann", 7), ("s", "kim", 7), ("s", "ann", 8), ("s", "ann", 70)]
                .map(|(secret, name, number)| of_link(secret, &id(name), number))
                .into();
        assert_eq!(tokens.len(), 5, "{tokens:?}");
        assert!(tokens.iter().all(|token| token.len() == 32));
        assert_eq!(of_link("s", &id("ann"), 7), of_link("s", &id("ann"), 7));
    }

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
