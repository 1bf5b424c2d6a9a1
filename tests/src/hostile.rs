//! Field-log entries and answers from the edges of every field, each with what must become of it.
//!
//! - `field`: figures, texts, names and times, and whether they can be taken;
//! - `entry`: whole entries and answers.
//!
//! Each message bears a mark of its own, so that it can be found again wherever it was kept.

mod entry;
mod field;

use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// A message that is to be sent.
#[derive(Debug, Clone)]
pub struct Hostile {
    /// Its number: the mark is `h-<number>.`.
    pub number: usize,
    /// `log` or `answer`.
    pub topic: &'static str,
    /// Bytes.
    pub payload: Vec<u8>,
    /// What must become of it.
    pub fate: MessageFate,
}

/// What must become of a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MessageFate {
    /// It is plain and good: taken.
    Taken,
    /// It can't mean anything: put aside.
    PutAside,
    /// One of both; that is for the limits to say.
    Either,
}

/// Draws messages; the same seed draws the same ones.
///
/// # Panics
/// When the strategy has a fault.
#[must_use]
pub fn draw(seed: u64, count: usize) -> Vec<Hostile> {
    let mut bytes = [0; 32];
    bytes[..8].copy_from_slice(&seed.to_le_bytes());
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &bytes);
    let mut runner = TestRunner::new_with_rng(Config::default(), rng);
    let strategy = entry::message();
    let mut one = |number| {
        let drawn = strategy.new_tree(&mut runner).expect("nothing is filtered out").current();
        let entry::UnmarkedMessage { topic, payload, fate } = drawn;
        Hostile { number, topic, payload: marked(&payload, number), fate }
    };
    (0..count).map(&mut one).collect()
}

/// The numbers of the marks in a text, in their order.
pub fn marks(text: &str) -> impl Iterator<Item = usize> {
    let number = |part: &str| part.split_once('.')?.0.parse().ok();
    text.split("h-").skip(1).filter_map(number)
}

/// Puts the mark where the drawn message has room for it.
fn marked(payload: &[u8], number: usize) -> Vec<u8> {
    let mark = format!("h-{number}.");
    let place = payload.windows(field::MARK.len()).position(|window| window == field::MARK.as_bytes());
    let (before, after) = payload.split_at(place.expect("every message has room for its mark"));
    [before, mark.as_bytes(), after.get(field::MARK.len()..).unwrap_or_default()].concat()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_message_bears_its_mark_and_the_same_seed_draws_the_same_messages() {
        let drawn = draw(7, 500);
        for message in &drawn {
            let text = String::from_utf8_lossy(&message.payload).into_owned();
            assert_eq!(marks(&text).next(), Some(message.number), "{text}");
        }
        let again = draw(7, 500);
        assert!(drawn.iter().zip(&again).all(|(one, other)| one.payload == other.payload));
        assert!(draw(8, 500).iter().zip(&again).any(|(one, other)| one.payload != other.payload));
    }

    #[test]
    fn every_fate_is_drawn_often() {
        let drawn = draw(7, 2000);
        for fate in [MessageFate::Taken, MessageFate::PutAside, MessageFate::Either] {
            let count = drawn.iter().filter(|message| message.fate == fate).count();
            assert!(count > 100, "{fate:?}: {count}");
        }
    }
}
