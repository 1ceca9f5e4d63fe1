//! What mending changed of a model, marked on it: from the sides where it is seen, each kind by a colour and a pattern of
//! its own, the largest changes by numbers that words below explain.

mod kinds;
mod marked;

use self::kinds::{dashed_outline, marked, name, of_mend, swatch};
use self::marked::{Marked, body, index_of, tally};
use super::canvas::{Canvas, Lettering, Pen, Spot, Tone};
use super::cautions::Cautions;
use super::fit::{MARGIN, scale_for};
use super::marks::{self, BADGE, WORDS};
use super::raster::{Edge, Sample, Shaded, Shot};
use super::subject::Subject;
use super::text::{Fonts, Weight};
use super::view::{self, Camera, View};
use super::{Picture, PictureError, PictureStyle, check_model, check_size};
use crate::mesh::{Mend, MendKind, Model, Point, TriangleMesh, Vector};
use crate::outputs::whereabouts::Frame;
use crate::outputs::words::sentence;

const GAP: f32 = 14.0;
const HEADER: f32 = 60.0;
const LINE: f32 = 24.0;
/// Greatest height of a view, px.
const HIGHEST: f32 = 720.0;
/// Side of the pictures on which it is looked for what is seen, px.
const LOOK: u32 = 400;
/// Views of one picture, at most.
const MOST_VIEWS: usize = 4;
/// Changes with a number, at most.
const MOST_NUMBERS: usize = 12;
/// A view is added while it shows this share more of what changed.
const WORTH: f64 = 0.08;
/// Samples of a change that is so small that it gets a ring.
const FEW: usize = 700;
/// Radius of the ring round the largest deviation, px.
const RING: f32 = 20.0;

struct Drawing<'a> {
    mends: &'a [Mend],
    shaded: Shaded<'a>,
    fonts: &'a Fonts,
    centre: Point,
    extent: [f64; 2],
    bodies: Vec<Option<TriangleMesh>>,
}

/// Draws what mending changed of a model. `None` where nothing was: what changes no shape, as welding, is only told. Of the
/// style the page's width and the heading are used.
pub fn draw_repairs(model: &Model, style: &PictureStyle) -> Result<Option<Picture>, PictureError> {
    check_size("page_width", style.page_width, 1500, 8000)?;
    let original = &model.original;
    check_model(original)?;
    if model.mends.is_empty() {
        return Ok(None);
    }
    if original.faces.is_empty() || original.longest_side() <= 0.0 {
        return Err(PictureError::EmptyModel);
    }
    let fonts = Fonts::new()?;
    let changed = Marked::new(model);
    let frame = Frame::new(Vector::z()).ok_or(PictureError::Up { up: [0.0, 0.0, 1.0] })?;
    let views = view::usual_views(&frame);
    // What was dropped lies beside the model too.
    let gone = model.mends.iter().filter(|mend| mend.kind == MendKind::Beside);
    let points: Vec<Point> = original
        .positions
        .iter()
        .copied()
        .chain(gone.flat_map(|mend| mend.faces.as_flattened()).copied())
        .collect();
    let (low, high) =
        points.iter().fold((points[0], points[0]), |(low, high), p| (low.inf(p), high.sup(p)));
    let centre = crate::nalgebra::center(&low, &high);
    let paint = model.paint.as_deref();
    let drawing = Drawing {
        mends: &model.mends,
        shaded: Shaded::valued_and_coloured(
            Subject { mesh: &changed.mesh, paint },
            &changed.values,
        ),
        fonts: &fonts,
        centre,
        extent: view::extent(&views, &points, centre),
        bodies: model.mends.iter().map(body).collect(),
    };
    let chosen = drawing.choose(&views);
    drawing.draw(&chosen, &model.repairs, style).map(Some)
}

impl Drawing<'_> {
    fn camera(&self, view: View, size: [f32; 2], scale: f64) -> Camera {
        let middle = size.map(|x| f64::from(x) / 2.0);
        Camera { view, centre: self.centre, scale, middle }
    }

    /// The sides that show the changes, best first. What is seen from nowhere, as shells within, asks for none.
    fn choose(&self, views: &[View; 7]) -> Vec<View> {
        let look = LOOK as f32;
        let scale = scale_for(self.extent, look + 2.0 * MARGIN, look + 2.0 * MARGIN);
        let seen: Vec<Vec<f64>> = views
            .iter()
            .map(|&view| {
                let camera = self.camera(view, [look; 2], scale);
                let shot = self.shaded.look(&camera, LOOK, LOOK);
                let mut seen: Vec<f64> = tally(&shot, self.mends.len())
                    .into_iter()
                    .map(|(seen, _)| seen as f64)
                    .collect();
                // The ring wants a side that sees its place, whatever else is seen.
                for (seen, mend) in seen.iter_mut().zip(self.mends) {
                    if mend.kind == MendKind::Rebuilt && !self.sees(&camera, &shot, mend) {
                        *seen *= 0.4;
                    }
                }
                seen
            })
            .collect();
        let mut best = vec![0.0f64; self.mends.len()];
        let mut chosen: Vec<usize> = Vec::new();
        let most: f64 =
            (0..self.mends.len()).map(|m| seen.iter().map(|own| own[m]).fold(0.0, f64::max)).sum();
        while chosen.len() < MOST_VIEWS {
            let gain = |v: &usize| -> f64 {
                seen[*v].iter().zip(&best).map(|(own, best)| (own - best).max(0.0)).sum()
            };
            let next = (0..views.len())
                .filter(|v| !chosen.contains(v))
                .max_by(|a, b| gain(a).total_cmp(&gain(b)).then(b.cmp(a)));
            let Some(next) = next.filter(|v| gain(v) > WORTH * most) else { break };
            best.iter_mut().zip(&seen[next]).for_each(|(best, own)| *best = best.max(*own));
            chosen.push(next);
        }
        // A whole surface wants its other side too; what is hidden from all sides is shown from two.
        let other = |v: usize| [1, 0, 3, 2, 5, 4, 1][v];
        match chosen.as_slice() {
            [] => chosen = vec![0, 6],
            [only] => chosen.push(other(*only)),
            _ => {}
        }
        chosen.into_iter().map(|v| views[v]).collect()
    }

    /// Whether the place of a change is seen.
    fn sees(&self, camera: &Camera, shot: &Shot, mend: &Mend) -> bool {
        let lifted = mend.place + camera.view.toward * (3.0 / camera.scale);
        shot.sees(camera.project(lifted))
    }

    /// The changes that have marks: what was there before the solid was rebuilt is told only, but for what was dropped.
    fn shown(&self) -> impl Iterator<Item = usize> {
        let first = self.mends.iter().rposition(|m| m.kind == MendKind::Rebuilt).unwrap_or(0);
        (0..self.mends.len()).filter(move |k| *k >= first || self.bodies[*k].is_some())
    }

    /// The changes with numbers, those that change most first.
    fn numbered(&self) -> Vec<usize> {
        let mut all: Vec<usize> = self.shown().collect();
        all.sort_by(|a, b| {
            let [a, b] = [a, b].map(|k| &self.mends[*k]);
            a.kind.cmp(&b.kind).then(b.size.total_cmp(&a.size))
        });
        // Of each kind some, even if one has very many.
        let mut some: Vec<usize> = Vec::new();
        for kind in MendKind::ALL {
            let own = all.iter().filter(|k| self.mends[**k].kind == kind);
            some.extend(own.take(MOST_NUMBERS / 2));
        }
        some.truncate(MOST_NUMBERS);
        some
    }

    fn draw(
        &self,
        views: &[View],
        repairs: &[String],
        style: &PictureStyle,
    ) -> Result<Picture, PictureError> {
        let width = style.page_width as f32;
        let cell = ((width - 3.0 * GAP) / 2.0).floor();
        let scale = scale_for(self.extent, cell, HIGHEST);
        let high = ((self.extent[1] * scale) as f32 + 2.0 * MARGIN).ceil();
        let row = LINE + high + GAP;
        let rows = views.len().div_ceil(2);
        let numbered = self.numbered();
        let regular = Lettering::new(WORDS, Weight::Regular);
        let wrap =
            |words: &str, room: f32| self.fonts.wrap(words, regular.size, regular.weight, room);
        let mut told: Vec<String> = Vec::new();
        for (number, index) in (1..).zip(&numbered) {
            told.extend(wrap(&format!("{number}  {}", of_mend(&self.mends[*index])), cell - 8.0));
        }
        let done: Vec<String> = std::iter::once("All that was repaired:".to_owned())
            .chain(repairs.iter().map(|words| sentence(words)))
            .flat_map(|words| wrap(&words, width - 2.0 * GAP))
            .collect();
        let kinds: Vec<(MendKind, usize)> = MendKind::ALL
            .into_iter()
            .map(|kind| (kind, self.shown().filter(|k| self.mends[*k].kind == kind).count()))
            .filter(|(_, count)| *count > 0)
            .collect();
        let middle = (kinds.len() as f32 * 34.0 + 56.0).max(told.len() as f32 * LINE) + GAP;
        let cautions = Cautions::new(self.fonts, width);
        let below = HEADER + rows as f32 * row;
        let total = below + middle + done.len() as f32 * LINE + GAP + cautions.height;
        let mut canvas = Canvas::blank(style.page_width, total.ceil() as u32, self.fonts)?;
        let title = match &style.heading {
            Some(name) => format!("What was repaired: {name}"),
            None => "What was repaired".to_owned(),
        };
        canvas.text(&title, GAP, 42.0, Lettering::new(28.0, Weight::Bold));
        for (index, view) in views.iter().enumerate() {
            let x = GAP + (index % 2) as f32 * (cell + GAP);
            let y = HEADER + (index / 2) as f32 * row;
            canvas.text(view.title, x + 4.0, y + 18.0, Lettering::new(19.0, Weight::Bold));
            let picture = self.cell(*view, [cell, high], scale, &numbered)?;
            canvas.paste_canvas(x as i32, (y + LINE) as i32, &picture);
            canvas.frame([x, y + LINE], [cell, high], Pen::new(Tone::RULE, 1.0));
        }
        let mut y = below;
        for (kind, count) in kinds {
            swatch(&mut canvas, kind, [GAP, y], self.fonts)?;
            canvas.text(&sentence(&name(kind, count)), GAP + 66.0, y + 19.0, regular);
            y += 34.0;
        }
        let bar = marks::bar_length(scale, f64::from(cell) / 3.0);
        marks::scale_bar(&mut canvas, [GAP, y + 8.0], bar, scale);
        for (number, line) in told.iter().enumerate() {
            let baseline = below + LINE * number as f32 + 18.0;
            canvas.text(line, 2.0 * GAP + cell, baseline, regular);
        }
        for (number, line) in done.iter().enumerate() {
            canvas.text(line, GAP, below + middle + LINE * number as f32 + 12.0, regular);
        }
        cautions.draw(&mut canvas);
        Ok(Picture {
            name: "repairs".to_owned(),
            title,
            width: canvas.width(),
            height: canvas.height(),
            png: canvas.png()?,
        })
    }

    fn cell(
        &self,
        view: View,
        size: [f32; 2],
        scale: f64,
        numbered: &[usize],
    ) -> Result<Canvas<'_>, PictureError> {
        let [width, height] = size.map(|x| x as u32);
        let camera = self.camera(view, size, scale);
        let mut canvas = Canvas::blank(width, height, self.fonts)?;
        let shot = self.shaded.look(&camera, width, height);
        canvas.paste(0, 0, &shot.paint_over(|sample| self.colour(sample))?);
        for (mend, body) in self.mends.iter().zip(&self.bodies) {
            let Some(body) = body else { continue };
            let own = Shaded::new(body).look(&camera, width, height);
            dashed_outline(&mut canvas, &own.outline(), mend.kind);
        }
        let seen = tally(&shot, self.mends.len());
        let mut taken: Vec<Spot> = Vec::new();
        for (number, index) in (1u32..).zip(numbered) {
            let mend = &self.mends[*index];
            let (samples, sum) = seen[*index];
            let gone = self.bodies[*index].is_some();
            let rebuilt = mend.kind == MendKind::Rebuilt;
            let in_sight = if rebuilt { self.sees(&camera, &shot, mend) } else { samples > 0 };
            if !in_sight && !gone {
                continue;
            }
            let at = match gone || rebuilt {
                true => camera.spot(mend.place),
                false => sum.map(|x| (x / samples as f64 / super::raster::FINER as f64) as f32),
            };
            // What is hardly seen wants a ring too.
            if rebuilt || (!gone && samples < FEW) {
                canvas.circle(at, RING, Pen::new(Tone::WHITE, 6.0));
                canvas.circle(at, RING, Pen::new(Tone::BLACK, 3.0));
            }
            let badge = place(at, size, &taken);
            taken.push(badge);
            marks::leader(&mut canvas, badge, at);
            marks::number(&mut canvas, badge, number, in_sight && !gone);
        }
        Ok(canvas)
    }

    /// The colour of a changed place; `None` where it did not change.
    fn colour(&self, sample: &Sample) -> Option<[f32; 3]> {
        let mend = self.mends.get(index_of(sample.value?))?;
        match sample.edge {
            Some(Edge::Silhouette) => Some([40.0; 3]),
            _ => Some(marked(mend.kind, sample.light, sample.at)),
        }
    }
}

/// Where a number goes: beside its place, clear of the others and within the picture.
fn place(at: Spot, size: [f32; 2], taken: &[Spot]) -> Spot {
    let inside = |x: f32, size: f32| x.clamp(BADGE + 4.0, size - BADGE - 4.0);
    let mut best = ([inside(at[0], size[0]), inside(at[1], size[1])], f32::NEG_INFINITY);
    for reach in [42.0, 64.0, 90.0, 120.0] {
        for k in 0..16 {
            let (sine, cosine) = (std::f32::consts::TAU * k as f32 / 16.0 - 0.8).sin_cos();
            let spot =
                [inside(at[0] + reach * cosine, size[0]), inside(at[1] + reach * sine, size[1])];
            let far = |other: &Spot| (spot[0] - other[0]).hypot(spot[1] - other[1]);
            let free = taken.iter().map(far).fold(f32::INFINITY, f32::min);
            if free > 2.0 * BADGE + 6.0 && far(&at) > BADGE + 8.0 {
                return spot;
            }
            if free.min(1e6) > best.1 {
                best = (spot, free.min(1e6));
            }
        }
    }
    best.0
}

#[cfg(test)]
mod tests;
