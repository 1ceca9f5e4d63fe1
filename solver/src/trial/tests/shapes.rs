//! Bodies with known answers.

use crate::mesh::{Point, TriangleMesh};
use crate::trial::{Skin, Solid};

/// A block of cells, each of six tetrahedra round its diagonal (Kuhn 1960), laid by `place` from
/// [0, 1]^3.
pub fn block(cells: [usize; 3], place: impl Fn([f64; 3]) -> Point) -> Solid {
    let [nx, ny, nz] = cells.map(|n| n + 1);
    let index = |at: [usize; 3]| ((at[2] * ny + at[1]) * nx + at[0]) as u32;
    let mut solid = Solid::default();
    for k in 0..nz {
        for j in 0..ny {
            for i in 0..nx {
                let share = |n: usize, axis: usize| n as f64 / cells[axis] as f64;
                solid.nodes.push(place([share(i, 0), share(j, 1), share(k, 2)]));
            }
        }
    }
    solid.skins = vec![Skin::None; solid.nodes.len()];
    for k in 0..cells[2] {
        for j in 0..cells[1] {
            for i in 0..cells[0] {
                for order in [[0, 1, 2], [1, 2, 0], [2, 0, 1], [0, 2, 1], [2, 1, 0], [1, 0, 2]] {
                    let mut at = [i, j, k];
                    let mut corners = [index(at); 4];
                    for (n, axis) in order.into_iter().enumerate() {
                        at[axis] += 1;
                        corners[n + 1] = index(at);
                    }
                    let last = solid.elements.len();
                    solid.elements.push(corners);
                    if solid.volume(last) < 0.0 {
                        solid.elements[last].swap(2, 3);
                    }
                }
            }
        }
    }
    solid
}

/// A closed surface of revolution about z through a profile of radii and heights, from bottom to
/// top, both on the axis or closed flat there.
pub fn revolved(profile: &[[f64; 2]], around: u32) -> TriangleMesh {
    let mut mesh = TriangleMesh::default();
    for &[r, z] in profile {
        for k in 0..around {
            let a = std::f64::consts::TAU * f64::from(k) / f64::from(around);
            mesh.positions.push(Point::new(r * a.cos(), r * a.sin(), z));
        }
    }
    let rings = profile.len() as u32;
    let at = |ring: u32, k: u32| ring * around + k % around;
    for ring in 0..rings - 1 {
        for k in 0..around {
            let [a, b] = [at(ring, k), at(ring, k + 1)];
            let [c, d] = [at(ring + 1, k + 1), at(ring + 1, k)];
            mesh.faces.extend([[a, b, c], [a, c, d]]);
        }
    }
    for (z, ring, low) in
        [(profile[0][1], 0, true), (profile[rings as usize - 1][1], rings - 1, false)]
    {
        let middle = mesh.positions.len() as u32;
        mesh.positions.push(Point::new(0.0, 0.0, z));
        for k in 0..around {
            let [a, b] = [at(ring, k), at(ring, k + 1)];
            mesh.faces.push(if low { [middle, b, a] } else { [middle, a, b] });
        }
    }
    mesh
}

/// A round stump whose top is moved aside by `lean` mm a mm of height.
pub fn leaning(radii: [f64; 2], height: f64, lean: f64) -> TriangleMesh {
    let rings = 8;
    let profile: Vec<[f64; 2]> = (0..=rings)
        .map(|k| {
            let share = f64::from(k) / f64::from(rings);
            [radii[0] + share * (radii[1] - radii[0]), share * height]
        })
        .collect();
    let mut mesh = revolved(&profile, 40);
    for p in &mut mesh.positions {
        p.x += lean * p.z;
    }
    mesh
}

/// A ball that stands on the flat of radius `gate`.
pub fn ball(radius: f64, gate: f64) -> TriangleMesh {
    let lowest = (gate / radius).asin();
    let profile: Vec<[f64; 2]> = (0..=24)
        .map(|k| {
            let a = lowest + (std::f64::consts::PI - 0.02 - lowest) * f64::from(k) / 24.0;
            [radius * a.sin(), radius * (lowest.cos() - a.cos())]
        })
        .collect();
    revolved(&profile, 40)
}

/// A torus that stands upright over x, sunk `sunk` mm into the board and flat there.
pub fn standing_torus(major: f64, minor: f64, sunk: f64) -> TriangleMesh {
    let (along, around) = (48, 16);
    let mut mesh = TriangleMesh::default();
    let turn = |k: u32, of: u32| std::f64::consts::TAU * f64::from(k) / f64::from(of);
    for i in 0..along {
        for k in 0..around {
            let r = major + minor * turn(k, around).cos();
            let z = major + minor - sunk - r * turn(i, along).cos();
            let x = r * turn(i, along).sin();
            mesh.positions.push(Point::new(x, minor * turn(k, around).sin(), z.max(0.0)));
        }
    }
    let at = |i: u32, k: u32| i % along * around + k % around;
    for i in 0..along {
        for k in 0..around {
            let (a, b, c, d) = (at(i, k), at(i + 1, k), at(i + 1, k + 1), at(i, k + 1));
            mesh.faces.extend([[a, b, c], [a, c, d]]);
        }
    }
    if mesh.signed_volume() < 0.0 {
        for face in &mut mesh.faces {
            face.swap(1, 2);
        }
    }
    mesh
}

/// A ball on a rod that stands on the board.
pub fn ball_on_rod(radius: f64, rod: f64, height: f64) -> TriangleMesh {
    let lowest = (rod / radius).asin();
    let middle = height + radius * lowest.cos();
    let mut profile = vec![[rod, 0.0], [rod, height / 2.0]];
    profile.extend((0..=24).map(|k| {
        // From the rod up to a flat at the top that is next to nothing.
        let a = lowest + (std::f64::consts::PI - 0.02 - lowest) * f64::from(k) / 24.0;
        [radius * a.sin(), middle - radius * a.cos()]
    }));
    revolved(&profile, 40)
}

/// Half a torus that stands on its two feet, as an arch over y.
pub fn arch(major: f64, minor: f64) -> TriangleMesh {
    let (along, around) = (24, 16);
    let mut mesh = TriangleMesh::default();
    for i in 0..=along {
        let a = std::f64::consts::PI * f64::from(i) / f64::from(along);
        for k in 0..around {
            let b = std::f64::consts::TAU * f64::from(k) / f64::from(around);
            let r = major + minor * b.cos();
            mesh.positions.push(Point::new(r * a.cos(), minor * b.sin(), r * a.sin().max(0.0)));
        }
    }
    let at = |i: u32, k: u32| i * around + k % around;
    for i in 0..along {
        for k in 0..around {
            let (a, b, c, d) = (at(i, k), at(i + 1, k), at(i + 1, k + 1), at(i, k + 1));
            mesh.faces.extend([[a, b, c], [a, c, d]]);
        }
    }
    for (i, first) in [(0, true), (along, false)] {
        for k in 1..around - 1 {
            let [a, b, c] = [at(i, 0), at(i, k), at(i, k + 1)];
            mesh.faces.push(if first { [a, b, c] } else { [a, c, b] });
        }
    }
    if mesh.signed_volume() < 0.0 {
        for face in &mut mesh.faces {
            face.swap(1, 2);
        }
    }
    mesh
}

/// An upright sheet in the plane y = 0.01, between two values of x and of z.
pub fn upright(x: [f64; 2], z: [f64; 2]) -> TriangleMesh {
    let at = |x, z| Point::new(x, 0.01, z);
    TriangleMesh {
        positions: vec![at(x[0], z[0]), at(x[1], z[0]), at(x[1], z[1]), at(x[0], z[1])],
        faces: vec![[0, 1, 2], [0, 2, 3]],
    }
}
