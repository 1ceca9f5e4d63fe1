//! Which part of a rigid shell each face of a blanket's outside belongs to.
//!
//! A face that a part cannot be drawn off costs its area if it is given to that part; a line between two parts costs its
//! length. The cheapest way to give the faces away is a minimum cut for two parts, and for three a row of them, each for one
//! part against all others (Boykov, Y., Veksler, O., Zabih, R. (2001), "Fast approximate energy minimization via graph
//! cuts", IEEE PAMI 23:1222). What then is cut off from the rest of its part goes to the part round it: a shell's part is
//! one piece.

use std::collections::BTreeMap;

use crate::girth::min_cut::{FlowNetwork, UNCUTTABLE, Units};
use crate::mesh::{FaceId, Point, TriangleMesh, Vector};
use crate::union_find::UnionFind;

/// An edge between two faces.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seam {
    pub ends: [u32; 2],
    pub faces: [u32; 2],
    pub length: f64,
}

/// A surface to be parted.
pub(super) struct Ground<'m> {
    pub mesh: &'m TriangleMesh,
    /// Edges with two faces, in the order of their ends.
    pub seams: Vec<Seam>,
    pub areas: Vec<f64>,
    middles: Vec<Point>,
    /// The middle of the surface's bounds.
    centre: Point,
    size: f64,
    pub mean_edge: f64,
}

/// How faces were given away.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Parted {
    /// The part of each face.
    pub part: Vec<u8>,
    /// For each part the area that it is not drawn off, as a share of the whole surface.
    pub held: Vec<f64>,
}

impl Parted {
    /// All area that some part is not drawn off, as a share of the whole surface.
    pub fn hidden(&self) -> f64 {
        // A sum over nothing is -0.0.
        0.0 + self.held.iter().sum::<f64>()
    }
}

/// On ground that several parts can be drawn off, a face costs a part its area times how much further another part's side
/// of the middle it lies, over this share of the square of the longest side: so little that the line runs straight, and so
/// much that it keeps to the middle of a flat top. No source.
const TO_MIDDLE: f64 = 0.05;
/// Rounds over all parts; three parts settle in two.
const ROUNDS: usize = 4;

impl<'m> Ground<'m> {
    pub fn new(mesh: &'m TriangleMesh) -> Self {
        let mut faces_of: BTreeMap<[u32; 2], Vec<u32>> = BTreeMap::new();
        for (index, face) in mesh.faces.iter().enumerate() {
            for k in 0..3 {
                let (a, b) = (face[k], face[(k + 1) % 3]);
                faces_of.entry([a.min(b), a.max(b)]).or_default().push(index as u32);
            }
        }
        let at = |v: u32| mesh.positions[v as usize];
        let seams: Vec<Seam> = faces_of
            .into_iter()
            .filter_map(|(ends, faces)| match faces[..] {
                [a, b] => {
                    let length = (at(ends[1]) - at(ends[0])).norm();
                    Some(Seam { ends, faces: [a, b], length })
                }
                _ => None,
            })
            .collect();
        let faces = (0..mesh.faces.len() as u32).map(FaceId);
        let (low, high) = mesh.bounds().unwrap_or_default();
        let total: f64 = seams.iter().map(|seam| seam.length).sum();
        Self {
            mesh,
            mean_edge: total / seams.len().max(1) as f64,
            seams,
            areas: faces.clone().map(|f| mesh.face_area(f)).collect(),
            middles: faces.map(|f| mesh.face_middle(f)).collect(),
            centre: nalgebra::center(&low, &high),
            size: (high - low).max(),
        }
    }

    /// Middle of a seam.
    pub fn middle(&self, seam: &Seam) -> Point {
        let [a, b] = seam.ends.map(|v| self.mesh.positions[v as usize]);
        nalgebra::center(&a, &b)
    }

    /// Gives the faces to parts that are drawn along `draws`. `free` tells for each face which parts can be drawn off it,
    /// `price` what a millimetre of each seam, by its number, costs; `depth` square millimetres on the wrong part cost as much as 1 mm.
    pub fn part(
        &self,
        draws: &[Vector],
        free: &[Vec<bool>],
        price: impl Fn(usize) -> f64,
        depth: f64,
    ) -> Parted {
        let ahead = |f: usize, draw: &Vector| (self.middles[f] - self.centre).dot(draw);
        let cost: Vec<Vec<f64>> = (0..self.areas.len())
            .map(|f| {
                let reach: Vec<f64> = draws.iter().map(|draw| ahead(f, draw)).collect();
                let most = reach.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let nobody = !free[f].contains(&true);
                let own = |k: usize| {
                    let aside = (most - reach[k]) / (TO_MIDDLE * self.size * self.size);
                    let held = if free[f][k] || nobody { 0.0 } else { 1.0 / depth };
                    self.areas[f] * (aside + held)
                };
                (0..draws.len()).map(own).collect()
            })
            .collect();
        let worth: Vec<f64> =
            self.seams.iter().enumerate().map(|(k, seam)| seam.length * price(k)).collect();
        let mut part = vec![0u8; self.areas.len()];
        let mut best = self.total(&part, &cost, &worth);
        'rounds: for _ in 0..ROUNDS {
            let before = best;
            for own in (1..draws.len() as u8).chain([0]) {
                let grown = self.grown(own, &part, &cost, &worth);
                let total = self.total(&grown, &cost, &worth);
                if total < best {
                    (part, best) = (grown, total);
                }
                // For two parts the first cut is the best of all.
                if draws.len() == 2 {
                    break 'rounds;
                }
            }
            if best >= before {
                break;
            }
        }
        self.join_islands(&mut part, draws.len());
        let whole: f64 = self.areas.iter().sum();
        let held = |own: usize| {
            let faces = part.iter().zip(free).zip(&self.areas);
            let held = faces.filter(|((p, free), _)| usize::from(**p) == own && !free[own]);
            0.0 + held.map(|(_, area)| area).sum::<f64>() / whole.max(1e-300)
        };
        let held = (0..draws.len()).map(held).collect();
        Parted { part, held }
    }

    fn total(&self, part: &[u8], cost: &[Vec<f64>], worth: &[f64]) -> f64 {
        let own: f64 = part.iter().zip(cost).map(|(p, cost)| cost[usize::from(*p)]).sum();
        let seams = self.seams.iter().zip(worth);
        let lines = seams.filter(|(s, _)| part[s.faces[0] as usize] != part[s.faces[1] as usize]);
        own + lines.map(|(_, worth)| worth).sum::<f64>()
    }

    /// The cheapest way to give more faces to one part.
    fn grown(&self, own: u8, part: &[u8], cost: &[Vec<f64>], worth: &[f64]) -> Vec<u8> {
        let count = part.len() as u32;
        let between = |seam: &Seam| seam.faces.map(|f| part[f as usize]);
        // A node of its own stands for each seam between two parts: whoever keeps both faces as they are pays for it too.
        let apart: Vec<usize> = (0..self.seams.len())
            .filter(|&k| {
                let [a, b] = between(&self.seams[k]);
                a != b
            })
            .collect();
        let (keep, grow) = (count + apart.len() as u32, count + apart.len() as u32 + 1);
        let units = Units::for_edge(self.mean_edge);
        let of = |mm: f64| ((mm * units.per_mm()).round() as i64).min(UNCUTTABLE);
        let (mut ends, mut capacity) = (Vec::new(), Vec::new());
        let mut tie = |pair: [u32; 2], mm: f64| {
            ends.push(pair);
            capacity.push(of(mm));
        };
        for (seam, worth) in self.seams.iter().zip(worth) {
            let [a, b] = between(seam);
            if a == b && a != own {
                tie(seam.faces, *worth);
            }
        }
        for (node, &k) in apart.iter().enumerate() {
            let node = count + node as u32;
            for face in self.seams[k].faces {
                if part[face as usize] != own {
                    tie([node, face], worth[k]);
                }
            }
            tie([node, grow], worth[k]);
        }
        for (f, p) in (0u32..).zip(part) {
            let cost = &cost[f as usize];
            if *p == own {
                continue;
            }
            // On the side of `grow` a face goes to the part that grows.
            tie([keep, f], cost[usize::from(own)]);
            tie([f, grow], cost[usize::from(*p)]);
        }
        let mut network = FlowNetwork::new(grow as usize + 1, &ends);
        network.solve(|edge| capacity[edge as usize], [keep], [grow], i64::MAX);
        let kept = network.source_side();
        (0..part.len()).map(|f| if part[f] == own || !kept[f] { own } else { part[f] }).collect()
    }

    /// Leaves each part in one piece, its largest: the others go to the part with which they have the longest border.
    fn join_islands(&self, part: &mut [u8], parts: usize) {
        // What an island was given to may join two others: a few rounds settle it.
        for _ in 0..8 {
            let mut joined = UnionFind::new(part.len());
            for seam in &self.seams {
                let [a, b] = seam.faces.map(|f| f as usize);
                if part[a] == part[b] {
                    joined.join(a, b);
                }
            }
            let root: Vec<usize> = (0..part.len()).map(|f| joined.root(f)).collect();
            let mut area: BTreeMap<usize, f64> = BTreeMap::new();
            for (f, root) in root.iter().enumerate() {
                *area.entry(*root).or_default() += self.areas[f];
            }
            let main: Vec<Option<usize>> = (0..parts)
                .map(|own| {
                    let pieces = area.iter().filter(|(root, _)| usize::from(part[**root]) == own);
                    pieces.max_by(|a, b| a.1.total_cmp(b.1)).map(|(root, _)| *root)
                })
                .collect();
            let mut border: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
            for seam in &self.seams {
                let [a, b] = seam.faces.map(|f| f as usize);
                for (own, other) in [(a, b), (b, a)] {
                    if part[own] != part[other] && main[usize::from(part[own])] != Some(root[own]) {
                        let lengths = border.entry(root[own]).or_insert_with(|| vec![0.0; parts]);
                        lengths[usize::from(part[other])] += seam.length;
                    }
                }
            }
            let given: BTreeMap<usize, u8> = border
                .into_iter()
                .filter_map(|(root, lengths)| {
                    let longest = (0..parts).max_by(|a, b| lengths[*a].total_cmp(&lengths[*b]))?;
                    Some((root, longest as u8))
                })
                .collect();
            if given.is_empty() {
                break;
            }
            for (f, root) in root.iter().enumerate() {
                if let Some(own) = given.get(root) {
                    part[f] = *own;
                }
            }
        }
    }
}
