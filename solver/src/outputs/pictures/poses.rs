//! The poses of a model side by side: how it stands in each, and what of it touches the board.

use super::canvas::{Canvas, Lettering, Pen, Spot, Tone};
use super::cautions::Cautions;
use super::fit::{MARGIN, scale_for};
use super::marks::{self, WORDS};
use super::raster::Shaded;
use super::text::{Fonts, Weight};
use super::view::{self, Camera, View};
use super::{Picture, PictureError, PictureStyle, Subject, check_model, check_size};
use crate::body::{Poses, Stance};
use crate::mesh::Point;
use crate::outputs::pose_words::{of_pose, of_stance, on_gate, others};
use crate::outputs::whereabouts::Frame;
use crate::outputs::words::sentence;

const GAP: f32 = 14.0;
const HEADER: f32 = 60.0;
const LINE: f32 = 24.0;
/// Greatest height of a view, px.
const HIGHEST: f32 = 520.0;
const FOOT: Tone = Tone(50, 50, 50);
const BOARD: Pen = Pen::new(Tone::BLACK, 3.0);
const SUPPORT: Pen = Pen::new(Tone::BLACK, 2.0).dashed(10.0, 6.0);
const PLUMB: Pen = Pen::new(Tone::BLACK, 1.6).dashed(4.0, 4.0);
const KEY: &str = "Left: from the front, with the board, the centre of mass (ring) and the plumb line from it. Right: from the \
                   board, with what touches it (dark), the polygon that the weight has to stay over (dashed) and the \
                   plumb line (ring).";

/// A pose to be drawn.
struct Entry<'a> {
    name: String,
    words: String,
    stance: &'a Stance,
    views: [View; 2],
}

impl<'a> Entry<'a> {
    fn new(name: String, words: String, stance: &'a Stance) -> Result<Self, PictureError> {
        let up = stance.up;
        let frame = Frame::new(up).ok_or(PictureError::Up { up: [up.x, up.y, up.z] })?;
        let views = view::usual_views(&frame);
        Ok(Self { name, words, stance, views: [views[0], views[5]] })
    }
}

/// What the two views of a pose share.
struct Cell<'a> {
    shaded: &'a Shaded<'a>,
    fonts: &'a Fonts,
    /// The point that lands in the middle.
    centre: Point,
    centre_of_mass: Point,
    /// Width and height, px.
    size: [f32; 2],
    /// Pixels per mm.
    scale: f64,
}

/// Draws how a model stands in its file, and the poses in which it would come to rest. Of the style the page's width
/// and the heading are used.
pub fn draw_poses<'a>(
    model: impl Into<Subject<'a>>,
    poses: &Poses,
    style: &PictureStyle,
) -> Result<Picture, PictureError> {
    let subject = model.into();
    let model = subject.mesh;
    check_size("page_width", style.page_width, 1500, 8000)?;
    check_model(model)?;
    let (low, high) = model.bounds().ok_or(PictureError::EmptyModel)?;
    if model.faces.is_empty() || model.longest_side() <= 0.0 {
        return Err(PictureError::EmptyModel);
    }
    let centre = crate::nalgebra::center(&low, &high);
    let entries = entries(poses)?;
    let fonts = Fonts::new()?;
    let width = style.page_width as f32;
    let column = ((width - 3.0 * GAP) / 2.0).floor();
    let cell = (column / 2.0).floor();
    let mut extent = [0f64; 2];
    for entry in &entries {
        let own = view::extent(&entry.views, &model.positions, centre);
        extent = [extent[0].max(own[0]), extent[1].max(own[1])];
    }
    let scale = scale_for(extent, cell, HIGHEST);
    let high = ((extent[1] * scale) as f32 + 2.0 * MARGIN).ceil();
    let regular = Lettering::new(WORDS, Weight::Regular);
    let wrapped =
        |entry: &Entry<'_>| fonts.wrap(&entry.words, regular.size, regular.weight, column - 8.0);
    let lines = entries.iter().map(|entry| wrapped(entry).len()).max().unwrap_or(0);
    let row = LINE + high + (lines as f32 + 0.5) * LINE + GAP;
    let rows = entries.len().div_ceil(2);
    let cautions = Cautions::new(&fonts, width);
    let mut foot: Vec<String> = on_gate(poses).iter().map(|words| sentence(words)).collect();
    foot.extend(others(poses).map(|words| sentence(&words)));
    foot.push(KEY.to_owned());
    let foot: Vec<String> = foot
        .iter()
        .flat_map(|words| fonts.wrap(words, regular.size, regular.weight, width - 2.0 * GAP))
        .collect();
    let bar_height = 56.0;
    let below = bar_height + foot.len() as f32 * LINE + GAP + cautions.height;
    let total = HEADER + rows as f32 * row + below;
    let mut canvas = Canvas::blank(style.page_width, total.ceil() as u32, &fonts)?;
    let title = match &style.heading {
        Some(name) => format!("How it stands and rests: {name}"),
        None => "How it stands and rests".to_owned(),
    };
    canvas.text(&title, GAP, 42.0, Lettering::new(28.0, Weight::Bold));
    let shaded = Shaded::coloured(subject);
    let cells = Cell {
        shaded: &shaded,
        fonts: &fonts,
        centre,
        centre_of_mass: poses.centre_of_mass,
        size: [cell, high],
        scale,
    };
    for (index, entry) in entries.iter().enumerate() {
        let x = GAP + (index % 2) as f32 * (column + GAP);
        let y = HEADER + (index / 2) as f32 * row;
        canvas.text(&entry.name, x + 4.0, y + 18.0, Lettering::new(19.0, Weight::Bold));
        let views = [cells.front(entry)?, cells.below(entry)?];
        for (view, left) in views.iter().zip([x, x + cell]) {
            canvas.paste_canvas(left as i32, (y + LINE) as i32, view);
        }
        canvas.frame([x, y + LINE], [2.0 * cell, high], Pen::new(Tone::RULE, 1.0));
        for (number, line) in wrapped(entry).iter().enumerate() {
            let baseline = y + LINE + high + LINE * (number as f32 + 1.0) - 4.0;
            canvas.text(line, x + 4.0, baseline, regular);
        }
    }
    let mut y = HEADER + rows as f32 * row;
    let bar = marks::bar_length(scale, f64::from(cell) - 40.0);
    marks::scale_bar(&mut canvas, [GAP, y + 20.0], bar, scale);
    y += bar_height;
    for line in &foot {
        y += LINE;
        canvas.text(line, GAP, y - 6.0, regular);
    }
    cautions.draw(&mut canvas);
    Ok(Picture {
        name: "poses".to_owned(),
        title,
        width: canvas.width(),
        height: canvas.height(),
        png: canvas.png()?,
    })
}

/// The candidates, and before them how it stands in its file where it would not stay so.
fn entries(poses: &Poses) -> Result<Vec<Entry<'_>>, PictureError> {
    let mut all = Vec::new();
    if poses.given_candidate.is_none() {
        let words = sentence(&of_stance(&poses.as_given));
        all.push(Entry::new("As in the file".to_owned(), words, &poses.as_given)?);
    }
    for (index, pose) in poses.candidates.iter().enumerate() {
        let words = sentence(&of_pose(poses, index, pose));
        all.push(Entry::new(format!("Pose {}", index + 1), words, &pose.stance)?);
    }
    Ok(all)
}

impl<'a> Cell<'a> {
    /// How a pose stands, from the front: on the board, with its weight and the plumb line from it.
    fn front(&self, entry: &Entry<'_>) -> Result<Canvas<'a>, PictureError> {
        let (mut canvas, camera) = self.blank(entry.views[0])?;
        let stance = entry.stance;
        let weight = camera.spot(self.centre_of_mass);
        let plumb = camera.spot(self.centre_of_mass - stance.up * stance.height);
        canvas.line(&[[8.0, plumb[1]], [self.size[0] - 8.0, plumb[1]]], BOARD);
        canvas.line(&[weight, plumb], PLUMB);
        weight_mark(&mut canvas, weight);
        Ok(canvas)
    }

    /// What touches the board, from below.
    fn below(&self, entry: &Entry<'_>) -> Result<Canvas<'a>, PictureError> {
        let (mut canvas, camera) = self.blank(entry.views[1])?;
        let spots =
            |line: &Vec<Point>| -> Vec<Spot> { line.iter().map(|p| camera.spot(*p)).collect() };
        let outlines: Vec<Vec<Spot>> = entry.stance.foot.outlines.iter().map(spots).collect();
        canvas.polygons(&outlines, FOOT);
        let mut support = spots(&entry.stance.support);
        support.extend(support.first().copied());
        canvas.line(&support, Pen::new(Tone::WHITE, 4.0));
        canvas.line(&support, SUPPORT);
        weight_mark(&mut canvas, camera.spot(self.centre_of_mass));
        Ok(canvas)
    }

    fn blank(&self, view: View) -> Result<(Canvas<'a>, Camera), PictureError> {
        let [width, height] = self.size.map(|x| x as u32);
        let middle = self.size.map(|x| f64::from(x) / 2.0);
        let camera = Camera { view, centre: self.centre, scale: self.scale, middle };
        let mut canvas = Canvas::blank(width, height, self.fonts)?;
        canvas.paste(0, 0, &self.shaded.look(&camera, width, height).paint()?);
        Ok((canvas, camera))
    }
}

/// The ring that stands for the centre of mass.
fn weight_mark(canvas: &mut Canvas, at: Spot) {
    canvas.disc(at, 9.0, Tone::WHITE);
    canvas.circle(at, 8.0, Pen::new(Tone::BLACK, 2.5));
    canvas.disc(at, 2.5, Tone::BLACK);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::poses;
    use crate::mesh::fixtures::{cuboid, icosphere, moved};
    use crate::mesh::{TriangleMesh, Vector};

    fn style() -> PictureStyle {
        PictureStyle {
            page_width: 1500,
            heading: Some("box".to_owned()),
            ..PictureStyle::default()
        }
    }

    #[test]
    fn poses_are_drawn_with_cautions_and_the_same_each_time() {
        let model = moved(&cuboid([40.0, 30.0, 20.0]), [500.0, 0.0, -90.0]);
        let found = poses(&model, &Vector::z()).expect("poses");
        let picture = draw_poses(&model, &found, &style()).expect("draws");
        assert_eq!((picture.name.as_str(), picture.width), ("poses", 1500));
        assert_eq!(picture.title, "How it stands and rests: box");
        assert!(super::super::tests::carries_cautions(&picture));
        assert_eq!(picture, draw_poses(&model, &found, &style()).expect("draws"));
    }

    /// A box of 40 x 30 x 20 on its largest face, front and from the board: the board runs along its lower edge, and
    /// its whole base is dark.
    #[test]
    fn board_and_foot_are_where_they_belong() {
        let model = cuboid([40.0, 30.0, 20.0]);
        let found = poses(&model, &Vector::z()).expect("poses");
        let entries = entries(&found).expect("entries");
        assert_eq!(entries.len(), 6);
        let (shaded, fonts) = (Shaded::new(&model), Fonts::new().expect("the typeface"));
        let centre = Point::new(20.0, 15.0, 10.0);
        let cells = Cell {
            shaded: &shaded,
            fonts: &fonts,
            centre,
            centre_of_mass: centre,
            size: [300.0; 2],
            scale: 5.0,
        };
        let read = |canvas: Canvas| {
            tiny_skia::Pixmap::decode_png(&canvas.png().expect("written")).expect("read")
        };
        let dark = |picture: &tiny_skia::Pixmap, x: u32, y: u32| {
            picture.pixel(x, y).expect("within").red() < 90
        };
        let front = read(cells.front(&entries[0]).expect("draws"));
        // 20 mm high at 5 px to the mm about the middle: the board is 50 px below.
        assert!(dark(&front, 20, 200) && dark(&front, 280, 200) && !dark(&front, 20, 190));
        let below = read(cells.below(&entries[0]).expect("draws"));
        assert!(dark(&below, 60, 90) && dark(&below, 240, 210) && !dark(&below, 60, 60));
    }

    #[test]
    fn a_model_that_would_not_stay_is_drawn_as_in_its_file_too() {
        let mut leaning = cuboid([20.0, 40.0, 20.0]);
        for p in &mut leaning.positions {
            p.x += 2.0 * p.z;
        }
        let found = poses(&leaning, &Vector::z()).expect("poses");
        let drawn = entries(&found).expect("entries");
        assert_eq!(
            (drawn[0].name.as_str(), drawn.len()),
            ("As in the file", 1 + found.candidates.len())
        );
        assert!(draw_poses(&TriangleMesh::default(), &found, &style()).is_err());
        assert!(draw_poses(&icosphere(5.0, 1), &found, &style()).is_ok());
    }
}
