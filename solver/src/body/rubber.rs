//! Rubber: stiffness from hardness, stretch and mass.

use serde::{Deserialize, Serialize};

/// Generic classes of moulding rubber. The values are common practice, no source; every one can
/// be overridden on [`Rubber`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum RubberClass {
    /// Soft room-temperature silicone, about 15 Shore A.
    SoftSilicone,
    /// General room-temperature silicone, about 25 Shore A.
    MediumSilicone,
    /// Firm room-temperature silicone, about 40 Shore A.
    FirmSilicone,
    /// Soft polyurethane moulding rubber, about 30 Shore A.
    SoftPolyurethane,
    /// Firm polyurethane moulding rubber, about 50 Shore A.
    FirmPolyurethane,
}

/// A moulding rubber.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rubber {
    /// Hardness, Shore A (ISO 48-4), 5 to 90.
    pub shore_a: f64,
    /// Elongation at break (ISO 37), as a fraction: 3.0 is 300 %.
    pub elongation_at_break: f64,
    /// Engineering strain allowed in use, again and again: 0.5 is half its length.
    pub working_stretch: f64,
    /// Density, g/cm^3.
    pub density: f64,
}

/// A rubber that cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RubberError {
    /// A value is outside its range or not a number.
    #[error("rubber {field} is {value}: it must lie between {low} and {high}")]
    OutOfRange {
        /// Field name as in [`Rubber`].
        field: &'static str,
        /// Value given.
        value: f64,
        /// Least allowed.
        low: f64,
        /// Greatest allowed.
        high: f64,
    },
    /// The rubber would break at its working stretch.
    #[error(
        "rubber working_stretch {working} is not below elongation_at_break {break_at}: lower the working stretch"
    )]
    WorkingAboveBreak {
        /// Working stretch given.
        working: f64,
        /// Elongation at break given.
        break_at: f64,
    },
}

impl RubberClass {
    /// Typical values of the class (common practice, no source).
    pub fn typical(self) -> Rubber {
        let (shore_a, elongation_at_break, density) = match self {
            Self::SoftSilicone => (15.0, 4.0, 1.08),
            Self::MediumSilicone => (25.0, 3.5, 1.12),
            Self::FirmSilicone => (40.0, 2.5, 1.18),
            Self::SoftPolyurethane => (30.0, 7.0, 1.02),
            Self::FirmPolyurethane => (50.0, 5.0, 1.04),
        };
        Rubber { shore_a, elongation_at_break, working_stretch: 0.5, density }
    }
}

impl Default for Rubber {
    fn default() -> Self {
        RubberClass::MediumSilicone.typical()
    }
}

impl Rubber {
    /// Refuse values that make no sense, naming every field that is off.
    pub fn check(&self) -> Result<(), Vec<RubberError>> {
        let ranges = [
            ("shore_a", self.shore_a, 5.0, 90.0),
            ("elongation_at_break", self.elongation_at_break, 0.1, 15.0),
            ("working_stretch", self.working_stretch, 0.0, 5.0),
            ("density", self.density, 0.3, 3.0),
        ];
        let mut faults: Vec<_> = ranges
            .into_iter()
            .filter(|&(_, value, low, high)| !(low..=high).contains(&value))
            .map(|(field, value, low, high)| RubberError::OutOfRange { field, value, low, high })
            .collect();
        if faults.is_empty() && self.working_stretch >= self.elongation_at_break {
            faults.push(RubberError::WorkingAboveBreak {
                working: self.working_stretch,
                break_at: self.elongation_at_break,
            });
        }
        if faults.is_empty() { Ok(()) } else { Err(faults) }
    }

    /// Young's modulus, MPa, from Shore A hardness.
    ///
    /// Gent, A. N. (1958), "On the relation between indentation hardness and Young's modulus",
    /// Rubber Chemistry and Technology 31:896:
    /// E = 0.0981 (56 + 7.62336 S) / (0.137505 (254 - 2.54 S)).
    pub fn youngs_modulus(&self) -> f64 {
        0.0981 * (56.0 + 7.62336 * self.shore_a) / (0.137505 * (254.0 - 2.54 * self.shore_a))
    }

    /// Shear modulus of the incompressible rubber, MPa: a third of Young's modulus.
    pub fn shear_modulus(&self) -> f64 {
        self.youngs_modulus() / 3.0
    }

    /// Nominal stress, MPa, of a strip of incompressible neo-Hookean rubber pulled to the stretch
    /// ratio `ratio` (length over rest length): mu (l - 1/l^2). Treloar (1975), The Physics of
    /// Rubber Elasticity, 3rd edition.
    pub fn nominal_stress(&self, ratio: f64) -> f64 {
        self.shear_modulus() * (ratio - ratio.powi(-2))
    }

    /// Engineering strain of a strip under nominal stress `stress` (MPa, >= 0): the inverse of
    /// [`Rubber::nominal_stress`], less one.
    pub fn strain_at(&self, stress: f64) -> f64 {
        // l - l^-2 is increasing and concave for l >= 1, so Newton from the left bound of the
        // root converges without overshoot beyond one step; the bracket keeps it honest.
        let target = (stress / self.shear_modulus()).max(0.0);
        let (mut low, mut high) = (1.0, 2.0 + target);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if middle - middle.powi(-2) < target { low = middle } else { high = middle }
        }
        0.5 * (low + high) - 1.0
    }
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;

    /// What was measured on natural rubber by hardness, IRHD, which is Shore A within a degree or two there:
    /// Lindley (1974), Engineering Design with Natural Rubber, table of elastic moduli, from memory. Rubbers
    /// of one hardness scatter, so within 30 %; a factor of mu for E, of degrees for MPa, would be far off.
    #[test]
    fn gents_relation_is_near_what_was_measured() {
        for (hardness, modulus) in [(30.0, 0.92), (40.0, 1.50), (50.0, 2.20), (60.0, 4.45)] {
            let rubber = Rubber { shore_a: hardness, ..Rubber::default() };
            let ratio: f64 = rubber.youngs_modulus() / modulus;
            assert!((ratio - 1.0).abs() < 0.3, "hardness {hardness}: {ratio:.2} of {modulus} MPa");
        }
    }

    /// Values of the relation to the digits given, worked out elsewhere, twice and independently, from
    /// Gent (1958), Rubber Chem. Technol. 31:896.
    #[test]
    fn gents_relation_gives_its_table() {
        let table = [
            (10.0, 0.413),
            (15.0, 0.563),
            (20.0, 0.732),
            (30.0, 1.142),
            (40.0, 1.690),
            (50.0, 2.456),
            (60.0, 3.605),
        ];
        for (shore_a, modulus) in table {
            let rubber = Rubber { shore_a, ..Rubber::default() };
            assert!((rubber.youngs_modulus() - modulus).abs() < 6e-4, "Shore A {shore_a}");
        }
    }

    /// Uniaxial neo-Hookean stress over mu at stretch 1.5, 2, 3 (Treloar 1975; from memory).
    #[test]
    fn uniaxial_stress_matches_closed_form_and_inverts() {
        let rubber = Rubber::default();
        for (ratio, over_mu) in [(1.5, 1.0556), (2.0, 1.75), (3.0, 2.8889)] {
            let stress = rubber.nominal_stress(ratio);
            assert_relative_eq!(stress / rubber.shear_modulus(), over_mu, epsilon = 5e-5);
            assert_relative_eq!(rubber.strain_at(stress), ratio - 1.0, epsilon = 1e-9);
        }
        assert!(rubber.strain_at(0.0).abs() < 1e-9);
    }

    #[test]
    fn every_fault_is_named() {
        let rubber = Rubber { shore_a: f64::NAN, density: 9.0, ..Rubber::default() };
        let faults = rubber.check().expect_err("two faults");
        assert_eq!(faults.len(), 2);
        let soft = Rubber { working_stretch: 4.0, ..Rubber::default() };
        assert!(matches!(
            soft.check().expect_err("breaks")[0],
            RubberError::WorkingAboveBreak { .. }
        ));
    }
}
