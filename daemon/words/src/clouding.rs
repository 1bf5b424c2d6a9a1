//! How cloudy the clay makes the water, and who says so.

use claymark_clay::{Clouding, Yield};
use claymark_model::site::Site;

use crate::format::date;
use crate::{format, names};

/// "0.85 NTU for each mg/L of clay above 2.0 NTU, learned from the readings (± 0.02, since Mon 12 Apr)".
#[must_use]
pub fn sentence(site: &Site, clouding: Option<&Clouding>) -> String {
    let Some(Clouding { clay, background }) = clouding else {
        return "how cloudy the clay makes the water isn't known: neither the site file nor the readings say it"
            .to_owned();
    };
    let power = if straight(clay) {
        String::new()
    } else {
        format!(" to the power of {}", format::number(clay.exponent, 2))
    };
    format!(
        "{} NTU for each mg/L of clay{power} above {}, {}",
        format::number(clay.ntu_per_mg_l, 2),
        names::turbidity(site, *background),
        told_by(site, clay)
    )
}

fn told_by(site: &Site, clay: &Yield) -> String {
    match clay.since {
        None => "as written in the site file".to_owned(),
        Some(since) => format!(
            "learned from the readings (± {}, since {})",
            format::number(clay.sd, 2),
            date(site.date_at(since))
        ),
    }
}

fn straight(clay: &Yield) -> bool {
    (clay.exponent - 1.0).abs() < 0.005
}

#[cfg(test)]
mod tests {
    use claymark_model::units::Turbidity;

    use super::*;
    use crate::notice::tests::room;

    #[test]
    fn it_is_said_whether_the_yield_was_written_or_learned_and_how_sure_it_is() {
        let site = room::site();
        let said = |since: Option<&str>, exponent| {
            let since = since.map(|at| at.parse().unwrap());
            let clay = Yield { ntu_per_mg_l: 0.853, sd: 0.017, since, exponent };
            sentence(&site, Some(&Clouding { clay, background: Turbidity(2.0) }))
        };
        for (since, exponent, expected) in [
            (None, 1.0, "0.85 NTU for each mg/L of clay above 2 NTU, as written in the site file"),
            // 22:30 in UTC is the next day at the room.
            (
                Some("2027-04-11T22:30:00Z"),
                1.0,
                "0.85 NTU for each mg/L of clay above 2 NTU, learned from the readings (± 0.02, since Mon 12 Apr)",
            ),
            (
                Some("2027-04-12T10:00:00Z"),
                1.05,
                "0.85 NTU for each mg/L of clay to the power of 1.05 above 2 NTU, learned from the readings (± 0.02, since \
                 Mon 12 Apr)",
            ),
        ] {
            assert_eq!(said(since, exponent), expected);
        }
        assert!(sentence(&site, None).contains("isn't known"));
    }
}
