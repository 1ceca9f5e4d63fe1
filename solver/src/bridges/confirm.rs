//! Holes that the potential in the rubber shows too, and their loops.
//!
//! The rim of a saddle's disc is walked along the skin's edges; the class of that walk says which
//! hole the saddle is the middle of. No distance decides: two holes side by side may be nearer to
//! each other than a saddle is to its own rim. The shortest loop of the class that keeps to the
//! saddle's rim is then weighed against the loop that was there.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

use crate::control::Cancelled;
use crate::field::{Saddle, SaddleKind};
use crate::mesh::{Point, TriangleMesh};

use super::board::Skin;
use super::classes::Classes;
use super::disc::Surroundings;
use super::homology::{Length, Step};
use super::search::{self, CutLoop};
use super::{Bridge, BridgeError, Confirmation, DiscState, FieldHoles, measure};

/// A step of a rim longer than this many grid spacings means that the disc is torn, as in a slot
/// much deeper than wide, where nearly all lines run to its long sides. The two ends are then joined
/// by the shortest way, and the saddle has to lie in the bridge besides.
const TORN: f64 = 4.0;
/// How much longer an edge counts for each of its lengths that it lies off the saddle's rim.
const OFF_RIM: f64 = 1.0;
/// A loop is clearly shorter below this share of the other's length,
const SHORTER: f64 = 0.97;
/// about as long up to this share,
const ABOUT_AS_LONG: f64 = 1.02;
/// and clearly squarer when it leans less by this, radians (5 degrees).
const SQUARER: f64 = 5.0 * std::f64::consts::PI / 180.0;

/// Confirm the bridges whose class is that of a saddle's rim, and take the saddle's loop where it
/// is the better one.
pub(super) fn confirm(
    skin: &Skin,
    classes: &Classes,
    near: &Surroundings<'_>,
    loops: &[CutLoop],
    holes: &FieldHoles<'_>,
    edge: f64,
    bridges: &mut [Bridge],
) -> Result<(), BridgeError> {
    let mut saddles: Vec<&Saddle> =
        holes.saddles.iter().filter(|s| s.kind == SaddleKind::Bridge).collect();
    // Of two saddles in one hole the one that the grid resolves counts, then the shorter rim.
    let rim_length = |s: &Saddle| s.disc.as_ref().map_or(f64::INFINITY, |d| d.rim_length);
    saddles
        .sort_by(|a, b| b.resolved.cmp(&a.resolved).then(rim_length(a).total_cmp(&rim_length(b))));
    for saddle in saddles {
        near.control.check().map_err(|Cancelled| BridgeError::Cancelled)?;
        let Some(disc) = &saddle.disc else { continue };
        let whole = disc.widest_step <= TORN * holes.spacing;
        let Some(key) = class_of_rim(skin, classes, near, &disc.rim, disc.closed) else { continue };
        let Some(index) = (0..bridges.len())
            .find(|&k| loops[k].key() == key.as_slice() && bridges[k].confirmed.is_none())
        else {
            continue;
        };
        if !whole && !lies_in(&saddle.position, &bridges[index]) {
            continue;
        }
        let mut confirmed = Confirmation {
            place: saddle.position,
            level: saddle.level,
            rim_length: whole.then_some(disc.rim_length),
            loop_taken: false,
        };
        if whole {
            let hugging = hugging(skin, near.solid.mesh, &disc.rim, edge);
            let other = search::loop_of_class(&hugging, classes, &loops[index], near.control)
                .map_err(|Cancelled| BridgeError::Cancelled)?;
            if let Some(other) = other {
                let second = measure::measure(skin, near, &other, edge)?;
                if second.path != bridges[index].path && is_better(&second, &bridges[index]) {
                    bridges[index] = second;
                    confirmed.loop_taken = true;
                }
            }
        }
        bridges[index].confirmed = Some(confirmed);
    }
    Ok(())
}

/// Whether a point lies no farther from a bridge's disc than half the disc's width.
fn lies_in(point: &Point, bridge: &Bridge) -> bool {
    let reach = 0.5 * bridge.neck_width;
    bridge.surface.positions.iter().any(|p| (p - point).norm() <= reach)
}

/// Whether a loop is clearly shorter than another, or squarer at about equal length. One whose
/// disc the model passes through is no better than any.
fn is_better(new: &Bridge, old: &Bridge) -> bool {
    new.disc == DiscState::Plain
        && (old.disc != DiscState::Plain
            || new.length < SHORTER * old.length
            || (new.length <= ABOUT_AS_LONG * old.length && new.lean < old.lean - SQUARER))
}

/// Class modulo two of a rim near the skin, if it bounds in the rubber and is not trivial.
fn class_of_rim(
    skin: &Skin,
    classes: &Classes,
    near: &Surroundings<'_>,
    rim: &[Point],
    closed: bool,
) -> Option<Vec<u8>> {
    let mesh = near.solid.mesh;
    let mut nodes: Vec<u32> = rim.iter().filter_map(|p| snapped(skin, near, *p)).collect();
    nodes.dedup();
    let mut steps = Vec::new();
    let mut walk = |from: u32, to: u32| -> Option<()> {
        steps.extend(shortest(skin, from, to)?);
        Some(())
    };
    let (first, last) = (*nodes.first()?, *nodes.last()?);
    for pair in nodes.windows(2) {
        walk(pair[0], pair[1])?;
    }
    if closed {
        walk(last, first)?;
    } else {
        // Both ends lie on the board: the edges that climb from there nearest to them.
        let climb = |end: &Point| {
            (skin.first_region as u32..skin.node_count as u32)
                .flat_map(|region| skin.edges_of(region).iter().map(move |&e| (region, e)))
                .min_by(|a, b| {
                    let off = |e: u32| {
                        let foot = skin.edges[e as usize].ends[0];
                        (mesh.positions[foot as usize] - end).norm_squared()
                    };
                    off(a.1).total_cmp(&off(b.1))
                })
        };
        let ((region, up), (other, down)) = (climb(rim.first()?)?, climb(rim.last()?)?);
        if region != other {
            return None;
        }
        let top = |e: u32| skin.walk(e, true).1;
        walk(top(up), first)?;
        walk(last, top(down))?;
        steps.push(Step { edge: up, forward: true });
        steps.push(Step { edge: down, forward: false });
    }
    class_of(classes, &steps, closed)
}

/// Class modulo two of a closed walk, in any order of its steps.
fn class_of(classes: &Classes, steps: &[Step], closed: bool) -> Option<Vec<u8>> {
    let mut class = vec![0; classes.size];
    let mut twist = vec![0.0; if closed { classes.twists } else { 0 }];
    for &step in steps {
        classes.add(&mut class, step);
        if closed {
            classes.add_twist(&mut twist, step);
        }
    }
    let (links, rest) = class.split_at(classes.rank);
    let bounds = links.iter().all(|&c| c == 0) && twist.iter().all(|t| t.abs() < 0.5);
    let key: Vec<u8> = rest.iter().map(|c| c.rem_euclid(2) as u8).collect();
    (bounds && key.contains(&1)).then_some(key)
}

/// The corner, not on the gate, of the face under a point that is nearest to it.
fn snapped(skin: &Skin, near: &Surroundings<'_>, p: Point) -> Option<u32> {
    let mesh = near.solid.mesh;
    let off = |v: u32| (mesh.positions[v as usize] - p).norm_squared();
    mesh.faces[near.solid.nearest(p).face as usize]
        .into_iter()
        .filter(|&v| skin.is_used(v))
        .min_by(|&a, &b| off(a).total_cmp(&off(b)))
}

/// Shortest way along the skin between two vertices that does not cross the board.
fn shortest(skin: &Skin, from: u32, to: u32) -> Option<Vec<Step>> {
    let mut came: BTreeMap<u32, (f64, Option<Step>)> = BTreeMap::from([(from, (0.0, None))]);
    let mut heap = BinaryHeap::from([Reverse((Length(0.0), from))]);
    while let Some(Reverse((Length(reach), node))) = heap.pop() {
        if node == to {
            break;
        }
        if came.get(&node).is_some_and(|known| reach > known.0) {
            continue;
        }
        for &edge in skin.edges_of(node) {
            let forward = skin.edges[edge as usize].nodes[0] == node;
            let (_, next) = skin.walk(edge, forward);
            let further = reach + skin.edges[edge as usize].length;
            let known = came.get(&next).map_or(f64::INFINITY, |k| k.0);
            if !skin.is_region(next) && further < known {
                came.insert(next, (further, Some(Step { edge, forward })));
                heap.push(Reverse((Length(further), next)));
            }
        }
    }
    let mut steps = Vec::new();
    let mut at = to;
    while let Some(step) = came.get(&at)?.1 {
        steps.push(step);
        at = skin.walk(step.edge, step.forward).0;
    }
    steps.reverse();
    Some(steps)
}

/// The skin with edges counted longer the farther they lie off a rim.
fn hugging(skin: &Skin, mesh: &TriangleMesh, rim: &[Point], edge: f64) -> Skin {
    let off: Vec<f64> = mesh
        .positions
        .iter()
        .map(|p| rim.iter().map(|q| (p - q).norm_squared()).fold(f64::INFINITY, f64::min).sqrt())
        .collect();
    let mut weighted = skin.clone();
    for e in &mut weighted.edges {
        let [a, b] = e.ends.map(|v| off[v as usize]);
        e.length *= 1.0 + OFF_RIM * 0.5 * (a + b) / edge;
    }
    weighted
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;
    use crate::bridges::shapes::{blocks, cells, torus, without};
    use crate::bridges::{BridgeReport, find_bridges_with};
    use crate::control::Control;
    use crate::field::SaddleDisc;
    use crate::mesh::{Topology, Vector};

    fn saddle(rim: Vec<Point>) -> Saddle {
        let steps = (0..rim.len()).map(|n| (rim[(n + 1) % rim.len()] - rim[n]).norm());
        let rim_length = steps.sum();
        let surface = TriangleMesh::default();
        let disc =
            SaddleDisc { rim, closed: true, rim_length, widest_step: 1.0, surface, area: 1.0 };
        Saddle {
            position: Point::origin(),
            level: 0.3,
            persistence: 0.3,
            kind: SaddleKind::Bridge,
            axis: Vector::z(),
            on_board: false,
            disc: Some(disc),
            resolved: true,
        }
    }

    fn found(mesh: &TriangleMesh, rims: Vec<Vec<Point>>) -> BridgeReport {
        let topology = Topology::new(mesh).expect("closed");
        let saddles: Vec<Saddle> = rims.into_iter().map(saddle).collect();
        let holes = FieldHoles { saddles: &saddles, spacing: 1.0 };
        let board = (Point::origin(), Vector::z());
        let quiet = Control::silent();
        find_bridges_with(mesh, &topology, &[], board, Some(holes), &quiet).expect("bridges")
    }

    fn round(at: impl Fn(f64) -> Point) -> Vec<Point> {
        (0..120).map(|n| at(TAU * f64::from(n) / 120.0)).collect()
    }

    /// Only a rim that runs once through the hole confirms it: not one round the tube, which bounds
    /// in the model, not one round nothing, not one through the hole twice.
    #[test]
    fn a_torus_is_confirmed_by_a_rim_through_its_hole_alone() {
        let mesh = torus(30.0, 10.0, 48, 16, 1.0);
        let through = |turns: f64| {
            round(move |t| Point::new(20.0 * (turns * t).cos(), 20.0 * (turns * t).sin(), 0.0))
        };
        let tube = round(|t| Point::new(30.0 + 10.0 * t.cos(), 0.0, 10.0 * t.sin()));
        let nothing = round(|t| Point::new(30.0 + 4.0 * t.cos(), 4.0 * t.sin(), 9.0));
        for (rim, confirmed) in
            [(through(1.0), true), (through(2.0), false), (tube, false), (nothing, false)]
        {
            let length = (0..120).map(|n| (rim[(n + 1) % 120] - rim[n]).norm()).sum::<f64>();
            let report = found(&mesh, vec![rim]);
            assert_eq!(report.bridges.len(), 1);
            let own = report.bridges[0].confirmed;
            let expected = confirmed.then_some((0.3, Some(length)));
            assert_eq!(own.map(|c| (c.level, c.rim_length)), expected);
        }
    }

    /// A plate with two holes: a rim in one of them confirms that one, whichever it is.
    #[test]
    fn each_hole_is_confirmed_by_its_own_rim() {
        let plate = without(cells([0, 0, 0], [5, 3, 1]), [1, 1, 0], [2, 2, 1]);
        let mesh = blocks(&without(plate, [3, 1, 0], [4, 2, 1]), 3, 10.0);
        // Round the walls of a hole 10 mm wide, half-way down.
        let rim = |x: f64| {
            round(move |t| {
                let (c, s) = (t.cos(), t.sin());
                let out = 5.0 / c.abs().max(s.abs());
                Point::new(x + out * c, 15.0 + out * s, 5.0)
            })
        };
        for (x, other) in [(15.0, 35.0), (35.0, 15.0)] {
            let report = found(&mesh, vec![rim(x)]);
            assert_eq!(report.bridges.len(), 2);
            for bridge in &report.bridges {
                let own = (bridge.centre.x - x).abs() < 3.0;
                assert!(own || (bridge.centre.x - other).abs() < 3.0, "{:?}", bridge.centre);
                assert_eq!(bridge.confirmed.is_some(), own, "{x}: {:?}", bridge.centre);
            }
        }
    }

    #[test]
    fn shorter_loops_and_squarer_ones_of_equal_length_are_better() {
        let rim = round(|t| Point::new(20.0 * t.cos(), 20.0 * t.sin(), 0.0));
        let report = found(&torus(30.0, 10.0, 24, 10, 1.0), vec![rim]);
        let old = Bridge { length: 100.0, lean: 0.3, ..report.bridges[0].clone() };
        let knotted = DiscState::Knotted {
            crossings: 1,
            determinant: None,
            explanation: "for the test".to_owned(),
        };
        let with = |length: f64, lean: f64| Bridge { length, lean, ..old.clone() };
        assert!(!is_better(&with(100.0, 0.3), &old));
        assert!(is_better(&with(96.0, 0.6), &old), "shorter");
        assert!(!is_better(&with(98.0, 0.3), &old), "hardly shorter");
        assert!(is_better(&with(101.0, 0.2), &old), "squarer");
        assert!(!is_better(&with(101.0, 0.25), &old), "hardly squarer");
        assert!(!is_better(&with(103.0, 0.0), &old), "squarer but longer");
        let pierced = Bridge { disc: knotted, ..old.clone() };
        assert!(!is_better(&Bridge { length: 50.0, ..pierced.clone() }, &old), "no plain disc");
        assert!(is_better(&with(150.0, 0.9), &pierced), "the only plain disc");
    }
}
