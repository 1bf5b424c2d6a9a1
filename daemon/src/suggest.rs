//! "Did you mean …?"

/// The candidate that is most like `word`, if any is near enough to be a slip of the fingers.
pub(crate) fn closest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let lower = word.to_lowercase();
    candidates
        .into_iter()
        .map(|candidate| (strsim::damerau_levenshtein(&lower, &candidate.to_lowercase()), candidate))
        .filter(|(edits, candidate)| *edits <= allowed_edits(candidate))
        .min_by_key(|(edits, _)| *edits)
        .map(|(_, candidate)| candidate)
}

/// "Did you mean x? " or nothing.
pub(crate) fn did_you_mean<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> String {
    closest(word, candidates).map_or_else(String::new, |found| format!("Did you mean '{found}'? "))
}

/// A third of the word may be wrong; of one or two letters none, since "p2" isn't a slip for "p1".
fn allowed_edits(candidate: &str) -> usize {
    candidate.chars().count() / 3
}

#[cfg(test)]
mod tests {
    use super::closest;

    #[test]
    fn a_slip_is_recognised_and_a_stranger_is_not() {
        let keys = ["heel_l", "full_l", "strapping_mm_l", "pump", "p1"];
        for (typed, meant) in [
            ("heal_l", Some("heel_l")),
            ("Full_L", Some("full_l")),
            ("straping_mm_l", Some("strapping_mm_l")),
            ("pmup", Some("pump")),
            ("colour", None),
            ("PUMP", Some("pump")),
            ("p2", None),
        ] {
            assert_eq!(closest(typed, keys), meant, "{typed}");
        }
    }
}
