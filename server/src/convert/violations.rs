//! Every fault of a message at once, each with the path of its field.

use std::fmt;

/// One field that is off.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Violation {
    /// Path of the field from the message, such as `request.mould.box.side_clearance_mm`.
    pub field: String,
    /// What is wrong and what to do.
    pub description: String,
}

/// A message with at least one field that is off.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct InvalidFields(Vec<Violation>);

impl InvalidFields {
    /// A single fault.
    pub fn one(field: impl Into<String>, description: impl Into<String>) -> Self {
        Self(vec![Violation { field: field.into(), description: description.into() }])
    }

    /// The faults, in the order of the fields. Never empty.
    pub fn violations(&self) -> &[Violation] {
        &self.0
    }
}

impl fmt::Display for InvalidFields {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, violation) in self.0.iter().enumerate() {
            if index > 0 {
                f.write_str("; ")?;
            }
            write!(f, "{}: {}", violation.field, violation.description)?;
        }
        Ok(())
    }
}

/// Collects faults while a message is read.
#[derive(Debug, Default)]
pub struct Collector(Vec<Violation>);

impl Collector {
    /// Notes one fault.
    pub fn add(&mut self, field: impl Into<String>, description: impl Into<String>) {
        self.0.push(Violation { field: field.into(), description: description.into() });
    }

    /// `value`, or the faults if there were any.
    pub fn finish<T>(self, value: T) -> Result<T, InvalidFields> {
        if self.0.is_empty() { Ok(value) } else { Err(InvalidFields(self.0)) }
    }

    /// The faults that were noted.
    pub fn into_faults(self) -> InvalidFields {
        InvalidFields(self.0)
    }

    /// A number within limits; out of them or not a number, a fault is noted and the number is
    /// handed back as it is.
    pub fn number(&mut self, field: &str, value: f64, low: f64, high: f64, unit: &str) -> f64 {
        // `contains` is false for a value that is not a number.
        if !(low..=high).contains(&value) {
            let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
            self.add(field, format!("is {value}: give a number from {low} to {high}{unit}"));
        }
        value
    }
}

/// `path.field`, or `field` alone at the top.
pub fn join(path: &str, field: &str) -> String {
    if path.is_empty() { field.to_owned() } else { format!("{path}.{field}") }
}
