//! Places and ways on a net, whatever was unrolled.

/// A place on a net, mm.
pub(super) type Flat = [f64; 2];

/// Points nearer than this to a face are on it, mm.
pub(super) const ON: f64 = 0.01;

/// A line of a net's own.
pub(super) struct Border {
    /// Its points.
    pub points: Vec<Flat>,
    /// Whether the net is folded there, not cut.
    pub fold: bool,
}

/// Length of a way, mm.
pub(super) fn length(way: &[[Flat; 2]]) -> f64 {
    way.iter().map(|[a, b]| (b[0] - a[0]).hypot(b[1] - a[1])).sum()
}

/// The shorter of two ways.
pub(super) fn shorter(
    a: Option<Vec<[Flat; 2]>>,
    b: Option<Vec<[Flat; 2]>>,
) -> Option<Vec<[Flat; 2]>> {
    match (a, b) {
        (Some(a), Some(b)) => Some(if length(&b) < length(&a) { b } else { a }),
        (a, b) => a.or(b),
    }
}
