//! Both levers, and how long a change takes, in words.

use claymark_clay::levers::{Cannot, Way};
use claymark_clay::refill::{PumpTo, Refill};
use claymark_clay::water::{FlowBy, KnownFlow};
use claymark_model::forecast::EmptyAt;
use claymark_model::id::Id;
use claymark_model::site::{Place, Site};
use claymark_model::units::{LitresPerHour, Turbidity};
use claymark_notice::content::{NightMix, Verdict};
use claymark_notice::dose::{
    Advice, Dose, LookFirst, MissingFigure, Night, NoDose, Response, TankResponse, Ways,
};
use jiff::SignedDuration;

use crate::format::{self, Clock};
use crate::{caution, clouding, drying, names, refill};

/// All ways to set pump and strength, one below the other.
#[must_use]
pub fn dose(site: &Site, dose: &Dose) -> String {
    let teller = DoseTeller { site, dose, clock: Clock::new(site, dose.at) };
    let mut parts = vec![teller.now()];
    match &dose.advice {
        Advice::LookFirst(look) => parts.push(teller.look_first(look)),
        Advice::Set(ways) => {
            parts.extend([teller.by_pump(ways), teller.by_strength(ways)]);
            parts.extend(ways.night.as_ref().map(|night| teller.night(ways, night)));
        }
    }
    parts.push(teller.balance());
    let mut text: String = parts.iter().map(|lines| lines.join("\n") + "\n\n").collect();
    text.push_str(caution::ADVISES);
    text.push('\n');
    text
}

/// How long to wait after a change, and what each tank will show when the feed becomes `to`.
#[must_use]
pub fn waiting(site: &Site, response: &Response, to: Option<Turbidity>) -> String {
    let units = &site.units;
    let mut lines = vec![
        format!(
            "{}: {} with {} through it, exchanged in {}. After a change measure again in {} (95 % of it shows), \
             or in {} (99 %).",
            names::place(site, &Place::Head),
            format::volume(units, site.head_tank.volume),
            format::flow(units, response.through),
            format::duration(response.head.time()),
            format::duration(response.head.wait(MOST)),
            format::duration(response.head.wait(NEARLY_ALL)),
        ),
        String::new(),
        format!(
            "{:<14} {:>14} {:>22} {:>12} {:>12}",
            "Tank", "water", "known by", "95 % after", "99 % after"
        ),
    ];
    lines.extend(response.tanks.iter().map(|tank| {
        format!(
            "{:<14} {:>14} {:>22} {:>12} {:>12}",
            names::tank(site, &tank.tank),
            format::flow(units, tank.flow.flow),
            flow_by(tank.flow),
            format::duration(tank.cascade.wait(MOST)),
            format::duration(tank.cascade.wait(NEARLY_ALL))
        )
    }));
    if let Some(to) = to {
        lines.extend(ahead(site, response, to));
    }
    lines.join("\n") + "\n"
}

/// What an early reading tells of the end.
#[must_use]
pub fn early(site: &Site, tank: &TankResponse, ends: Option<Turbidity>, after: SignedDuration) -> String {
    let share = format::share(tank.cascade.share(after));
    let tank = names::tank(site, &tank.tank);
    match ends {
        Some(ends) => format!(
            "{tank} shows {share} of a change after {}: it is on its way to {}.\n",
            format::duration(after),
            names::turbidity(site, ends)
        ),
        None => format!(
            "{tank} shows only {share} of a change after {}: too early to tell where it ends.\n",
            format::duration(after)
        ),
    }
}

/// What isn't known, and what to do about it.
#[must_use]
pub fn missing(missing: MissingFigure) -> (&'static str, &'static str) {
    match missing {
        MissingFigure::Drum => {
            ("there is no such drum.", "Write the id or the name of a drum of the site file.")
        }
        MissingFigure::Yield => (
            "how cloudy this clay makes this water isn't known.",
            "Write [clay] ntu_per_mg_l into the site file: the head tank's turbidity less that of the fresh water, \
             divided by the mg/L of clay that are fed.",
        ),
        MissingFigure::FreshWater => (
            "the water into the head tank isn't known.",
            "Catch it with bucket and watch and write it down: claymark log flow_check --place head --volume \"25 L\" \
             --seconds 30.",
        ),
        MissingFigure::DrumState => (
            "what is in the drum, or what the pump draws, isn't known.",
            "Read the drum by eye and write it down (claymark log dip), or look at its level sensor.",
        ),
    }
}

/// Why there is no dose, and what to do about it.
#[must_use]
pub fn no_dose(site: &Site, no: NoDose) -> (String, String) {
    match no {
        NoDose::MissingFigure(what) => {
            let (what, remedy) = missing(what);
            (what.to_owned(), remedy.to_owned())
        }
        NoDose::OutOfReach { wanted, least, most } => {
            let turbidity = |value| names::turbidity(site, value);
            (
                format!("the head tank can't be brought to {}.", turbidity(wanted)),
                format!(
                    "Ask for more than {}, which is the water without clay, and at most {}: no more comes of the thickest \
                     mix at this flow, or of the fastest pump with this slurry.",
                    turbidity(least),
                    turbidity(Turbidity(most.0.floor()))
                ),
            )
        }
    }
}

struct DoseTeller<'a> {
    site: &'a Site,
    dose: &'a Dose,
    clock: Clock<'a>,
}

impl DoseTeller<'_> {
    fn now(&self) -> Vec<String> {
        let (site, dose) = (self.site, self.dose);
        let (units, bench) = (&site.units, &dose.bench);
        let mut lines = vec![
            format!(
                "{} at {}: {} of slurry at {}, drawn at {}.",
                names::drum(site, &dose.drum),
                self.clock.time(dose.at),
                format::volume(units, dose.holds),
                format::strength(units, dose.strength),
                self.drawn()
            ),
            format!(
                "Fresh water {} ({}); {}.",
                format::flow(units, dose.fresh.flow),
                flow_by(dose.fresh),
                clouding::sentence(site, Some(&bench.feed.clouding))
            ),
        ];
        if let Some(now) = &dose.now {
            lines.push(format!("As it is: {}; {}.", self.way(now), self.lasts(dose.now_ends.as_ref())));
        }
        lines.push(match dose.plan {
            None => format!("Wanted in the head tank: {}.", names::turbidity(site, bench.target)),
            Some(plan) => format!(
                "Wanted in the head tank: {} now; a new mix is for {}.",
                names::turbidity(site, bench.target),
                refill::planned(site, self.clock, plan)
            ),
        });
        if let Advice::Set(_) = dose.advice {
            lines.extend(self.shared());
        }
        lines
    }

    /// Drums that feed the head tank at the same time have their part in it.
    fn shared(&self) -> Option<String> {
        let beside = &self.dose.beside;
        let name = |id: &Id| names::drum(self.site, id);
        let (feeds, part) = match beside.as_slice() {
            [] => return None,
            [_] => ("feeds", "its part is"),
            _ => ("feed", "their parts are"),
        };
        let asked: Vec<String> = beside.iter().map(|id| format!("claymark dose --drum {id}")).collect();
        Some(format!(
            "{} {feeds} the head tank, too. What follows is this drum's part: the head tank comes to what is said when \
             {part} done with it ({}).",
            names::list(&beside.iter().map(name).collect::<Vec<_>>()),
            asked.join(", ")
        ))
    }

    fn look_first(&self, look: &LookFirst) -> Vec<String> {
        let (site, dose) = (self.site, self.dose);
        let mut lines = vec!["LOOK FIRST, before a lever is touched:".to_owned()];
        if look.drum != dose.drum {
            lines.push(format!("{} feeds the head tank, too.", names::drum(site, &look.drum)));
        }
        lines.extend(refill::look_first(site, self.clock, &look.book, &look.seen));
        lines.push(format!(
            "A pump that is turned up doesn't make it good either. When the clay comes again, ask again: claymark dose \
             --drum {}.",
            dose.drum
        ));
        lines
    }

    fn by_pump(&self, ways: &Ways) -> Vec<String> {
        let title = "QUICK TRIM, the pump alone (acts first: nothing has to be mixed)";
        match &ways.by_pump {
            Err(cannot) => vec![title.to_owned(), self.cannot(cannot)],
            Ok(way) => {
                let mut lines = vec![
                    format!("{title}:"),
                    format!("Set the pump to {}: {}.", self.pump(way.slurry), self.way(way)),
                    format!("What is in the drum then: {}.", self.lasts(ways.by_pump_ends.as_ref())),
                ];
                lines.extend(self.shows(SignedDuration::ZERO));
                lines
            }
        }
    }

    fn by_strength(&self, ways: &Ways) -> Vec<String> {
        let title = "NEW MIX, the strength alone (the pump stays where it is)";
        let (site, dose) = (self.site, self.dose);
        let way = match &ways.by_strength {
            Err(cannot) => return vec![title.to_owned(), self.cannot(cannot)],
            Ok(way) => way,
        };
        let with: Vec<String> = dose.with.iter().map(|id| names::drum(site, id)).collect();
        let drums =
            if with.is_empty() { String::new() } else { format!(", and {} to the same", names::list(&with)) };
        let mut lines = vec![
            format!("{title}:"),
            format!(
                "Mix the full drum to {} of finished slurry{drums}: {}.",
                format::strength(&site.units, way.strength),
                self.way(way)
            ),
        ];
        lines.extend(refill::lines(site, self.clock, ways.by_strength_refill.as_ref()));
        if let Some(Refill::Mix(_) | Refill::WaterOnly { .. }) = &ways.by_strength_refill {
            lines.push(format!("The full drum then: {}.", self.lasts(ways.by_strength_ends.as_ref())));
        }
        lines.extend(self.shows(site.staff.mixing));
        lines
    }

    fn night(&self, ways: &Ways, night: &Night) -> Vec<String> {
        let Some(visit) = &self.dose.visit else { return Vec::new() };
        let until = format!("until {}", self.clock.time(visit.lasts_until()));
        let said = match night {
            Night::Mix(night) => return self.night_mix(&until, night),
            Night::LastsAsItIs => {
                let trimmed = ways.by_pump_ends.as_ref().map(|ends| Verdict::of(ends, visit));
                let up = match trimmed {
                    Some(Verdict::WillNotLast | Verdict::MayNotLast) => {
                        " Trimmed as above it would not: fill it before you turn the pump up."
                    }
                    Some(Verdict::Lasts | Verdict::Unknown) | None => "",
                };
                format!("As it is it lasts {until}: nothing has to be mixed for the night.{up}")
            }
            Night::LastsTrimmed => format!(
                "With the pump turned down as in QUICK TRIM it lasts {until}: nothing has to be mixed for the night."
            ),
            Night::LastsFilled => format!(
                "Filled with the new mix as above it lasts {until}, with the pump where it is: nothing else is to be done."
            ),
            Night::Full => format!(
                "It is full, and doesn't last {until} as the pump runs: nothing can be added. claymark outlook --drum {} \
                 tells the pump with which it lasts; else plan a refill in the night.",
                self.dose.drum
            ),
            Night::Nothing => format!(
                "No mix that can be pumped makes the full drum last {until}: plan a refill in the night."
            ),
        };
        vec!["FOR THE NIGHT:".to_owned(), said]
    }

    fn night_mix(&self, until: &str, night: &NightMix) -> Vec<String> {
        let site = self.site;
        let mut lines = vec![
            "FOR THE NIGHT, both together (the weakest mix that lasts):".to_owned(),
            format!(
                "Fill it as follows, and when the new mix reaches the intake set the pump to {}.",
                self.pump(night.slurry)
            ),
        ];
        lines.extend(refill::for_the_night(site, self.clock, &night.refill));
        lines.push(format!(
            "Then {}, wanted {until}; the head tank is at {}. The new mix alone would make it {}: do both.",
            drying::dry(self.clock, self.dose.at, &night.ends),
            names::turbidity(site, night.turbidity),
            names::turbidity(site, night.mix_alone)
        ));
        lines
    }

    /// What flows in, what it dilutes, what runs over.
    fn balance(&self) -> Vec<String> {
        let (bench, feed) = (&self.dose.bench, &self.dose.beside_feed);
        let units = &self.site.units;
        let Some(balance) = feed.balance(bench.slurry, bench.strength) else { return Vec::new() };
        let mut lines = vec![format!(
            "The head tank's balance: {} flow in with {} g/min of clay, which is {} mg/L; the slurry is thinned {} times.",
            format::flow(units, balance.through),
            format::number(balance.fed.0, 1),
            format::number(balance.holds.0, 0),
            format::number(bench.strength.0 / balance.holds.as_strength().0, 0)
        )];
        if feed.others.0 > 0.0 {
            lines.push(format!(
                "Of the clay, {} g/min come by other pumps.",
                format::number(feed.others.0, 1)
            ));
        }
        let Some(response) = &self.dose.response else { return lines };
        let measured = response
            .tanks
            .iter()
            .filter(|tank| !matches!(tank.flow.by, FlowBy::Share | FlowBy::Plan))
            .count();
        if measured < response.tanks.len() || measured == 0 {
            lines.push(
                "What runs over isn't known: the flow of each rearing tank would have to be measured (claymark log \
                 flow_check)."
                    .to_owned(),
            );
        } else {
            let over = response.through - response.taken();
            let unused = over.max(claymark_model::units::LitresPerMinute(0.0)).carrying(balance.holds);
            lines.push(format!(
                "The rearing tanks take {}; {} run over, with {} g/min of clay.",
                format::flow(units, response.taken()),
                format::flow(units, over),
                format::number(unused.0, 1)
            ));
        }
        lines
    }

    /// "head tank 65 NTU, 1.8 full drums a day"
    fn way(&self, way: &Way) -> String {
        let drums = self.dose.with.iter().fold(1.0, |sum, _| sum + 1.0);
        format!(
            "head tank {}, {} full drums a day",
            names::turbidity(self.site, way.turbidity),
            format::number(way.refills_per_day * drums, 1)
        )
    }

    /// "209 mL/min (about 100 rpm)", of the pump: from all drums that it draws at once.
    fn pump(&self, slurry: LitresPerHour) -> String {
        refill::pump_to(PumpTo { slurry, rpm: self.dose.rpm_per_slurry.map(|rpm| rpm * slurry.0) })
    }

    /// "209 mL/min (about 100 rpm)", or "103 mL/min; the pump brings 207 mL/min (about 99 rpm) from it and Drum B together"
    fn drawn(&self) -> String {
        let pump = self.pump(self.dose.bench.slurry);
        let with: Vec<String> = self.dose.with.iter().map(|id| names::drum(self.site, id)).collect();
        if with.is_empty() {
            return pump;
        }
        format!(
            "{}; the pump brings {pump} from it and {} together",
            format::slurry(self.dose.draw),
            names::list(&with)
        )
    }

    /// "dry about 10:45, earliest 10:20: lasts until 08:30"
    fn lasts(&self, ends: Option<&EmptyAt>) -> String {
        let Some(ends) = ends else { return "how long it lasts isn't known".to_owned() };
        let dry = drying::dry(self.clock, self.dose.at, ends);
        let Some(visit) = &self.dose.visit else { return dry };
        let until = self.clock.time(visit.lasts_until());
        match Verdict::of(ends, visit) {
            Verdict::Lasts => format!("{dry}: lasts until {until}"),
            Verdict::MayNotLast => format!("{dry}: MAY NOT LAST until {until}"),
            Verdict::WillNotLast | Verdict::Unknown => format!("{dry}: WILL NOT LAST until {until}"),
        }
    }

    fn shows(&self, first: SignedDuration) -> Option<String> {
        let response = self.dose.response.as_ref()?;
        let slowest = response.slowest()?;
        let mixing = if first > SignedDuration::ZERO {
            format!(", mixing included ({})", format::duration(first))
        } else {
            String::new()
        };
        Some(format!(
            "It shows: head tank after {}, the slowest rearing tank after {} (95 %){mixing}.",
            format::duration(first + response.head.wait(MOST)),
            format::duration(first + slowest.cascade.wait(MOST))
        ))
    }

    fn cannot(&self, cannot: &Cannot) -> String {
        let units = &self.site.units;
        match cannot {
            Cannot::TooSlow { wanted, slowest } => format!(
                "Not possible: it would take {}, and below {} clay settles in the line. Mix weaker instead.",
                self.pump(*wanted),
                self.pump(*slowest)
            ),
            Cannot::TooFast { wanted, fastest } => format!(
                "Not possible: it would take {}, and the pump brings {} at most. Mix stronger instead.",
                self.pump(*wanted),
                self.pump(*fastest)
            ),
            Cannot::TooThick { wanted, thickest } => format!(
                "Not possible: it would take slurry of {}, and the pump can lift {} at most. Turn the pump up instead.",
                format::strength(units, *wanted),
                format::strength(units, *thickest)
            ),
            Cannot::TooThin => {
                "Not possible: the slurry is thinner than the water is to be. Mix anew.".to_owned()
            }
            Cannot::NothingFlows => "Not possible: the pump stands, or no water flows.".to_owned(),
        }
    }
}

fn ahead(site: &Site, response: &Response, to: Turbidity) -> Vec<String> {
    let head = response.head_shows;
    let times: Vec<String> = AHEAD.iter().map(|after| format!("{:>9}", format::duration(*after))).collect();
    let row = |name: String, at: &dyn Fn(SignedDuration) -> Option<Turbidity>| {
        let shown = |after: &SignedDuration| {
            let value = at(*after).map_or("?".to_owned(), |ntu| format::number(ntu.0, 0));
            format!("{value:>9}")
        };
        format!("{name:<14}{}", AHEAD.iter().map(shown).collect::<String>())
    };
    let mut lines = vec![
        String::new(),
        format!("When the feed is steady at {}, the tanks will show after", names::turbidity(site, to)),
        format!("{:<14}{}", "", times.concat()),
        row(names::place(site, &Place::Head), &|after| Some(response.head.after(head?.turbidity, to, after))),
    ];
    lines.extend(
        response
            .tanks
            .iter()
            .map(|tank| row(names::tank(site, &tank.tank), &|after| tank.shows_after(head, to, after))),
    );
    lines.push("Clay that settles in the tanks, and feeding, aren't counted.".to_owned());
    lines
}

fn flow_by(flow: KnownFlow) -> &'static str {
    match flow.by {
        FlowBy::Sensor => "by flow sensor",
        FlowBy::Check { .. } => "by bucket and watch",
        FlowBy::Plan => "by the plan",
        FlowBy::Share => "an equal share",
    }
}

const AHEAD: [SignedDuration; 7] = [
    SignedDuration::from_mins(0),
    SignedDuration::from_mins(15),
    SignedDuration::from_mins(30),
    SignedDuration::from_hours(1),
    SignedDuration::from_hours(2),
    SignedDuration::from_hours(4),
    SignedDuration::from_hours(8),
];
/// Of a step.
const MOST: f64 = 0.95;
const NEARLY_ALL: f64 = 0.99;

#[cfg(test)]
mod tests;
