//! A drum whose air has failed, in words.

use claymark_model::site::Site;
use claymark_notice::unstirred::UnstirredDrum;

use crate::format::{self, Clock};
use crate::{caution, names, notice};

/// How soon it weakens, how to tell, and what to do.
#[must_use]
pub fn still(site: &Site, still: &UnstirredDrum) -> String {
    let units = &site.units;
    let mut lines = vec![format!(
        "{} at {}: {} mm of slurry at {} above what the pump can't lift, {}.",
        names::drum(site, &still.drum),
        Clock::new(site, still.at).time(still.at),
        format::number(still.depth.0, 0),
        format::strength(units, still.strength),
        format::temperature(units, still.water)
    )];
    lines.push(match (still.coarse, still.weaker_by_tenth) {
        (Some(coarse), Some(time)) => format!(
            "If its air fails now, the slurry at the intake has lost a tenth of its clay after {} at the latest, by \
             grains of {} µm that sink alone.",
            format::duration(time),
            format::number(coarse.0, 1)
        ),
        _ => "How soon it weakens if its air fails can't be reckoned without the size of the clay's grains: write \
              [clay] coarse_um into the site file, or ask with --coarse."
            .to_owned(),
    });
    lines.push(
        "That is the slow limit: in nearly any water clay gathers to flocs, which sink many times faster. Expect \
         minutes, not hours, and believe the head tank's turbidity."
            .to_owned(),
    );
    lines.push(String::new());
    lines.extend(now(site, still));
    lines.extend(
        [
            "",
            "How to tell:",
            "- settling clay: the head tank clears smoothly while the level falls as fast as ever;",
            "- an empty drum: the level has come down to what the pump can't lift;",
            "- a failing pump, tube or valve: the level stops or slows, and the head tank clears with it;",
            "- water added without clay: the level jumped up first.",
            "",
            "What to do: give the drum air again and stir it up from the bottom by hand before anything else. Add no clay: \
             it is in the drum. When the air is back the water gets too cloudy for a while, as the pump lifts what lay \
             there: turn the pump down and measure.",
        ]
        .map(str::to_owned),
    );
    lines.push(caution::ELECTRICITY.to_owned());
    lines.join("\n") + "\n"
}

/// What shows now: the failure that the signs betray, or how much clay comes.
fn now(site: &Site, still: &UnstirredDrum) -> Vec<String> {
    let head =
        |what: &str| still.seen.map(|seen| format!("{what} {} of what the books say", format::share(seen)));
    let only = head("NOW: the head tank gets only");
    match &still.failure {
        _ if still.empty => vec!["NOW: the drum is empty.".to_owned()],
        Some(failure) => notice::failure(site, still.at, failure),
        None => vec![match (head("Now: the head tank gets"), only.filter(|_| still.is_short())) {
            (None, _) => "Now: the head tank can't say how strong its slurry is.".to_owned(),
            (Some(enough), None) => format!("{enough}. Nothing settles."),
            (Some(_), Some(only)) if !still.booked => {
                format!("{only}, but the last refill wasn't written down: was it water only?")
            }
            (Some(_), Some(only)) => format!(
                "{only}, and no failure has shown in the last hours: look at air, diffuser, tube, valve and probe."
            ),
        }],
    }
}

#[cfg(test)]
mod tests {
    use claymark_model::id::Id;
    use claymark_model::units::{Celsius, GramsPerLitre, LitresPerHour, Millimetres};
    use claymark_notice::Failure;
    use claymark_notice::failure::{Fault, Sign};
    use jiff::SignedDuration;

    use super::*;
    use crate::notice::tests::room;

    #[test]
    fn what_fails_is_told_with_its_signs_and_else_how_much_clay_comes() {
        let site = room::site();
        let at: jiff::Timestamp = "2027-04-20T15:10:00Z".parse().unwrap();
        let well = UnstirredDrum {
            at,
            drum: Id::new("a").unwrap(),
            strength: GramsPerLitre(18.0),
            water: Celsius(20.0),
            depth: Millimetres(500.0),
            coarse: None,
            weaker_by_tenth: None,
            empty: false,
            seen: Some(0.97),
            booked: true,
            failure: None,
        };
        let told = |still: &UnstirredDrum| super::still(&site, still);
        assert!(
            told(&well).contains("\nNow: the head tank gets 97 % of what the books say. Nothing settles.\n")
        );
        let failure = Failure {
            fault: Fault::DrumAir { left: 0.6, book: GramsPerLitre(18.0) },
            since: at - SignedDuration::from_mins(50),
            signs: vec![Sign::DrawUnchanged { drum: None, draw: LitresPerHour(12.0) }],
            near: None,
            drum: None,
            visit: None,
            stage: 0,
            comes_of: Vec::new(),
            origins: Vec::new(),
        };
        let short = UnstirredDrum { seen: Some(0.6), ..well.clone() };
        let failing = told(&UnstirredDrum { failure: Some(failure), ..short.clone() });
        assert!(failing.contains("the clay settles; 60 % of it comes. Do not add clay."), "{failing}");
        assert!(failing.contains("- the drum's level falls as before, by 12.0 L/h;"), "{failing}");
        assert!(told(&short).contains("only 60 % of what the books say, and no failure has shown"));
        let unwritten = UnstirredDrum { booked: false, ..short.clone() };
        assert!(told(&unwritten).contains("was it water only?"));
        assert!(told(&UnstirredDrum { seen: None, ..well.clone() }).contains("can't say how strong"));
        assert!(told(&UnstirredDrum { empty: true, ..short }).contains("NOW: the drum is empty."));
    }
}
