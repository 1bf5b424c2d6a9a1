//! A figure as people type it: `150`, `40 US gal`, `4.5 lb`.

use claymark_model::units::{Dimension, Unit, UnknownUnit};

use crate::suggest::did_you_mean;

/// A number with the unit that was typed, if any.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Amount {
    number: f64,
    unit: Option<Unit>,
}

/// The text is no amount, or not one of the kind that is wanted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadAmount {
    /// It doesn't begin with a number.
    #[error("'{0}' doesn't begin with a number")]
    NotANumber(String),
    /// A comma in the number.
    #[error("'{0}' has a comma: write decimals with a point, and thousands without anything between")]
    Comma(String),
    /// The number is followed by an unknown unit.
    #[error("{unit}. {hint}Write for instance 150, \"40 US gal\" or \"4.5 lb\"")]
    Unknown {
        /// What was found.
        #[source]
        unit: UnknownUnit,
        /// What may have been meant.
        hint: String,
    },
    /// A unit is missing where none is understood by itself.
    #[error("the unit is missing")]
    NoUnit,
    /// Litres where kilograms are wanted, and the like.
    #[error("'{unit}' can't be used here; write it in {wanted}")]
    OtherKind {
        /// As typed.
        unit: Unit,
        /// The base unit of what is wanted.
        wanted: Unit,
    },
}

impl BadAmount {
    fn unknown(unit: UnknownUnit, typed: &str) -> Self {
        let hint = did_you_mean(typed, Unit::spellings().map(|(spelling, _)| spelling));
        Self::Unknown { unit, hint }
    }
}

impl Amount {
    /// Reads a decimal number, then perhaps a unit.
    pub fn parse(text: &str) -> Result<Self, BadAmount> {
        let text = text.trim();
        let end = text.find(|c: char| !matches!(c, '0'..='9' | '.' | '+' | '-')).unwrap_or(text.len());
        let (digits, rest) = text.split_at(end);
        if rest.starts_with(',') {
            return Err(BadAmount::Comma(text.to_owned()));
        }
        let number = digits.parse::<f64>().ok().filter(|number| number.is_finite());
        let number = number.ok_or_else(|| BadAmount::NotANumber(text.to_owned()))?;
        let unit = match rest.trim() {
            "" => None,
            symbol => Some(Unit::parse(symbol).map_err(|unit| BadAmount::unknown(unit, symbol))?),
        };
        Ok(Self { number, unit })
    }

    /// The number as typed.
    #[must_use]
    pub fn number(self) -> f64 {
        self.number
    }

    /// The unit as typed.
    #[must_use]
    pub fn unit(self) -> Option<Unit> {
        self.unit
    }

    /// In the base unit of `dimension`; a bare number is in `usual`.
    pub fn in_base(self, dimension: Dimension, usual: Option<Unit>) -> Result<f64, BadAmount> {
        let unit = self.unit.or(usual).ok_or(BadAmount::NoUnit)?;
        if unit.dimension() == dimension {
            Ok(unit.to_base(self.number))
        } else {
            let wanted = usual.unwrap_or_else(|| base_of(dimension));
            Err(BadAmount::OtherKind { unit, wanted })
        }
    }
}

fn base_of(dimension: Dimension) -> Unit {
    Unit::spellings()
        .map(|(_, unit)| unit)
        .find(|unit| unit.dimension() == dimension)
        .map(Unit::base)
        .expect("every dimension has at least one unit")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_amount_is_read_in_its_own_unit_or_in_the_usual_one() {
        let cases = [
            ("150", Some(Unit::Litre), 150.0),
            ("150 L", Some(Unit::UsGallon), 150.0),
            // NIST SP 811 appendix B: 1 US gal is 3.785 411 784 L.
            ("40 US gal", Some(Unit::Litre), 151.416_471_36),
            ("40gal", None, 151.416_471_36),
            ("10", Some(Unit::UsGallon), 37.854_117_84),
        ];
        for (typed, usual, litres) in cases {
            let got = Amount::parse(typed).unwrap().in_base(Dimension::Volume, usual).unwrap();
            assert!((got - litres).abs() < 1e-9, "{typed}: {got}");
        }
    }

    #[test]
    fn what_is_no_amount_of_that_kind_is_refused() {
        assert_eq!(Amount::parse("much"), Err(BadAmount::NotANumber("much".to_owned())));
        for (typed, words) in [
            ("4 stone", "unknown unit 'stone'. Write for instance 150, \"40 US gal\" or \"4.5 lb\""),
            ("4 lb/100l", "unknown unit 'lb/100l'. Did you mean 'lb/100L'? Write for instance"),
            ("4,2", "'4,2' has a comma: write decimals with a point"),
            ("1,500 mL", "'1,500 mL' has a comma"),
        ] {
            let said = Amount::parse(typed).unwrap_err().to_string();
            assert!(said.starts_with(words), "{typed}: {said}");
        }
        let four_pounds = Amount::parse("4 lb").unwrap();
        assert_eq!(
            four_pounds.in_base(Dimension::Volume, Some(Unit::UsGallon)),
            Err(BadAmount::OtherKind { unit: Unit::Pound, wanted: Unit::UsGallon })
        );
        assert_eq!(Amount::parse("4").unwrap().in_base(Dimension::Mass, None), Err(BadAmount::NoUnit));
    }
}
