//! Readings are missing, or may be.

use claymark_model::site::Quantity;
use claymark_notice::content::{Common, DrumState, ReadingsMissing, SilentSensor, Visit};
use claymark_notice::link::{LinkDown, Trouble};
use jiff::Timestamp;

use crate::names::{self, first_of, list, short};
use crate::notice::{Teller, Text, Wording, fit, fit_with};
use crate::typed;

pub(super) fn wording(teller: Teller<'_>, missing: &ReadingsMissing) -> Wording {
    match missing {
        ReadingsMissing::Silent { sensors, common, drums, visit, link, unseen } => {
            teller.silence((sensors, common), drums, (visit.as_ref(), link.as_ref()), unseen)
        }
        ReadingsMissing::SessionLost { since, until } => teller.session_lost(*since, *until),
        ReadingsMissing::StoreFailing { since, why } => teller.store_failing(*since, why),
        ReadingsMissing::NotForwarded { since, why } => teller.not_forwarded(*since, why),
        ReadingsMissing::StoreReplaced { at, fate } => teller.store_replaced(*at, fate),
        ReadingsMissing::ClockStepped(step) => teller.clock_stepped(step),
        ReadingsMissing::DeviceClock(clock) => teller.device_clock(clock),
        ReadingsMissing::ServerClock(clock) => teller.server_clock(clock),
        ReadingsMissing::Unwatched(gap) => teller.unwatched(gap),
        ReadingsMissing::TakenOver { since, client_id, certain } => {
            teller.taken_over(*since, client_id, *certain)
        }
    }
}

impl Teller<'_> {
    fn silence(
        &self,
        (sensors, common): (&[SilentSensor], &Common),
        drums: &[DrumState],
        (visit, link): (Option<&Visit>, Option<&LinkDown>),
        unseen: &[Quantity],
    ) -> Wording {
        let mut text = Text::default();
        text.lines(by_hand(unseen)).gap();
        let (doubted, silent): (Vec<_>, Vec<_>) = sensors.iter().cloned().partition(|silent| silent.doubted);
        text.lines((!silent.is_empty()).then(|| format!("Silent: {}.", self.silent(&silent))));
        if !doubted.is_empty() {
            text.line(format!("Not believed: {}.", self.silent(&doubted)));
            text.line(
                "It sends readings, but they fail their quality tests: the probe is dirty, dry, out of the water or broken.",
            );
        }
        if !silent.is_empty() {
            text.line(link.map_or_else(|| self.shared(common), |link| self.trouble(link)));
        }
        text.gap();
        for drum in drums {
            let empty_at = drum.forecast.outlook.empty_at();
            text.line(format!("{}:", self.name_of(drum)));
            text.lines(self.known(drum)).lines(empty_at.map(|empty_at| self.dry_line(&empty_at))).gap();
        }
        text.lines(visit.map(|visit| format!("Next visit {}.", self.clock.time(visit.at))));
        text.line("While a sensor is silent Claymark can't warn by it.");
        text.wording(self.silence_subject(sensors, common, drums, (link, unseen)))
    }

    /// What silent sensors have in common, while the broker is there.
    fn shared(&self, common: &Common) -> String {
        match common {
            Common::One => "The others speak, so it is this sensor, its cable or its power.".to_owned(),
            Common::Everything => {
                "Nothing speaks, so it is likely the network, the broker or the power, not the sensors.".to_owned()
            }
            Common::At(place) => {
                format!("They all stand at {}: look at its cable and power.", names::place(self.site, place))
            }
            Common::Together => {
                "They fell silent at about the same time: look at what they share, a cable, a gateway, a fuse.".to_owned()
            }
            Common::Disk => {
                "The server's disk fails, so Claymark can't take readings as fast as they come. It is the disk, not the sensors or the network: see the message on it.".to_owned()
            }
        }
    }

    /// What was seen of the connection to the broker, and what to do.
    fn trouble(&self, link: &LinkDown) -> String {
        let since = self.clock.time(link.since);
        match &link.trouble {
            Trouble::Unreachable { why } => format!(
                "Claymark has not reached the broker since {since}: {}. Look at the broker, its machine and the network; \
                 the sensors may be well.",
                short(&typed::line(why), REASON_CHARS)
            ),
            Trouble::Unanswering => format!(
                "The broker is there, but it hasn't answered Claymark since {since}: it is slow, paused or hangs. Look at \
                 its machine and its disk; the sensors may be well."
            ),
            Trouble::Closed => format!(
                "The broker has closed Claymark's connection since {since}. Look at the broker's log; the sensors may be \
                 well."
            ),
            Trouble::NoRoom => format!(
                "Claymark takes no readings since {since}, because it can't keep them: look at the disk of the barn server. \
                 The broker keeps them meanwhile; network and sensors may be well."
            ),
            Trouble::TakenOver { client_id, .. } => format!(
                "Another program has Claymark's name on the broker (client id {}) since {since} and gets its messages: \
                 stop it, or give it another client_id.",
                typed::line(client_id)
            ),
        }
    }

    fn silence_subject(
        &self,
        sensors: &[SilentSensor],
        common: &Common,
        drums: &[DrumState],
        (link, unseen): (Option<&LinkDown>, &[Quantity]),
    ) -> String {
        let how = if sensors.iter().all(|silent| silent.doubted) { "not believed" } else { "silent" };
        let since = sensors.iter().filter_map(|silent| silent.last).max();
        let never = if how == "silent" { "never heard".to_owned() } else { "never believed".to_owned() };
        let since = since.map_or(never, |since| format!("{how} since {}", self.clock.time(since)));
        let look = if unseen.is_empty() { "" } else { "Measure by hand." };
        match (sensors, drums) {
            (many, _) if *common == Common::Disk => {
                format!(
                    "{} sensors {since}: the server's disk fails. Go and look at the room, then at the disk.",
                    many.len()
                )
            }
            (_, _) if *common == Common::Everything => {
                let look = match link.map(|link| &link.trouble) {
                    Some(Trouble::Unreachable { .. }) => "The broker can't be reached.",
                    Some(Trouble::Unanswering) => "The broker doesn't answer.",
                    Some(Trouble::Closed) => "The broker closes the connection.",
                    Some(Trouble::NoRoom) => "Look at the server's disk.",
                    Some(Trouble::TakenOver { .. }) => "Another program has Claymark's name.",
                    None => "Look at network and power.",
                };
                format!("All sensors {since}: I can't see the room. {look}")
            }
            ([one], [drum]) => {
                let who = names::sensor(self.site, &one.sensor);
                let dry = drum.forecast.outlook.empty_at().map_or_else(
                    || "I don't know how long it lasts".to_owned(),
                    |empty_at| format!("by the pump {}", self.dry(&empty_at)),
                );
                fit(|room| format!("The {}: {since}; {dry}.", short(&who, room)))
            }
            ([one], _) => {
                let who = names::sensor(self.site, &one.sensor);
                fit_with(|room| format!("The {}: {since}.", short(&who, room)), look)
            }
            (many, []) => fit_with(|_| format!("{} sensors {since}.", many.len()), look),
            (many, drums) => {
                let names: Vec<_> = drums.iter().map(|drum| self.name_of(drum)).collect();
                fit(|room| {
                    format!(
                        "{} sensors {since}, among them the level of {}.",
                        many.len(),
                        short(&list(&names), room)
                    )
                })
            }
        }
    }

    fn session_lost(&self, since: Timestamp, until: Timestamp) -> Wording {
        let mut text = Text::default();
        let (since, until) = (self.clock.time(since), self.clock.time(until));
        text.line(format!(
            "The broker forgot what it kept for Claymark; it was last known to keep it at {since}."
        ));
        text.line(format!(
            "What was sent between {since} and {until} may never arrive. From {until} on readings come in."
        ));
        text.line(
            "To do: see that the broker keeps its sessions over a restart (its persistence setting), and that no other \
             program uses Claymark's client id.",
        );
        text.wording(format!("Readings may be missing since {since}: the broker forgot Claymark's session."))
    }

    fn store_failing(&self, since: Timestamp, why: &str) -> Wording {
        let mut text = Text::default();
        let since = self.clock.time(since);
        text.line(format!("Readings can't be kept since {since}. The store says: {why}."));
        text.line("Warnings go on, but a restart now would forget what came in since.");
        text.line("Claymark tries again by itself. To do: see to what the store says, on the barn server.");
        text.wording(format!("Readings can't be kept since {since}: see to the barn server. Warnings go on."))
    }

    fn not_forwarded(&self, since: Timestamp, why: &str) -> Wording {
        let mut text = Text::default();
        let since = self.clock.time(since);
        text.line(format!("What came in since {since} hasn't reached InfluxDB: {why}."));
        text.line("Nothing is lost: it is kept here, and goes out by itself when the way is free.");
        text.line("Watch and warnings don't need it. But whoever looks there sees the room as it was.");
        text.line("To do, by daylight: ask `claymark check --connect` on the barn server what is wrong.");
        text.wording(format!("InfluxDB has heard nothing since {since}. Here all goes on and is kept."))
    }

    fn taken_over(&self, since: Timestamp, client_id: &str, certain: bool) -> Wording {
        let mut text = Text::default();
        let since = self.clock.time(since);
        let client_id = typed::line(client_id);
        text.line(if certain {
            format!("The broker says that another program connected with Claymark's name (client id {client_id}).")
        } else {
            format!(
                "The broker closes each connection soon after it was made: most likely another program uses Claymark's \
                 name (client id {client_id})."
            )
        });
        text.line(format!(
            "What the sensors send goes to that program: readings may be missing since {since}. Claymark tries \
             again, but ever more rarely, so that the two don't throw each other out."
        ));
        text.line(
            "To do: find that program (a second Claymark, a test, a copied configuration) and stop it, or give it another \
             client_id. The broker's log says from which address it came.",
        );
        text.line("Until then look at the drums yourself: Claymark can't see them.");
        text.wording(format!(
            "Another program has Claymark's name on the broker: readings missing since {since}."
        ))
    }

    /// "level of Drum A (last 22:58)".
    pub(super) fn silent(&self, sensors: &[SilentSensor]) -> String {
        let one = |silent: &SilentSensor| {
            let last = silent
                .last
                .map_or("never heard".to_owned(), |last| format!("last {}", self.clock.time(last)));
            format!("{} ({last})", names::sensor(self.site, &silent.sensor))
        };
        first_of(&sensors.iter().map(one).collect::<Vec<_>>())
    }
}

/// What to do where nothing shows the water of the fish any more.
fn by_hand(unseen: &[Quantity]) -> Vec<String> {
    let oxygen = |quantity: &Quantity| matches!(quantity, Quantity::Oxygen | Quantity::OxygenSaturation);
    let mut lines = Vec::new();
    if unseen.iter().any(oxygen) {
        lines.push(
            "Nothing shows the oxygen of the fish now: measure it by hand at the tanks, and see that the air bubbles \
             and the water runs. Carry the hand-held oxygen meter.",
        );
    }
    if unseen.contains(&Quantity::Temperature) {
        lines.push(
            "Nothing shows the temperature of the water now: measure it by hand, and see to the heater. Carry a \
             thermometer.",
        );
    }
    if unseen.contains(&Quantity::Turbidity) {
        lines.push(
            "Nothing shows how cloudy the water is now: look into the tanks and see that the pump draws, or measure a \
             sample.",
        );
    }
    if !lines.is_empty() {
        lines.push("Until the probe is back nothing warns of it: look again each hour.");
    }
    lines.into_iter().map(str::to_owned).collect()
}

const REASON_CHARS: usize = 160;
