//! A bare decimal number; its time is that of its arrival.

use claymark_model::quarantine::Reason;
use claymark_model::reading::Reading;
use claymark_model::site::Sensor;

use super::{Problem, in_base_unit, text};
use crate::message::Message;

/// The reading that the payload is.
pub(super) fn decode(sensor: &Sensor, message: &Message) -> Result<Reading, Problem> {
    let value = parse(text(message)?)?;
    if message.retained {
        return Err(retained_without_time());
    }
    Ok(Reading::new(sensor.id.clone(), message.received_at, in_base_unit(sensor, sensor.unit, value)?))
}

/// A broker hands a retained message to every new session: without a time it would be a reading again.
pub(super) fn retained_without_time() -> Problem {
    Problem::new(
        Reason::RetainedWithoutTime,
        "the broker kept this message from earlier and it carries no time: when it was measured isn't known",
    )
}

/// A finite decimal: sign, digits with at most one point, exponent; white space around it is ignored.
pub(super) fn parse(text: &str) -> Result<f64, Problem> {
    let bare = text.trim();
    let unsigned = bare.strip_prefix(['+', '-']).unwrap_or(bare);
    if ["nan", "inf", "infinity"].iter().any(|word| unsigned.eq_ignore_ascii_case(word)) {
        return Err(Problem::new(Reason::NotFinite, format!("'{bare}' isn't a measured value")));
    }
    if !is_decimal(unsigned) {
        let shown: String = bare.chars().take(40).collect();
        return Err(Problem::new(
            Reason::NotANumber,
            format!("found '{shown}', expected a decimal number such as 41.5"),
        ));
    }
    let value: f64 =
        bare.parse().map_err(|fault| Problem::new(Reason::NotANumber, format!("'{bare}': {fault}")))?;
    if value.is_finite() {
        Ok(value)
    } else {
        Err(Problem::new(
            Reason::OutOfNumberRange,
            format!("'{bare}' is beyond the largest 64-bit number, 1.8e308"),
        ))
    }
}

fn is_decimal(unsigned: &str) -> bool {
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    let (mantissa, exponent) = match unsigned.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, Some(exponent)),
        None => (unsigned, None),
    };
    let exponent_fits = exponent.is_none_or(|text| {
        let power = text.strip_prefix(['+', '-']).unwrap_or(text);
        !power.is_empty() && digits(power)
    });
    let (whole, fraction) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    exponent_fits && digits(whole) && digits(fraction) && whole.len() + fraction.len() > 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_finite_decimal_is_a_number() {
        for (text, value) in [
            ("412", 412.0),
            (" 41.5\r\n", 41.5),
            ("-0.25", -0.25),
            ("+3.", 3.0),
            (".5", 0.5),
            ("1.5e2", 150.0),
            ("2E-3", 0.002),
            ("1e-999", 0.0),
        ] {
            assert!((parse(text).unwrap() - value).abs() < 1e-12, "{text}");
        }
        for (text, reason) in [
            ("nan", Reason::NotFinite),
            ("-inf", Reason::NotFinite),
            ("Infinity", Reason::NotFinite),
            ("1e999", Reason::OutOfNumberRange),
            ("-1e999", Reason::OutOfNumberRange),
            ("", Reason::NotANumber),
            (".", Reason::NotANumber),
            ("e5", Reason::NotANumber),
            ("1e", Reason::NotANumber),
            ("41,5", Reason::NotANumber),
            ("0x1f", Reason::NotANumber),
            ("1 2", Reason::NotANumber),
            ("12 mm", Reason::NotANumber),
            ("1_000", Reason::NotANumber),
            ("--1", Reason::NotANumber),
        ] {
            assert_eq!(parse(text).unwrap_err().reason, reason, "{text}");
        }
    }
}
