//! Sections through the mould: at up to six stations the plane across the cut, with model, rubber,
//! the knife's way in and the wedges of rubber either side.

mod cell;
mod choose;
mod outline;

use rayon::prelude::*;

pub(super) use choose::{Chosen, choose};

use super::canvas::{Canvas, Lettering, Pen, Tone};
use super::cautions::Cautions;
use super::marks;
use super::surface::Surface;
use super::text::{Fonts, Weight};
use super::{Picture, PictureError};
use crate::mesh::{Point, TriangleMesh};
use crate::plan::{Plan, SheetReport};
use cell::{Bench, RUBBER, TITLE};
use outline::Plane;

/// Name of section number `index` on all pictures.
pub(super) fn name(index: usize) -> String {
    format!("s{}", index + 1)
}

const GAP: f32 = 12.0;
const HEADER: f32 = 106.0;
const FOOTER: f32 = 74.0;
/// Room between the outside of the deepest cut and the upper edge of a section, px.
const ABOVE: f64 = 40.0;
/// Room to either side of what a knife's line needs, px.
const BESIDE: f64 = 90.0;
/// Scales, px to the mm.
const SCALES: [f64; 14] =
    [1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0, 18.0];
/// Part of a section's height below the station, at the least.
const BELOW: f64 = 0.3;

/// Coordinates of sheets that are not finite cannot be drawn.
pub(super) fn check(plan: &Plan) -> Result<(), PictureError> {
    for (index, cut) in plan.cuts.iter().enumerate() {
        for (number, sheet) in cut.sheets.iter().enumerate() {
            let good = |p: &Point| p.iter().all(|x| x.is_finite());
            let sound = sheet.stations.iter().all(|s| {
                good(&s.on_model)
                    && good(&s.on_outside)
                    && s.turn.as_ref().is_none_or(good)
                    && [s.normal, s.ahead, s.direction].iter().all(|d| d.norm().is_finite())
                    && s.wedge.iter().chain([&s.depth]).all(|x| x.is_finite())
            });
            if !sound {
                let what = format!("cuts[{index}].sheets[{number}]");
                return Err(PictureError::NotFinite { what });
            }
        }
    }
    Ok(())
}

/// The picture of the chosen sections, `width` px wide. `None` where there are none.
pub(super) fn draw(
    model: &TriangleMesh,
    surface: &Surface,
    report: &SheetReport,
    chosen: &[Chosen],
    fonts: &Fonts,
    heading: Option<&str>,
    width: u32,
) -> Result<Option<Picture>, PictureError> {
    if chosen.is_empty() {
        return Ok(None);
    }
    let columns = chosen.len().min(3);
    let rows = chosen.len().div_ceil(3);
    let whole = width as f32;
    let cell = ((whole - 4.0 * GAP) / 3.0).floor();
    let size = [f64::from(cell), f64::from(cell) * 0.86];
    let (scale, middle) = laid_out(chosen, stub(report), size);
    let bench = Bench { model, surface, report, fonts, scale, size, middle };
    let cells: Vec<Canvas> = chosen
        .par_iter()
        .enumerate()
        .map(|(index, chosen)| bench.section(chosen, &name(index)))
        .collect::<Result<_, _>>()?;

    let height = (TITLE + size[1] as f32).floor();
    let cautions = Cautions::new(fonts, whole);
    let foot = HEADER + rows as f32 * (height + GAP);
    let total = foot + FOOTER + cautions.height;
    let mut canvas = Canvas::blank(width, total.ceil() as u32, fonts)?;
    let title = heading.map_or("Sections across the cuts".to_owned(), |name| {
        format!("Sections across the cuts: {name}")
    });
    canvas.text(&title, 24.0, 44.0, Lettering::new(28.0, Weight::Bold));
    let words = "Seen along the cut from its start, the outside of the rubber up. All to the same \
                 scale, clipped at the frames.";
    canvas.text(words, 24.0, 80.0, Lettering::new(marks::WORDS, Weight::Regular));
    for (index, section) in cells.iter().enumerate() {
        let x = GAP + (index % columns) as f32 * (cell + GAP);
        let y = HEADER + (index / columns) as f32 * (height + GAP);
        canvas.paste_canvas(x as i32, y as i32, section);
        canvas.frame([x, y], [cell, height], Pen::new(Tone::RULE, 1.0));
        canvas.line(&[[x, y + TITLE], [x + cell, y + TITLE]], Pen::new(Tone::RULE, 1.0));
    }
    footer(&mut canvas, foot + 14.0, scale);
    cautions.draw(&mut canvas);
    Ok(Some(Picture {
        name: "sections".to_owned(),
        title,
        width: canvas.width(),
        height: canvas.height(),
        png: canvas.png()?,
    }))
}

/// Length of knife shown at a bridge, mm: enough to see which way it goes from the lip.
fn stub(report: &SheetReport) -> f64 {
    3.0 * report.settings.wedge_reach
}

/// The scale at which every knife's line fits, and where the stations land.
fn laid_out(chosen: &[Chosen], stub: f64, size: [f64; 2]) -> (f64, [f64; 2]) {
    let (mut above, mut beside, mut below) = (1.0f64, 1.0f64, 0.0f64);
    for chosen in chosen {
        let plane = Plane::at(chosen.station);
        for [x, y] in chosen.line(stub).iter().map(|point| plane.flat(point)) {
            above = above.max(y);
            below = below.max(-y);
            beside = beside.max(x.abs());
        }
    }
    let down = size[1] * (1.0 - BELOW);
    let high = (down - ABOVE) / above;
    let low = if below > 0.0 { (size[1] * BELOW - ABOVE) / below } else { f64::INFINITY };
    let wide = (0.5 * size[0] - BESIDE) / beside;
    let most = high.min(low).min(wide);
    let round = SCALES.iter().rev().find(|&&scale| scale <= most);
    let scale = round.copied().unwrap_or(most);
    // The station as high as the deepest line allows: what is left shows more of the model.
    (scale, [0.5 * size[0], (above * scale + ABOVE).min(down)])
}

/// The scale bar, and what the drawing means.
fn footer(canvas: &mut Canvas, top: f32, scale: f64) {
    marks::scale_bar(canvas, [24.0, top + 6.0], marks::bar_length(scale, 220.0), scale);
    let lettering = Lettering::new(marks::WORDS, Weight::Regular);
    let middle = top + 22.0;
    let mut x = 290.0;
    let mut item = |canvas: &mut Canvas, draw: &dyn Fn(&mut Canvas, f32), words: &str| {
        draw(canvas, x);
        canvas.text(words, x + 56.0, middle + 6.0, lettering);
        x += 56.0 + canvas.fonts().width(words, lettering.size, lettering.weight) + 30.0;
    };
    let frame = |canvas: &mut Canvas, x: f32, tone: Tone| {
        canvas.rectangle([x, middle - 13.0], [46.0, 26.0], tone);
        canvas.frame([x, middle - 13.0], [46.0, 26.0], Pen::new(Tone::BLACK, 2.0));
    };
    item(canvas, &|canvas, x| frame(canvas, x, RUBBER), "rubber");
    let hatched = |canvas: &mut Canvas, x: f32| {
        frame(canvas, x, Tone::WHITE);
        for step in 0..4 {
            let from = x + 10.0 * step as f32;
            let to = (from + 26.0).min(x + 46.0);
            let rise = to - from;
            let spots = [[from, middle + 13.0], [to, middle + 13.0 - rise]];
            canvas.line(&spots, Pen::new(Tone(120, 120, 120), 1.1));
        }
    };
    item(canvas, &hatched, "model");
    let knife = |canvas: &mut Canvas, x: f32| {
        canvas.line(&[[x + 4.0, middle], [x + 40.0, middle]], Pen::new(Tone::BLACK, 4.2).round());
        canvas.disc([x + 4.0, middle], 5.0, Tone::BLACK);
        canvas.disc([x + 40.0, middle], 6.0, Tone::WHITE);
        canvas.circle([x + 40.0, middle], 6.0, Pen::new(Tone::BLACK, 2.4));
    };
    item(canvas, &knife, "knife, ring where it enters");
    let arc = |canvas: &mut Canvas, x: f32| {
        let spots: Vec<_> = (0..=20)
            .map(|k| {
                let (sine, cosine) = (0.2 + 1.3 * k as f32 / 20.0).sin_cos();
                [x + 4.0 + 34.0 * cosine, middle + 17.0 - 34.0 * sine]
            })
            .collect();
        canvas.line(&spots, Pen::new(Tone::BLACK, 1.8));
    };
    item(canvas, &arc, "wedge of rubber beside the knife; thick where the lip is thin");
}
