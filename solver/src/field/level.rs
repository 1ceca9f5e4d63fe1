//! The difference equations of one grid, from the stretches of rubber on its lines.
//!
//! A leg of the seven-point star that leaves the rubber is cut at the skin, at the exact share theta
//! of its length. Two schemes use the cut legs:
//!
//! - G. H. Shortley, R. Weller, The numerical solution of Laplace's equation, J. Appl. Phys. 9
//!   (1938): differences of the slopes along the two legs of an axis, over half their joint length.
//!   Second order, in the slope too. This is what is solved (`solve`).
//! - F. Gibou, R. Fedkiw, L.-T. Cheng, M. Kang, A second-order-accurate symmetric discretization of
//!   the Poisson equation on irregular domains, J. Comput. Phys. 176 (2002): the same without the
//!   joint length. Symmetric, and all entries off the diagonal are -1, so that the diagonal is all
//!   that has to be kept; but several times less accurate. This is what preconditions (`multigrid`).
//!
//! Rows are scaled by the spacing squared.
//!
//! On a board the field is mirrored: rows of nodes on it count half, so that the matrix stays
//! symmetric.

use rayon::prelude::*;

use super::{Grid, Lines, Skin, Stretch};

/// A leg that reaches the next node.
pub(super) const WHOLE: f32 = 2.0;
/// A leg that leads into the mirror: there is none.
pub(super) const NO_LEG: f32 = 0.0;
/// Nodes nearer to a skin than this share of the spacing lie on it.
const ON_SKIN: f64 = 1e-6;

/// Where a node lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Place {
    /// In the rubber: its potential is an unknown.
    Rubber,
    /// In or on the model, or in a wall of it too thin for the grid.
    Model,
    /// In the model, beside a gap of rubber too narrow for the grid. The potential is 0 as in the
    /// model, but the model does not hang together here.
    Gap,
    /// On or beyond the outside.
    Outside,
}

/// What the outside of the body does to the field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OutsideSkin {
    /// It is held at a potential of 1.
    Held,
    /// Nothing flows through it: legs that would end on it are left out. The skin is then as rough as the
    /// grid, of first order, which is enough where only the shape of a level surface near it matters.
    Insulated,
}

/// A node with a leg that leaves the rubber. Legs go -x, +x, -y, +y, -z, +z: [`WHOLE`],
/// [`NO_LEG`], the share up to the model, or minus the share up to the outside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct CutNode {
    pub node: u32,
    pub legs: [f32; 6],
}

/// The equations of one grid, every `stride`th node of the finest.
pub(super) struct Level {
    /// Nodes along x, y and z.
    pub counts: [usize; 3],
    /// Whether the first plane is a mirror.
    pub mirrored: bool,
    /// One over the diagonal; 0 where the node is no unknown.
    pub inverse: Vec<f32>,
    pub places: Vec<Place>,
    /// In the order of nodes.
    pub cuts: Vec<CutNode>,
    /// Where the cut nodes of each plane begin in `cuts`, and where they end.
    pub cut_starts: Vec<usize>,
    /// Nodes that gave way to a wall thinner than the spacing.
    pub thickened: usize,
    /// Nodes marked as [`Place::Gap`].
    pub gaps: usize,
}

/// Weight of the rows of a plane, and of their legs in the plane.
pub(super) fn plane_weight(mirrored: bool, plane: usize) -> f32 {
    if mirrored && plane == 0 { 0.5 } else { 1.0 }
}

/// What a line says of one of its nodes.
enum OnLine {
    /// In the rubber, with the legs to either side.
    Rubber([f32; 2]),
    Not(Place),
}

fn place(skin: Skin) -> Place {
    if skin == Skin::Model { Place::Model } else { Place::Outside }
}

fn leg(distance: f64, spacing: f64, skin: Skin) -> f32 {
    let share = distance / spacing;
    match skin {
        _ if share > 1.0 + 2.0 * ON_SKIN => WHOLE,
        Skin::Model => share.min(1.0) as f32,
        Skin::Outside => -share.min(1.0) as f32,
        Skin::Board if share < ON_SKIN => NO_LEG,
        Skin::Board => WHOLE,
    }
}

fn on_line(stretches: &[Stretch], at: f64, fine: f64, spacing: f64) -> OnLine {
    let slack = |skin: Skin| if skin == Skin::Board { -ON_SKIN } else { ON_SKIN } * fine;
    let mut before = Skin::Outside;
    for stretch in stretches {
        let ([from, to], skins) = (stretch.ends, stretch.skins);
        if at < from + slack(skins[0]) {
            // Between two skins of the model lies the model; so it does below a skin of it that
            // has nothing but the board under it.
            let within = skins[0] == Skin::Model && before != Skin::Outside;
            let touches = at > from - ON_SKIN * fine;
            let skin = if within || touches { skins[0] } else { Skin::Outside };
            return OnLine::Not(place(skin));
        }
        if at < to - slack(skins[1]) {
            return OnLine::Rubber([
                leg(at - from, spacing, skins[0]),
                leg(to - at, spacing, skins[1]),
            ]);
        }
        if at < to + ON_SKIN * fine {
            return OnLine::Not(place(skins[1]));
        }
        before = skins[1];
    }
    OnLine::Not(Place::Outside)
}

impl Level {
    /// The equations on every `stride`th node of `grid`.
    pub fn new(
        grid: &Grid,
        lines: &[Lines; 3],
        on_board: bool,
        outside: OutsideSkin,
        stride: usize,
    ) -> Self {
        // One node past the end where the count does not divide, so that the outermost layer is
        // never rubber.
        let counts =
            grid.counts.map(|n| if stride == 1 { n } else { (n - 1).div_ceil(stride) + 1 });
        let view = View { grid, lines, stride, counts };
        let planes: Vec<(Vec<Place>, Vec<CutNode>)> =
            (0..counts[2]).into_par_iter().map(|k| view.plane(k)).collect();
        let mut places = Vec::with_capacity(counts.iter().product());
        let mut starts = vec![0];
        let mut cuts = Vec::new();
        for (plane, found) in planes {
            places.extend(plane);
            cuts.extend(found);
            starts.push(cuts.len());
        }
        let thin = thin_places(&cuts, &places, counts);
        let thickened = thin.len();
        for (node, place) in thin {
            places[node] = place;
        }
        // Coarser grids only precondition: they need not know.
        let narrow = if stride == 1 { narrow_gaps(grid, lines, &places) } else { Vec::new() };
        let gaps = narrow.len();
        for node in narrow {
            places[node] = Place::Gap;
        }
        let size = counts[0] * counts[1];
        let rows: Vec<(Vec<f32>, Vec<CutNode>)> = (0..counts[2])
            .into_par_iter()
            .map(|k| {
                let known = &cuts[starts[k]..starts[k + 1]];
                plane_rows(&places, known, counts, k * size, on_board && k == 0, outside)
            })
            .collect();
        let mut inverse = Vec::with_capacity(places.len());
        let mut cuts = Vec::new();
        let mut cut_starts = vec![0];
        for (row, found) in rows {
            inverse.extend(row);
            cuts.extend(found);
            cut_starts.push(cuts.len());
        }
        Self { counts, mirrored: on_board, inverse, places, cuts, cut_starts, thickened, gaps }
    }

    /// Unknowns.
    pub fn unknowns(&self) -> usize {
        self.places.iter().filter(|&&p| p == Place::Rubber).count()
    }
}

/// A grid thinned out.
struct View<'a> {
    grid: &'a Grid,
    lines: &'a [Lines; 3],
    stride: usize,
    counts: [usize; 3],
}

impl View<'_> {
    fn on_axis(&self, axis: usize, at: [usize; 3]) -> OnLine {
        let [u, v] = Grid::across(axis);
        let [m, n] = [at[u] * self.stride, at[v] * self.stride];
        if m >= self.grid.counts[u] || n >= self.grid.counts[v] {
            return OnLine::Not(Place::Outside);
        }
        let fine = self.grid.spacing;
        let x = self.grid.origin[axis] + (at[axis] * self.stride) as f64 * fine;
        let line = self.lines[axis].line(n * self.grid.counts[u] + m);
        on_line(line, x, fine, fine * self.stride as f64)
    }

    fn plane(&self, k: usize) -> (Vec<Place>, Vec<CutNode>) {
        let [nx, ny, _] = self.counts;
        let mut places = Vec::with_capacity(nx * ny);
        let mut cuts = Vec::new();
        for j in 0..ny {
            for i in 0..nx {
                let mut legs = [WHOLE; 6];
                let mut place = Place::Rubber;
                for axis in 0..3 {
                    match self.on_axis(axis, [i, j, k]) {
                        OnLine::Rubber(pair) => {
                            legs[2 * axis..2 * axis + 2].copy_from_slice(&pair);
                        }
                        OnLine::Not(other) => {
                            place = other;
                            break;
                        }
                    }
                }
                if place == Place::Rubber && legs.iter().any(|&l| l != WHOLE) {
                    cuts.push(CutNode { node: ((k * ny + j) * nx + i) as u32, legs });
                }
                places.push(place);
            }
        }
        (places, cuts)
    }
}

/// Index steps along the six legs.
pub(super) fn steps(counts: [usize; 3]) -> [isize; 6] {
    let (row, plane) = (counts[0] as isize, (counts[0] * counts[1]) as isize);
    [-1, 1, -row, row, -plane, plane]
}

/// Two rubber nodes with a skin between them: the wall is thinner than the spacing. The node that
/// is nearer to it gives way, so that the wall is there for the equations and for the topology.
fn thin_places(cuts: &[CutNode], places: &[Place], counts: [usize; 3]) -> Vec<(usize, Place)> {
    let steps = steps(counts);
    let legs_of = |node: usize| {
        cuts.binary_search_by_key(&(node as u32), |c| c.node).map_or([WHOLE; 6], |n| cuts[n].legs)
    };
    cuts.par_iter()
        .filter_map(|cut| {
            let node = cut.node as usize;
            (0..6).find_map(|way| {
                let share = cut.legs[way];
                if share == WHOLE || share == NO_LEG || share.abs() >= 1.0 {
                    return None;
                }
                let other = node.checked_add_signed(steps[way]).filter(|&n| n < places.len())?;
                if places[other] != Place::Rubber {
                    return None;
                }
                let back = legs_of(other)[way ^ 1].abs();
                let nearer = share.abs() < back || (share.abs() == back && node < other);
                let place = if share > 0.0 { Place::Model } else { Place::Outside };
                nearer.then_some((node, place))
            })
        })
        .collect()
}

/// Nodes of the model beside a gap of rubber that lies between two nodes of a line: of the two the
/// one that is nearer to it, in order.
fn narrow_gaps(grid: &Grid, lines: &[Lines; 3], places: &[Place]) -> Vec<usize> {
    let mut nodes: Vec<usize> = (0..3)
        .flat_map(|axis| {
            let [u, v] = Grid::across(axis);
            (0..grid.line_count(axis))
                .into_par_iter()
                .flat_map_iter(move |line| {
                    lines[axis].line(line).iter().filter_map(move |stretch| {
                        let [from, to] =
                            stretch.ends.map(|x| (x - grid.origin[axis]) / grid.spacing);
                        let before = from.floor();
                        if stretch.skins != [Skin::Model; 2] || to > before + 1.0 || before < 0.0 {
                            return None;
                        }
                        let mut at = [0; 3];
                        (at[u], at[v]) = (line % grid.counts[u], line / grid.counts[u]);
                        let ends = [before as usize, before as usize + 1].map(|n| {
                            at[axis] = n.min(grid.counts[axis] - 1);
                            grid.index(at)
                        });
                        let nearer = usize::from(from - before > before + 1.0 - to);
                        (ends.iter().all(|&n| places[n] == Place::Model)).then_some(ends[nearer])
                    })
                })
                .collect::<Vec<_>>()
        })
        .collect();
    nodes.sort_unstable();
    nodes.dedup();
    nodes
}

/// Diagonals of a plane and its cut nodes, now that all places are known: a whole leg to a node
/// that is no unknown ends there.
fn plane_rows(
    places: &[Place],
    known: &[CutNode],
    counts: [usize; 3],
    start: usize,
    on_mirror: bool,
    outside: OutsideSkin,
) -> (Vec<f32>, Vec<CutNode>) {
    let size = counts[0] * counts[1];
    let steps = steps(counts);
    let weight = f64::from(plane_weight(on_mirror, 0));
    let mut inverse = vec![0.0f32; size];
    let mut cuts = Vec::with_capacity(known.len());
    let mut next = known.iter().peekable();
    for (at, inverse) in inverse.iter_mut().enumerate() {
        let node = start + at;
        let given = next.next_if(|c| c.node as usize == node);
        if places[node] != Place::Rubber {
            continue;
        }
        let mut legs = given.map_or([WHOLE; 6], |c| c.legs);
        for (leg, step) in legs.iter_mut().zip(steps) {
            if *leg == WHOLE {
                let other = node.checked_add_signed(step).and_then(|n| places.get(n));
                match other {
                    Some(Place::Rubber) => {}
                    Some(Place::Model | Place::Gap) => *leg = 1.0,
                    Some(Place::Outside) | None => *leg = -1.0,
                }
            }
            if outside == OutsideSkin::Insulated && *leg < 0.0 {
                *leg = NO_LEG;
            }
        }
        let mut diagonal = 0.0;
        for (way, &leg) in legs.iter().enumerate() {
            let weight = if way < 4 { weight } else { 1.0 };
            diagonal += match leg {
                WHOLE => weight,
                NO_LEG => 0.0,
                share => weight / f64::from(share.abs()),
            };
        }
        // A node without any leg hangs together with nothing: it is no unknown.
        *inverse = if diagonal > 0.0 { (1.0 / diagonal) as f32 } else { 0.0 };
        if legs.iter().any(|&l| l != WHOLE) {
            cuts.push(CutNode { node: node as u32, legs });
        }
    }
    (inverse, cuts)
}
