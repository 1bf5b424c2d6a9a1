//! A refill that was written down and that no level shows: what it is counted as, and what to do before anything is added.

use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_model::unseen::{Unseen, UnseenSign};

use crate::format::{self, Clock};

/// Why nothing more is to be added now, and what to look at.
pub(crate) fn lines(site: &Site, clock: Clock<'_>, unseen: &Unseen) -> Vec<String> {
    let (written, units) = (written(site, clock, unseen), &site.units);
    let after = unseen.after.map(|after| format::volume(units, after));
    let dip = "If it stands otherwise, read it by eye, write that down (claymark log dip), and ask again.";
    let mut lines = match (unseen.sign, after) {
        (UnseenSign::Denied { shows }, after) => vec![
            format!(
                "{written}, but its level shows {} and no such rise, so they aren't counted.",
                format::volume(units, shows)
            ),
            format!(
                "Don't add anything before somebody has looked at the mark. Where it stands at about {} they are in it, and \
                 the level sensor is wrong; where it stands lower, pour what is missing of them, and no more.",
                after.unwrap_or_default()
            ),
            format!("Did they go into another drum, or are the figures wrong? {}", replaces(unseen)),
        ],
        (UnseenSign::Awaited, Some(after)) => vec![
            format!("{written}. Its level doesn't show them yet; they are counted."),
            format!(
                "Don't add anything now: wait until the level has settled, or look at the mark. It should stand at about \
                 {after}."
            ),
            dip.to_owned(),
        ],
        (UnseenSign::Reckoned, Some(after)) => vec![
            format!("{written}, and are counted; its level isn't heard."),
            format!("Don't add anything before you have looked at the mark. It should stand at about {after}."),
            dip.to_owned(),
        ],
        (UnseenSign::Awaited | UnseenSign::Reckoned, None) => vec![
            format!("{written}; what was in it before isn't known."),
            "Don't add anything more before you have read the mark: write it down (claymark log dip), and ask again."
                .to_owned(),
        ],
    };
    lines.extend(slips(unseen));
    lines
}

/// The same in a line, where other amounts are advised beside it.
pub(crate) fn asked(site: &Site, clock: Clock<'_>, unseen: &Unseen) -> Vec<String> {
    let written = written(site, clock, unseen);
    let mut lines = match unseen.sign {
        UnseenSign::Denied { .. } => vec![format!(
            "{written}, and its level never showed them, so they aren't counted. Did they go into another drum, or are the \
             figures wrong? {}",
            replaces(unseen)
        )],
        UnseenSign::Awaited => vec![format!("{written}. Its level doesn't show them yet; they are counted.")],
        UnseenSign::Reckoned => Vec::new(),
    };
    lines.extend(slips(unseen));
    lines
}

/// When that can be asked again.
pub(crate) fn ask_again(drum: &Id) -> String {
    format!("When that is settled, ask again what to add: claymark mix --drum {drum}.")
}

/// What looks like a slip of the pen.
fn slips(unseen: &Unseen) -> Vec<String> {
    let again = "The same figures were written down again within minutes; they are counted once.".to_owned();
    let overfull = || {
        format!(
            "That is more than had room in it; it is counted as full. Are the figures wrong? {}",
            replaces(unseen)
        )
    };
    unseen.again.then_some(again).into_iter().chain(unseen.overfull.then(overfull)).collect()
}

fn replaces(unseen: &Unseen) -> String {
    format!("If so, write it down again with --replaces {}.", unseen.key)
}

/// "117 L of water and 2.08 kg of clay were written down at 08:09"
fn written(site: &Site, clock: Clock<'_>, unseen: &Unseen) -> String {
    let units = &site.units;
    let water = unseen.water.map(|water| format!("{} of water", format::volume(units, water)));
    let clay = unseen.clay.filter(|clay| clay.0 > 0.0);
    let clay = clay.map(|clay| format!("{} of clay", format::mass(units, clay, site.clay.scale_step)));
    let at = clock.time(unseen.at);
    match (water, clay) {
        (Some(water), Some(clay)) => format!("{water} and {clay} were written down at {at}"),
        (Some(one), None) | (None, Some(one)) => format!("{one} were written down at {at}"),
        (None, None) => format!("Water and clay, without figures, were written down at {at}"),
    }
}

#[cfg(test)]
mod tests {
    use claymark_model::units::{Kilograms, Litres};

    use super::*;
    use crate::notice::tests::room;

    fn told(change: impl FnOnce(&mut Unseen)) -> String {
        let site = room::site();
        let now = "2027-04-20T05:12:00Z".parse().unwrap();
        let mut unseen = Unseen {
            key: "k-7".to_owned(),
            at: "2027-04-20T05:09:00Z".parse().unwrap(),
            water: Some(Litres(117.0)),
            clay: Some(Kilograms(2.08)),
            before: Some(Litres(49.0)),
            after: Some(Litres(166.4)),
            sign: UnseenSign::Awaited,
            again: false,
            overfull: false,
        };
        change(&mut unseen);
        lines(&site, Clock::new(&site, now), &unseen).join(" ")
    }

    #[test]
    fn nothing_is_to_be_added_while_the_level_settles() {
        let told = told(|_| {});
        assert!(
            told.starts_with(
                "117 L of water and 2.08 kg of clay were written down at 08:09. Its level doesn't show them yet; they are \
                 counted. Don't add anything now: wait until the level has settled, or look at the mark. It should stand at \
                 about 166 L."
            ),
            "{told}"
        );
    }

    #[test]
    fn a_level_that_denies_it_is_told_with_both_ways_out() {
        let told = told(|unseen| unseen.sign = UnseenSign::Denied { shows: Litres(48.6) });
        for part in [
            "but its level shows 49 L and no such rise, so they aren't counted.",
            "where it stands lower, pour what is missing of them, and no more.",
            "If so, write it down again with --replaces k-7.",
        ] {
            assert!(told.contains(part), "{part}: {told}");
        }
    }

    #[test]
    fn slips_and_what_is_not_known_are_said() {
        let unknown = told(|unseen| (unseen.before, unseen.after, unseen.clay) = (None, None, None));
        assert!(
            unknown.starts_with("117 L of water were written down at 08:09; what was in it before isn't")
        );
        let bare = told(|unseen| (unseen.water, unseen.clay) = (None, None));
        assert!(bare.starts_with("Water and clay, without figures, were written down at 08:09."), "{bare}");
        let slips = told(|unseen| (unseen.again, unseen.overfull) = (true, true));
        assert!(slips.contains("counted once") && slips.contains("it is counted as full"), "{slips}");
    }
}
