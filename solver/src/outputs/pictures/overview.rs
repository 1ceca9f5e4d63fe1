//! The layout of a single picture, and of the overview with all of them and the legend.

use rayon::prelude::*;

use super::canvas::{Canvas, Lettering, Pen, Tone};
use super::cautions::Cautions;
use super::fit::{MARGIN, TITLE, scale_for};
use super::legend::{self, Block, Key};
use super::marks;
use super::overlay;
use super::raster::Shaded;
use super::scene::Scene;
use super::shell;
use super::text::{Fonts, Weight};
use super::view::{Camera, View};
use super::{Picture, PictureError};
use crate::mesh::{Point, TriangleMesh};
use crate::outputs::parting::shell_of;
use crate::outputs::verdict::verdict;
use crate::outputs::words::sentence;
use crate::plan::Plan;

/// What every picture of one plan shares.
pub(super) struct Studio<'a> {
    pub plan: &'a Plan,
    pub views: &'a [View],
    pub shaded: &'a Shaded<'a>,
    pub scene: &'a Scene,
    pub fonts: &'a Fonts,
    /// Name of the piece, if it has one.
    pub heading: Option<&'a str>,
    /// The point that lands in the middle of each picture.
    pub centre: Point,
    /// Largest width and height of the model over all views, mm.
    pub extent: [f64; 2],
}

/// Width of the column at the foot of a picture that holds the scale bar, px.
const BAR_COLUMN: f32 = 190.0;

/// What stands below the model on a single picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::outputs) enum Below {
    /// Verdict, scale bar, key, cautions: the picture is looked at by itself.
    Everything,
    /// Scale bar and cautions: verdict and key stand on the same pages.
    Bar,
}

/// The same, laid out.
struct Foot {
    verdict: Vec<String>,
    key: Option<Key>,
    cautions: Cautions,
    /// Height of the verdict, and of all, px.
    verdict_height: f32,
    height: f32,
}

const ROOM_FOR_BAR: f32 = 48.0;
const VERDICT: Lettering = Lettering::new(marks::WORDS, Weight::Bold);
const VERDICT_LINE: f32 = 24.0;

impl Foot {
    fn new(plan: &Plan, heading: Option<&str>, fonts: &Fonts, size: f32, below: Below) -> Self {
        let cautions = Cautions::new(fonts, size);
        let bar = ROOM_FOR_BAR + 20.0 + cautions.height;
        if below == Below::Bar {
            let (verdict, key) = (Vec::new(), None);
            return Self { verdict, key, cautions, verdict_height: 0.0, height: bar };
        }
        let key = Key::new(plan, fonts, BAR_COLUMN + 24.0, size - 16.0);
        let verdict = verdict(plan);
        let words = heading.map_or_else(|| verdict.clone(), |name| format!("{name}: {verdict}"));
        let verdict = fonts.wrap(&words, VERDICT.size, VERDICT.weight, size - 32.0);
        let verdict_height = VERDICT_LINE * verdict.len() as f32 + 8.0;
        let height = verdict_height + bar + (key.height - ROOM_FOR_BAR).max(0.0);
        Self { verdict, key: Some(key), cautions, verdict_height, height }
    }

    fn draw(&self, canvas: &mut Canvas, top: f32, scale: f64) {
        for (number, line) in self.verdict.iter().enumerate() {
            canvas.text(line, 16.0, top + VERDICT_LINE * (number as f32 + 1.0), VERDICT);
        }
        let top = top + self.verdict_height;
        let bar = marks::bar_length(scale, f64::from(BAR_COLUMN) - 20.0);
        marks::scale_bar(canvas, [16.0, top + 16.0], bar, scale);
        if let Some(key) = &self.key {
            key.draw(canvas, top + 10.0);
        }
        self.cautions.draw(canvas);
    }
}

/// Scale of the single pictures.
pub(super) fn view_scale(
    plan: &Plan,
    heading: Option<&str>,
    fonts: &Fonts,
    extent: [f64; 2],
    (size, below): (u32, Below),
) -> f64 {
    let foot = Foot::new(plan, heading, fonts, size as f32, below);
    scale_for(extent, size as f32, size as f32 - TITLE - foot.height)
}

impl Studio<'_> {
    /// The single pictures that are wanted by name, `size` px square, in the order of the views.
    pub fn views(
        &self,
        (size, below): (u32, Below),
        wanted: impl Fn(&str) -> bool,
    ) -> Result<Vec<Picture>, PictureError> {
        let views: Vec<&View> = self.views.iter().filter(|view| wanted(view.name)).collect();
        let whole = size as f32;
        let foot = Foot::new(self.plan, self.heading, self.fonts, whole, below);
        let room = (size, below);
        let scale = view_scale(self.plan, self.heading, self.fonts, self.extent, room);
        let top = whole - foot.height;
        views
            .par_iter()
            .map(|view| {
                let mut canvas = self.cell(view, size, top as u32, scale)?;
                canvas = on_paper(canvas, size, size, self.fonts)?;
                canvas.line(&[[0.0, top], [whole, top]], Pen::new(Tone::RULE, 1.0));
                foot.draw(&mut canvas, top, scale);
                Ok(Picture {
                    name: view.name.to_owned(),
                    title: view.title.to_owned(),
                    width: size,
                    height: size,
                    png: canvas.png()?,
                })
            })
            .collect()
    }

    /// The model from one side under a title.
    pub(super) fn cell(
        &self,
        view: &View,
        width: u32,
        height: u32,
        scale: f64,
    ) -> Result<Canvas<'_>, PictureError> {
        let middle = [f64::from(width) / 2.0, f64::from(height) / 2.0 + f64::from(TITLE) / 2.0];
        let camera = Camera { view: *view, centre: self.centre, scale, middle };
        let mut canvas = Canvas::blank(width, height, self.fonts)?;
        let shot = self.shaded.look(&camera, width, height);
        let area = [4.0, TITLE, width as f32 - 4.0, height as f32 - 4.0];
        overlay::draw(&mut canvas, self.scene, &camera, &shot, area)?;
        canvas.text(view.title, 16.0, 30.0, Lettering::new(20.0, Weight::Bold));
        Ok(canvas)
    }
}

/// What the marks on a plan's pictures mean, `width` px wide and as high as it needs to be.
pub(super) fn key(plan: &Plan, width: u32) -> Result<Picture, PictureError> {
    let fonts = Fonts::new()?;
    let side = 16.0;
    let blocks = legend::marks(plan, &fonts, width as f32 - 2.0 * side);
    let cautions = Cautions::new(&fonts, width as f32);
    let height = blocks.iter().map(Block::height).sum::<f32>() + GAP + cautions.height;
    let mut canvas = Canvas::blank(width, height.ceil() as u32, &fonts)?;
    let mut y = 0.0;
    for block in &blocks {
        block.draw(&mut canvas, side, y, width as f32 - 2.0 * side, 1.0);
        y += block.height();
    }
    cautions.draw(&mut canvas);
    Ok(Picture {
        name: "key".to_owned(),
        title: legend::MEANINGS.to_owned(),
        width,
        height: canvas.height(),
        png: canvas.png()?,
    })
}

/// A canvas of another size with `canvas` at its upper left.
fn on_paper<'f>(
    canvas: Canvas<'f>,
    width: u32,
    height: u32,
    fonts: &'f Fonts,
) -> Result<Canvas<'f>, PictureError> {
    let mut paper = Canvas::blank(width, height, fonts)?;
    paper.paste_canvas(0, 0, &canvas);
    Ok(paper)
}

/// Where a column of words goes on the overview.
struct Column {
    x: f32,
    y: f32,
    height: f32,
}

const GAP: f32 = 12.0;
/// Height of the title on the overview.
const HEADER: f32 = 58.0;
const HEADER_LINE: f32 = 27.0;

impl Studio<'_> {
    /// Verdict and what to mind, all views, and the legend, `width` px wide and as high as it needs to
    /// be. `model` is the mesh that the plan is of.
    pub fn overview(&self, model: &TriangleMesh, width: u32) -> Result<Picture, PictureError> {
        let whole = width as f32;
        let cell = ((whole - 4.0 * GAP) / 3.0).floor();
        let scale = scale_for(self.extent, cell, cell - TITLE);
        let header = self.header(whole);
        // Rows of the overview: which view goes where; the rest of the right column is for words.
        let rows: [&[&str]; 3] =
            [&["front", "right", "three-quarter"], &["back", "left"], &["top", "below"]];
        let named = |name: &str| self.views.iter().find(|view| view.name == name);
        let mut placed = Vec::new();
        let mut y = HEADER + HEADER_LINE * header.len() as f32;
        let mut row_tops = Vec::new();
        for row in rows {
            let views: Vec<&View> = row.iter().filter_map(|name| named(name)).collect();
            let tallest = views.iter().map(|view| self.height_in(view)).fold(0.0, f64::max);
            let height = ((tallest * scale) as f32 + 2.0 * MARGIN + TITLE).ceil();
            row_tops.push(y);
            for (column, view) in views.into_iter().enumerate() {
                placed.push((view, GAP + column as f32 * (cell + GAP), y, height));
            }
            y += height + GAP;
        }
        let column_x = |column: usize| GAP + column as f32 * (cell + GAP);
        let words = cell - 24.0;
        let bar = marks::bar_length(scale, 220.0);
        let mut blocks = legend::blocks(self.plan, self.fonts, words, bar);
        if let (Some(shell), Some(picture)) =
            (shell_of(self.plan), shell::small(model, self.plan, self.fonts, words)?)
        {
            blocks.extend(legend::shell_blocks(picture, shell, self.fonts, words));
        }
        let first = Column { x: column_x(2) + 12.0, y: row_tops[1], height: y - row_tops[1] - GAP };
        let (homes, bottom) = flow(&blocks, first, y, |column| column_x(column) + 12.0);

        let cautions = Cautions::new(self.fonts, whole);
        let height = (bottom + cautions.height).ceil() as u32;
        let mut canvas = Canvas::blank(width, height, self.fonts)?;
        let title = self.heading.map_or("Cut plan".to_owned(), |name| format!("Cut plan: {name}"));
        canvas.text(&title, 24.0, 44.0, Lettering::new(28.0, Weight::Bold));
        for (number, (line, lettering)) in header.iter().enumerate() {
            canvas.text(line, 24.0, HEADER + HEADER_LINE * number as f32 + 18.0, *lettering);
        }
        cautions.draw(&mut canvas);
        let cells: Vec<Canvas> = placed
            .par_iter()
            .map(|(view, _, _, height)| self.cell(view, cell as u32, *height as u32, scale))
            .collect::<Result<_, _>>()?;
        for ((_, x, y, height), picture) in placed.iter().zip(&cells) {
            canvas.paste_canvas(*x as i32, *y as i32, picture);
            canvas.frame([*x, *y], [cell, *height], Pen::new(Tone::RULE, 1.0));
        }
        for (block, (x, y)) in blocks.iter().zip(homes) {
            block.draw(&mut canvas, x, y, words, scale);
        }
        Ok(Picture {
            name: "overview".to_owned(),
            title,
            width: canvas.width(),
            height: canvas.height(),
            png: canvas.png()?,
        })
    }

    /// The lines below the title: the verdict, then what to mind.
    fn header(&self, width: f32) -> Vec<(String, Lettering)> {
        let lines = |words: &str, lettering: Lettering| {
            let lines = self.fonts.wrap(words, lettering.size, lettering.weight, width - 48.0);
            lines.into_iter().map(move |line| (line, lettering))
        };
        let mut all: Vec<_> =
            lines(&sentence(&verdict(self.plan)), Lettering::new(20.0, Weight::Bold)).collect();
        for warning in &self.plan.warnings {
            let words = format!("Mind: {}", sentence(warning));
            all.extend(lines(&words, Lettering::new(marks::WORDS, Weight::Regular)));
        }
        all
    }

    /// Height of the model on a view, mm, centred as it is drawn.
    fn height_in(&self, view: &View) -> f64 {
        super::view::extent(std::slice::from_ref(view), self.shaded.points(), self.centre)[1]
    }
}

/// Finds a home for every block: down the first column, then in three columns of equal height
/// from `below` on. Returns their upper left corners and the bottom of the words.
fn flow(
    blocks: &[Block<'_>],
    first: Column,
    below: f32,
    column_x: impl Fn(usize) -> f32,
) -> (Vec<(f32, f32)>, f32) {
    let mut height = 0.0;
    loop {
        let rest = (0..3).map(|column| Column { x: column_x(column), y: below, height });
        let first = Column { ..first };
        if let Some(homes) = fill(blocks, [first].into_iter().chain(rest)) {
            let bottom = if height > 0.0 { below + height } else { below };
            return (homes, bottom + GAP);
        }
        height += 24.0;
    }
}

/// Fills columns one after the other; `None` if the blocks need more room. A heading is kept with
/// what follows it.
fn fill(blocks: &[Block<'_>], columns: impl Iterator<Item = Column>) -> Option<Vec<(f32, f32)>> {
    let mut homes = Vec::new();
    let mut next = 0;
    for column in columns {
        let mut used = 0.0;
        while let Some(block) = blocks.get(next) {
            let mut needed = block.height();
            if let (Block::Heading(_), Some(follower)) = (block, blocks.get(next + 1)) {
                needed += follower.height();
            }
            if used + needed > column.height {
                break;
            }
            homes.push((column.x, column.y + used));
            used += block.height();
            next += 1;
        }
    }
    (next == blocks.len()).then_some(homes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Vector;
    use crate::outputs::fixtures::{cut, empty_plan};
    use crate::plan::CutKind;

    /// However many cuts there are, each gets room of its own, in the order of the
    /// knife.
    #[test]
    fn words_of_many_cuts_neither_overlap_nor_leave_the_overview() {
        let fonts = Fonts::new().expect("the built-in typeface reads");
        for count in [0, 1, 7, 20, 60] {
            let mut plan = empty_plan();
            let line = vec![Point::origin(), Point::from(Vector::z() * 30.0)];
            plan.cuts = (1..=count).map(|n| cut(n, CutKind::Separate, line.clone())).collect();
            let width = 600.0;
            let blocks = legend::blocks(&plan, &fonts, width, 20.0);
            let first = Column { x: 1300.0, y: 700.0, height: 900.0 };
            let (homes, bottom) = flow(&blocks, first, 1612.0, |column| 640.0 * column as f32);
            assert_eq!(homes.len(), blocks.len());
            let boxes: Vec<[f32; 4]> = homes
                .iter()
                .zip(&blocks)
                .map(|((x, y), block)| [*x, *y, x + width, y + block.height()])
                .collect();
            for (index, a) in boxes.iter().enumerate() {
                assert!(a[3] <= bottom, "{count} cuts: {a:?} below {bottom}");
                for b in &boxes[..index] {
                    let apart = a[0] >= b[2] || b[0] >= a[2] || a[1] >= b[3] || b[1] >= a[3];
                    assert!(apart, "{count} cuts: {a:?} over {b:?}");
                }
            }
        }
    }
}
