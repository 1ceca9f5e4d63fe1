//! The blanket's outside with the line between the parts of its rigid shell, and where the blade enters.
//!
//! The line is a pair of dashed strokes, so that a cut's full line can run in its middle.

mod small;

use super::canvas::{Canvas, Lettering, Pen, Spot, Tone};
use super::cautions::Cautions;
use super::fit::{MARGIN, TITLE, scale_for};
use super::labels::Placer;
use super::marks::{self, WORDS};
use super::raster::{Shaded, Shot};
use super::sight::{Sighting, is_seen};
use super::surface::{Foot, Surface};
use super::text::{Fonts, Weight};
use super::view::{self, Camera};
use super::{Picture, PictureError, PictureStyle, SAMPLE_SPACING};
use super::{check_model, check_size, frame_of};
use crate::advice::Shell;
use crate::control::Cancel;
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::outputs::advice_words;
use crate::outputs::parting::{PartingStation, outside, shell_of, stations};
use crate::outputs::whereabouts::whereabouts;
use crate::plan::{CutKind, Plan};

pub(super) use small::small;

const GAP: f32 = 12.0;
const HEADER: f32 = 60.0;
const LINE: f32 = 24.0;
/// The sides that are drawn, row by row.
const SIDES: [&str; 6] = ["front", "right", "back", "left", "top", "three-quarter"];
const COLUMNS: usize = 3;
/// A part's name stands on it where it is looked at within so much of its own direction: the cosine of 60 degrees.
const FACED: f64 = 0.5;
/// Width of a mark's sample in the key, px.
const SAMPLE: f32 = 64.0;
const BODY: Lettering = Lettering::new(WORDS, Weight::Regular);

/// Whether a plan has a shell's line to be drawn.
pub fn has_shell(plan: &Plan) -> bool {
    let blanket = |report: &crate::plan::SheetReport| {
        matches!(report.skin.outside, crate::body::Outside::Offset { .. })
    };
    shell_of(plan).is_some() && plan.sheets.as_ref().is_some_and(blanket)
}

/// Draws how the rigid shell of a plan's blanket is parted. `None` where the mould is no blanket, or nothing is known of its
/// shell. `model` is the mesh as it was read, or any mesh of the same shape in the plan's coordinates. Of the style the
/// page's width and the heading are used. Looks at `cancel` between its steps.
pub fn draw_shell(
    model: &TriangleMesh,
    plan: &Plan,
    style: &PictureStyle,
    cancel: &Cancel,
) -> Result<Option<Picture>, PictureError> {
    check_size("page_width", style.page_width, 1500, 8000)?;
    check_model(model)?;
    let (Some(shell), Some(report)) = (shell_of(plan), &plan.sheets) else { return Ok(None) };
    let Some(blanket) = outside(model, report) else { return Ok(None) };
    cancel.check()?;
    let views = view::views_named(&frame_of(plan)?, &SIDES);
    let (low, high) = blanket.bounds().ok_or(PictureError::EmptyModel)?;
    let centre = crate::nalgebra::center(&low, &high);
    let extent = view::extent(&views, &blanket.positions, centre);
    let fonts = Fonts::new()?;
    let width = style.page_width as f32;
    let cell = ((width - (COLUMNS as f32 + 1.0) * GAP) / COLUMNS as f32).floor();
    let scale = scale_for(extent, cell, cell);
    let tall = ((extent[1] * scale) as f32 + 2.0 * MARGIN + TITLE).ceil();
    let surface = Surface::new(&blanket)?;
    let scene = Scene::new(plan, shell, &surface, SAMPLE_SPACING / scale, &blanket, centre);
    cancel.check()?;

    let key = key(plan, shell);
    let places = whereabouts(plan, model);
    let words = advice_words::of_shell(shell, plan, &places);
    let words: Vec<String> = fonts.wrap(&words, BODY.size, BODY.weight, width - 2.0 * GAP);
    let cautions = Cautions::new(&fonts, width);
    let rows = views.len().div_ceil(COLUMNS) as f32;
    let bar_height = 56.0;
    let below =
        bar_height + LINE * (key.len() as f32 + words.len() as f32) + 3.0 * GAP + cautions.height;
    let total = HEADER + rows * (tall + GAP) + below;
    let mut canvas = Canvas::blank(style.page_width, total.ceil() as u32, &fonts)?;
    let title = match &style.heading {
        Some(name) => format!("Where the shell is parted: {name}"),
        None => "Where the shell is parted".to_owned(),
    };
    canvas.text(&title, GAP, 42.0, Lettering::new(28.0, Weight::Bold));
    let shaded = Shaded::new(&blanket);
    for (index, view) in views.iter().enumerate() {
        cancel.check()?;
        let (w, h) = (cell as u32, tall as u32);
        let middle = [f64::from(w) / 2.0, f64::from(h) / 2.0 + f64::from(TITLE) / 2.0];
        let camera = Camera { view: *view, centre, scale, middle };
        let shot = shaded.look(&camera, w, h);
        let mut picture = Canvas::blank(w, h, &fonts)?;
        picture.paste(0, 0, &shot.paint()?);
        scene.draw(&mut picture, &camera, &shot, [4.0, TITLE, cell - 4.0, tall - 4.0]);
        picture.text(view.title, 16.0, 30.0, Lettering::new(20.0, Weight::Bold));
        let x = GAP + (index % COLUMNS) as f32 * (cell + GAP);
        let y = HEADER + (index / COLUMNS) as f32 * (tall + GAP);
        canvas.paste_canvas(x as i32, y as i32, &picture);
        canvas.frame([x, y], [cell, tall], Pen::new(Tone::RULE, 1.0));
    }
    let mut y = HEADER + rows * (tall + GAP);
    let bar = marks::bar_length(scale, f64::from(cell) - 40.0);
    marks::scale_bar(&mut canvas, [GAP, y + 12.0], bar, scale);
    y += bar_height;
    for (mark, words) in &key {
        mark.draw(&mut canvas, GAP, y + 0.5 * LINE);
        canvas.text(words, GAP + SAMPLE + 12.0, y + 0.5 * LINE + 6.0, BODY);
        y += LINE;
    }
    y += GAP;
    for line in &words {
        y += LINE;
        canvas.text(line, GAP, y - 6.0, BODY);
    }
    cautions.draw(&mut canvas);
    Ok(Some(Picture {
        name: "shell".to_owned(),
        title,
        width: canvas.width(),
        height: canvas.height(),
        png: canvas.png()?,
    }))
}

/// What is drawn on the blanket, whichever side it is looked at from.
struct Scene {
    lines: Vec<Vec<Foot>>,
    stations: Vec<(PartingStation, Foot)>,
    /// Where the blade enters: the cut, its kind, the line.
    entries: Vec<(u32, CutKind, Vec<Foot>)>,
    /// A part's number, the way it is drawn, and its place furthest that way.
    parts: Vec<(usize, Vector, Foot)>,
}

impl Scene {
    fn new(
        plan: &Plan,
        shell: &Shell,
        surface: &Surface<'_>,
        step: f64,
        blanket: &TriangleMesh,
        centre: Point,
    ) -> Self {
        let lay = |points: &[Point]| surface.lay(points, step).0;
        let entries = plan.cuts.iter().filter(|cut| cut.kind.is_from_outside()).flat_map(|cut| {
            let outer = cut.sheets.iter().filter(|sheet| sheet.outer.len() > 1);
            outer.map(|sheet| (cut.order, cut.kind, lay(&sheet.outer)))
        });
        let parts = shell.draws.iter().enumerate().map(|(k, draw)| {
            // Of what is about as far that way the place nearest to the middle, where words have room.
            let reach = |p: &Point| (p - centre).dot(draw);
            let most = blanket.positions.iter().map(reach).fold(f64::NEG_INFINITY, f64::max);
            let aside = |p: &&Point| ((*p - centre) - draw * reach(p)).norm();
            let far = blanket.positions.iter().filter(|p| reach(p) > 0.6 * most);
            let at = far.min_by(|a, b| aside(a).total_cmp(&aside(b))).copied().unwrap_or(centre);
            (k + 1, *draw, surface.foot(at))
        });
        Self {
            lines: shell.lines.iter().map(|line| lay(&line.points)).collect(),
            stations: stations(shell).into_iter().map(|s| (s, surface.foot(s.at))).collect(),
            entries: entries.collect(),
            parts: parts.collect(),
        }
    }

    fn draw(&self, canvas: &mut Canvas<'_>, camera: &Camera, shot: &Shot, area: [f32; 4]) {
        let mut placer = Placer::new(area);
        let lines: Vec<Sighting> =
            self.lines.iter().map(|feet| Sighting::new(feet, camera, shot)).collect();
        let entries: Vec<(u32, CutKind, Sighting)> = self
            .entries
            .iter()
            .map(|(order, kind, feet)| (*order, *kind, Sighting::new(feet, camera, shot)))
            .collect();
        for seen in [false, true] {
            for run in lines.iter().flat_map(Sighting::runs).filter(|run| run.seen == seen) {
                marks::parting_line(canvas, seen, &run.spots);
            }
        }
        // Of where the blade enters only what is seen: it is the line between the parts that is to be found here.
        for (_, kind, sighting) in &entries {
            for run in sighting.runs().iter().filter(|run| run.seen) {
                marks::entry_line(canvas, *kind, &run.spots);
            }
            placer.keep_clear(&sighting.spots);
        }
        for line in &lines {
            placer.keep_clear(&line.spots);
        }
        let seen_stations = self.stations.iter().filter(|(_, foot)| is_seen(foot, camera, shot));
        let places: Vec<(u32, Spot)> =
            seen_stations.map(|(s, foot)| (s.number, camera.spot(foot.point))).collect();
        for (_, spot) in &places {
            marks::dot(canvas, *spot);
        }
        let lettering = BODY.haloed();
        for (number, draw, foot) in &self.parts {
            if draw.dot(&camera.view.toward) >= FACED && is_seen(foot, camera, shot) {
                let words = format!("part {number}");
                let bold = Lettering::new(20.0, Weight::Bold).haloed();
                let half = [0.5 * canvas.fonts().width(&words, bold.size, bold.weight) + 2.0, 12.0];
                let middle = placer.place(camera.spot(foot.point), half);
                canvas.text_centred(&words, middle, bold);
            }
        }
        for (order, _, sighting) in &entries {
            let seen: Vec<Spot> = sighting
                .spots
                .iter()
                .zip(&sighting.seen)
                .filter_map(|(spot, seen)| seen.then_some(*spot))
                .collect();
            if let Some(anchor) = seen.get(seen.len() / 3) {
                let middle = placer.place(*anchor, [marks::BADGE; 2]);
                marks::leader(canvas, middle, *anchor);
                marks::number(canvas, middle, *order, true);
            }
        }
        for (number, spot) in places {
            let words = number.to_string();
            let half =
                [0.5 * canvas.fonts().width(&words, WORDS, Weight::Regular) + 1.0, 0.5 * WORDS];
            let middle = placer.place(spot, half);
            canvas.text_centred(&words, middle, lettering);
        }
    }
}

/// A mark that the key explains.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mark {
    Seen,
    Hidden,
    Station,
    Entry(CutKind),
}

/// The key: each mark that the picture uses, with its words.
fn key(plan: &Plan, shell: &Shell) -> Vec<(Mark, String)> {
    let parts = shell.draws.len();
    let between = if parts > 2 { "the parts" } else { "the two parts" };
    let mut key = vec![
        (
            Mark::Seen,
            format!("Line between {between} of the shell, on the blanket's outside: double dashes"),
        ),
        (Mark::Hidden, "The same where the blanket hides it".to_owned()),
        (
            Mark::Station,
            "Place along it; the number is that of the table under \"Before you pour\"".to_owned(),
        ),
    ];
    for (kind, words) in [
        (
            CutKind::FromGate,
            "Where the blade enters, at a cut from the base opening, with its number",
        ),
        (CutKind::Separate, "Where the blade enters, at a separate cut, with its number"),
    ] {
        let entered = |cut: &crate::plan::Cut| {
            cut.kind == kind && cut.sheets.iter().any(|sheet| sheet.outer.len() > 1)
        };
        if plan.cuts.iter().any(entered) {
            key.push((Mark::Entry(kind), words.to_owned()));
        }
    }
    key
}

impl Mark {
    fn draw(self, canvas: &mut Canvas<'_>, x: f32, y: f32) {
        let span = [[x + 4.0, y], [x + SAMPLE - 4.0, y]];
        match self {
            Self::Seen => marks::parting_line(canvas, true, &span),
            Self::Hidden => marks::parting_line(canvas, false, &span),
            Self::Station => {
                marks::parting_line(canvas, true, &span);
                marks::dot(canvas, [x + 0.5 * SAMPLE, y]);
            }
            Self::Entry(kind) => marks::entry_line(canvas, kind, &span),
        }
    }
}

#[cfg(test)]
mod tests;
