//! Signed distances on a regular grid whose lowest layer straddles the board.

use fast_surface_nets::ndshape::{RuntimeShape, Shape};

use super::Space;
use crate::sdf::{P, Solid, V};

/// Where a vertex belongs.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Kind {
    Skin,
    Base,
    Rim,
}

/// Signed distances on a regular grid, cheap far from the skin.
pub(super) struct Grid {
    pub(super) values: Vec<f32>,
    pub(super) shape: RuntimeShape<u32, 3>,
    pub(super) counts: [u32; 3],
    origin: P,
    cell: f64,
}

impl Grid {
    pub(super) fn sample(solid: &Solid, space: &Space, cell: f64) -> Self {
        // Blocks of cells whose middle is far from the skin take the middle's value.
        const BLOCK: u32 = 6;
        let origin = P::new(space.x.start, space.y.start, -0.5 * cell);
        let sides =
            [space.x.end - space.x.start, space.y.end - space.y.start, space.height + 0.5 * cell];
        let counts = sides.map(|side| (side / cell).ceil() as u32 + 2);
        let shape = RuntimeShape::<u32, 3>::new(counts);
        let mut values = vec![0.0f32; shape.size() as usize];
        let at = |x: u32, y: u32, z: u32| {
            origin + V::new(f64::from(x), f64::from(y), f64::from(z)) * cell
        };
        let reach = 1.3 * cell * f64::from(BLOCK + 2) * 0.75f64.sqrt();
        let blocks = counts.map(|n| n.div_ceil(BLOCK));
        for index in 0..blocks.iter().product() {
            let corner = [
                index % blocks[0] * BLOCK,
                index / blocks[0] % blocks[1] * BLOCK,
                index / (blocks[0] * blocks[1]) * BLOCK,
            ];
            let [x, y, z] = corner.map(|k| k + BLOCK / 2);
            let middle = solid.at(at(x, y, z));
            let near = middle.abs() < reach;
            let range = |axis: usize| corner[axis]..(corner[axis] + BLOCK).min(counts[axis]);
            for z in range(2) {
                for y in range(1) {
                    for x in range(0) {
                        let value = if near { solid.at(at(x, y, z)) } else { middle };
                        // Nothing is solid below the board.
                        let value = if z == 0 { value.max(0.5 * cell) } else { value };
                        values[shape.linearize([x, y, z]) as usize] = (value / cell) as f32;
                    }
                }
            }
        }
        Self { values, shape, counts, origin, cell }
    }
    /// From grid units to mm.
    pub(super) fn place(&self, p: [f32; 3]) -> P {
        self.origin + V::from(p.map(f64::from)) * self.cell
    }
    /// What a vertex is, from the upper corners of its cube.
    pub(super) fn kind(&self, [x, y, z]: [u32; 3]) -> Kind {
        if z > 0 {
            return Kind::Skin;
        }
        let upper = [(0, 0), (1, 0), (0, 1), (1, 1)]
            .map(|(dx, dy)| self.values[self.shape.linearize([x + dx, y + dy, 1]) as usize] < 0.0);
        if upper == [true; 4] { Kind::Base } else { Kind::Rim }
    }
}
