//! Rows: what every plan must satisfy, or what trials wish for.

/// What a row says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RowKind {
    /// Some cut crosses the ring.
    Crossing,
    /// Enough cut beyond the ring.
    StripBeyond,
    /// Enough cut on the gate's side of the ring.
    StripBefore,
    /// Enough cut beside a bridge.
    BridgeOpening,
    /// Enough cut across rubber that a trial found stretched.
    Relief,
}

impl RowKind {
    /// Whether the row comes from a ring.
    pub fn is_of_ring(self) -> bool {
        matches!(self, Self::Crossing | Self::StripBeyond | Self::StripBefore)
    }
}

/// One row: sum of coefficient times x is at least one, where x is 1 for an edge that is cut.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// What it says.
    pub kind: RowKind,
    /// Edges and coefficients, each in (0, 1].
    pub terms: Terms,
    /// Index of the ring (or of the bridge, or of the relief) it comes from.
    pub origin: u32,
    /// Stretched width of the strip, mm; for a bridge the length of opening; for a relief what it asks
    /// for; 0 for a crossing.
    pub depth: f64,
    /// What the sum is at least for finished curves too, which may come a little short of one: the bound
    /// counts on no more.
    pub least: f64,
}

impl Row {
    /// Left-hand side for values of all edges.
    pub fn sum(&self, values: &[f64]) -> f64 {
        self.terms.iter().map(|&(e, c)| f64::from(c) * values[e as usize]).sum()
    }
}

/// Edges and coefficients of a row.
/// There are thousands in the row of a wide strip: coefficients are known no better than single precision tells.
pub type Terms = Vec<(u32, f32)>;

/// Rows are met within this.
pub const ROW_TOLERANCE: f64 = 1e-7;

/// Rows are met on curves within this share.
pub const ON_CURVES: f64 = 2e-3;
