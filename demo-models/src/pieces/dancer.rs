//! The dancer: arms akimbo, on a round base.

use super::Piece;
use crate::mesher::Space;
use crate::sdf::{P, V, ball, chain, ellipsoid, limb, rod, smooth_line, turned};

/// Two holes, one between each arm and the body. The tip of the plait ends about 2.5 mm from the
/// back: nearly a third hole, but none.
pub(super) fn piece() -> Piece {
    let base =
        turned(&[(41.0, -8.0), (40.5, 0.0), (39.0, 5.0), (35.0, 9.0), (20.0, 10.5), (0.0, 11.0)]);
    let skirt = turned(&[
        (24.0, 2.0),
        (26.0, 8.0),
        (33.0, 17.0),
        (36.0, 24.0),
        (33.5, 31.0),
        (27.0, 47.0),
        (21.0, 68.0),
        (16.5, 84.0),
        (12.5, 93.0),
        (0.0, 96.0),
    ]);
    let waist = chain(vec![(P::new(0.0, 0.0, 84.0), 12.0), (P::new(0.0, 0.0, 99.0), 9.5)]);
    let chest = ellipsoid(P::new(0.0, 0.0, 119.0), V::new(17.0, 11.5, 17.0));
    let shoulders = rod(P::new(-14.0, 0.0, 128.0), 7.5, P::new(14.0, 0.0, 128.0), 7.5);
    let neck = rod(P::new(0.0, 0.5, 130.0), 6.5, P::new(0.0, 0.0, 146.0), 5.5);
    let head = ellipsoid(P::new(0.0, 0.0, 157.0), V::new(11.5, 12.0, 14.0));
    let nose = rod(P::new(0.0, -9.0, 158.0), 1.8, P::new(0.0, -12.3, 155.0), 2.2);
    let bun = ball(P::new(0.0, 5.0, 171.0), 7.5);
    // From the shoulder out to the elbow and back to the hip.
    let arm = limb(&[
        (P::new(17.0, 0.0, 128.0), 6.5),
        (P::new(33.0, 1.0, 117.0), 5.6),
        (P::new(43.0, 2.0, 103.5), 5.3),
        (P::new(34.0, -1.0, 93.0), 4.8),
        (P::new(24.0, -3.0, 86.0), 4.6),
        (P::new(15.0, -4.0, 82.5), 5.5),
    ]);
    let body = base
        .blend(&skirt, 5.0)
        .blend(&waist.blend(&chest, 10.0).blend(&shoulders, 8.0), 8.0)
        .blend(&neck, 8.0)
        .blend(&head, 6.0)
        .blend(&bun, 4.0)
        .blend(&nose, 2.5)
        .blend(&arm.twinned(), 5.0);
    // The plait has a fillet with the head at its root only, none with the back that it almost
    // touches.
    let plait = smooth_line(&[
        (P::new(0.0, 9.0, 161.0), 5.5),
        (P::new(0.0, 18.0, 158.0), 5.0),
        (P::new(0.0, 25.0, 147.0), 4.8),
        (P::new(0.0, 26.0, 134.0), 4.6),
        (P::new(0.0, 22.0, 122.0), 4.2),
        (P::new(0.0, 18.3, 115.0), 4.4),
    ]);
    let root = chain(plait[..=14].to_vec());
    Piece {
        name: "dancer",
        about: "the dancer: arms akimbo on a round base, the plait's tip 2.5 mm off her back",
        holes: 2,
        request: include_str!("../../requests/dancer.json"),
        solid: body.blend(&root, 3.0).or(&chain(plait)),
        space: Space { x: -56.0..56.0, y: -48.0..48.0, height: 186.0 },
        cell: 1.1,
    }
}
