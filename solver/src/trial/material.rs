//! What the rubber of a trial is made of.

use crate::body::Rubber;

/// What the rubber is made of, MPa.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Material {
    /// Shear modulus mu.
    pub shear: f64,
    /// Share of lambda that stays with the elements.
    pub element_bulk: f64,
    /// Share of lambda that is put on nodes.
    pub nodal_bulk: f64,
}

impl Material {
    /// lambda over mu: Poisson's ratio 0.488. Real rubber has some thousands; the load is carried by
    /// shear wherever a surface is near, and steps of the solver get short as its root. The closed forms
    /// of the tests are met with 30 as with 100.
    const BULK_RATIO: f64 = 40.0;
    /// What stays with the elements, over mu: Poisson's ratio 0.4 there, far from locking. Below 1/3
    /// an element alone would be unstable.
    const ELEMENT_RATIO: f64 = 4.0;

    /// From the shear modulus, MPa.
    pub fn with_shear(shear: f64) -> Self {
        let element_bulk = Self::ELEMENT_RATIO * shear;
        Self { shear, element_bulk, nodal_bulk: Self::BULK_RATIO * shear - element_bulk }
    }

    /// From the hardness of a rubber.
    pub fn of(rubber: &Rubber) -> Self {
        Self::with_shear(rubber.shear_modulus())
    }
}
