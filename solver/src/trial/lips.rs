//! Makes room for cuts: faces of elements are laid along the sheets.
//!
//! Where an edge crosses a sheet near one of its nodes, the node is moved onto the sheet; every other
//! edge that crosses it is split there, with all elements round it. Lips that merely followed faces as they
//! lie would be as rough as the elements are large, and the halves of a bridge would hook into each other
//! round the limb that it goes through.

use std::collections::HashSet;

use rayon::prelude::*;

use super::contact::RigidModel;
use super::solid::{Skin, Solid, surface};
use super::tets::{Tets, edges, sorted};
use crate::mesh::{Point, SurfaceLocator};

/// A node moves onto a sheet that crosses one of its edges nearer than this share of the edge: beyond
/// it, splitting the edge leaves elements of a better shape.
const NEAR: f64 = 0.35;
/// A crossing nearer to a node than this share of the edge counts as on the node.
const ON_NODE: f64 = 0.06;
/// A node this near to a sheet lies on it, mm.
const ON_SHEET: f64 = 0.01;
/// The place where a sheet starts on the model is found by going to one and the other in turn, so many times.
const ALTERNATIONS: usize = 10;
/// An element keeps at least this share of its volume when a node is moved.
const LEAST_VOLUME: f64 = 0.2;

/// The body with faces along the sheets. Volume and pieces stay as they are, but for skin that is curved
/// between nodes that moved along it.
pub(super) fn lay_along(
    solid: &Solid,
    sheets: &[SurfaceLocator],
    model: Option<&RigidModel>,
) -> Solid {
    let mut bench = Bench::new(solid);
    for sheet in sheets {
        let skin_edges = bench.skin_edges();
        for crossing in bench.crossings(sheet) {
            bench.snap(&crossing, &skin_edges);
        }
        let mut left = bench.crossings(sheet);
        left.sort_by_key(|crossing| crossing.edge);
        for crossing in left {
            bench.split(&crossing, &skin_edges);
        }
        if let Some(model) = model {
            bench.draw_to_model(sheet, model);
        }
    }
    bench.finish()
}

/// Where an edge goes through a sheet.
struct Crossing {
    /// The nearer node, and the other one.
    edge: [u32; 2],
    /// Share of the edge from the nearer node.
    share: f64,
    at: Point,
}

struct Bench {
    nodes: Vec<Point>,
    skins: Vec<Skin>,
    tets: Tets,
    /// Nodes that lie on a sheet already.
    laid: Vec<bool>,
}

impl Bench {
    fn new(solid: &Solid) -> Self {
        Self {
            nodes: solid.nodes.clone(),
            skins: solid.skins.clone(),
            tets: Tets::new(solid.elements.clone(), solid.nodes.len()),
            laid: vec![false; solid.nodes.len()],
        }
    }

    fn finish(self) -> Solid {
        Solid { nodes: self.nodes, skins: self.skins, elements: self.tets.elements }
    }

    /// Edges of the body's surface.
    fn skin_edges(&self) -> HashSet<[u32; 2]> {
        let faces = surface(&self.tets.elements).into_iter();
        faces.flat_map(|[a, b, c]| [[a, b], [b, c], [c, a]].map(sorted)).collect()
    }

    /// Crossings of all edges with a sheet, those nearest to a node first.
    fn crossings(&self, sheet: &SurfaceLocator) -> Vec<Crossing> {
        let at = |n: u32| self.nodes[n as usize];
        let mut found: Vec<Crossing> = edges(&self.tets.elements)
            .into_par_iter()
            .filter_map(|[a, b]| {
                let (from, to) = (at(a), at(b));
                let length = (to - from).norm();
                let hit = sheet.ray(&from, &(to - from), length)?;
                let share = (hit.point - from).norm() / length;
                let (edge, share) =
                    if share <= 0.5 { ([a, b], share) } else { ([b, a], 1.0 - share) };
                (share > ON_NODE || !self.laid[edge[0] as usize]).then_some(Crossing {
                    edge,
                    share,
                    at: hit.point,
                })
            })
            .collect();
        found.sort_by(|p, q| p.share.total_cmp(&q.share).then(p.edge.cmp(&q.edge)));
        found
    }

    /// Move the nearer node of a crossing onto the sheet, if it may move.
    fn snap(&mut self, crossing: &Crossing, skin_edges: &HashSet<[u32; 2]>) {
        let [n, other] = crossing.edge;
        let skin = self.skins[n as usize];
        let along_skin =
            skin == self.skins[other as usize] && skin_edges.contains(&sorted(crossing.edge));
        let may_move = skin == Skin::None || along_skin;
        let laid = self.laid[n as usize] || self.laid[other as usize];
        if crossing.share > NEAR || !may_move || laid {
            return;
        }
        self.laid[n as usize] = self.tets.move_node(&mut self.nodes, n, crossing.at, LEAST_VOLUME);
    }

    /// Nodes of the model's skin that lie on the sheet go to where it starts on the model. Edges are chords of the
    /// model: where they are split lies within it, at coarse elements so deep that the lips would hook behind the
    /// border once the model has pushed them out.
    fn draw_to_model(&mut self, sheet: &SurfaceLocator, model: &RigidModel) {
        for n in 0..self.nodes.len() {
            if !self.laid[n] || self.skins[n] != Skin::Model {
                continue;
            }
            let from = self.nodes[n];
            if sheet.closest(&from).distance > ON_SHEET {
                continue;
            }
            let mut at = model.nearest(&from);
            for _ in 0..ALTERNATIONS {
                let on_sheet = sheet.closest(&at);
                if on_sheet.distance < ON_SHEET {
                    break;
                }
                at = model.nearest(&on_sheet.point);
            }
            for share in [1.0, 0.5, 0.25] {
                let to = from + (at - from) * share;
                if self.tets.move_node(&mut self.nodes, n as u32, to, LEAST_VOLUME) {
                    break;
                }
            }
        }
    }

    /// Split an edge where it crosses the sheet.
    fn split(&mut self, crossing: &Crossing, skin_edges: &HashSet<[u32; 2]>) {
        if crossing.share <= ON_NODE {
            return;
        }
        let on_skin = skin_edges.contains(&sorted(crossing.edge));
        let skin = self.skins[crossing.edge[0] as usize];
        self.tets.split(crossing.edge);
        self.nodes.push(crossing.at);
        self.skins.push(if on_skin { skin } else { Skin::None });
        self.laid.push(true);
    }
}
