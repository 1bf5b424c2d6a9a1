//! Why a level isn't believed, and why nothing can be said of a drum.

use claymark_model::doubt::{Coded, Grounds, Missing, NoLevel, WhyDoubted, WhyUnknown};
use claymark_model::id::Id;

/// Why a level isn't believed.
#[must_use]
pub fn doubted(why: &Grounds<WhyDoubted>) -> String {
    match why {
        Grounds::Known(why) => of_doubt(*why).to_owned(),
        Grounds::Earlier(sentence) => sentence.clone(),
    }
}

/// Why nothing can be said.
#[must_use]
pub fn unknown(why: &Grounds<WhyUnknown>) -> String {
    match why {
        Grounds::Known(why) => of_unknown(why),
        Grounds::Earlier(sentence) => sentence.clone(),
    }
}

/// The sentence in place of the code of a reason, whichever of both it is; `None` for what is no code.
#[must_use]
pub fn of_code(code: &str) -> Option<String> {
    let unknown = || WhyUnknown::of_code(code).map(|why| of_unknown(&why));
    WhyDoubted::of_code(code).map(|why| of_doubt(why).to_owned()).or_else(unknown)
}

/// The code of the reason that a sentence tells; `None` for any other sentence.
#[must_use]
pub fn code_of(sentence: &str) -> Option<String> {
    let doubted = || WhyDoubted::ALL.into_iter().find(|why| of_doubt(*why) == sentence).map(|why| why.code());
    let unknown = || WhyUnknown::all().find(|why| of_unknown(why) == sentence).map(|why| why.code());
    let of_drum = || {
        let (drum, sentence) = sentence.strip_prefix("drum ")?.split_once(": ")?;
        let why = Box::new(WhyUnknown::all().find(|why| of_unknown(why) == sentence)?);
        Some(WhyUnknown::OfDrum { drum: Id::new(drum).ok()?, why }.code())
    };
    doubted().or_else(unknown).or_else(of_drum)
}

fn of_doubt(why: WhyDoubted) -> &'static str {
    match why {
        WhyDoubted::Silent => "the level sensor is silent",
        WhyDoubted::FailsTests => "the level readings fail their quality tests",
        WhyDoubted::OffTable => "the level sensor reads outside the strapping table",
        WhyDoubted::StandsStill => {
            "the level stands still although the pump should draw: either the pump has stopped or the sensor is stuck"
        }
        WhyDoubted::JumpsAbout => "the level jumps up and down, as foam does",
    }
}

fn of_unknown(why: &WhyUnknown) -> String {
    match why {
        WhyUnknown::NoDrums => "no drum draws through this pump".to_owned(),
        WhyUnknown::FewReadings => "too few level readings yet to tell the draw".to_owned(),
        WhyUnknown::NotDrawn => "nothing draws from it, and no draw is known".to_owned(),
        WhyUnknown::Blind { level, missing } => format!("{}, and {}", no_level(*level), lacking(*missing)),
        WhyUnknown::OfDrum { drum, why } => format!("drum {drum}: {}", of_unknown(why)),
    }
}

fn no_level(level: NoLevel) -> &'static str {
    match level {
        NoLevel::Doubted(why) => of_doubt(why),
        NoLevel::NeverHeard => "its level sensor has never been heard",
        NoLevel::NoSensor => "the drum has no level sensor",
    }
}

fn lacking(missing: Missing) -> &'static str {
    match missing {
        Missing::EarlierLevel => "no earlier level is known",
        Missing::Draw => "how much the pump draws isn't known",
        Missing::RecentLevel => "the last level that was believed is a day old",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reason_is_told_as_it_always_was() {
        let drum = Id::new("a").unwrap();
        let of_drum = |why| WhyUnknown::OfDrum { drum: drum.clone(), why: Box::new(why) };
        let blind = |level, missing| WhyUnknown::Blind { level, missing };
        for (why, told) in [
            (WhyUnknown::NoDrums, "no drum draws through this pump"),
            (WhyUnknown::FewReadings, "too few level readings yet to tell the draw"),
            (WhyUnknown::NotDrawn, "nothing draws from it, and no draw is known"),
            (
                blind(NoLevel::Doubted(WhyDoubted::Silent), Missing::Draw),
                "the level sensor is silent, and how much the pump draws isn't known",
            ),
            (
                blind(NoLevel::Doubted(WhyDoubted::OffTable), Missing::RecentLevel),
                "the level sensor reads outside the strapping table, and the last level that was believed is a day old",
            ),
            (
                of_drum(blind(NoLevel::NoSensor, Missing::EarlierLevel)),
                "drum a: the drum has no level sensor, and no earlier level is known",
            ),
        ] {
            assert_eq!(of_code(&why.code()).as_deref(), Some(told));
            assert_eq!(code_of(told), Some(why.code()));
            assert_eq!(unknown(&why.into()), told);
        }
        for why in WhyDoubted::ALL {
            assert_eq!(code_of(of_doubt(why)), Some(why.code()));
        }
        assert_eq!((of_code("unreadable"), code_of("no way")), (None, None), "what else is called why");
    }
}
