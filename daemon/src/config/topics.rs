//! Topics and filters against each other: every sensor is heard, and Claymark doesn't hear itself.

use std::ops::Range;

use super::broker::Broker;
use super::mistake::Findings;
use super::sensors::{Bound, SoundSensors};
use crate::decode::Payload;

/// Checks the broker's filters and prefix against the sensors, and the sensors against each other.
pub(super) fn check(findings: &Findings, broker: &Broker, sensors: &SoundSensors) {
    for filter in &broker.filters {
        own_topics(findings, broker, filter.get_ref(), filter.span());
        let covers = |bound: &Bound| overlap(filter.get_ref(), &bound.binding.topic);
        if !sensors.bound.iter().any(covers) {
            let what =
                format!("'{}' covers no sensor's topic: all that it brings is kept aside", filter.get_ref());
            findings.warning(filter.span(), what, "Take it out, or mend it or the sensors' topics.");
        }
    }
    for bound in &sensors.bound {
        let topic = &bound.binding.topic;
        if below(&broker.settings.prefix, topic) {
            let what = format!(
                "topic: '{topic}' lies below '{}', where Claymark itself speaks",
                broker.settings.prefix
            );
            findings.mistake(
                bound.topic.clone(),
                what,
                "Let sensors speak elsewhere, or change [mqtt] prefix.",
            );
        } else if !broker.filters.iter().any(|filter| overlap(filter.get_ref(), topic)) {
            let what =
                format!("topic: nothing in [mqtt] subscribe covers '{topic}', so it would never be heard");
            findings.mistake(bound.topic.clone(), what, "Add the topic or a filter over it to subscribe.");
        }
    }
    for (number, bound) in sensors.bound.iter().enumerate() {
        let earlier = sensors.bound.iter().take(number);
        for other in earlier.filter(|other| other.binding.topic == bound.binding.topic) {
            shared_topic(findings, other, bound);
        }
    }
}

/// Whether some topic matches both filters; a topic is a filter without wildcards (MQTT 5, 4.7).
pub(super) fn overlap(one: &str, other: &str) -> bool {
    let system = |filter: &str| filter.starts_with('$');
    let wild = |filter: &str| filter.starts_with(['#', '+']);
    if (system(one) && wild(other)) || (wild(one) && system(other)) {
        return false;
    }
    let (mut ones, mut others) = (one.split('/'), other.split('/'));
    loop {
        match (ones.next(), others.next()) {
            (Some("#"), _) | (_, Some("#")) | (None, None) => return true,
            (Some(a), Some(b)) if a == b || a == "+" || b == "+" => {}
            (Some(_), Some(_)) | (Some(_), None) | (None, Some(_)) => return false,
        }
    }
}

/// A filter that brings back what Claymark publishes would fill the quarantine with its own words.
fn own_topics(findings: &Findings, broker: &Broker, filter: &str, span: Range<usize>) {
    let prefix = &broker.settings.prefix;
    let ours = ["status", "drum/+/forecast", "drum/+/refill", "supply/+/forecast", "notice/+", "undelivered"];
    if ours.iter().any(|own| overlap(filter, &format!("{prefix}/{own}"))) {
        let what = format!("subscribe: '{filter}' also brings back what Claymark publishes below '{prefix}'");
        let remedy = "Name the sensors' topics more closely; <prefix>/log and <prefix>/answer are read without being listed.";
        findings.mistake(span, what, remedy);
    }
}

fn below(prefix: &str, topic: &str) -> bool {
    topic.strip_prefix(prefix).is_some_and(|rest| rest.starts_with('/'))
}

/// Several sensors may share a topic, if each has its own place in the payload.
fn shared_topic(findings: &Findings, earlier: &Bound, later: &Bound) {
    let (first, second) = (&earlier.binding.sensor.id, &later.binding.sensor.id);
    let topic = &later.binding.topic;
    let same_place = match (&earlier.binding.payload, &later.binding.payload) {
        (Payload::Number, Payload::Number) => true,
        (Payload::Json { value: one, .. }, Payload::Json { value: other, .. }) => one == other,
        (Payload::Senml { name: one }, Payload::Senml { name: other }) => one == other,
        (Payload::Number | Payload::Json { .. } | Payload::Senml { .. }, _) => {
            let what = format!("payload: '{first}' and '{second}' read '{topic}' in different formats");
            findings.mistake(
                later.payload.clone(),
                what,
                "One topic speaks one format: mend one of the two.",
            );
            return;
        }
    };
    if same_place {
        let what = format!("topic: '{first}' and '{second}' read the same value from '{topic}'");
        let remedy =
            "Give each its own topic, or its own place in the payload: json = \"/…\" or senml = \"…\".";
        findings.mistake(later.topic.clone(), what, remedy);
    }
}

#[cfg(test)]
mod tests {
    use super::overlap;

    #[test]
    fn filters_overlap_as_mqtt_5_section_4_7_says() {
        for (one, other, meets) in [
            ("sport/tennis/player1/#", "sport/tennis/player1", true),
            ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true),
            ("sport/#", "sport", true),
            ("#", "sport/tennis", true),
            ("#", "$SYS/monitor/Clients", false),
            ("+/monitor/Clients", "$SYS/monitor/Clients", false),
            ("$SYS/#", "$SYS/monitor/Clients", true),
            ("sport/+", "sport", false),
            ("sport/+", "sport/", true),
            ("sport/tennis/+", "sport/tennis/player1/ranking", false),
            ("+/+", "/finance", true),
            ("/+", "/finance", true),
            ("+", "/finance", false),
            ("a/+/c", "+/b/c", true),
            ("a/+/c", "a/b/d", false),
            ("ä/+", "ä/b", true),
        ] {
            assert_eq!(overlap(one, other), meets, "{one} {other}");
            assert_eq!(overlap(other, one), meets, "{other} {one}");
        }
    }
}
