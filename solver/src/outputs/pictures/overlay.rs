//! One picture: the model from one side with the plan drawn on it.

use super::PictureError;
use super::canvas::{Canvas, Lettering, Spot};
use super::labels::Placer;
use super::marks;
use super::raster::Shot;
use super::scene::{End, Scene, SceneCut};
use super::sight::{Sighting, distance, is_seen};
use super::text::Weight;
use super::view::Camera;
use crate::outputs::words::millimetres;

/// The gate counts as edge-on below this part of its full face.
const EDGE_ON: f64 = 0.12;

/// Draws the model and the plan on `canvas`. `area` is left, top, right and bottom of the part of
/// the picture that labels may use, px.
pub(super) fn draw(
    canvas: &mut Canvas,
    scene: &Scene,
    camera: &Camera,
    shot: &Shot,
    area: [f32; 4],
) -> Result<(), PictureError> {
    canvas.paste(0, 0, &shot.paint()?);
    let mut overlay = Overlay { canvas, camera, shot, placer: Placer::new(area), tags: Vec::new() };
    overlay.gate(scene);
    let cuts: Vec<SeenCut> = scene.cuts.iter().map(|cut| SeenCut::new(cut, camera, shot)).collect();
    overlay.cuts(&cuts);
    overlay.uncut_rims(scene);
    overlay.hinges(scene);
    overlay.weak_stretches(scene);
    overlay.sections(scene);
    overlay.number_cuts(&cuts);
    overlay.warnings(scene);
    overlay.letter_bridges(scene);
    overlay.write_tags();
    Ok(())
}

/// A cut as this side sees it.
struct SeenCut<'s> {
    cut: &'s SceneCut,
    branches: Vec<Sighting>,
}

impl<'s> SeenCut<'s> {
    fn new(cut: &'s SceneCut, camera: &Camera, shot: &Shot) -> Self {
        let branches = cut.branches.iter().map(|feet| Sighting::new(feet, camera, shot)).collect();
        Self { cut, branches }
    }

    /// The end's spot, one a little further along the cut, and whether the end is seen.
    fn end(&self, end: &End) -> (Spot, Spot, bool) {
        let sighting = &self.branches[end.branch];
        let count = sighting.spots.len();
        let at = |index: usize| if end.first { index } else { count - 1 - index };
        let spot = sighting.spots[at(0)];
        let ahead = (0..count)
            .map(|index| sighting.spots[at(index)])
            .find(|other| distance(*other, spot) > 10.0)
            .unwrap_or(sighting.spots[at(count - 1)]);
        // The very end may lie on the model's edge: a step along the cut is the better witness.
        let witness = at((count - 1).min(3));
        (spot, ahead, sighting.seen[witness] || sighting.seen[at(0)])
    }

    /// Where the number's line points: the start if it is seen, else the nearest seen point, else
    /// the start all the same. And whether any of the cut is seen.
    fn anchor(&self, camera: &Camera) -> (Spot, bool) {
        let start = self.cut.start.point;
        let seen = self.cut.branches.iter().zip(&self.branches).flat_map(|(feet, sighting)| {
            let both = feet.iter().zip(sighting.spots.iter().zip(&sighting.seen));
            both.filter(|(_, (_, seen))| **seen)
                .map(|(foot, (spot, _))| ((foot.point - start).norm(), *spot))
        });
        match seen.min_by(|a, b| a.0.total_cmp(&b.0)) {
            Some((_, spot)) => (spot, true),
            None => (camera.spot(start), false),
        }
    }
}

/// Words or a badge that wait until all lines are drawn.
struct Tag {
    anchor: Spot,
    seen: bool,
    what: What,
}

enum What {
    Number(u32),
    Letter(String),
    Words(String),
    Warning,
}

struct Overlay<'a, 'c, 'f> {
    canvas: &'c mut Canvas<'f>,
    camera: &'a Camera,
    shot: &'a Shot,
    placer: Placer,
    tags: Vec<Tag>,
}

impl Overlay<'_, '_, '_> {
    fn gate(&mut self, scene: &Scene) {
        let gate = &scene.gate;
        if gate.outlines.is_empty() {
            return;
        }
        let view = self.camera.view;
        let facing = gate.out.dot(&view.toward);
        let mut anchor = None;
        if facing.abs() < EDGE_ON {
            let out = [gate.out.dot(&view.right) as f32, -gate.out.dot(&view.up) as f32];
            let side = [-out[1], out[0]];
            for outline in &gate.outlines {
                let spots: Vec<Spot> = outline.iter().map(|f| self.camera.spot(f.point)).collect();
                let along = |s: &Spot| s[0] * side[0] + s[1] * side[1];
                let outer = |s: &Spot| s[0] * out[0] + s[1] * out[1];
                let (mut low, mut high, mut edge) = (f32::MAX, f32::MIN, f32::MIN);
                for spot in &spots {
                    low = low.min(along(spot));
                    high = high.max(along(spot));
                    edge = edge.max(outer(spot));
                }
                let at = |t: f32| [side[0] * t + out[0] * edge, side[1] * t + out[1] * edge];
                if high > low {
                    marks::gate_edge(self.canvas, at(low), at(high), out);
                    let wide = (high - low, at(low + 0.75 * (high - low)));
                    anchor =
                        anchor.filter(|(width, _): &(f32, Spot)| *width >= wide.0).or(Some(wide));
                    let line: Vec<Spot> =
                        (0..=40).map(|n| at(low + (high - low) * n as f32 / 40.0)).collect();
                    self.placer.keep_clear(&line);
                }
            }
        } else {
            // From behind, only the rim can be seen.
            let hatch = if facing > 0.0 { gate.hatch.as_slice() } else { &[] };
            for line in hatch {
                let sighting = Sighting::new(line, self.camera, self.shot);
                for run in sighting.runs().iter().filter(|run| run.seen) {
                    marks::gate_hatch(self.canvas, &run.spots);
                    let width = distance(run.spots[0], run.spots[run.spots.len() - 1]);
                    // Words point into a quarter of the hatching, not at its middle, where the
                    // cuts of a small gate meet.
                    if anchor.as_ref().is_none_or(|(widest, _)| width > *widest) {
                        anchor = Some((width, run.spots[run.spots.len() / 4]));
                    }
                }
            }
            for outline in &gate.outlines {
                for run in Sighting::new(outline, self.camera, self.shot).runs() {
                    // Straight from behind, the rim of a wide gate is the model's own outline: a
                    // line there would say that the gate is seen.
                    let seen = run.seen && facing > -0.95;
                    marks::gate_outline(self.canvas, seen, &run.spots);
                    if seen && facing <= 0.0 {
                        let count = run.spots.len();
                        let width = distance(run.spots[0], run.spots[count - 1]);
                        if anchor.as_ref().is_none_or(|(widest, _)| width > *widest) {
                            anchor = Some((width, run.spots[count / 2]));
                        }
                    }
                    self.placer.keep_clear(&run.spots);
                }
            }
        }
        if let Some((_, anchor)) = anchor {
            self.tags.push(Tag {
                anchor,
                seen: true,
                what: What::Words("base opening".to_owned()),
            });
        }
    }

    fn cuts(&mut self, cuts: &[SeenCut]) {
        // Hidden under seen, and every rim under every line.
        for seen in [false, true] {
            for draw in [marks::cut_rim, marks::cut_line] {
                for cut in cuts {
                    for sighting in &cut.branches {
                        for run in sighting.runs().iter().filter(|run| run.seen == seen) {
                            draw(self.canvas, cut.cut.kind, seen, &run.spots);
                        }
                    }
                }
            }
            for cut in cuts {
                for (spot, ahead, end_seen) in cut.cut.gate_ends.iter().map(|end| cut.end(end)) {
                    if end_seen == seen {
                        marks::start_bar(self.canvas, spot, ahead, seen);
                    }
                }
                for (spot, _, end_seen) in cut.cut.free_ends.iter().map(|end| cut.end(end)) {
                    if end_seen == seen {
                        marks::round_end(self.canvas, spot, seen);
                    }
                }
            }
        }
        for sighting in cuts.iter().flat_map(|cut| &cut.branches) {
            self.placer.keep_clear(&sighting.spots);
        }
    }

    fn uncut_rims(&mut self, scene: &Scene) {
        for bridge in scene.bridges.iter().filter(|bridge| !bridge.uncut_rim.is_empty()) {
            let sighting = Sighting::new(&bridge.uncut_rim, self.camera, self.shot);
            for run in sighting.runs() {
                marks::uncut_rim(self.canvas, run.seen, &run.spots);
            }
            self.placer.keep_clear(&sighting.spots);
        }
    }

    fn hinges(&mut self, scene: &Scene) {
        for hinge in &scene.hinges {
            let sighting = Sighting::new(&hinge.feet, self.camera, self.shot);
            let spots = &sighting.spots;
            for run in sighting.runs() {
                marks::hinge_line(self.canvas, run.seen, &run.spots);
            }
            let length: f32 = spots.windows(2).map(|pair| distance(pair[0], pair[1])).sum();
            let size = (0.4 * length).min(11.0);
            let count = spots.len();
            for ends in [[0, 1], [count - 1, count.saturating_sub(2)]] {
                if !sighting.seen[ends[0]] {
                    continue;
                }
                // The head's own length back along the line gives its direction.
                let inward = ends[1] > ends[0];
                let mut tail = ends[0];
                while distance(spots[tail], spots[ends[0]]) < size {
                    let next = if inward { tail + 1 } else { tail.wrapping_sub(1) };
                    if next >= count {
                        break;
                    }
                    tail = next;
                }
                marks::arrow_head(self.canvas, spots[ends[0]], spots[tail], size);
            }
            self.placer.keep_clear(spots);
            let middle = count / 2;
            if sighting.seen[middle] {
                let words = millimetres(hinge.width);
                self.tags.push(Tag { anchor: spots[middle], seen: true, what: What::Words(words) });
            }
        }
    }

    fn weak_stretches(&mut self, scene: &Scene) {
        let view = self.camera.view;
        for cut in &scene.cuts {
            for weak in &cut.weak {
                let sighting = Sighting::new(&weak.feet, self.camera, self.shot);
                let flat = |side: &crate::mesh::Vector| {
                    let [x, y] = [side.dot(&view.right) as f32, -side.dot(&view.up) as f32];
                    // Seen from the edge a tooth keeps enough length to be a tooth.
                    let length = x.hypot(y).max(1e-6);
                    let kept = length.max(0.6) / length;
                    [x * kept, y * kept]
                };
                let sides: Vec<Spot> = weak.sides.iter().map(flat).collect();
                let mut first = 0;
                for run in sighting.runs() {
                    // Neighbouring runs share a spot.
                    let own = &sides[first..first + run.spots.len()];
                    marks::teeth(self.canvas, weak.weakness, cut.kind, run.seen, &run.spots, own);
                    first += run.spots.len() - 1;
                }
                self.placer.keep_clear(&sighting.spots);
            }
        }
    }

    fn sections(&mut self, scene: &Scene) {
        let view = self.camera.view;
        for section in &scene.sections {
            let across =
                [section.across.dot(&view.right) as f32, -section.across.dot(&view.up) as f32];
            let length = across[0].hypot(across[1]);
            let seen = is_seen(&section.at, self.camera, self.shot);
            // What is hidden is left to another side.
            if !seen {
                continue;
            }
            let anchor = self.camera.spot(section.at.point);
            if length < 0.15 {
                // The bar is seen end-on.
                marks::dot(self.canvas, anchor);
                self.tags.push(Tag { anchor, seen, what: What::Words(section.name.clone()) });
                continue;
            }
            let across = [across[0] / length, across[1] / length];
            marks::section_bar(self.canvas, anchor, across);
            let end = [anchor[0] + 15.0 * across[0], anchor[1] + 15.0 * across[1]];
            self.tags.push(Tag { anchor: end, seen, what: What::Words(section.name.clone()) });
        }
    }

    fn warnings(&mut self, scene: &Scene) {
        for foot in scene.cuts.iter().flat_map(|cut| &cut.warnings) {
            // What is hidden is left to another side.
            if is_seen(foot, self.camera, self.shot) {
                let anchor = self.camera.spot(foot.point);
                self.tags.push(Tag { anchor, seen: true, what: What::Warning });
            }
        }
    }

    fn number_cuts(&mut self, cuts: &[SeenCut]) {
        for cut in cuts {
            let (anchor, seen) = cut.anchor(self.camera);
            self.tags.push(Tag { anchor, seen, what: What::Number(cut.cut.order) });
        }
    }

    fn letter_bridges(&mut self, scene: &Scene) {
        for bridge in &scene.bridges {
            let foot =
                super::surface::Foot { point: bridge.centre, normal: crate::mesh::Vector::zeros() };
            let seen = is_seen(&foot, self.camera, self.shot);
            let what = What::Letter(bridge.letter.clone());
            self.tags.push(Tag { anchor: self.camera.spot(bridge.centre), seen, what });
        }
    }

    /// Places all badges and words, those that are seen first, then draws them over the lines.
    fn write_tags(&mut self) {
        let mut tags = std::mem::take(&mut self.tags);
        tags.sort_by_key(|tag| {
            let rank = match tag.what {
                What::Number(_) => 0,
                What::Letter(_) => 1,
                What::Warning => 2,
                What::Words(_) => 3,
            };
            (!tag.seen, rank)
        });
        let lettering = Lettering::new(marks::WORDS, Weight::Regular).haloed();
        let mut placed = Vec::new();
        for tag in &tags {
            let half = match &tag.what {
                What::Number(_) => [marks::BADGE; 2],
                What::Letter(_) => [marks::LETTER_BOX; 2],
                What::Warning => [marks::WARNING + 2.0; 2],
                What::Words(words) => {
                    let fonts = self.canvas.fonts();
                    let width = fonts.width(words, lettering.size, lettering.weight);
                    [0.5 * width + 2.0, 0.55 * lettering.size]
                }
            };
            placed.push((self.placer.place(tag.anchor, half), half));
        }
        for (tag, (middle, half)) in tags.iter().zip(&placed) {
            // From the label's rim, or not at all where they nearly touch.
            let reach = distance(*middle, tag.anchor);
            let radius = half[0].min(half[1]);
            if reach > radius + 5.0 {
                marks::leader(self.canvas, *middle, tag.anchor);
                if matches!(tag.what, What::Letter(_)) {
                    marks::dot(self.canvas, tag.anchor);
                }
            }
        }
        for (tag, (middle, _)) in tags.iter().zip(&placed) {
            match &tag.what {
                What::Number(order) => marks::number(self.canvas, *middle, *order, tag.seen),
                What::Letter(letter) => marks::letter(self.canvas, *middle, letter, tag.seen),
                What::Warning => marks::warning(self.canvas, *middle),
                What::Words(words) => self.canvas.text_centred(words, *middle, lettering),
            }
        }
    }
}
