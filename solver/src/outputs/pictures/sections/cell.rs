//! One section: the plane across a cut at a station, drawn to scale.

use super::choose::Chosen;
use super::outline::{self, Flat, Plane};
use crate::mesh::TriangleMesh;
use crate::outputs::pictures::PictureError;
use crate::outputs::pictures::canvas::{Canvas, Lettering, Pen, Spot, Tone};
use crate::outputs::pictures::labels::Placer;
use crate::outputs::pictures::marks::{self, WORDS};
use crate::outputs::pictures::sight::distance;
use crate::outputs::pictures::surface::Surface;
use crate::outputs::pictures::text::{Fonts, Weight};
use crate::outputs::stretches::{Side, Weakness, weaker_side, weakness};
use crate::outputs::words::millimetres;
use crate::plan::{CutKind, SheetReport};
use crate::sheets::Station;

/// Height of the title over a section, px.
pub(super) const TITLE: f32 = 88.0;
/// Grey of the rubber, light enough for words on it.
pub(super) const RUBBER: Tone = Tone(222, 222, 222);
const HATCH: Tone = Tone(120, 120, 120);
/// Distance between hatching lines, px.
const HATCH_STEP: f64 = 10.0;
/// Radius of the arcs that show wedges, px: no less than readable, no more than the picture bears.
const ARC: [f64; 2] = [34.0, 74.0];
/// A lean along the cut below this need not be told, degrees.
const LEAN_ALONG: f64 = 8.0;

/// What all sections of one picture share.
pub(super) struct Bench<'a> {
    pub model: &'a TriangleMesh,
    pub surface: &'a Surface<'a>,
    pub report: &'a SheetReport,
    pub fonts: &'a Fonts,
    /// px to the mm.
    pub scale: f64,
    /// Size of a section without its title, px.
    pub size: [f64; 2],
    /// Where the station lands, px from the upper left corner below the title.
    pub middle: [f64; 2],
}

impl Bench<'_> {
    /// Draws a section with its title.
    pub fn section(&self, chosen: &Chosen, name: &str) -> Result<Canvas<'_>, PictureError> {
        let [width, height] = self.size;
        let mut canvas = Canvas::blank(width as u32, height as u32, self.fonts)?;
        let plane = Plane::at(chosen.station);
        let [right, bottom] = [width as f32 - 4.0, height as f32 - 4.0];
        let mut placer = Placer::new([4.0, 4.0, right, bottom]);
        self.bodies(&mut canvas, &plane, &mut placer);
        self.knife(&mut canvas, &plane, chosen, &mut placer);
        let mut cell = Canvas::blank(width as u32, (height as f32 + TITLE) as u32, self.fonts)?;
        cell.paste_canvas(0, TITLE as i32, &canvas);
        self.title(&mut cell, chosen, name);
        Ok(cell)
    }

    fn spot(&self, [x, y]: Flat) -> Spot {
        let [right, down] = self.middle;
        [(right + x * self.scale) as f32, (down - y * self.scale) as f32]
    }

    fn spots(&self, outline: &[Flat]) -> Vec<Spot> {
        outline.iter().map(|flat| self.spot(*flat)).collect()
    }

    fn bodies(&self, canvas: &mut Canvas, plane: &Plane, placer: &mut Placer) {
        // A little more than is seen, so that no outline runs along the edge.
        let beyond = 12.0 / self.scale;
        let [width, height] = self.size.map(|px| px / self.scale);
        let [left, above] = self.middle.map(|px| px / self.scale);
        let low = [-left - beyond, above - height - beyond];
        let high = [width - left + beyond, above + beyond];
        let skin = outline::of_skin(&self.report.skin, self.surface, plane, low, high);
        let skin: Vec<Vec<Spot>> = skin.iter().map(|line| self.spots(line)).collect();
        canvas.polygons(&skin, RUBBER);
        for line in &skin {
            canvas.line(&closed(line), Pen::new(Tone::MUTED, 2.4));
            placer.keep_clear(&dense(&closed(line)));
        }
        let model = outline::of_model(self.model, plane);
        let spots: Vec<Vec<Spot>> = model.iter().map(|line| self.spots(line)).collect();
        canvas.polygons(&spots, Tone::WHITE);
        for [a, b] in outline::hatch(&model, HATCH_STEP / self.scale) {
            canvas.line(&[self.spot(a), self.spot(b)], Pen::new(HATCH, 1.1));
        }
        for line in &spots {
            canvas.line(&closed(line), Pen::new(Tone::BLACK, 2.6));
            placer.keep_clear(&dense(&closed(line)));
        }
        if let Some((at, along, out)) = outline::of_board(&self.report.skin, plane) {
            self.board(canvas, at, along, out, placer);
        }
    }

    /// The board's line with ticks on its own side, and its name where there is room.
    fn board(&self, canvas: &mut Canvas, at: Flat, along: Flat, out: Flat, placer: &mut Placer) {
        let reach = (self.size[0] + self.size[1]) / self.scale;
        let place = |t: f64, off: f64| {
            self.spot([at[0] + along[0] * t + out[0] * off, at[1] + along[1] * t + out[1] * off])
        };
        canvas.line(&[place(-reach, 0.0), place(reach, 0.0)], Pen::new(marks::PLAIN, 3.0));
        placer.keep_clear(&dense(&[place(-reach, 0.0), place(reach, 0.0)]));
        let step = 9.0 / self.scale;
        let mut t = -reach;
        while t < reach {
            canvas.line(&[place(t, 0.0), place(t - step, -step)], Pen::new(marks::PLAIN, 1.2));
            t += step;
        }
        let word = Lettering::new(WORDS, Weight::Regular).haloed();
        let width = f64::from(self.fonts.width("board", WORDS, Weight::Regular));
        let inside = |spot: &Spot| {
            let [x, y] = spot.map(f64::from);
            (0.5 * width + 8.0..self.size[0] - 0.5 * width - 8.0).contains(&x)
                && (14.0..self.size[1] - 14.0).contains(&y)
        };
        // The first place along it with room on the picture and away from the knife.
        let steps = (0..80).map(|k| reach * (f64::from(k) / 40.0 - 1.0));
        let room = steps.map(|t| place(t, -(26.0 + 0.3 * width) / self.scale));
        let clear = |spot: &Spot| (f64::from(spot[0]) - self.middle[0]).abs() > 90.0;
        if let Some(spot) = room.into_iter().find(|spot| inside(spot) && clear(spot)) {
            canvas.text_centred("board", spot, word);
        }
    }

    fn knife(&self, canvas: &mut Canvas, plane: &Plane, chosen: &Chosen, placer: &mut Placer) {
        let station = chosen.station;
        let is_bridge = chosen.kind == CutKind::Bridge;
        let foot = self.spot([0.0, 0.0]);
        let line = chosen.line(super::stub(self.report));
        let line: Vec<Spot> = line.iter().map(|point| self.spot(plane.flat(point))).collect();
        // The ruling as seen along the cut.
        let lean = {
            let across = station.direction.dot(&plane.right);
            (-across).atan2(station.direction.dot(&plane.up))
        };
        placer.keep_clear(&dense(&line));
        self.wedges(canvas, station, lean, placer);
        canvas.line(&line, Pen::new(Tone::WHITE, 8.0).round());
        let pen = Pen::new(Tone::BLACK, 4.2);
        if station.flags.blocked {
            canvas.line(&line, pen.dashed(8.0, 6.0));
            cross(canvas, line[line.len() - 1]);
        } else {
            canvas.line(&line, pen.round());
            let entry = line[line.len() - 1];
            if is_bridge {
                marks::arrow_head(canvas, entry, foot, 14.0);
            } else {
                canvas.disc(entry, 8.0, Tone::WHITE);
                canvas.circle(entry, 6.0, Pen::new(Tone::BLACK, 2.4));
            }
        }
        canvas.disc(foot, 5.0, Tone::BLACK);
        if !is_bridge {
            let words = format!("{} deep", millimetres(station.depth));
            self.depth(canvas, &words, &line, placer);
        }
    }

    /// Depth beside the upper part of the knife's line, where it covers little.
    fn depth(&self, canvas: &mut Canvas, words: &str, line: &[Spot], placer: &mut Placer) {
        let lettering = Lettering::new(WORDS, Weight::Bold).haloed();
        let half = [0.5 * self.fonts.width(words, WORDS, Weight::Bold) + 2.0, 0.55 * WORDS];
        let (from, to) = (line[line.len() - 2], line[line.len() - 1]);
        let at = [from[0] + 0.7 * (to[0] - from[0]), from[1] + 0.7 * (to[1] - from[1])];
        let middle = placer.place(at, half);
        canvas.text_centred(words, middle, lettering);
    }

    /// An arc for each wedge from the knife to the rubber's edge on the model, with its angle.
    fn wedges(&self, canvas: &mut Canvas, station: &Station, lean: f64, placer: &mut Placer) {
        let settings = &self.report.settings;
        let radius = (settings.wedge_reach * self.scale).clamp(ARC[0], ARC[1]);
        let foot = self.spot([0.0, 0.0]).map(f64::from);
        // Angles run from straight up to the left.
        let at = |angle: f64, radius: f64| {
            let (sine, cosine) = angle.sin_cos();
            [(foot[0] - sine * radius) as f32, (foot[1] - cosine * radius) as f32]
        };
        for (wedge, sign) in station.wedge.into_iter().zip([1.0, -1.0]) {
            let span = sign * wedge.to_radians();
            let arc: Vec<Spot> =
                (0..=48).map(|k| at(lean + span * f64::from(k) / 48.0, radius)).collect();
            let edge = [at(lean + span, 4.0), at(lean + span, radius + 10.0)];
            canvas.line(&edge, Pen::new(Tone::WHITE, 5.0));
            canvas.line(&edge, Pen::new(Tone::BLACK, 1.8).dashed(5.0, 3.0));
            let weak = wedge < settings.acceptable_angle;
            canvas.line(&arc, Pen::new(Tone::WHITE, if weak { 7.0 } else { 4.5 }));
            canvas.line(&arc, Pen::new(Tone::BLACK, if weak { 4.0 } else { 1.8 }));
            let weight = if weak { Weight::Bold } else { Weight::Regular };
            let lettering = Lettering::new(WORDS, weight).haloed();
            let words = if wedge > 0.0 { format!("{wedge:.0}\u{b0}") } else { "no lip".to_owned() };
            let half = 0.5 * f64::from(self.fonts.width(&words, WORDS, weight));
            // Beyond the arc, and far enough round from the knife not to lie on it.
            let beyond = radius + half + 9.0;
            let round = (0.5 * wedge.to_radians()).max(((half + 8.0) / beyond).min(1.0).asin());
            let middle = at(lean + sign * round, beyond);
            placer.take(middle, [half as f32, 0.55 * WORDS]);
            canvas.text_centred(&words, middle, lettering);
        }
    }

    fn title(&self, canvas: &mut Canvas, chosen: &Chosen, name: &str) {
        let station = chosen.station;
        marks::number(canvas, [26.0, 26.0], chosen.order, true);
        let branch =
            if chosen.several { format!(", branch {}", chosen.branch + 1) } else { String::new() };
        let kind = match chosen.kind {
            CutKind::Bridge => "Bridge cut",
            CutKind::BehindHinge => "Cut behind a hinge",
            CutKind::FromGate | CutKind::Separate => "Cut",
        };
        let words = format!("{kind} {}{branch}, {:.0} mm along", chosen.order, station.along);
        canvas.text(&words, 50.0, 32.0, Lettering::new(19.0, Weight::Bold));
        let label = Lettering::new(WORDS, Weight::Bold);
        let width = self.fonts.width(name, WORDS, Weight::Bold);
        canvas.text(name, self.size[0] as f32 - 14.0 - width, 32.0, label);
        let notes = notes(chosen, self.report).join("; ");
        let room = self.size[0] as f32 - 24.0;
        let lines = self.fonts.wrap(&notes, 16.0, Weight::Regular, room);
        for (index, line) in lines.iter().take(2).enumerate() {
            let baseline = 58.0 + 20.0 * index as f32;
            canvas.text(line, 12.0, baseline, Lettering::new(16.0, Weight::Regular));
        }
    }
}

/// What there is to say about a station.
fn notes(chosen: &Chosen, report: &SheetReport) -> Vec<String> {
    let station = chosen.station;
    let side = match weaker_side(station) {
        Side::Left => "left",
        Side::Right => "right",
    };
    let mut notes = Vec::new();
    match weakness(station, &report.settings) {
        Some(Weakness::Blocked) => notes.push("the model STOPS THE KNIFE".to_owned()),
        Some(Weakness::Feather) => notes.push(format!("FEATHER EDGE on the {side}")),
        Some(Weakness::Thin) => notes.push(format!("thin lip on the {side}")),
        None => {}
    }
    let flags = station.flags;
    for (flag, what) in [
        (flags.beyond_blade, "DEEPER THAN THE BLADE"),
        (flags.too_sharp, "the blade BENDS TOO SHARPLY from here on"),
        (flags.through_board, "leaves through the face on the board"),
    ] {
        if flag {
            notes.push(what.to_owned());
        }
    }
    if chosen.kind == CutKind::Bridge {
        notes.push("across the hole, arrow into it".to_owned());
    }
    notes.push(if station.is_behind() {
        "knife would run ALONG OR BEHIND the model's surface".to_owned()
    } else if station.angle_from_normal < 0.5 {
        "knife square to the model".to_owned()
    } else {
        format!("knife {:.0}\u{b0} off square", station.angle_from_normal)
    });
    let along = station.direction.dot(&station.ahead);
    let lean = along.abs().min(1.0).asin().to_degrees();
    if lean >= LEAN_ALONG {
        let way = if along > 0.0 { "ahead" } else { "back" };
        notes.push(format!("of that {lean:.0}\u{b0} {way} along the cut, and the section with it"));
    }
    notes
}

fn closed(line: &[Spot]) -> Vec<Spot> {
    line.iter().chain(line.first()).copied().collect()
}

/// A line with a spot every few pixels.
fn dense(line: &[Spot]) -> Vec<Spot> {
    let mut spots = Vec::new();
    for pair in line.windows(2) {
        let pieces = (distance(pair[0], pair[1]) / 5.0).ceil().clamp(1.0, 2000.0);
        for k in 0..pieces as usize {
            let t = k as f32 / pieces;
            spots.push([
                pair[0][0] + t * (pair[1][0] - pair[0][0]),
                pair[0][1] + t * (pair[1][1] - pair[0][1]),
            ]);
        }
    }
    spots
}

fn cross(canvas: &mut Canvas, [x, y]: Spot) {
    for [from, to] in [[[-8.0, -8.0], [8.0, 8.0]], [[-8.0, 8.0], [8.0, -8.0]]] {
        let spots = [[x + from[0], y + from[1]], [x + to[0], y + to[1]]];
        canvas.line(&spots, Pen::new(Tone::WHITE, 8.0));
        canvas.line(&spots, Pen::new(Tone::BLACK, 4.0));
    }
}
