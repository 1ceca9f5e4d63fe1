//! Layout of the strip: two rows of moments, the pull and the legend below.

use rayon::prelude::*;

use super::super::canvas::{Canvas, Lettering, Pen, Spot, Tone};
use super::super::cautions::Cautions;
use super::super::marks;
use super::super::raster::{Shaded, Shot};
use super::super::text::{Fonts, Weight};
use super::super::view::{Camera, View};
use super::super::{Picture, PictureError, Subject};
use super::curve;
use super::legend::{self, LINE, RING, ring};
use super::moments::{self, Moment};
use super::open::{self, Plane, Rubber};
use super::side;
use super::tones::Bands;
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::outputs::trial_words::{trial_doubts, trial_verdict};
use crate::plan::PlanTrial;
use crate::trial::{Outcome, TrialReport};

const GAP: f32 = 12.0;
/// Height of the headings, without the doubts.
const HEADER: f32 = 96.0;
/// Height of a row's title, and of the words above a moment.
const ROW_TITLE: f32 = 36.0;
const CAPTION: f32 = 58.0;
/// Room round what is shown, px.
const MARGIN: f64 = 12.0;
/// Height of the part with pull and legend.
const FOOT: f32 = 330.0;
/// No picture of a moment is higher than this many times its width.
const TALLEST: f64 = 2.4;

/// A strip to be drawn.
pub(super) struct Strip<'a> {
    trial: &'a PlanTrial,
    report: &'a TrialReport,
    model: &'a TriangleMesh,
    shaded: Shaded<'a>,
    fonts: &'a Fonts,
    moments: Vec<Moment>,
    /// Stretch at every node, for every moment.
    stretch: Vec<Vec<f32>>,
    /// Strain in each moment that all but one element in a hundred stay below.
    strained: Vec<f64>,
    bands: Bands,
    views: [View; 2],
    middle: Point,
}

/// A row of the strip: from which side, what, and where on the picture.
struct Row {
    view: View,
    rubbers: Vec<Rubber>,
    /// Left, right, upper and lower end of all that the row shows, mm from the middle.
    extent: [f64; 4],
}

impl<'a> Strip<'a> {
    pub fn new(trial: &'a PlanTrial, fonts: &'a Fonts) -> Self {
        let PlanTrial { report, model, paint, .. } = trial;
        let moments = moments::choose(report);
        let mut strained = Vec::new();
        let mut stretch = Vec::new();
        for moment in &moments {
            let stretches = report.stretches(moment.frame);
            stretch.push(open::at_nodes(report, &stretches));
            strained.push((report.all_but_a_hundredth(&stretches) - 1.0).max(0.0));
        }
        let greatest = strained.iter().copied().fold(0.02, f64::max);
        Self {
            trial,
            report,
            model,
            shaded: Shaded::coloured(Subject { mesh: model, paint: paint.as_deref() }),
            fonts,
            moments,
            stretch,
            strained,
            bands: Bands::up_to(greatest),
            views: side::choose(report, model),
            middle: side::middle(model),
        }
    }

    /// The picture, `width` px wide and as high as it needs to be.
    pub fn draw(&self, heading: Option<&str>, width: u32) -> Result<Picture, PictureError> {
        let rows = self.rows();
        let count = self.moments.len() as f32;
        let cell = ((width as f32 - (count + 1.0) * GAP) / count).floor();
        let cell = cell.min(0.25 * width as f32);
        let scale = scale(&rows, f64::from(cell));
        let heights: Vec<f32> = rows
            .iter()
            .map(|row| ((row.extent[3] - row.extent[2]) * scale + 2.0 * MARGIN).ceil() as f32)
            .collect();
        let doubts: Vec<String> = trial_doubts(self.report)
            .iter()
            .flat_map(|d| self.fonts.wrap(d, marks::WORDS, Weight::Regular, width as f32 - 48.0))
            .collect();
        let top = HEADER + LINE * doubts.len() as f32;
        let rows_height: f32 = heights.iter().map(|h| h + ROW_TITLE + CAPTION + GAP).sum();
        let cautions = Cautions::new(self.fonts, width as f32);
        let total = top + rows_height - CAPTION + FOOT + cautions.height;
        let mut canvas = Canvas::blank(width, total.ceil() as u32, self.fonts)?;
        let title = heading.map_or("The way out".to_owned(), |name| format!("The way out: {name}"));
        self.header(&mut canvas, &title, &doubts);
        let mut y = top;
        for (number, (row, height)) in rows.iter().zip(&heights).enumerate() {
            canvas.text(row.view.title, 24.0, y + 24.0, Lettering::new(19.0, Weight::Bold));
            y += ROW_TITLE;
            let caption = if number == 0 { CAPTION } else { 0.0 };
            let cells: Vec<Canvas> = (0..self.moments.len())
                .into_par_iter()
                .map(|index| self.cell(row, index, [cell, *height], scale))
                .collect::<Result<_, _>>()?;
            for (index, picture) in cells.iter().enumerate() {
                let x = GAP + index as f32 * (cell + GAP);
                if number == 0 {
                    self.caption(&mut canvas, index, [x, y]);
                }
                canvas.paste_canvas(x as i32, (y + caption) as i32, picture);
                canvas.frame([x, y + caption], [cell, *height], Pen::new(Tone::RULE, 1.0));
            }
            y += caption + height + GAP;
        }
        let half = 0.56 * width as f32;
        curve::draw(
            &mut canvas,
            self.report,
            &self.moments,
            self.trial.hand_force,
            [24.0, y, half, FOOT],
        );
        let spot = [half + 48.0, y, width as f32 - half - 72.0];
        legend::draw(&mut canvas, &self.bands, self.is_stuck(), scale, spot);
        cautions.draw(&mut canvas);
        Ok(Picture {
            name: "way-out".to_owned(),
            title,
            width: canvas.width(),
            height: canvas.height(),
            png: canvas.png()?,
        })
    }

    fn is_stuck(&self) -> bool {
        matches!(self.report.outcome, Outcome::Stuck { .. })
    }

    fn rows(&self) -> [Row; 2] {
        let plane = Plane { through: self.middle, normal: self.views[0].toward };
        let of = |opened: bool| -> Vec<Rubber> {
            self.moments
                .par_iter()
                .zip(&self.stretch)
                .map(|(moment, values)| {
                    if opened {
                        open::opened(self.report, moment.frame, values, &plane)
                    } else {
                        open::whole(self.report, moment.frame, values)
                    }
                })
                .collect()
        };
        [true, false].map(|opened| {
            let view = self.views[usize::from(!opened)];
            let rubbers = of(opened);
            let mut extent = [f64::INFINITY, f64::NEG_INFINITY, f64::INFINITY, f64::NEG_INFINITY];
            let shown = rubbers.iter().flat_map(|rubber| &rubber.mesh.positions);
            for point in shown.chain(&self.model.positions) {
                let offset = point - self.middle;
                let (x, y) = (offset.dot(&view.right), -offset.dot(&view.up));
                extent = [extent[0].min(x), extent[1].max(x), extent[2].min(y), extent[3].max(y)];
            }
            Row { view, rubbers, extent }
        })
    }

    fn header(&self, canvas: &mut Canvas, title: &str, doubts: &[String]) {
        canvas.text(title, 24.0, 44.0, Lettering::new(28.0, Weight::Bold));
        let verdict = trial_verdict(self.trial);
        canvas.text(&verdict, 24.0, 80.0, Lettering::new(20.0, Weight::Bold));
        for (number, line) in doubts.iter().enumerate() {
            let baseline = HEADER + LINE * number as f32 + 10.0;
            canvas.text(line, 24.0, baseline, Lettering::new(marks::WORDS, Weight::Regular));
        }
    }

    /// Number and words above a moment.
    fn caption(&self, canvas: &mut Canvas, index: usize, [x, y]: Spot) {
        marks::number(canvas, [x + 16.0, y + 24.0], index as u32 + 1, true);
        let lettering = Lettering::new(marks::WORDS, Weight::Bold);
        canvas.text(&self.moments[index].words, x + 40.0, y + 20.0, lettering);
        let words = format!("stretched by {:.0} %", 100.0 * self.strained[index]);
        let lettering = Lettering::new(marks::WORDS, Weight::Regular);
        canvas.text(&words, x + 40.0, y + 42.0, lettering);
    }

    fn cell(
        &self,
        row: &Row,
        index: usize,
        size: [f32; 2],
        scale: f64,
    ) -> Result<Canvas<'a>, PictureError> {
        let [left, right, top, _] = row.extent;
        let middle =
            [0.5 * f64::from(size[0]) - 0.5 * (left + right) * scale, MARGIN - top * scale];
        let camera = Camera { view: row.view, centre: self.middle, scale, middle };
        let (width, height) = (size[0] as u32, size[1] as u32);
        let mut canvas = Canvas::blank(width, height, self.fonts)?;
        let rubber = &row.rubbers[index];
        let mut shot = Shaded::valued(&rubber.mesh, &rubber.values).look(&camera, width, height);
        self.shaded.add_to(&mut shot, &camera);
        canvas.paste(
            0,
            0,
            &shot.paint_with(|sample| match shot.tint_at(sample.at) {
                Some(own) => self.bands.colour_over(sample, own),
                None => self.bands.colour(sample),
            })?,
        );
        if row.view.toward.z.abs() < 1e-6 && row.view.up.z > 0.999 {
            board(&mut canvas, &camera, size);
        }
        let last = index + 1 == self.moments.len();
        if let Outcome::Stuck { place, .. } = self.report.outcome
            && last
        {
            held(&mut canvas, &camera, &shot, place, size);
        }
        Ok(canvas)
    }
}

/// Px to the mm at which all rows fit their cells.
fn scale(rows: &[Row], cell: f64) -> f64 {
    let fit = |row: &Row| {
        let [left, right, top, bottom] = row.extent;
        let wide = (cell - 2.0 * MARGIN) / (right - left).max(1e-9);
        let high = TALLEST * cell / (bottom - top).max(1e-9);
        wide.min(high)
    };
    rows.iter().map(fit).fold(f64::INFINITY, f64::min)
}

/// The board edge-on.
fn board(canvas: &mut Canvas, camera: &Camera, size: [f32; 2]) {
    let on_board = Point::new(camera.centre.x, camera.centre.y, 0.0);
    let y = camera.spot(on_board)[1];
    marks::gate_edge(canvas, [2.0, y], [size[0] - 2.0, y], [0.0, 1.0]);
}

/// The ring round the place where the model holds the rubber back; dashed where it is hidden.
fn held(canvas: &mut Canvas, camera: &Camera, shot: &Shot, place: Point, size: [f32; 2]) {
    let lifted = place + Vector::from(camera.view.toward) * (3.0 / camera.scale);
    let seen = shot.sees(camera.project(lifted));
    let spot = camera.spot(place);
    let inside = |x: f32, size: f32| x.clamp(RING + 2.0, (size - RING - 2.0).max(RING + 2.0));
    let spot = [inside(spot[0], size[0]), inside(spot[1], size[1])];
    ring(canvas, spot, seen);
}
