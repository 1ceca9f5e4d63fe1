//! Convex outlines in the plane.

/// One half of the convex outline of points in the plane, which come from one side to the other: Andrew, A. M. (1979), "Another
/// efficient algorithm for convex hulls in two dimensions", Information Processing Letters 9:216. A point stays where
/// `stands_out` says so of the one before it, itself, and the one after it. The half is written to `chain`.
pub(crate) fn convex_half<T: Copy>(
    points: impl Iterator<Item = T>,
    stands_out: impl Fn(T, T, T) -> bool,
    chain: &mut Vec<T>,
) {
    chain.clear();
    for p in points {
        while let [.., a, b] = chain[..] {
            if stands_out(a, b, p) {
                break;
            }
            chain.pop();
        }
        chain.push(p);
    }
}
