//! Poses of shapes with closed forms.

use std::f64::consts::{PI, TAU};

use approx::assert_relative_eq;

use super::*;
use crate::mesh::fixtures::{cuboid, cylinder, icosphere, joined, moved, tube};
use crate::nalgebra::Isometry3;

fn found(mesh: &TriangleMesh) -> Poses {
    poses(mesh, &Vector::z()).expect("poses")
}

/// How often a body comes to lie on a rectangle with half sides `p` and `q`, `h` below its centre of mass: its solid
/// angle in closed form (Khadjavi, A. (1968), Journal of the Optical Society of America 58:1417), over 4 pi.
fn share_of_rectangle(p: f64, q: f64, h: f64) -> f64 {
    (p * q / ((p * p + h * h) * (q * q + h * h)).sqrt()).asin() / PI
}

/// How often a body comes to lie on a disc of radius `r`, `h` below its centre of mass.
fn share_of_disc(r: f64, h: f64) -> f64 {
    0.5 * (1.0 - h / r.hypot(h))
}

/// Each face of a box holds its weight: six poses, each as likely as its face is large from the middle.
#[test]
fn a_box_rests_on_each_face_as_often_as_it_is_seen_from_the_middle() {
    let half = [20.0, 15.0, 10.0];
    let mesh = moved(&cuboid(half.map(|x| 2.0 * x)), [300.0, -70.0, 12.0]);
    let found = found(&mesh);
    assert_eq!((found.candidates.len(), found.others), (6, 0));
    assert_relative_eq!(found.centre_of_mass, Point::new(320.0, -55.0, 22.0), epsilon = 1e-9);
    for pose in &found.candidates {
        let axis = pose.stance.up.iamax();
        let (h, p, q) = (half[axis], half[(axis + 1) % 3], half[(axis + 2) % 3]);
        assert_relative_eq!(pose.stance.up.amax(), 1.0, epsilon = 1e-12);
        assert_relative_eq!(pose.likelihood, share_of_rectangle(p, q, h), max_relative = 1e-9);
        assert_relative_eq!(pose.stance.foot.area, 4.0 * p * q, max_relative = 1e-12);
        assert_relative_eq!(pose.stance.covers, 4.0 * p * q, max_relative = 1e-12);
        assert_relative_eq!(
            pose.stance.tipping,
            (p.min(q) / h).atan().to_degrees(),
            epsilon = 1e-6
        );
        assert_relative_eq!(pose.stance.height, h, epsilon = 1e-9);
        assert_eq!(pose.stance.foot.kind, FootKind::FlatFace);
        assert_eq!((pose.stance.foot.patches, pose.stance.foot.outlines.len()), (1, 1));
        assert_eq!((pose.stance.support.len(), pose.stance.wants_base()), (4, None));
    }
    let total: f64 = found.candidates.iter().map(|pose| pose.likelihood).sum();
    assert_relative_eq!(total, 1.0, epsilon = 1e-12);
    // Of the two largest faces the one it stands on.
    assert_eq!((found.advised, found.given_candidate), (Advised::AsGiven, Some(0)));
}

/// A cone's weight is a quarter of its height above its base. All that does not land on the base lands on the side, and
/// stays there.
#[test]
fn a_cone_rests_on_its_base_or_its_side() {
    let (r, h, around) = (30.0, 40.0, 360);
    let mut mesh = cylinder(r, h, around);
    for p in &mut mesh.positions {
        if p.z > 0.0 {
            *p = Point::new(0.0, 0.0, h);
        }
    }
    mesh.faces.retain(|f| {
        let [a, b, c] = f.map(|v| mesh.positions[v as usize]);
        (b - a).cross(&(c - a)).norm() > 1e-9
    });
    let all = resting_poses(&mesh, 0.0).expect("poses");
    assert_eq!(all.len(), around as usize + 1);
    // A polygon of 360 sides is within 0.03 % of its circle.
    assert_relative_eq!(all[0].up, Vector::z(), epsilon = 1e-9);
    assert_relative_eq!(all[0].likelihood, share_of_disc(r, h / 4.0), max_relative = 5e-4);
    for side in &all[1..] {
        let rest = (1.0 - all[0].likelihood) / f64::from(around);
        assert_relative_eq!(side.likelihood, rest, max_relative = 1e-6);
        // Its side rises at atan(h / r), so that up leans from it.
        assert_relative_eq!(side.up.z, -r / r.hypot(h), max_relative = 1e-3);
    }
    let stance = &found(&mesh).as_given;
    assert_relative_eq!(stance.tipping, (r / (h / 4.0)).atan().to_degrees(), max_relative = 1e-3);
}

/// A tall cylinder seldom comes to rest on an end, but the ends are what it can stand on: they are told, and that it
/// tips easily.
#[test]
fn what_a_slender_piece_can_stand_on_is_told_however_unlikely() {
    let (r, h) = (10.0, 200.0);
    let mesh = cylinder(r, h, 120);
    let lying = Isometry3::rotation(Vector::y() * (0.25 * TAU));
    let found = found(&mesh.moved(&lying));
    assert!(!found.as_given.is_flat(), "{:?}", found.as_given.foot);
    let Advised::Pose(pose) = found.advised else { panic!("{:?}", found.advised) };
    let RestingPose { likelihood, stance } = &found.candidates[pose];
    assert_relative_eq!(stance.up.x.abs(), 1.0, epsilon = 1e-9);
    assert_relative_eq!(*likelihood, share_of_disc(r, h / 2.0), max_relative = 2e-3);
    assert_relative_eq!(stance.tipping, (r / (h / 2.0)).atan().to_degrees(), max_relative = 1e-3);
    assert_eq!(stance.wants_base(), Some(WantsBase::Tips));
    // On its side it touches along a strip, and nothing it lies on is a flat face.
    assert!(found.candidates[0].likelihood > 10.0 * likelihood);
    assert_eq!(found.candidates[0].stance.wants_base(), Some(WantsBase::NotFlat));
    let told: f64 = found.candidates.iter().map(|pose| pose.likelihood).sum();
    assert_relative_eq!(told + found.others_likelihood, 1.0, epsilon = 1e-9);
    assert!(found.others > 0);
}

/// A top of 100 x 100 x 10 on four legs of 10 x 10 x 40.
fn table() -> TriangleMesh {
    let leg = cuboid([10.0, 10.0, 40.0]);
    let top = moved(&cuboid([100.0, 100.0, 10.0]), [0.0, 0.0, 40.0]);
    let places = [[0.0, 0.0, 0.0], [90.0, 0.0, 0.0], [0.0, 90.0, 0.0], [90.0, 90.0, 0.0]];
    places.iter().fold(top, |all, place| joined(&all, &moved(&leg, *place)))
}

#[test]
fn a_table_stands_on_four_feet() {
    let found = found(&table());
    let stance = &found.as_given;
    assert_eq!((stance.foot.kind, stance.foot.patches), (FootKind::SeveralFeet, 4));
    assert_eq!((stance.foot.outlines.len(), stance.support.len()), (4, 4));
    assert_relative_eq!(stance.foot.area, 400.0, max_relative = 1e-12);
    assert_relative_eq!(stance.covers, 10_000.0, max_relative = 1e-12);
    // The top weighs 100 at 45 mm, the legs 16 at 20 mm.
    let height: f64 = (100.0 * 45.0 + 16.0 * 20.0) / 116.0;
    assert_relative_eq!(stance.height, height, max_relative = 1e-12);
    assert_relative_eq!(stance.tipping, (50.0 / height).atan().to_degrees(), epsilon = 1e-9);
    assert_eq!((found.advised, stance.wants_base()), (Advised::AsGiven, None));
    // Turned over it lies on its top.
    let over = found.candidates.iter().find(|pose| pose.stance.up.z < -0.99).expect("on its top");
    assert_eq!(over.stance.foot.kind, FootKind::FlatFace);
    assert_relative_eq!(over.stance.foot.area, 10_000.0, max_relative = 1e-12);
}

/// The rim of a tube is a polygon of 48 sides with another one out of it.
#[test]
fn a_rim_is_a_ring() {
    let found = found(&tube(10.0, 15.0, 40.0, 48));
    let foot = &found.as_given.foot;
    assert_eq!((foot.kind, foot.patches, foot.outlines.len()), (FootKind::Ring, 1, 2));
    let area = 24.0 * (TAU / 48.0).sin() * (15.0 * 15.0 - 10.0 * 10.0);
    assert_relative_eq!(foot.area, area, max_relative = 1e-9);
    // A small bore leaves the face a face.
    let bored = super::poses(&tube(3.0, 15.0, 40.0, 48), &Vector::z()).expect("poses");
    assert_eq!(bored.as_given.foot.kind, FootKind::FlatFace);
}

/// A box sheared so far that its weight lies beyond its base: nothing rests there, and what lands there rolls on to the
/// side that leans over it.
#[test]
fn what_does_not_hold_its_weight_rolls_on() {
    let mut mesh = cuboid([20.0, 40.0, 20.0]);
    for p in &mut mesh.positions {
        p.x += 2.0 * p.z;
    }
    let found = found(&mesh);
    // The weight is at x = 30, 10 mm up; the base ends at x = 20.
    assert_relative_eq!(found.as_given.tipping, -45.0, epsilon = 1e-9);
    assert!(found.as_given.is_flat());
    assert_eq!((found.advised, found.given_candidate), (Advised::AsGiven, None));
    assert_eq!(found.as_given.wants_base(), Some(WantsBase::Tips));
    let hull = convex_hull(&mesh.positions).expect("a hull");
    let seen = |toward: &Vector| -> f64 {
        (0..hull.faces.len() as u32)
            .map(FaceId)
            .filter(|&f| hull.area_vector(f).normalize().dot(toward) > 0.999)
            .map(|f| crate::mesh::solid_angle_share(&hull.corners(f), &found.centre_of_mass))
            .sum()
    };
    let over = Vector::new(1.0, 0.0, -2.0).normalize();
    let under = found.candidates.iter().find(|pose| pose.stance.up.dot(&-over) > 0.999);
    let expected = seen(&over) + seen(&-Vector::z());
    assert_relative_eq!(under.expect("rests").likelihood, expected, epsilon = 1e-9);
    let total: f64 = found.candidates.iter().map(|pose| pose.likelihood).sum();
    assert_relative_eq!(total, 1.0, epsilon = 1e-9);
    assert!(found.candidates.iter().all(|pose| pose.stance.tipping > 0.0));
}

/// A ball rests anywhere and stands nowhere.
#[test]
fn a_ball_is_flat_nowhere() {
    let found = found(&icosphere(30.0, 4));
    assert_eq!(found.advised, Advised::NoneFlat(0));
    assert!(found.candidates.iter().all(|pose| pose.likelihood < 0.02));
    assert!(found.others > 100 && found.others_likelihood > 0.9);
    assert_eq!(found.candidates[0].stance.foot.patches, 1);
}

/// Poses go with the model: turned and moved it has the same ones, turned too.
#[test]
fn poses_turn_with_the_model() {
    let motion = Isometry3::new(Vector::new(70.0, -900.0, 15.0), Vector::new(0.7, -2.0, 0.4));
    let home = table();
    let turned = home.moved(&motion);
    let (home, away) = (found(&home), poses(&turned, &(motion * Vector::z())).expect("poses"));
    assert_eq!(home.candidates.len(), away.candidates.len());
    for pose in &home.candidates {
        let up = motion * pose.stance.up;
        let same = away.candidates.iter().find(|other| other.stance.up.dot(&up) > 1.0 - 1e-9);
        let same = same.expect("the same pose");
        assert_relative_eq!(same.likelihood, pose.likelihood, epsilon = 1e-9);
        assert_relative_eq!(same.stance.tipping, pose.stance.tipping, epsilon = 1e-6);
        assert_eq!(same.stance.foot.kind, pose.stance.foot.kind);
    }
}

#[test]
fn what_cannot_be_looked_at_is_refused() {
    let ball = icosphere(30.0, 2);
    for up in [Vector::zeros(), Vector::new(f64::NAN, 0.0, 1.0)] {
        assert_eq!(poses(&ball, &up), Err(PoseError::Up));
    }
    let inside_out = crate::mesh::fixtures::inside_out(&ball);
    assert_eq!(poses(&inside_out, &Vector::z()), Err(PoseError::NoVolume));
    assert!(poses(&TriangleMesh::default(), &Vector::z()).is_err());
}
