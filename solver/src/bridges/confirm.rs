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

/// A step of a rim longer than this many grid spacings means that the disc is torn: the way
/// between the two ends is not known.
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
        let Some(disc) = saddle.disc.as_ref().filter(|d| d.widest_step <= TORN * holes.spacing)
        else {
            continue;
        };
        let Some(key) = class_of_rim(skin, classes, near, &disc.rim, disc.closed) else { continue };
        let Some(index) = (0..bridges.len())
            .find(|&k| loops[k].key() == key.as_slice() && bridges[k].confirmed.is_none())
        else {
            continue;
        };
        let mut confirmed = Confirmation {
            place: saddle.position,
            level: saddle.level,
            rim_length: disc.rim_length,
            loop_taken: false,
        };
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
        bridges[index].confirmed = Some(confirmed);
    }
    Ok(())
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
