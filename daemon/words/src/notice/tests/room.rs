//! An invented room (Alder Bend Hatchery) and states of its drums, for the sentences.

pub(super) use claymark_invented::id;

use claymark_clay::refill::books::StrengthSource;
use claymark_clay::refill::{Counted, Refill, Residual, Wanted};
use claymark_invented as invented;
use claymark_model::doubt::Grounds;
use claymark_model::forecast::{Basis, EmptyAt, Forecast, Outlook, Subject};
use claymark_model::happening::SeenRefill;
use claymark_model::site::{ClaySupply, Drum, Site};
use claymark_model::strapping::StrappingTable;
use claymark_model::units::{GramsPerLitre, Kilograms, Litres, LitresPerHour, Millimetres, Turbidity, Unit};
use claymark_notice::content::{
    Doubted, DrumState, EveningDrum, PumpSetting, PumpState, Remedy, Verdict, Visit,
};
use claymark_notice::drum::{Clearer, Enough, Slower};
use claymark_notice::{Audience, Content, Notice, Priority};
use jiff::{SignedDuration, Timestamp};

pub(crate) fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

pub(super) fn notice(when: &str, content: Content) -> Notice {
    Notice {
        number: 7,
        at: at(when),
        kind: content.kind(),
        cause: "runout:a".to_owned(),
        drum: Some(id("a")),
        priority: Priority::Now,
        replaces: Some(6),
        to: Audience::one(id("ann")),
        calling: None,
        tonight: None,
        content,
    }
}

pub(crate) fn visit() -> Visit {
    Visit { at: at("2027-04-21T04:30:00Z"), margin: SignedDuration::from_hours(1) }
}

/// `hours` after `from`: p05, p50, p95.
fn ends(from: &str, hours: [f64; 3]) -> EmptyAt {
    let after = |hours: f64| Some(at(from) + SignedDuration::from_secs_f64(hours * 3600.0));
    let [p05, p50, p95] = hours;
    EmptyAt {
        p05: after(p05),
        p25: after((p05 + p50) / 2.0),
        p50: after(p50),
        p75: after((p50 + p95) / 2.0),
        p95: after(p95),
    }
}

fn state(drum: &str, when: &str, outlook: Outlook) -> DrumState {
    DrumState {
        drum: id(drum),
        forecast: Forecast { at: at(when), of: Subject::Drum(id(drum)), in_use: true, outlook },
        draw_since: Some(at("2027-04-20T13:10:00Z")),
        level_heard: Some(at(when)),
        doubt: None,
        pump: PumpState {
            pump: id("p1"),
            set: Some(PumpSetting { rpm: 75.0, at: at("2027-04-20T04:05:00Z") }),
            rated: Some(LitresPerHour(9.45)),
            drawn: Some(LitresPerHour(9.4)),
        },
        last_refill: None,
        ran_empty: None,
    }
}

fn known(litres: f64, draw: f64, empty_at: EmptyAt) -> Outlook {
    Outlook::Known { basis: Basis::Level, volume: Litres(litres), draw: LitresPerHour(draw), empty_at }
}

pub(crate) fn lasting(drum: &str) -> EveningDrum {
    let when = "2027-04-20T14:00:00Z";
    EveningDrum {
        state: state(drum, when, known(160.0, 6.1, ends(when, [22.1, 24.3, 27.0]))),
        verdict: Verdict::Lasts,
        remedy: remedy(Verdict::Lasts),
    }
}

pub(crate) fn not_lasting(drum: &str) -> EveningDrum {
    let when = "2027-04-20T14:00:00Z";
    let mut state = state(drum, when, known(103.0, 9.4, ends(when, [9.4, 9.7, 10.2])));
    state.last_refill = Some(SeenRefill {
        at: at("2027-04-20T13:10:00Z"),
        added: Litres(48.0),
        to: Litres(110.0),
        logged: false,
    });
    EveningDrum { state, verdict: Verdict::WillNotLast, remedy: remedy(Verdict::Lasts) }
}

pub(crate) fn unknown(drum: &str) -> EveningDrum {
    let when = "2027-04-20T14:00:00Z";
    let why = Grounds::Earlier("the level sensor is silent and the pump's speed isn't known".to_owned());
    let mut state = state(drum, when, Outlook::Unknown { why });
    state.level_heard = Some(at("2027-04-20T12:12:00Z"));
    let remedy = Remedy {
        refill: None,
        full_ends: None,
        full: Verdict::Unknown,
        enough: None,
        slower_pump: None,
        slower_pump_when_full: None,
        night: None,
        doubt: None,
        unseen: None,
        ready: None,
    };
    EveningDrum { state, verdict: Verdict::Unknown, remedy }
}

/// A pump that was turned up and noted nowhere.
pub(super) fn falling_faster(when: &str) -> DrumState {
    let empty_at = EmptyAt {
        p05: Some(at("2027-04-20T23:20:00Z")),
        p25: Some(at("2027-04-20T23:35:00Z")),
        p50: Some(at("2027-04-20T23:46:00Z")),
        p75: Some(at("2027-04-20T23:58:00Z")),
        p95: Some(at("2027-04-21T00:29:00Z")),
    };
    let mut state = state("a", when, known(62.4, 17.0, empty_at));
    state.draw_since = Some(at("2027-04-20T15:10:00Z"));
    state.pump.drawn = Some(LitresPerHour(17.0));
    state
}

pub(crate) fn empty(when: &str) -> DrumState {
    let mut state = state("a", when, known(11.6, 0.0, ends(when, [0.0, 0.0, 0.0])));
    state.ran_empty = Some(at("2027-04-20T23:47:00Z"));
    state
}

pub(crate) fn doubted(drum: &str) -> DrumState {
    let when = "2027-04-20T20:45:00Z";
    let empty_at = ends(when, [5.0, 9.5, 16.0]);
    let outlook =
        Outlook::Known { basis: Basis::Pump, volume: Litres(88.0), draw: LitresPerHour(8.0), empty_at };
    let mut state = state(drum, when, outlook);
    let why = Grounds::Earlier("the level reads off its line and restless, as foam does".to_owned());
    state.doubt = Some(Doubted { since: at("2027-04-20T20:20:00Z"), why });
    state
}

pub(super) fn refill_seen() -> SeenRefill {
    SeenRefill { at: at("2027-04-20T23:28:00Z"), added: Litres(97.0), to: Litres(171.0), logged: false }
}

pub(super) fn remedy(full: Verdict) -> Remedy {
    let site = site();
    let source = StrengthSource::Logged { at: at("2027-04-20T04:40:00Z") };
    let residual = Residual { strength: GramsPerLitre(17.2), sd: GramsPerLitre(0.9), source };
    let drum = &site.drums[0];
    let hours = match full {
        Verdict::Lasts => [17.0, 18.0, 20.0],
        Verdict::MayNotLast => [13.0, 16.0, 20.0],
        Verdict::WillNotLast | Verdict::Unknown => [8.0, 9.0, 10.0],
    };
    let clearer = Clearer { from: Turbidity(65.0), to: Turbidity(35.0) };
    let to = Wanted { to: Litres(131.0), ..Wanted::full(drum) };
    let enough = Enough {
        at: at("2027-04-20T14:00:00Z"),
        litres: Litres(131.0),
        holds: Some(Litres(62.4)),
        refill: Some(Refill::of(drum, &site.clay, to, Litres(62.4), Counted::Known(residual))),
    };
    Remedy {
        enough: (full == Verdict::Lasts).then_some(enough),
        refill: Some(Refill::of(
            drum,
            &site.clay,
            Wanted::full(drum),
            Litres(62.4),
            Counted::Known(residual),
        )),
        full_ends: Some(ends("2027-04-20T14:00:00Z", hours)),
        full,
        slower_pump: Some(Slower { clearer: Some(clearer), ..slower(0.52, 39.0) }),
        slower_pump_when_full: (full != Verdict::Lasts).then_some(slower(0.71, 53.0)),
        night: None,
        doubt: None,
        unseen: None,
        ready: None,
    }
}

pub(super) fn by_day() -> Remedy {
    Remedy {
        full: Verdict::Unknown,
        enough: None,
        slower_pump: None,
        slower_pump_when_full: None,
        ..remedy(Verdict::Lasts)
    }
}

/// Where nobody knows how fast the pump runs.
pub(super) fn at_some_speed(mut remedy: Remedy) -> Remedy {
    for slower in [&mut remedy.slower_pump, &mut remedy.slower_pump_when_full].into_iter().flatten() {
        slower.rpm = None;
    }
    remedy
}

fn slower(share: f64, rpm: f64) -> Slower {
    Slower { share, rpm: Some(rpm), below: None, clearer: None }
}

pub(crate) fn site() -> Site {
    Site {
        water: invented::water((50.0, 80.0), (15.0, 22.0), 6.0),
        clay: ClaySupply { bag: Kilograms(Unit::Pound.to_base(50.0)), ..invented::clay() },
        drums: ["a", "b"].map(drum).into(),
        contacts: [("ann", "Ann (invented)"), ("kim", "Kim (invented)")]
            .map(|(contact, name)| invented::contact(contact, name))
            .into(),
        ..invented::site()
    }
}

fn drum(name: &str) -> Drum {
    let strapping = StrappingTable::upright_cylinder(Millimetres(571.5), Millimetres(851.0)).unwrap();
    Drum { strapping, ..invented::drum(name, "p1") }
}
