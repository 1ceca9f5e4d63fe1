//! The cells that belong to one node of the grid, and how they are paired off.

/// A cell that is critical.
pub(super) const CRITICAL: u8 = 7;
/// A cell that belongs to the model or has a node outside. Other values are one more than the way
/// to the cell's partner, as the legs of a node are numbered.
pub(super) const NO_CELL: u8 = 0;

/// The 26 cells round a node by their steps from it, -1 to 1 along each axis, and what is where
/// among them.
pub(super) struct Star {
    /// Steps of cell n; the node itself is number 13.
    pub steps: [[isize; 3]; 27],
    /// The neighbours that are nodes of a cell, the node in the middle left out.
    nodes: [u32; 27],
    /// The faces of a cell of one dimension less, those that hold the middle node.
    faces: [u32; 27],
    pub dimension: [u8; 27],
}

impl Star {
    pub fn new() -> Self {
        let number =
            |s: [isize; 3]| (s[0] + 1) as usize + 3 * (s[1] + 1) as usize + 9 * (s[2] + 1) as usize;
        let mut star =
            Self { steps: [[0; 3]; 27], nodes: [0; 27], faces: [0; 27], dimension: [0; 27] };
        for n in 0..27 {
            let s = [n % 3, n / 3 % 3, n / 9].map(|x| x as isize - 1);
            star.steps[n] = s;
            star.dimension[n] = s.iter().filter(|&&x| x != 0).count() as u8;
            for part in 0..8 {
                let kept = [0, 1, 2].map(|w| if part >> w & 1 == 1 { s[w] } else { 0 });
                if kept != [0; 3] {
                    star.nodes[n] |= 1 << number(kept);
                }
            }
            for w in (0..3).filter(|&w| s[w] != 0) {
                let mut face = s;
                face[w] = 0;
                star.faces[n] |= 1 << number(face);
            }
        }
        star
    }
}

/// Pair off the cells of one node whose other nodes are all `lower`; the set that stays single.
pub(super) fn pair_star(
    star: &Star,
    lower: u32,
    steepest: usize,
    put: &mut impl FnMut(usize, u8),
) -> u32 {
    const NODE: usize = 13;
    if lower == 0 || steepest == NODE {
        // No way down along an edge, so that no higher cell can be there either.
        put(NODE, CRITICAL);
        return 1 << NODE;
    }
    let mut single = 0u32;
    for n in (0..27).filter(|&n| n != NODE) {
        if lower & star.nodes[n] == star.nodes[n] {
            single |= 1 << n;
        }
    }
    let way = |from: usize, to: usize| {
        let (a, b) = (star.steps[from], star.steps[to]);
        let axis = (0..3).find(|&w| a[w] != b[w]).unwrap_or(0);
        1 + 2 * axis as u8 + u8::from(b[axis] > a[axis])
    };
    let mut pair = |low: usize, high: usize| {
        put(low, way(low, high));
        put(high, way(high, low));
    };
    pair(NODE, steepest);
    single &= !(1 << steepest);
    let mut critical = 0u32;
    while single != 0 {
        let mut paired = false;
        for n in (0..27).filter(|&n| star.dimension[n] > 1) {
            let open = single & star.faces[n];
            if single >> n & 1 == 1 && open.count_ones() == 1 {
                let face = open.trailing_zeros() as usize;
                pair(face, n);
                single &= !(1 << n | 1 << face);
                paired = true;
            }
        }
        if !paired {
            // Of lowest dimension: its faces are all done.
            let least = (0..27)
                .filter(|n| single >> n & 1 == 1)
                .min_by_key(|&n| star.dimension[n])
                .unwrap_or(NODE);
            single &= !(1 << least);
            critical |= 1 << least;
        }
    }
    for n in (0..27).filter(|n| critical >> n & 1 == 1) {
        put(n, CRITICAL);
    }
    critical
}
