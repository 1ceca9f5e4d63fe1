//! Colours of a model as its file has them, kept as points beside the mesh. Repairs, rebuilding and remeshing change
//! corners and faces, but not where a colour is: whoever draws asks for the colour of the nearest point.

use nalgebra::Isometry3;
use rstar::RTree;
use rstar::primitives::GeomWithData;
use serde::{Deserialize, Serialize};

use super::{FaceId, Point, TriangleMesh};

/// Most points that are kept of a model: 27 bytes each, 5.4 MB. On a picture of 1000 px they are a few pixels apart.
pub const MOST_POINTS: usize = 200_000;
/// Most points that are kept with a trial, whose pictures are small and which is stored with its plan.
pub const MOST_WITH_TRIAL: usize = 20_000;
/// Distance between the points of a large face, as a share of the longest side.
const SPACING: f64 = 1.0 / 200.0;
/// How many pieces an edge of a face is divided into, at most.
const MOST_PIECES: usize = 400;

/// Red, green, blue as a screen has them (sRGB), 0 to 255.
pub type Colour = [u8; 3];

/// A place on a face of a mesh.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spot {
    pub face: u32,
    /// Barycentric weights of the face's corners.
    pub weights: [f32; 3],
}

impl Spot {
    /// What corners have, blended.
    pub fn blend<const N: usize>(&self, corners: [[f32; N]; 3]) -> [f32; N] {
        std::array::from_fn(|k| (0..3).map(|c| self.weights[c] * corners[c][k]).sum())
    }
}

/// Places all over a mesh, most of them no farther apart than [`SPACING`], `most` at most: the middles of faces, and of the
/// pieces of large ones. None lies on an edge, where two colours may meet.
pub(super) fn spots(mesh: &TriangleMesh, most: usize) -> Vec<Spot> {
    let longest: Vec<f64> = (0..mesh.faces.len())
        .map(|f| {
            let [a, b, c] = mesh.corners(FaceId(f as u32));
            (b - a).norm().max((c - b).norm()).max((a - c).norm())
        })
        .collect();
    // What is not a number becomes one piece.
    let pieces = |edge: f64, spacing: f64| ((edge / spacing).ceil() as usize).clamp(1, MOST_PIECES);
    let mut spacing = SPACING * mesh.longest_side();
    let fits = |spacing: f64| {
        let total: usize = longest.iter().map(|edge| pieces(*edge, spacing).pow(2)).sum();
        total <= most || total == longest.len()
    };
    // In the end every face is one piece.
    while spacing.is_finite() && spacing > 0.0 && !fits(spacing) {
        spacing *= 1.3;
    }
    let stride = longest.len().div_ceil(most.max(1)).max(1);
    let mut all = Vec::new();
    for (face, edge) in longest.iter().enumerate().step_by(stride) {
        let n = if stride > 1 { 1 } else { pieces(*edge, spacing) };
        let mut push = |i: usize, j: usize, off: f32| {
            let [a, b] = [i, j].map(|k| (k as f32 + off) / n as f32);
            all.push(Spot { face: face as u32, weights: [1.0 - a - b, a, b] });
        };
        for i in 0..n {
            for j in 0..n - i {
                push(i, j, 1.0 / 3.0);
                if i + j + 1 < n {
                    push(i, j, 2.0 / 3.0);
                }
            }
        }
    }
    all
}

/// Coloured points of a surface.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Paint {
    points: Vec<Point>,
    colours: Vec<Colour>,
}

impl Paint {
    /// Of places on a mesh. `None` where there are none, or all have one colour, which tells nothing.
    pub(super) fn on(mesh: &TriangleMesh, spots: &[Spot], colours: &[Colour]) -> Option<Self> {
        let points = spots.iter().map(|spot| {
            let corners = mesh.corners(FaceId(spot.face));
            let blended = corners.iter().zip(spot.weights).map(|(p, w)| p.coords * f64::from(w));
            Point::from(blended.sum::<super::Vector>())
        });
        let paint = Self { points: points.collect(), colours: colours.to_vec() };
        (colours.windows(2).any(|pair| pair[0] != pair[1])).then_some(paint)
    }

    /// How many points there are.
    pub fn len(&self) -> usize {
        self.points.len().min(self.colours.len())
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Bytes that it takes up.
    pub fn bytes(&self) -> usize {
        size_of_val(self.points.as_slice()) + size_of_val(self.colours.as_slice())
    }

    /// The same moved as a mesh is, with `most` points at most.
    pub fn moved(&self, to: &Isometry3<f64>, most: usize) -> Self {
        let stride = self.len().div_ceil(most.max(1)).max(1);
        let points = self.points.iter().step_by(stride).map(|p| to * p).collect();
        Self { points, colours: self.colours.iter().step_by(stride).copied().collect() }
    }

    /// Made ready to be asked. `None` where there is no point, or one that is nowhere.
    pub fn index(&self) -> Option<PaintIndex> {
        let finite = |p: &Point| p.iter().all(|x| x.is_finite());
        if self.is_empty() || !self.points.iter().all(finite) {
            return None;
        }
        let spots = self.points.iter().zip(&self.colours);
        let spots = spots.map(|(p, colour)| GeomWithData::new([p.x, p.y, p.z], *colour));
        Some(PaintIndex(RTree::bulk_load(spots.collect())))
    }
}

/// Finds the colour at a place.
pub struct PaintIndex(RTree<GeomWithData<[f64; 3], Colour>>);

impl PaintIndex {
    /// The colour of the nearest point.
    pub fn at(&self, place: &Point) -> Colour {
        let nearest = self.0.nearest_neighbor([place.x, place.y, place.z]);
        nearest.map_or([255; 3], |spot| spot.data)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::{cuboid, icosphere};

    /// Each face gets the square of the pieces of its edge, all within it.
    #[test]
    fn spots_lie_within_faces_and_keep_the_limit() {
        let box_of_12 = cuboid([40.0, 30.0, 20.0]);
        for most in [1, 12, 100, 5000] {
            let all = spots(&box_of_12, most);
            assert!(all.len() <= most.max(12), "{} of {most}", all.len());
            assert!(most < 5000 || all.len() > 1000, "{}", all.len());
            for spot in &all {
                assert!(spot.weights.iter().all(|w| (0.0..=1.0).contains(w)), "{spot:?}");
                assert!((spot.weights.iter().sum::<f32>() - 1.0).abs() < 1e-5);
            }
        }
        assert!(spots(&icosphere(10.0, 4), 1000).len() <= 1000);
        assert!(spots(&TriangleMesh::default(), 1000).is_empty());
    }

    /// A box with its lower half red: what is asked on either side of the border gets its own colour, moved or not.
    #[test]
    fn the_nearest_point_has_the_colour() {
        let ball = icosphere(10.0, 4);
        let all = spots(&ball, MOST_POINTS);
        let colours: Vec<Colour> = all
            .iter()
            .map(|spot| match ball.face_middle(FaceId(spot.face)).z < 0.0 {
                true => [200, 0, 0],
                false => [0, 0, 200],
            })
            .collect();
        let paint = Paint::on(&ball, &all, &colours).expect("two colours");
        let to = Isometry3::translation(5.0, 0.0, 100.0);
        for (paint, up) in [(paint.clone(), 0.0), (paint.moved(&to, 2000), 100.0)] {
            let index = paint.index().expect("points");
            for (z, colour) in [(-8.0, [200, 0, 0]), (8.0, [0, 0, 200])] {
                assert_eq!(index.at(&Point::new(1.0, 1.0, z + up)), colour);
            }
        }
        assert!(paint.moved(&to, 2000).len() <= 2000);
        let grey = vec![[9; 3]; all.len()];
        assert_eq!(Paint::on(&ball, &all, &grey), None, "one colour tells nothing");
    }
}
