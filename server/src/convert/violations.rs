//! Every fault of a message at once, each with the path of its field; of very many the first, and
//! how many more there are.

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

/// How many faults are told by name. A message of 4 MB can hold a million of them, and the answer
/// goes out as trailers, of which some clients take no more than 8 kB.
const TOLD: usize = 30;

/// Collects faults while a message is read.
#[derive(Debug, Default)]
pub struct Collector {
    told: Vec<Violation>,
    /// Field of the first fault beyond those told, and how many there are.
    untold: Option<(String, u64)>,
}

impl Collector {
    /// Notes one fault.
    pub fn add(&mut self, field: impl Into<String>, description: impl Into<String>) {
        if self.told.len() < TOLD {
            self.told.push(Violation { field: field.into(), description: description.into() });
        } else {
            self.untold.get_or_insert_with(|| (field.into(), 0)).1 += 1;
        }
    }

    /// `value`, or the faults if there were any.
    pub fn finish<T>(self, value: T) -> Result<T, InvalidFields> {
        if self.told.is_empty() { Ok(value) } else { Err(self.into_faults()) }
    }

    /// The faults that were noted.
    pub fn into_faults(mut self) -> InvalidFields {
        if let Some((field, count)) = self.untold {
            let description = format!(
                "is one of {count} more faults that are not listed: mend those before it first"
            );
            self.told.push(Violation { field, description });
        }
        InvalidFields(self.told)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faults_beyond_those_told_are_counted() {
        let told = |count: usize| {
            let mut faults = Collector::default();
            for index in 0..count {
                faults.add(format!("corners[{index}]"), "is off");
            }
            faults.into_faults().violations().to_vec()
        };
        assert!(told(TOLD).iter().all(|fault| fault.description == "is off"));
        assert_eq!(told(TOLD).len(), TOLD);
        let many = told(100_000);
        assert_eq!(many.len(), TOLD + 1);
        assert_eq!(many[TOLD].field, "corners[30]");
        assert!(many[TOLD].description.contains("99970 more"), "{}", many[TOLD].description);
    }
}
