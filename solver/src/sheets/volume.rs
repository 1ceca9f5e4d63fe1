//! Whether the cut rubber is still one piece, and how wide its narrowest neck is.
//!
//! The rubber (inside the body, outside the model) is laid out in cubic cells. Two neighbouring
//! cells hang together unless a cut runs between their centres: unless the segment between these
//! passes through a face of a sheet or of a bridge's disc. No cell is taken away, so a cut is
//! as thin as a knife's and rubber between two near sheets is not lost. Pieces are the connected
//! lots of cells. Rubber that was never joined (a pocket that the model shuts in) makes a piece of
//! its own without any cut; such pieces are counted beforehand and not blamed on the cuts.
//!
//! A neck is measured by growing the rubber from its thickest parts: cells are joined in order of
//! their distance from the nearest cut (or the board, in a mould that stands on it: a cut's end
//! near the gate leaves a neck against the board), farthest first. Where two lots that each hold a
//! good share of the rubber meet at distance d, a ball of diameter 2 d just passes between the
//! cuts: that is the neck's width, measured where the neck is widest. The outside and the model don't count as edges: a blanket's
//! hinge is as thin as the blanket. Widths are good to about one cell.

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::SheetSettings;
use super::sheet::Sheet;
use crate::body::MouldBody;
use crate::control::{Cancelled, Control};
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::union_find::UnionFind;

/// How the rubber hangs together after the cuts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OnePiece {
    /// Volume of each piece, mm^3, greatest first; crumbs left out.
    pub pieces: Vec<f64>,
    /// Pieces that there are without any cut.
    pub pieces_uncut: usize,
    /// The narrowest neck, if the cuts make any.
    pub neck: Option<Neck>,
    /// Side of the cells, mm: what widths are good to.
    pub cell: f64,
}

/// Rubber between two parts of the mould.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Neck {
    /// Width, mm.
    pub width: f64,
    /// Middle of the neck.
    pub place: Point,
}

impl OnePiece {
    /// Whether no cut parts the rubber.
    pub fn holds(&self) -> bool {
        self.pieces.len() <= self.pieces_uncut
    }
}

/// Cells along the longest side of the body, at most.
const CELLS: f64 = 72.0;
/// Cells across a neck of the width asked for, where that can be had.
const ACROSS: f64 = 6.0;
/// A piece of less than this share of the rubber is a crumb.
const CRUMB: f64 = 5e-4;
/// A neck has at least this share of the rubber on either side.
const NECK_SHARE: f64 = 0.02;

/// The rubber of a mould body in cells, before any cut: made once, and cut as often as there are cuts to try.
pub struct RubberCells {
    grid: Grid,
    rubber: Vec<bool>,
    /// Pieces that there are without any cut.
    pieces: usize,
    board: Option<f64>,
}

impl RubberCells {
    /// Lay out the rubber of a body. `width` is the neck width that matters, mm: it sets how fine the cells are, within limits.
    pub fn new(body: &MouldBody, width: f64, control: &Control<'_>) -> Result<Self, Cancelled> {
        let grid = Grid::new(body, width);
        control.check()?;
        let rubber = grid.rubber(body);
        control.check()?;
        let pieces = grid.pieces(&rubber, &vec![[false; 3]; rubber.len()]).len();
        Ok(Self { grid, rubber, pieces, board: body.board() })
    }

    /// Cut the rubber by sheets and discs and see how it hangs together.
    pub fn cut_by(
        &self,
        sheets: &[Sheet],
        discs: &[TriangleMesh],
        settings: &SheetSettings,
        control: &Control<'_>,
    ) -> Result<OnePiece, Cancelled> {
        // Drawn out by more than a cell's half: no way round the edge of a cut along either skin.
        let margin = 0.75 * self.grid.cell + 1.0;
        self.cut_along(&cutting_surfaces(sheets, discs, margin, settings), control)
    }

    /// The same for surfaces that reach beyond both skins.
    pub fn cut_along<'a>(
        &self,
        surfaces: impl IntoIterator<Item = &'a TriangleMesh>,
        control: &Control<'_>,
    ) -> Result<OnePiece, Cancelled> {
        let Self { grid, rubber, pieces, board } = self;
        let mut walls = vec![[false; 3]; rubber.len()];
        for surface in surfaces {
            grid.raise(&mut walls, surface);
        }
        control.check()?;
        let after = grid.pieces(rubber, &walls);
        let neck = grid.neck(rubber, &walls, *board);
        Ok(OnePiece { pieces: after, pieces_uncut: *pieces, neck, cell: grid.cell })
    }
}

/// The surfaces along which the knife parts the rubber: sheets and discs, drawn out by `margin` mm
/// beyond both skins so that nothing is left hanging at their edges.
pub fn cutting_surfaces<'a>(
    sheets: &[Sheet],
    discs: impl IntoIterator<Item = &'a TriangleMesh>,
    margin: f64,
    settings: &SheetSettings,
) -> Vec<TriangleMesh> {
    let sheets = sheets.iter().map(|sheet| sheet.drawn_out(margin, settings.turn_length));
    sheets.chain(discs.into_iter().map(|disc| widened(disc, margin))).collect()
}

/// A disc with its rim moved outward in the disc's own surface.
pub(crate) fn widened(disc: &TriangleMesh, by: f64) -> TriangleMesh {
    let mut owner = std::collections::BTreeMap::new();
    for face in &disc.faces {
        for k in 0..3 {
            owner.insert((face[k], face[(k + 1) % 3]), face[(k + 2) % 3]);
        }
    }
    let mut out = vec![Vector::zeros(); disc.positions.len()];
    let rim: Vec<(u32, u32, u32)> = owner
        .iter()
        .filter(|((a, b), _)| !owner.contains_key(&(*b, *a)))
        .map(|(&(a, b), &c)| (a, b, c))
        .collect();
    let at = |v: u32| disc.positions[v as usize];
    for &(a, b, c) in &rim {
        let along = (at(b) - at(a)).try_normalize(1e-12).unwrap_or_else(Vector::zeros);
        let inward = at(c) - at(a);
        let outward = along * inward.dot(&along) - inward;
        let outward = outward.try_normalize(1e-12).unwrap_or_else(Vector::zeros);
        for v in [a, b] {
            out[v as usize] += outward;
        }
    }
    let mut mesh = disc.clone();
    let mut moved = vec![u32::MAX; disc.positions.len()];
    for &(a, b, _) in &rim {
        for v in [a, b] {
            if moved[v as usize] == u32::MAX {
                moved[v as usize] = mesh.positions.len() as u32;
                let step = out[v as usize].try_normalize(1e-12).unwrap_or_else(Vector::zeros);
                mesh.positions.push(at(v) + step * by);
            }
        }
        mesh.faces.push([b, a, moved[a as usize]]);
        mesh.faces.push([b, moved[a as usize], moved[b as usize]]);
    }
    mesh
}

/// Cubic cells over the body. Centres lie off any round number, so that few faces pass through
/// one exactly.
struct Grid {
    first: Point,
    cell: f64,
    counts: [usize; 3],
}

/// Where the first centre lies in its cell, as shares of it; nothing but unlike numbers.
const OFFSET: [f64; 3] = [0.5123, 0.4871, 0.5037];

impl Grid {
    fn new(body: &MouldBody, width: f64) -> Self {
        let (low, high) = body.bounds();
        let size = high - low;
        let cell = (size.max() / CELLS).max(width / ACROSS).max(1e-6);
        let counts = [0, 1, 2].map(|k| (size[k] / cell).ceil().max(1.0) as usize);
        let first = low + Vector::from(OFFSET) * cell;
        Self { first, cell, counts }
    }

    fn index(&self, at: [usize; 3]) -> usize {
        (at[2] * self.counts[1] + at[1]) * self.counts[0] + at[0]
    }

    fn at(&self, index: usize) -> [usize; 3] {
        let [nx, ny, _] = self.counts;
        [index % nx, index / nx % ny, index / (nx * ny)]
    }

    fn centre(&self, at: [usize; 3]) -> Point {
        self.first + Vector::new(at[0] as f64, at[1] as f64, at[2] as f64) * self.cell
    }

    /// Which cells are rubber. Along each column the model is entered through a face that looks
    /// down and left through one that looks up.
    fn rubber(&self, body: &MouldBody) -> Vec<bool> {
        let [nx, ny, nz] = self.counts;
        let columns: Vec<Vec<bool>> = (0..nx * ny)
            .into_par_iter()
            .map(|column| {
                let mut inside = self.model_along(body, column % nx, column / nx);
                for (k, cell) in inside.iter_mut().enumerate() {
                    let centre = self.centre([column % nx, column / nx, k]);
                    *cell = !*cell && body.holds(&centre);
                }
                inside
            })
            .collect();
        let mut rubber = vec![false; nx * ny * nz];
        for (column, cells) in columns.iter().enumerate() {
            for (k, &cell) in cells.iter().enumerate() {
                rubber[self.index([column % nx, column / nx, k])] = cell;
            }
        }
        rubber
    }

    /// Which cells of a column lie in the model.
    fn model_along(&self, body: &MouldBody, i: usize, j: usize) -> Vec<bool> {
        let count = self.counts[2];
        let mut inside = vec![false; count];
        let (low, high) = body.bounds();
        let mut from = self.centre([i, j, 0]);
        from.z = low.z - self.cell;
        let top = high.z + self.cell;
        let mut entered: Option<f64> = None;
        while from.z < top {
            let Some(hit) = body.model().ray(&from, &Vector::z(), top - from.z) else { break };
            if hit.normal.z < 0.0 {
                entered = Some(entered.unwrap_or(hit.point.z));
            } else if let Some(low) = entered.take() {
                for (k, cell) in inside.iter_mut().enumerate() {
                    let z = self.first.z + self.cell * k as f64;
                    *cell |= z > low && z < hit.point.z;
                }
            }
            from.z = hit.point.z + 1e-6 * self.cell;
        }
        inside
    }

    /// Mark the neighbours that a surface passes between: for each cell, whether a wall stands
    /// towards the next one along x, y and z.
    fn raise(&self, walls: &mut [[bool; 3]], surface: &TriangleMesh) {
        for face in &surface.faces {
            let corners = face.map(|v| {
                let p = (surface.positions[v as usize] - self.first) / self.cell;
                [p.x, p.y, p.z]
            });
            for axis in 0..3 {
                self.raise_along(walls, &corners, axis);
            }
        }
    }

    /// The grid lines along one axis that pass through a triangle (in cells from the first
    /// centre).
    fn raise_along(&self, walls: &mut [[bool; 3]], corners: &[[f64; 3]; 3], axis: usize) {
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        let range = |k: usize| {
            let low = corners.iter().map(|c| c[k]).fold(f64::INFINITY, f64::min);
            let high = corners.iter().map(|c| c[k]).fold(f64::NEG_INFINITY, f64::max);
            (low.ceil().max(0.0) as usize, high.floor().min(self.counts[k] as f64 - 1.0))
        };
        let [a, b, c] = corners;
        let area = (b[u] - a[u]) * (c[v] - a[v]) - (b[v] - a[v]) * (c[u] - a[u]);
        if area == 0.0 {
            return;
        }
        let ((u0, u1), (v0, v1)) = (range(u), range(v));
        for i in (u0..).take_while(|&i| i as f64 <= u1) {
            for j in (v0..).take_while(|&j| j as f64 <= v1) {
                let (x, y) = (i as f64, j as f64);
                let weight = |p: &[f64; 3], q: &[f64; 3]| {
                    ((p[u] - x) * (q[v] - y) - (p[v] - y) * (q[u] - x)) / area
                };
                let w = [weight(b, c), weight(c, a), weight(a, b)];
                // On an edge both faces count: a wall raised twice does no harm, a gap would.
                if w.iter().any(|&w| w < -1e-9) {
                    continue;
                }
                let height = w[0] * a[axis] + w[1] * b[axis] + w[2] * c[axis];
                if height < 0.0 || height >= self.counts[axis] as f64 - 1.0 {
                    continue;
                }
                let mut at = [0; 3];
                (at[u], at[v], at[axis]) = (i, j, height.floor() as usize);
                walls[self.index(at)][axis] = true;
            }
        }
    }

    /// Neighbours of a cell that it hangs together with.
    fn joined<'a>(
        &'a self,
        rubber: &'a [bool],
        walls: &'a [[bool; 3]],
        index: usize,
    ) -> impl Iterator<Item = usize> + 'a {
        let at = self.at(index);
        (0..3).flat_map(move |axis| {
            let step = [1, self.counts[0], self.counts[0] * self.counts[1]][axis];
            let after = (at[axis] + 1 < self.counts[axis] && !walls[index][axis])
                .then(|| index + step)
                .filter(|&n| rubber[n]);
            let before =
                (at[axis] > 0).then(|| index - step).filter(|&n| rubber[n] && !walls[n][axis]);
            after.into_iter().chain(before)
        })
    }

    /// Volumes of the pieces, greatest first.
    fn pieces(&self, rubber: &[bool], walls: &[[bool; 3]]) -> Vec<f64> {
        let mut seen = vec![false; rubber.len()];
        let mut sizes = Vec::new();
        let mut stack = Vec::new();
        for seed in 0..rubber.len() {
            if !rubber[seed] || seen[seed] {
                continue;
            }
            seen[seed] = true;
            stack.push(seed);
            let mut size = 0;
            while let Some(cell) = stack.pop() {
                size += 1;
                for next in self.joined(rubber, walls, cell) {
                    if !seen[next] {
                        seen[next] = true;
                        stack.push(next);
                    }
                }
            }
            sizes.push(size);
        }
        sizes.sort_unstable_by(|a, b| b.cmp(a));
        let least = CRUMB * sizes.iter().sum::<usize>() as f64;
        let cube = self.cell.powi(3);
        sizes.into_iter().filter(|&s| s as f64 > least).map(|s| s as f64 * cube).collect()
    }

    /// The narrowest neck between two good shares of the rubber.
    fn neck(&self, rubber: &[bool], walls: &[[bool; 3]], board: Option<f64>) -> Option<Neck> {
        let mut by_cut = vec![false; rubber.len()];
        for index in 0..rubber.len() {
            let step = [1, self.counts[0], self.counts[0] * self.counts[1]];
            for axis in 0..3 {
                if walls[index][axis] {
                    by_cut[index] = true;
                    by_cut[index + step[axis]] = true;
                }
            }
        }
        if !by_cut.contains(&true) {
            return None;
        }
        let squares = self.squares_of_distance(&by_cut);
        // A cut runs up to a cell beyond the centres beside it, or half a cell short of them.
        let from_cut = |k: usize| squares[k].sqrt() * self.cell;
        let distance: Vec<f64> = (0..rubber.len())
            .map(|k| {
                let height = board.map_or(f64::INFINITY, |b| self.centre(self.at(k)).z - b);
                from_cut(k).min(height)
            })
            .collect();
        let mut order: Vec<usize> = (0..rubber.len()).filter(|&k| rubber[k]).collect();
        order.sort_by(|&a, &b| distance[b].total_cmp(&distance[a]).then(a.cmp(&b)));
        let good = NECK_SHARE * order.len() as f64;
        let mut lots = UnionFind::new(rubber.len());
        // Cells of the lot that a root stands for.
        let mut size = vec![1u32; rubber.len()];
        let mut risen = vec![false; rubber.len()];
        let mut neck = None;
        for cell in order {
            risen[cell] = true;
            for next in self.joined(rubber, walls, cell) {
                if !risen[next] {
                    continue;
                }
                let (a, b) = (lots.root(cell), lots.root(next));
                if !lots.join(a, b) {
                    continue;
                }
                if f64::from(size[a]) >= good && f64::from(size[b]) >= good {
                    let place = self.centre(self.at(cell));
                    neck = Some(Neck { width: 2.0 * distance[cell], place });
                }
                size[lots.root(a)] = size[a] + size[b];
            }
        }
        neck
    }

    /// Square of the distance, in cells, of every cell from the nearest marked one: exact, one
    /// axis after the other (Felzenszwalb, P. & Huttenlocher, D. (2012), "Distance transforms of
    /// sampled functions", Theory of Computing 8:415).
    fn squares_of_distance(&self, marked: &[bool]) -> Vec<f64> {
        // Farther than any cell, and finite: the envelope below takes differences.
        let far = self.counts.iter().map(|&n| (n * n) as f64).sum::<f64>() + 1.0;
        let mut squares: Vec<f64> = marked.iter().map(|&m| if m { 0.0 } else { far }).collect();
        let steps = [1, self.counts[0], self.counts[0] * self.counts[1]];
        for axis in 0..3 {
            let count = self.counts[axis];
            for start in (0..squares.len()).filter(|&k| self.at(k)[axis] == 0) {
                let line: Vec<f64> = (0..count).map(|k| squares[start + k * steps[axis]]).collect();
                for (k, value) in lower_envelope(&line).into_iter().enumerate() {
                    squares[start + k * steps[axis]] = value;
                }
            }
        }
        squares
    }
}

/// min over q of (p - q)^2 + f(q) for every p.
fn lower_envelope(f: &[f64]) -> Vec<f64> {
    let mut apexes = vec![0usize];
    let mut starts = vec![f64::NEG_INFINITY];
    let meet = |p: usize, q: usize| {
        let (x, y) = (p as f64, q as f64);
        ((f[q] + y * y) - (f[p] + x * x)) / (2.0 * (y - x))
    };
    for q in 1..f.len() {
        let mut at = meet(apexes[apexes.len() - 1], q);
        while apexes.len() > 1 && at <= starts[starts.len() - 1] {
            apexes.pop();
            starts.pop();
            at = meet(apexes[apexes.len() - 1], q);
        }
        apexes.push(q);
        starts.push(at);
    }
    let mut k = 0;
    (0..f.len())
        .map(|p| {
            while k + 1 < starts.len() && starts[k + 1] < p as f64 {
                k += 1;
            }
            let step = p as f64 - apexes[k] as f64;
            step * step + f[apexes[k]]
        })
        .collect()
}

#[cfg(test)]
mod tests;
