//! Two small views of the blanket's outside with the line between the parts of its shell, for the overview: whoever lays the
//! shell sees at a glance how it is parted.

use super::super::canvas::{Canvas, Lettering, Pen, Tone};
use super::super::frame_of;
use super::super::labels::Placer;
use super::super::marks;
use super::super::raster::{Shaded, Shot};
use super::super::sight::{Sighting, distance, is_seen};
use super::super::surface::Surface;
use super::super::text::{Fonts, Weight};
use super::super::view::{self, Camera};
use super::super::{PictureError, SAMPLE_SPACING};
use super::{FACED, Scene};
use crate::mesh::TriangleMesh;
use crate::outputs::parting::{outside, shell_of};
use crate::plan::Plan;

/// Level views, of which one and that across from it are drawn.
const LEVEL: [&str; 4] = ["front", "right", "back", "left"];
const GAP: f32 = 10.0;
/// Room round the blanket, and height of a view's title, px.
const EDGE: f32 = 14.0;
const TITLE: f32 = 30.0;
/// A view is at most so many times as high as it is wide.
const TALLEST: f32 = 1.25;

/// The two level views across from each other that together see most of the line, `width` px wide. `None` where the
/// mould is no blanket, or nothing is known of its shell.
pub(in super::super) fn small<'f>(
    model: &TriangleMesh,
    plan: &Plan,
    fonts: &'f Fonts,
    width: f32,
) -> Result<Option<Canvas<'f>>, PictureError> {
    let (Some(shell), Some(report)) = (shell_of(plan), &plan.sheets) else { return Ok(None) };
    let Some(blanket) = outside(model, report) else { return Ok(None) };
    let views = view::views_named(&frame_of(plan)?, &LEVEL);
    let (low, high) = blanket.bounds().ok_or(PictureError::EmptyModel)?;
    let centre = crate::nalgebra::center(&low, &high);
    let extent = view::extent(&views, &blanket.positions, centre);
    let cell = (0.5 * (width - GAP)).floor();
    let room = [cell - 2.0 * EDGE, TALLEST * cell - 2.0 * EDGE].map(f64::from);
    let scale = (room[0] / extent[0]).min(room[1] / extent[1]);
    let tall = ((extent[1] * scale) as f32 + 2.0 * EDGE + TITLE).ceil();
    let middle = [f64::from(cell) / 2.0, f64::from(tall + TITLE) / 2.0];
    let surface = Surface::new(&blanket)?;
    let scene = Scene::new(plan, shell, &surface, SAMPLE_SPACING / scale, &blanket, centre);
    let shaded = Shaded::new(&blanket);
    let looks: Vec<(Camera, Shot, f32)> = views
        .iter()
        .map(|view| {
            let camera = Camera { view: *view, centre, scale, middle };
            let shot = shaded.look(&camera, cell as u32, tall as u32);
            let seen = scene.seen(&camera, &shot);
            (camera, shot, seen)
        })
        .collect();
    let half = looks.len() / 2;
    let both = |k: &usize| looks[*k].2 + looks[*k + half].2;
    let Some(first) = (0..half).max_by(|a, b| both(a).total_cmp(&both(b)).then(b.cmp(a))) else {
        return Ok(None);
    };
    let mut canvas = Canvas::blank(width as u32, tall as u32, fonts)?;
    for (column, index) in [first, first + half].into_iter().enumerate() {
        let (camera, shot, _) = &looks[index];
        let mut picture = Canvas::blank(cell as u32, tall as u32, fonts)?;
        picture.paste(0, 0, &shot.paint()?);
        scene.draw_plainly(&mut picture, camera, shot, [4.0, TITLE, cell - 4.0, tall - 4.0]);
        picture.text(camera.view.title, 10.0, 22.0, Lettering::new(16.0, Weight::Bold));
        let x = column as f32 * (cell + GAP);
        canvas.paste_canvas(x as i32, 0, &picture);
        canvas.frame([x, 0.0], [cell, tall - 1.0], Pen::new(Tone::RULE, 1.0));
    }
    Ok(Some(canvas))
}

impl Scene {
    /// Length of the line that a camera sees, px.
    fn seen(&self, camera: &Camera, shot: &Shot) -> f32 {
        let of = |feet: &Vec<_>| -> f32 {
            let runs = Sighting::new(feet, camera, shot).runs();
            let seen = runs.iter().filter(|run| run.seen);
            seen.flat_map(|run| run.spots.windows(2)).map(|pair| distance(pair[0], pair[1])).sum()
        };
        self.lines.iter().map(of).sum()
    }

    /// The line where it is seen, and the parts' names: what is behind is on the view from across.
    fn draw_plainly(&self, canvas: &mut Canvas<'_>, camera: &Camera, shot: &Shot, area: [f32; 4]) {
        let mut placer = Placer::new(area);
        for feet in &self.lines {
            let line = Sighting::new(feet, camera, shot);
            for run in line.runs().iter().filter(|run| run.seen) {
                marks::parting_line(canvas, true, &run.spots);
            }
            placer.keep_clear(&line.spots);
        }
        for (number, draw, foot) in &self.parts {
            if draw.dot(&camera.view.toward) >= FACED && is_seen(foot, camera, shot) {
                let words = format!("part {number}");
                let bold = Lettering::new(marks::WORDS, Weight::Bold).haloed();
                let half = [0.5 * canvas.fonts().width(&words, bold.size, bold.weight) + 2.0, 10.0];
                let middle = placer.place(camera.spot(foot.point), half);
                canvas.text_centred(&words, middle, bold);
            }
        }
    }
}
