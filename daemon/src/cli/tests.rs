//! What is typed, what goes over the wire, and whether the decoder takes it.

use std::os::unix::process::ExitStatusExt as _;
use std::path::Path;

use clap::Parser as _;

use super::{Cli, Command};
use crate::config::{self, Secrets};
use crate::decode::Decoder;
use crate::message::Message;
use crate::run::Settings;
use crate::say::Saying;

/// Set for the child that is to panic.
const FAULT: &str = "CLAYMARK_TEST_FAULT";
const NOW: &str = "2027-04-20T09:10:00Z";

#[test]
fn the_command_line_is_put_together_soundly() {
    use clap::CommandFactory as _;
    Cli::command().debug_assert();
}

#[test]
fn each_kind_of_entry_goes_out_as_the_field_log_wants_it() {
    let settings = example();
    for (typed, sent) in ENTRIES {
        let saying = saying(&settings, typed).unwrap_or_else(|words| panic!("{typed:?}: {words}"));
        let payload = saying.payload.to_string();
        let signed = r#""at":"2027-04-20T09:10:00Z","key":"k"}"#;
        let wanted = if sent.ends_with('}') { (*sent).to_owned() } else { format!("{sent},{signed}") };
        assert_eq!((saying.topic.as_str(), payload), ("claymark/alder-bend/log", wanted), "{typed:?}");
    }
}

#[test]
fn the_decoder_takes_every_entry_as_it_was_meant() {
    let settings = example();
    let decoder = Decoder::new(&settings.site, settings.decode.clone());
    for (typed, _) in ENTRIES {
        let saying = saying(&settings, typed).unwrap_or_else(|words| panic!("{typed:?}: {words}"));
        let message = Message {
            topic: saying.topic.clone(),
            payload: saying.payload.to_string().into_bytes(),
            retained: false,
            received_at: NOW.parse().unwrap(),
        };
        let decoded = decoder.decode(&message);
        assert_eq!(decoded.quarantined, [], "{typed:?}");
        let entry = decoded.log.first().expect("it was an entry");
        let again = Saying::entry(
            &settings.intake.prefix,
            &entry.deed,
            crate::say::Signature {
                key: entry.key.clone(),
                at: entry.at,
                by: entry.by.clone(),
                replaces: entry.replaces.clone(),
                sure: false,
            },
        );
        assert_eq!(again, saying, "{typed:?}");
    }
    let answer = Saying::answer(&settings.intake.prefix, 7, Some("Aino".to_owned()), None);
    assert_eq!(answer.topic, "claymark/alder-bend/answer");
    assert_eq!(answer.payload.to_string(), r#"{"notice":7,"by":"Aino"}"#);
}

#[test]
fn what_cannot_be_meant_is_refused_with_a_way_out() {
    let settings = example();
    let mut told = String::new();
    for typed in REFUSED {
        let words = saying(&settings, typed).expect_err("refused");
        told += &format!("==== {}\n{words}", typed.join(" "));
    }
    insta::assert_snapshot!("refused", told);
}

#[test]
fn a_panic_in_any_thread_takes_the_whole_process_down_after_a_word() {
    let child = std::process::Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "cli::tests::a_fault_in_a_process_of_its_own", "--nocapture"])
        .env(FAULT, "1")
        .output()
        .unwrap();
    assert_eq!(child.status.signal(), Some(6), "SIGABRT");
    let said = String::from_utf8_lossy(&child.stderr).into_owned();
    assert!(said.contains("Claymark has a fault and stops") && said.contains("told to"), "{said}");
}

/// Does nothing unless the test above starts it.
#[test]
fn a_fault_in_a_process_of_its_own() {
    if std::env::var_os(FAULT).is_some() {
        super::abort_on_panic();
        std::thread::spawn(|| panic!("told to")).join().ok();
    }
}

#[test]
fn what_was_typed_moves_no_cursor_when_it_is_told_back() {
    let settings = example();
    let told = saying(&settings, &["refill", "--drum", "\u{1b}[2J\u{202e}a"]).unwrap_err();
    assert!(told.contains("no drum '[U+001B escape][2J[U+202E right-to-left override]a'"), "{told}");
}

pub(super) fn example() -> Settings {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/site.toml");
    match config::read(&path, Secrets::Left) {
        Ok(file) => file.settings,
        Err(error) => panic!("{error}"),
    }
}

/// The message, or the words of the refusal.
fn saying(settings: &Settings, typed: &[&str]) -> Result<Saying, String> {
    let line = ["claymark", "log"].iter().chain(typed);
    let cli = Cli::try_parse_from(line).map_err(|error| error.to_string())?;
    let Command::Log(log) = cli.command else { panic!("log was typed") };
    let parts = log.parts(&settings.site, NOW.parse().unwrap(), "k".to_owned());
    let (deed, signature) = parts.map_err(|failure| failure.text(false))?;
    let at = signature.at;
    let by_themselves = super::asked::figures::possible(&settings.site, &deed, &signature).and_then(|()| {
        super::asked::figures::likely(&settings.site, &deed, (at, NOW.parse().unwrap()), None)
    });
    by_themselves.map_err(|failure| failure.text(false))?;
    Ok(Saying::entry(&settings.intake.prefix, &deed, signature))
}

const ENTRIES: &[(&[&str], &str)] = &[
    (&["refill"], r#"{"kind":"refill""#),
    (
        &["refill", "--drum", "a", "--water", "150", "--clay", "4.2"],
        r#"{"kind":"refill","drum":"a","water_l":150.0,"clay_kg":4.2"#,
    ),
    // 1 US gal is 3.785 411 784 L, 1 lb is 0.453 592 37 kg (NIST SP 811, appendix B; exact).
    (
        &["refill", "--drum", "Drum B", "--water", "40 US gal", "--clay", "10 lbs"],
        r#"{"kind":"refill","drum":"b","water_l":151.416471,"clay_kg":4.535924"#,
    ),
    (
        &["refill", "--drum", "a", "--at", "12:05", "--by", "Aino", "--replaces", "e1"],
        r#"{"kind":"refill","drum":"a","at":"2027-04-20T09:05:00Z","by":"Aino","replaces":"e1","key":"k"}"#,
    ),
    (&["pump_setting", "--pump", "p1", "--rpm", "0"], r#"{"kind":"pump_setting","pump":"p1","rpm":0.0"#),
    (&["pump-setting", "--pump", "Pump 2"], r#"{"kind":"pump_setting","pump":"p2""#),
    (&["in_use", "--pump", "p2", "--drum", "c"], r#"{"kind":"in_use","pump":"p2","drum":"c""#),
    (
        &["flow_check", "--place", "pump:p1", "--volume", "105", "--seconds", "30"],
        r#"{"kind":"flow_check","place":"pump:p1","volume_ml":105.0,"seconds":30.0"#,
    ),
    (
        &["grab_sample", "--place", "Tank 3", "--quantity", "turbidity", "--value", "64 NTU"],
        r#"{"kind":"grab_sample","place":"tank:t3","quantity":"turbidity","value":64.0,"unit":"NTU""#,
    ),
    (&["cleaning", "--place", "t4"], r#"{"kind":"cleaning","place":"tank:t4""#),
    (
        &["cleaning", "--place", "tank:t4", "--minutes", "20"],
        r#"{"kind":"cleaning","place":"tank:t4","minutes":20.0"#,
    ),
    (&["dip", "--drum", "a", "--level", "40 cm"], r#"{"kind":"dip","drum":"a","level_mm":400.0"#),
    (&["dip", "--drum", "a", "--volume", "100"], r#"{"kind":"dip","drum":"a","volume_l":100.0"#),
    (&["wipe", "--sensor", "t1-turbidity"], r#"{"kind":"wipe","sensor":"t1-turbidity""#),
    (&["tube_change", "--pump", "p1"], r#"{"kind":"tube_change","pump":"p1""#),
    (&["clog_cleared", "--pump", "p1"], r#"{"kind":"clog_cleared","pump":"p1""#),
    (
        &["delivery", "--bags", "40", "--mass", "1000", "--lot", "K-17"],
        r#"{"kind":"delivery","bags":40.0,"kg":1000.0,"lot":"K-17""#,
    ),
    (
        &["fish", "--place", "head", "--what", "counted", "--number", "12000"],
        r#"{"kind":"fish","place":"head","what":"counted","number":12000.0"#,
    ),
    (&["note", "blower sounds rough"], r#"{"kind":"note","text":"blower sounds rough""#),
];

const REFUSED: &[&[&str]] = &[
    &["refil"],
    &["refill", "--drum", "d"],
    &["refill", "--drum", "a", "--water", "40 lb"],
    &["refill", "--drum", "a", "--water", "much"],
    &["refill", "--drum", "a", "--water=-3"],
    &["refill", "--drum", "a", "--water", "1500"],
    &["refill", "--drum", "a", "--clay", "4,2"],
    &["refill", "--drum", "a", "--clay", "9 pounds"],
    &["dip", "--drum", "a", "--volume", "300 gal"],
    &["flow_check", "--place", "head", "--volume", "25 L", "--seconds", "0"],
    &["pump_setting", "--pump", "p1", "--rpm", "7500"],
    &["refill", "--at", "noon"],
    &["refill", "--at", "2027-04-21 07:00"],
    &["cleaning", "--place", "tank:t44"],
    &["grab_sample", "--quantity", "turbity", "--value", "64 NTU"],
    &["grab_sample", "--quantity", "turbidity", "--value", "64"],
    &["grab_sample", "--quantity", "turbidity", "--value", "64 mg/L"],
    &["dip", "--level", "40 cm", "--volume", "3"],
    &["pump_setting", "--rpm", "NaN"],
    &["note"],
    &["refill", "--drum", "a", "--clay", "-1"],
    &["refill", "--drum", "a", "--clay", "-2 lb"],
    &["refill", "--drum", "a", "--water", "-20"],
    &["dip", "--drum", "a", "--volume", "-3"],
    &["dip", "--drum", "a", "--level", "-3"],
    &["pump_setting", "--pump", "p1", "--rpm", "-5"],
    &["flow_check", "--place", "head", "--volume", "-25", "--seconds", "30"],
    &["flow_check", "--place", "head", "--volume", "25 L", "--seconds", "-30"],
    &["cleaning", "--place", "t4", "--minutes", "-5"],
    &["delivery", "--bags", "-3"],
    &["delivery", "--mass", "-3"],
    &["delivery", "--bags", "0"],
    &["fish", "--what", "eaten", "--number", "3"],
    &["fish", "--what", "counted", "--number", "-3"],
];
