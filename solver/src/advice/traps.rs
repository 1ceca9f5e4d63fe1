//! Where air stays when a liquid rises: in the model's cavity, or in the space round the model.
//!
//! As the liquid rises, what is still air above its level falls into regions. A region that hangs together with an
//! opening breathes out; one that does not is a trap. Which regions there are changes only at vertices, so that all
//! of them come out of one sweep over the vertices from the highest down, joining what hangs together: a merge tree
//! (Carr, H., Snoeyink, J., Axen, U. (2003), "Computing contour trees in all dimensions", Computational Geometry
//! 24:75). The tree is that of the space on one side of the surface, not of the surface: a patch of surface that is
//! new, but has the space above it, belongs to the region that a line straight up from it meets.

use crate::mesh::{Point, SurfaceLocator, TriangleMesh, Vector};

/// The space that a liquid rises in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Space {
    /// Within the surface: what is cast.
    Within,
    /// Round it, open upward: the rubber.
    Round,
}

/// What a vertex means for the air beside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Border {
    /// Nothing but surface.
    Wall,
    /// Air passes here.
    Open,
    /// The space ends here: regions that would meet beyond do not.
    Shut,
}

/// A place where air stays.
#[derive(Clone, Debug, PartialEq)]
pub struct Trap {
    /// Its highest point, in the middle of what is highest where that is flat.
    pub place: Point,
    /// Height of that above where the air is shut in, mm.
    pub depth: f64,
    /// Air above that level, mm^3; that of higher places within the same trap counts too.
    pub volume: f64,
    /// Whether it is shut in by what ends the space, not by the liquid.
    pub is_shut: bool,
}

/// What lies within this of the highest point is highest too, mm.
const LEVEL: f64 = 0.05;

/// Where air stays as a liquid rises along a unit `up`, at least `least` mm deep; the largest volume first.
pub fn traps(
    mesh: &TriangleMesh,
    locator: &SurfaceLocator,
    up: &Vector,
    space: Space,
    border: &dyn Fn(usize) -> Border,
    least: f64,
) -> Vec<Trap> {
    let mut sweep = Sweep::new(mesh, up, space, least);
    let normals = mesh.vertex_normals();
    let lift = 1e-6 * mesh.span();
    let ring = Neighbours::new(mesh);
    for place in 0..sweep.order.len() {
        let v = sweep.order[place];
        let higher: Vec<usize> =
            ring.of(v).iter().map(|u| *u as usize).filter(|u| sweep.rank[*u] < place).collect();
        let own = border(v);
        if higher.is_empty() {
            // Straight above a new patch is either all space or all not.
            let is_below = (normals[v].dot(up) > 0.0) == (space == Space::Within);
            // Every vertex begins as a region of its own.
            if !is_below {
                let hit = locator.ray(&(mesh.positions[v] + up * lift), up, f64::MAX);
                let top = hit.and_then(|hit| {
                    let face = locator.face(hit.face).map(|u| u as usize);
                    face.into_iter()
                        .min_by_key(|u| sweep.rank[*u])
                        .filter(|u| sweep.rank[*u] < place)
                });
                match top {
                    Some(top) => sweep.join(v, top),
                    // Nothing is above it: the air leaves there.
                    None => sweep.join_open(v),
                }
            }
        } else {
            sweep.join(v, higher[0]);
            for &u in &higher[1..] {
                sweep.meet(v, u, own == Border::Shut);
            }
        }
        if own == Border::Open {
            sweep.open(v);
        }
    }
    let mut found = sweep.found;
    found.sort_by(|a, b| b.volume.total_cmp(&a.volume).then(b.depth.total_cmp(&a.depth)));
    found
}

/// Regions of air above a level that goes down.
struct Sweep<'a> {
    mesh: &'a TriangleMesh,
    up: Vector,
    space: Space,
    least: f64,
    height: Vec<f64>,
    /// Vertices from the highest down, of equals the first, and the place of each among them.
    order: Vec<usize>,
    rank: Vec<usize>,
    /// Faces by their highest corner, packed.
    faces: Vec<Vec<u32>>,
    /// Disjoint sets of vertices; the last one stands for the open.
    parent: Vec<u32>,
    /// The members of each set, as rings.
    next: Vec<u32>,
    count: Vec<u32>,
    /// Highest vertex of each set, by its root.
    peak: Vec<u32>,
    is_open: Vec<bool>,
    found: Vec<Trap>,
}

impl<'a> Sweep<'a> {
    fn new(mesh: &'a TriangleMesh, up: &Vector, space: Space, least: f64) -> Self {
        let count = mesh.positions.len();
        let height: Vec<f64> = mesh.positions.iter().map(|p| p.coords.dot(up)).collect();
        let mut order: Vec<usize> = (0..count).collect();
        order.sort_by(|&a, &b| height[b].total_cmp(&height[a]).then(a.cmp(&b)));
        let mut rank = vec![0; count];
        for (place, &v) in order.iter().enumerate() {
            rank[v] = place;
        }
        let mut faces = vec![Vec::new(); count];
        for (f, face) in mesh.faces.iter().enumerate() {
            let top = face.iter().map(|v| *v as usize).min_by_key(|v| rank[*v]).unwrap_or(0);
            faces[top].push(f as u32);
        }
        let all = 0..=count as u32;
        let mut is_open = vec![false; count + 1];
        is_open[count] = true;
        Self {
            mesh,
            up: *up,
            space,
            least,
            height,
            order,
            rank,
            faces,
            parent: all.clone().collect(),
            next: all.clone().collect(),
            count: vec![1; count + 1],
            peak: all.collect(),
            is_open,
            found: Vec::new(),
        }
    }

    fn root(&mut self, v: usize) -> usize {
        let mut at = v;
        while self.parent[at] as usize != at {
            self.parent[at] = self.parent[self.parent[at] as usize];
            at = self.parent[at] as usize;
        }
        at
    }

    /// A vertex without a past goes to the region of another.
    fn join(&mut self, v: usize, to: usize) {
        let to = self.root(to);
        self.merge(to, v);
    }

    fn join_open(&mut self, v: usize) {
        let open = self.parent.len() - 1;
        self.join(v, open);
    }

    /// The regions of two vertices meet at the level of the first one.
    fn meet(&mut self, v: usize, u: usize, is_shut: bool) {
        let (a, b) = (self.root(v), self.root(u));
        if a == b {
            return;
        }
        // Of two regions the one that breathes, else the higher one, goes on.
        let top = |k: usize| (self.is_open[k], std::cmp::Reverse(self.peak_rank(k)));
        let (stays, ends) = if top(a) >= top(b) { (a, b) } else { (b, a) };
        if !self.is_open[ends] {
            self.tell(ends, self.height[v], is_shut);
        }
        self.merge(stays, ends);
    }

    fn peak_rank(&self, root: usize) -> usize {
        // The open has no vertex.
        self.rank.get(self.peak[root] as usize).copied().unwrap_or(0)
    }

    /// The region of a vertex breathes from its level on.
    fn open(&mut self, v: usize) {
        let root = self.root(v);
        if !self.is_open[root] {
            self.tell(root, self.height[v], false);
            self.is_open[root] = true;
        }
    }

    fn merge(&mut self, stays: usize, ends: usize) {
        // The larger set is the root; what is known goes with it.
        let (peak, open) = (self.peak[stays], self.is_open[stays] || self.is_open[ends]);
        let (root, under) =
            if self.count[stays] >= self.count[ends] { (stays, ends) } else { (ends, stays) };
        self.parent[under] = root as u32;
        self.count[root] += self.count[under];
        self.next.swap(root, under);
        (self.peak[root], self.is_open[root]) = (peak, open);
    }

    /// Notes a region that is shut in at a level, if it is deep enough.
    fn tell(&mut self, root: usize, level: f64, is_shut: bool) {
        let peak = self.peak[root] as usize;
        let depth = self.height[peak] - level;
        if depth < self.least {
            return;
        }
        let sign = if self.space == Space::Within { 1.0 } else { -1.0 };
        let (mut volume, mut middle, mut highest) = (0.0, Vector::zeros(), Vec::new());
        let mut at = root;
        loop {
            for &f in self.faces.get(at).into_iter().flatten() {
                volume += sign * self.below_face(f as usize, level);
            }
            if at < self.height.len() && self.height[at] >= self.height[peak] - LEVEL {
                highest.push(at);
                middle += self.mesh.positions[at].coords;
            }
            at = self.next[at] as usize;
            if at == root {
                break;
            }
        }
        let middle = Point::from(middle / highest.len().max(1) as f64);
        let far = |v: &usize| (self.mesh.positions[*v] - middle).norm_squared();
        let nearest = highest.into_iter().min_by(|a, b| far(a).total_cmp(&far(b)).then(a.cmp(b)));
        let place = self.mesh.positions[nearest.unwrap_or(peak)];
        self.found.push(Trap { place, depth, volume: volume.max(0.0), is_shut });
    }

    /// Volume between a face's part above a level and that level, mm^3, positive where the face looks up: by the
    /// divergence theorem these add up to what a surface encloses above the level.
    fn below_face(&self, face: usize, level: f64) -> f64 {
        let corners = self.mesh.faces[face].map(|v| v as usize);
        let [p, q, r] = corners.map(|v| self.mesh.positions[v]);
        // The face as seen from above, as a share of its corners' triangle: area times height is linear on it.
        let whole = 0.5 * (q - p).cross(&(r - p)).dot(&self.up);
        let mut h = corners.map(|v| self.height[v] - level);
        h.sort_by(f64::total_cmp);
        let [low, middle, high] = h;
        if high <= 0.0 {
            0.0
        } else if low >= 0.0 {
            whole * (low + middle + high) / 3.0
        } else if middle <= 0.0 {
            // A small triangle round the highest corner.
            let share = high / (high - low) * high / (high - middle);
            whole * share * high / 3.0
        } else {
            // All but a small triangle round the lowest corner: its part below counts as much as it is deep.
            let share = low / (low - middle) * low / (low - high);
            whole * ((low + middle + high) / 3.0 - share * low / 3.0)
        }
    }
}

/// The vertices beside each vertex, packed; those of closed surfaces twice.
struct Neighbours {
    start: Vec<u32>,
    beside: Vec<u32>,
}

impl Neighbours {
    fn new(mesh: &TriangleMesh) -> Self {
        let mut start = vec![0u32; mesh.positions.len() + 1];
        for &v in mesh.faces.iter().flatten() {
            start[v as usize + 1] += 2;
        }
        for v in 0..mesh.positions.len() {
            start[v + 1] += start[v];
        }
        let mut next = start.clone();
        let mut beside = vec![0u32; 6 * mesh.faces.len()];
        for face in &mesh.faces {
            for k in 0..3 {
                for other in [face[(k + 1) % 3], face[(k + 2) % 3]] {
                    let slot = &mut next[face[k] as usize];
                    beside[*slot as usize] = other;
                    *slot += 1;
                }
            }
        }
        Self { start, beside }
    }

    fn of(&self, v: usize) -> &[u32] {
        &self.beside[self.start[v] as usize..self.start[v + 1] as usize]
    }
}

#[cfg(test)]
pub(super) mod tests;
