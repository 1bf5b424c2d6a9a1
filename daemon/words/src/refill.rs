//! What to add to a drum, or why nothing: the same sentences in a notice and on a refill sheet.

use claymark_clay::refill::books::{MassDoubt, Residual, StrengthSource};
use claymark_clay::refill::sheet::{HeadShows, Sheet};
use claymark_clay::refill::{AtMark, Mix, PlanAim, PumpTo, Refill, Seen, TooStrong};
use claymark_model::id::Id;
use claymark_model::site::Site;
use claymark_model::units::{GramsPerLitre, Kilograms, Litres};
use jiff::Timestamp;

use crate::format::{self, Clock};
use crate::{caution, clouding, drying, names, unseen};

/// "Add 113 L water, 2.05 kg clay."
#[must_use]
pub fn short(site: &Site, refill: &Refill) -> Option<String> {
    let units = &site.units;
    match refill {
        Refill::Mix(mix) => Some(format!(
            "Add {} water, {} clay.",
            format::volume_at_most(units, mix.water),
            format::mass(units, mix.clay, site.clay.scale_step)
        )),
        Refill::WaterOnly { water, .. } => {
            Some(format!("Add {} water, no clay.", format::volume_at_most(units, *water)))
        }
        Refill::LookFirst { .. } => Some("Don't add clay: look at its air first.".to_owned()),
        Refill::WrittenDown(_) => Some("Don't add anything: look at the mark first.".to_owned()),
        Refill::TooStrong(_) | Refill::NoRoom | Refill::DrumTooSmall { .. } | Refill::TooThick { .. } => None,
    }
}

/// What to add, line by line; `None`: what is in the drum isn't known.
#[must_use]
pub fn lines(site: &Site, clock: Clock<'_>, refill: Option<&Refill>) -> Vec<String> {
    let units = &site.units;
    match refill {
        None => vec![
            "How much to add can't be worked out without its volume: read it by eye, write it down (claymark log dip), and \
             ask again."
                .to_owned(),
        ],
        Some(Refill::Mix(mix)) => mixed(site, clock, mix),
        Some(Refill::WaterOnly { water, gives, residual, up_to, at_mark }) => {
            let mut lines: Vec<String> = at_mark.iter().map(|mark| not_at(site, mark)).collect();
            lines.push(format!(
                "{}: {} of water and no clay; that gives {} ({}).",
                up_to.map_or_else(
                    || "To fill it".to_owned(),
                    |to| format!("Up to {}, where it is thin enough", format::volume(units, to))
                ),
                format::volume_at_most(units, *water),
                format::strength(units, *gives),
                left(site, clock, residual)
            ));
            lines
        }
        Some(Refill::TooStrong(strong)) => too_strong(site, clock, strong),
        Some(Refill::NoRoom) => {
            vec!["It is up to the mark that is wanted: there is no room to add anything.".to_owned()]
        }
        Some(Refill::DrumTooSmall { to, full }) => vec![format!(
            "The drum is too small: {} is above its full line, {}. Choose a lower mark, or fill a second drum.",
            format::volume(units, *to),
            format::volume(units, *full)
        )],
        Some(Refill::TooThick { gives, thickest, residual }) => vec![format!(
            "Don't add clay: filled up it would hold {}, and the pump can lift {} at most ({}). Draw some off first.",
            format::strength(units, *gives),
            format::strength(units, *thickest),
            left(site, clock, residual)
        )],
        Some(Refill::LookFirst { book, seen }) => look_first(site, clock, book, seen),
        Some(Refill::WrittenDown(unseen)) => unseen::lines(site, clock, unseen),
    }
}

/// What goes in for the night, where the pump is turned for it.
pub(crate) fn for_the_night(site: &Site, clock: Clock<'_>, refill: &Refill) -> Vec<String> {
    let Refill::TooStrong(strong) = refill else { return lines(site, clock, Some(refill)) };
    let units = &site.units;
    vec![format!(
        "To fill it: {} of water and no clay; that gives {} ({}).",
        format::volume_at_most(units, strong.fill),
        format::strength(units, strong.gives),
        left(site, clock, &strong.residual)
    )]
}

/// What to do with a drum of which the volume isn't known, for slurry of that strength: water alone would thin it.
#[must_use]
pub fn unknown(site: &Site, drum: &Id, strength: GramsPerLitre) -> Vec<String> {
    let units = &site.units;
    let some = Litres(units.volume.to_base(10.0));
    let example = site.drum(drum).map_or(some, |drum| drum.full * 0.5);
    vec![
        format!(
            "How much to add can't be worked out without its volume. Read it by eye, write it down, and ask again: \
             claymark log dip --drum {drum} --volume \"{}\".",
            format::volume(units, example)
        ),
        format!(
            "Don't fill it with water alone, which thins it. Slurry of {} takes {} of clay for each {} that are missing.",
            format::strength(units, strength),
            format::mass(units, strength.clay_in(some), site.clay.scale_step),
            format::volume(units, some)
        ),
    ]
}

/// "The refill of 14:05 was written down with 7.00 kg of clay …"
#[must_use]
pub fn doubt(site: &Site, clock: Clock<'_>, doubt: &MassDoubt) -> String {
    let told = format!(
        "The refill of {} was written down with {} of clay; {}.",
        clock.time(doubt.at),
        format::mass(&site.units, doubt.typed, site.clay.scale_step),
        expected(site, doubt.expected)
    );
    format!("{told} {} If so, write it down again with --replaces {}.", perhaps(site, doubt), doubt.key)
}

/// "about 1.86 kg was expected"
#[must_use]
pub fn expected(site: &Site, expected: Kilograms) -> String {
    if expected.0 > 0.0 {
        format!("about {} was expected", format::mass(&site.units, expected, site.clay.scale_step))
    } else {
        "none was expected, as what was left is strong enough".to_owned()
    }
}

/// What that mass would make, and the question.
fn perhaps(site: &Site, doubt: &MassDoubt) -> String {
    let thick = doubt.gives.map_or_else(String::new, |gives| {
        format!("{}, so it isn't counted on and the target stands in. ", too_thick(site, gives))
    });
    match doubt.meant {
        Some(meant) => {
            let meant = format::mass(&site.units, meant, site.clay.scale_step);
            format!("{thick}Was {meant} meant, with pounds and kilograms mixed up?")
        }
        None if doubt.gives.is_some() => format!("{thick}Is the figure wrong?"),
        None if doubt.twice => {
            "That is about twice as much: was it weighed or poured twice? It is counted as it stands."
                .to_owned()
        }
        None => "It is counted as it stands, with a wide margin. Is the figure wrong?".to_owned(),
    }
}

/// "That would make 1518 g/L, and the pump can lift 60 g/L at most"
#[must_use]
pub fn too_thick(site: &Site, gives: GramsPerLitre) -> String {
    let strength = |strength| format::strength(&site.units, strength);
    format!(
        "That would make {}, and the pump can lift {} at most",
        strength(gives),
        strength(site.clay.thickest)
    )
}

/// The whole sheet of one drum, for the wall beside it.
#[must_use]
pub fn sheet(site: &Site, sheet: &Sheet) -> String {
    let (clock, units) = (Clock::new(site, sheet.at), &site.units);
    let holds = sheet.holds.map_or_else(
        || "what is in it isn't known".to_owned(),
        |holds| format!("{} in it", format::volume(units, holds)),
    );
    let mut lines = vec![
        format!("{} at {}: {holds}.", names::drum(site, &sheet.drum), clock.time(sheet.at)),
        format!(
            "Wanted: {} at {} of finished slurry{}.",
            format::volume(units, sheet.wanted.to),
            format::strength(units, sheet.wanted.strength),
            sheet.plan.map(|plan| format!(", for {}", planned(site, clock, plan))).unwrap_or_default()
        ),
    ];
    lines.extend(estimates(site, clock, sheet));
    if sheet.clouding.is_some() && (sheet.plan.is_some() || sheet.seen.is_some()) {
        lines.push(format!("Reckoned by {}.", clouding::sentence(site, sheet.clouding.as_ref())));
    }
    lines.push(String::new());
    match &sheet.refill {
        Some(_) => lines.extend(self::lines(site, clock, sheet.refill.as_ref())),
        None => lines.extend(unknown(site, &sheet.drum, sheet.wanted.strength)),
    }
    lines.extend(sheet.then_shows.map(|shows| then_shows(site, shows)));
    if let (Some(Refill::Mix(_) | Refill::WaterOnly { up_to: None, .. }), Some(ends)) =
        (&sheet.refill, &sheet.then_empty)
    {
        let dry = drying::dry(clock, sheet.at, ends);
        lines.push(format!("Filled now, with the pump as it is: {dry}."));
    }
    let elsewhere = sheet.unseen.iter().filter(|_| !matches!(sheet.refill, Some(Refill::WrittenDown(_))));
    lines.extend(elsewhere.flat_map(|unseen| unseen::asked(site, clock, unseen)));
    lines.extend(sheet.doubt.as_ref().map(|asked| doubt(site, clock, asked)));
    lines.push(String::new());
    if let Some(Refill::Mix(mix)) = &sheet.refill
        && mix.bags >= 1.0
    {
        lines.push(caution::lifting(units, site.clay.bag));
    }
    if let Some(Refill::Mix(_)) = &sheet.refill {
        lines.push(caution::SILICA.to_owned());
    }
    lines.extend([caution::HANDLING.to_owned(), caution::ADVISES.to_owned()]);
    lines.join("\n") + "\n"
}

/// "41 NTU, what the plan wants in the middle of its life, Wed 02:00"
pub(crate) fn planned(site: &Site, clock: Clock<'_>, plan: PlanAim) -> String {
    let turbidity = names::turbidity(site, plan.turbidity);
    format!("{turbidity}, what the plan wants in the middle of its life, about {}", clock.about(plan.at))
}

/// "41 NTU, Wed 02:00": the same in a cell of a table.
pub(crate) fn aimed(site: &Site, clock: Clock<'_>, plan: PlanAim) -> String {
    format!("{}, {}", names::turbidity(site, plan.turbidity), clock.about(plan.at))
}

/// Both estimates of the strength of what is left.
fn estimates(site: &Site, clock: Clock<'_>, sheet: &Sheet) -> Vec<String> {
    let book = left(site, clock, &sheet.book);
    let seen = match &sheet.seen {
        None => "The head tank can't say: it hasn't settled since the last change, or fresh water, yield or turbidity \
                 isn't known."
            .to_owned(),
        Some(seen) => format!(
            "By the head tank's {} at {}: {}{}{}",
            names::turbidity(site, seen.turbidity),
            clock.time(seen.at),
            format::strength_sd(&site.units, seen.strength, seen.sd),
            if seen.alone { "." } else { ", shared out among the drums that feed it." },
            if seen.can_judge { "" } else { " The yield isn't sure enough to hold this against the books." }
        ),
    };
    vec![format!("By the books, {book}."), seen]
}

fn mixed(site: &Site, clock: Clock<'_>, mix: &Mix) -> Vec<String> {
    let units = &site.units;
    let clay = format::mass(units, mix.clay, site.clay.scale_step);
    let bag = format::bag(units, site.clay.bag);
    let bags = if mix.bags >= 0.25 {
        format!(" ({} of a {bag} bag)", format::number(mix.bags, 1))
    } else {
        String::new()
    };
    let buckets = match mix.buckets {
        0 | 1 => "a bucket".to_owned(),
        n => format!("{n} buckets of {}", format::volume(units, site.clay.premix.bucket)),
    };
    let line = if mix.to_line {
        "the line".to_owned()
    } else {
        format!("the {} mark", format::volume(units, mix.to))
    };
    vec![
        format!(
            "To fill it from {} now: {clay} of clay{bags} and {} of water.",
            format::volume(units, mix.from),
            format::volume_at_most(units, mix.water)
        ),
        format!(
            "Stir the clay into some of the water in {buckets} first. Pour it in, then fill up to {line}."
        ),
        caution::PREMIX.to_owned(),
        format!(
            "That gives {} of finished slurry ({}).",
            format::strength_sd(units, mix.gives, mix.gives_sd),
            left(site, clock, &mix.residual)
        ),
    ]
}

fn too_strong(site: &Site, clock: Clock<'_>, strong: &TooStrong) -> Vec<String> {
    let units = &site.units;
    let volume = |litres: Litres| format::volume(units, litres);
    vec![
        format!(
            "No clay: what is in it is too strong already. Filled up it would hold {} ({}).",
            format::strength(units, strong.gives),
            left(site, clock, &strong.residual)
        ),
        format!(
            "Take out {} first, then fill up to the line with {} of water.",
            volume(strong.take_out),
            volume(strong.then_water)
        ),
        format!("Or fill up with {} of water as it is, and {}.", volume(strong.fill), pump_down(strong)),
    ]
}

/// "set the pump to about 152 mL/min (about 73 rpm)"
fn pump_down(strong: &TooStrong) -> String {
    let share = format::share(strong.pump_share);
    let right = "of the flow that is right for the strength wanted";
    match strong.pump {
        Some(pump) => format!("set the pump to about {}, {share} {right}", pump_to(pump)),
        None => format!("turn the pump down to {share} {right}"),
    }
}

/// "152 mL/min (about 73 rpm)"
pub(crate) fn pump_to(pump: PumpTo) -> String {
    let flow = format::slurry(pump.slurry);
    match pump.rpm {
        Some(rpm) => format!("{flow} (about {} rpm)", format::number(rpm, 0)),
        None => flow,
    }
}

/// Why water alone isn't enough at the mark that was wanted.
fn not_at(site: &Site, mark: &AtMark) -> String {
    let units = &site.units;
    format!(
        "Filled only to {} it would hold {}, and {} is wanted: more water has to go in.",
        format::volume(units, mark.to),
        format::strength(units, mark.gives),
        format::strength(units, mark.wanted)
    )
}

fn then_shows(site: &Site, shows: HeadShows) -> String {
    let turbidity = names::turbidity(site, shows.turbidity);
    let (value, unit) = turbidity.split_once(' ').unwrap_or((&turbidity, ""));
    format!(
        "With the pumps as they are the head tank then comes to {value} ± {} {unit} (one standard deviation, by that of \
         the strength).",
        format::number(shows.sd.0, 1)
    )
}

pub(crate) fn look_first(site: &Site, clock: Clock<'_>, book: &Residual, seen: &Seen) -> Vec<String> {
    let units = &site.units;
    let mut lines = vec![
        format!(
            "Don't add clay yet. By the books it holds {}; at {} the head tank, at {}, got only {}.",
            format::strength(units, book.strength),
            clock.time(seen.at),
            names::turbidity(site, seen.turbidity),
            format::strength(units, seen.strength)
        ),
        "The clay is in the drum and doesn't come out. Look first, in this order: the drum's air and its diffuser, the \
         tube, the valve; then wipe the turbidity probe."
            .to_owned(),
        "If all of that is well, this clay clouds the water less than is reckoned with: another lot, or a wrong [clay] \
         ntu_per_mg_l in the site file."
            .to_owned(),
    ];
    if !seen.alone {
        lines.push("Several drums feed the head tank: it can't tell which of them is weak.".to_owned());
    }
    lines
}

/// "what is left counted at 17.2 ± 0.9 g/L: by the refill written down at 07:40"
fn left(site: &Site, clock: Clock<'_>, residual: &Residual) -> String {
    let strength = format::strength_sd(&site.units, residual.strength, residual.sd);
    let at = |at: Timestamp| clock.time(at);
    let because = match residual.source {
        StrengthSource::Logged { at: when } => format!("by the refill written down at {}", at(when)),
        StrengthSource::Seen { at: when } => format!("by what the head tank showed at {}", at(when)),
        StrengthSource::Told => "as you say".to_owned(),
        StrengthSource::NothingLogged => "the target, as no refill was ever written down".to_owned(),
        StrengthSource::RefillNotLogged { at: when } => {
            format!("the target, as the refill of {} wasn't written down", at(when))
        }
        StrengthSource::FiguresMissing { at: when } => {
            format!("the target, as the refill of {} was written down without its figures", at(when))
        }
        StrengthSource::MassDoubtful { at: when } => {
            format!("the target, as the refill of {} was written down with a mass that can't be", at(when))
        }
    };
    format!("what is left counted at {strength}: {because}")
}

#[cfg(test)]
mod tests;
