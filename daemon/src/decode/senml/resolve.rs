//! Resolves the base fields of a pack (RFC 8428, sections 4.1 to 4.6).

use claymark_model::quarantine::Reason;

use super::{Fields, LabelledValue};
use crate::decode::Problem;

/// A record that stands for itself.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Record {
    /// Base name and name.
    pub name: String,
    /// Its own unit, else the base unit.
    pub unit: Option<String>,
    /// Seconds since 1970.
    pub at_s: f64,
    /// Whether the time was counted from the arrival.
    pub relative: bool,
    /// Base time and time as they were sent.
    pub offset_s: f64,
    /// What it carries.
    pub value: RecordValue,
}

/// What a record carries.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum RecordValue {
    /// A number, base value included.
    Number(f64),
    /// Something else, in words.
    Other(&'static str),
}

/// A pack without base fields, in time order.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Pack {
    /// What can be used.
    pub records: Vec<Record>,
    /// What is wrong with single records.
    pub problems: Vec<Problem>,
}

/// Resolves all records; `now_s` is what relative times count from.
///
/// A fault in a record's own fields spoils that record; a fault in a base field, in the version, or a field
/// that must be understood and isn't (section 4.4), spoils the pack, for it bears on what follows.
pub(super) fn pack(records: Vec<Fields>, now_s: f64) -> Result<Pack, Problem> {
    let mut base = Base::default();
    let mut pack = Pack::default();
    for (index, fields) in records.into_iter().enumerate() {
        let own = base.take(fields)?;
        if let Some(own) = own {
            match base.record(own, now_s) {
                Ok(record) => pack.records.push(record),
                Err(problem) => pack
                    .problems
                    .push(Problem { detail: format!("record {}: {}", index + 1, problem.detail), ..problem }),
            }
        }
    }
    pack.records.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    Ok(pack)
}

/// The base fields in force.
#[derive(Default)]
struct Base {
    name: String,
    unit: Option<String>,
    time_s: f64,
    value: Option<f64>,
    sum: bool,
    version: Option<f64>,
}

/// A record's own fields.
#[derive(Default)]
struct Own {
    name: Option<LabelledValue>,
    unit: Option<LabelledValue>,
    time: Option<LabelledValue>,
    /// `v`, then whether any of `vs`, `vb`, `vd` stands there, in words.
    value: Option<LabelledValue>,
    other: Vec<&'static str>,
    sum: bool,
}

impl Base {
    /// Takes over the base fields; `None` when the record has no others (section 5.1.3's first record).
    fn take(&mut self, fields: Fields) -> Result<Option<Own>, Problem> {
        let mut own = Own::default();
        let mut any = false;
        let mut version = None;
        for (label, field) in fields {
            let is_base = matches!(label.as_str(), "bn" | "bt" | "bu" | "bv" | "bs" | "bver");
            any |= !is_base;
            match label.as_str() {
                "bn" => self.name = text(field, &label)?,
                "bu" => self.unit = Some(text(field, &label)?),
                "bt" => self.time_s = number(field, &label)?,
                "bv" => self.value = Some(number(field, &label)?),
                "bs" => self.sum = number(field, &label).map(|_| true)?,
                "bver" => version = Some(number(field, &label)?),
                "n" => own.name = Some(field),
                "u" => own.unit = Some(field),
                "t" => own.time = Some(field),
                "v" => own.value = Some(field),
                "vs" => own.other.push("a text (vs)"),
                "vb" => own.other.push("a boolean (vb)"),
                "vd" => own.other.push("data (vd)"),
                "s" => own.sum = true,
                unknown if unknown.ends_with('_') => {
                    let detail =
                        format!("the pack needs '{unknown}' to be understood, which Claymark doesn't");
                    return Err(Problem::new(Reason::BadSenml, detail));
                }
                // Section 4.4: other unknown fields are ignored. `ut` only says when to expect the next value.
                _unknown => {}
            }
        }
        self.check(version)?;
        Ok(any.then_some(own))
    }

    /// Section 4.4: the same version in all records, 10 unless said otherwise, and none that is newer.
    fn check(&mut self, version: Option<f64>) -> Result<(), Problem> {
        let version = version.or(self.version).unwrap_or(VERSION);
        if version > VERSION {
            let detail = format!("SenML version {version}, Claymark reads up to {VERSION}");
            return Err(Problem::new(Reason::BadSenml, detail));
        }
        if self.version.is_some_and(|before| before.total_cmp(&version).is_ne()) {
            return Err(Problem::new(
                Reason::BadSenml,
                "the SenML version (bver) differs between the records",
            ));
        }
        self.version = Some(version);
        Ok(())
    }

    fn record(&self, own: Own, now_s: f64) -> Result<Record, Problem> {
        let own_name = own.name.map_or(Ok(String::new()), |field| text(field, "n"))?;
        let name = checked(format!("{}{own_name}", self.name))?;
        let own_unit = own.unit.map(|field| text(field, "u")).transpose()?;
        let offset_s = self.time_s + own.time.map_or(Ok(0.0), |field| number(field, "t"))?;
        let relative = offset_s < RELATIVE_BELOW_S;
        Ok(Record {
            value: self.value(own.value, &own.other, own.sum, &name)?,
            name,
            unit: own_unit.or_else(|| self.unit.clone()),
            at_s: if relative { now_s + offset_s } else { offset_s },
            relative,
            offset_s,
        })
    }

    /// Section 4.2: exactly one value, or none where there is a sum; section 4.5.2: a base value is added to `v`.
    fn value(
        &self,
        v: Option<LabelledValue>,
        other: &[&'static str],
        sum: bool,
        name: &str,
    ) -> Result<RecordValue, Problem> {
        let wrong = |what: &str| Err(Problem::new(Reason::BadSenml, format!("{name} has {what}")));
        match (v, other) {
            (Some(v), []) => Ok(RecordValue::Number(self.value.unwrap_or(0.0) + number(v, "v")?)),
            (None, [only]) => Ok(RecordValue::Other(only)),
            (None, []) => match self.value {
                Some(base) => Ok(RecordValue::Number(base)),
                None if sum || self.sum => Ok(RecordValue::Other("a sum only (s)")),
                None => wrong("no value"),
            },
            (Some(_), [..]) | (None, [_, ..]) => wrong("more than one value"),
        }
    }
}

/// Section 4.5.1: letters, digits and `-:./_`, beginning with a letter or digit.
fn checked(name: String) -> Result<String, Problem> {
    let first_fits = name.starts_with(|first: char| first.is_ascii_alphanumeric());
    let all_fit = name.bytes().all(|b| b.is_ascii_alphanumeric() || b"-:./_".contains(&b));
    if first_fits && all_fit {
        Ok(name)
    } else {
        Err(Problem::new(Reason::BadSenml, format!("'{name}' can't be a SenML name")))
    }
}

fn number(field: LabelledValue, label: &str) -> Result<f64, Problem> {
    match field {
        LabelledValue::Number(number) => Ok(number),
        LabelledValue::Bad(problem) => Err(problem),
        LabelledValue::Text(_) | LabelledValue::Boolean | LabelledValue::Data => {
            Err(Problem::new(Reason::BadSenml, format!("'{label}' isn't a number")))
        }
    }
}

fn text(field: LabelledValue, label: &str) -> Result<String, Problem> {
    match field {
        LabelledValue::Text(text) => Ok(text),
        LabelledValue::Bad(problem) => Err(problem),
        LabelledValue::Number(_) | LabelledValue::Boolean | LabelledValue::Data => {
            Err(Problem::new(Reason::BadSenml, format!("'{label}' isn't a text")))
        }
    }
}

/// Section 4.4.
const VERSION: f64 = 10.0;
/// Section 4.5.3: 2^28 s; below it times count from now.
const RELATIVE_BELOW_S: f64 = 268_435_456.0;
