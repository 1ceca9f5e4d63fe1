//! Plans of one model side by side: the same two sides of each, and what each comes to.

use super::canvas::{Canvas, Lettering, Pen, Tone};
use super::cautions::Cautions;
use super::fit::{MARGIN, TITLE, scale_for};
use super::marks::{self, WORDS};
use super::overview::Studio;
use super::raster::Shaded;
use super::scene::Scene;
use super::sight::is_seen;
use super::surface::Surface;
use super::text::{Fonts, Weight};
use super::view::{self, Camera, View};
use super::{HATCH_SPACING, Picture, PictureError, PictureStyle, SAMPLE_SPACING, Subject};
use super::{check_model, check_size, frame_of};
use crate::outputs::comparison::{FIGURES, best, front_in_words, trial_in_short};
use crate::plan::{Comparison, Plan};

const GAP: f32 = 12.0;
const HEADER: f32 = 104.0;
/// Height of one line of figures.
const LINE: f32 = 27.0;
/// Width of the column with what is compared.
const WHAT: f32 = 240.0;
/// Plans in one picture, at most and at the least.
const PLANS: (usize, usize) = (1, 5);
/// Side of the pictures on which it is looked for what is seen, px.
const LOOK: u32 = 300;

/// Draws plans of `model` side by side, with `comparison` in their order. Of the style the page's
/// width and the heading are used. The sides are the two of the usual seven that together see
/// all cuts best.
pub fn draw_comparison<'a>(
    model: impl Into<Subject<'a>>,
    plans: &[&Plan],
    comparison: &Comparison,
    style: &PictureStyle,
) -> Result<Picture, PictureError> {
    check_size("page_width", style.page_width, 1500, 8000)?;
    let subject = model.into();
    let model = subject.mesh;
    check_model(model)?;
    let count = plans.len();
    if !(PLANS.0..=PLANS.1).contains(&count) || comparison.rows.len() != count {
        let (rows, most) = (comparison.rows.len(), PLANS.1);
        return Err(PictureError::Plans { plans: count, rows, most });
    }
    let (low, high) = model.bounds().ok_or(PictureError::EmptyModel)?;
    let centre = crate::nalgebra::center(&low, &high);
    let size = model.longest_side();
    if model.faces.is_empty() || size <= 0.0 {
        return Err(PictureError::EmptyModel);
    }
    let views = view::usual_views(&frame_of(plans[0])?);
    let fonts = Fonts::new()?;
    let width = style.page_width as f32;
    let cell = ((width - WHAT - (count as f32 + 2.0) * GAP) / count as f32).floor();
    let cell = cell.min(0.4 * width);
    let surface = Surface::new(model)?;
    let shaded = Shaded::coloured(subject);
    let all = view::extent(&views, &model.positions, centre);
    let rough = scale_for(all, cell, cell);
    let scenes = plans
        .iter()
        .map(|plan| {
            let (step, hatch) = (SAMPLE_SPACING / rough, HATCH_SPACING / rough);
            Scene::new(plan, &surface, size, step, hatch, &[])
        })
        .collect::<Result<Vec<_>, _>>()?;
    let chosen = choose(&views, &shaded, &scenes, centre, all);
    let extent = view::extent(&chosen, &model.positions, centre);
    let scale = scale_for(extent, cell, f32::MAX);
    let heights = chosen.map(|side| {
        let high = view::extent(&[side], &model.positions, centre)[1];
        ((high * scale) as f32 + 2.0 * MARGIN + TITLE).ceil()
    });
    let figures = (FIGURES.len() + 1) as f32 * LINE + 2.0 * GAP;
    let names = 44.0;
    let total = HEADER + names + heights.iter().map(|h| h + GAP).sum::<f32>() + figures + 60.0;
    let cautions = Cautions::new(&fonts, width);
    let total = total + cautions.height;
    let mut canvas = Canvas::blank(style.page_width, total.ceil() as u32, &fonts)?;
    let title = match &style.heading {
        Some(name) => format!("Plans side by side: {name}"),
        None => "Plans side by side".to_owned(),
    };
    canvas.text(&title, 24.0, 44.0, Lettering::new(28.0, Weight::Bold));
    let regular = Lettering::new(WORDS, Weight::Regular);
    canvas.text(&front_in_words(comparison), 24.0, 80.0, regular);
    for (index, (plan, scene)) in plans.iter().zip(&scenes).enumerate() {
        let x = WHAT + 2.0 * GAP + index as f32 * (cell + GAP);
        let row = &comparison.rows[index];
        let name = Lettering::new(20.0, Weight::Bold);
        canvas.text(&shortened(&fonts, &row.name, name, cell), x + 4.0, HEADER + 24.0, name);
        let studio = Studio {
            plan,
            views: &views,
            shaded: &shaded,
            scene,
            fonts: &fonts,
            heading: None,
            centre,
            extent,
        };
        let mut y = HEADER + names;
        for (side, height) in chosen.iter().zip(heights) {
            let picture = studio.cell(side, cell as u32, height as u32, scale)?;
            canvas.paste_canvas(x as i32, y as i32, &picture);
            canvas.frame([x, y], [cell, height], Pen::new(Tone::RULE, 1.0));
            y += height + GAP;
        }
    }
    let top = HEADER + names + heights.iter().map(|h| h + GAP).sum::<f32>();
    table(&mut canvas, comparison, [top, cell, width]);
    let bar = marks::bar_length(scale, f64::from(WHAT) - 40.0);
    marks::scale_bar(&mut canvas, [24.0, HEADER + names + 8.0], bar, scale);
    cautions.draw(&mut canvas);
    Ok(Picture {
        name: "comparison".to_owned(),
        title,
        width: canvas.width(),
        height: canvas.height(),
        png: canvas.png()?,
    })
}

/// The figures below the pictures, the best of each line in bold between bars.
fn table(canvas: &mut Canvas, comparison: &Comparison, [top, cell, width]: [f32; 3]) {
    let rows = &comparison.rows;
    let regular = Lettering::new(WORDS, Weight::Regular);
    let bold = Lettering::new(WORDS, Weight::Bold);
    let place = |index: usize| WHAT + 2.0 * GAP + index as f32 * (cell + GAP) + 0.5 * cell;
    let mut y = top + LINE;
    for figure in &FIGURES {
        canvas.line(&[[24.0, y + 8.0], [width - 24.0, y + 8.0]], Pen::new(Tone::RULE, 1.0));
        canvas.text(figure.what, 24.0, y, regular);
        for ((index, row), best) in rows.iter().enumerate().zip(best(figure, rows)) {
            let words = (figure.of)(row).1;
            let words = if best { format!("\u{2013} {words} \u{2013}") } else { words };
            let lettering = if best { bold } else { regular };
            canvas.text_centred(&words, [place(index), y - 6.0], lettering);
        }
        y += LINE;
    }
    canvas.text("release trial", 24.0, y, regular);
    for (index, row) in rows.iter().enumerate() {
        canvas.text_centred(&trial_in_short(row), [place(index), y - 6.0], regular);
    }
    let note = "Bold between dashes: best of its line among the plans that work.";
    canvas.text(note, 24.0, y + 1.6 * LINE, regular.toned(Tone::MUTED));
}

/// The two sides that together see all cuts best; the first is the one that does by itself.
fn choose(
    views: &[View; 7],
    shaded: &Shaded<'_>,
    scenes: &[Scene],
    centre: crate::mesh::Point,
    extent: [f64; 2],
) -> [View; 2] {
    let look = LOOK as f32;
    let scale = scale_for(extent, look + 2.0 * MARGIN, look + 2.0 * MARGIN);
    let feet = || {
        scenes.iter().flat_map(|scene| &scene.cuts).flat_map(|cut| cut.branches.iter().flatten())
    };
    // How squarely each side sees each point of a cut: a cut on the outline is seen, but not well.
    let seen: Vec<Vec<f64>> = views
        .iter()
        .map(|&view| {
            let middle = [f64::from(LOOK) / 2.0; 2];
            let camera = Camera { view, centre, scale, middle };
            let shot = shaded.look(&camera, LOOK, LOOK);
            feet()
                .map(|foot| match is_seen(foot, &camera, &shot) {
                    true => foot.normal.dot(&view.toward).max(0.0),
                    false => 0.0,
                })
                .collect()
        })
        .collect();
    let gain = |view: usize, over: Option<usize>| -> f64 {
        let before = |k: usize| over.map_or(0.0, |other| seen[other][k]);
        seen[view].iter().enumerate().map(|(k, own)| (own - before(k)).max(0.0)).sum()
    };
    // Of equals the later one: the three-quarter view shows shape best.
    let most = |over: Option<usize>| {
        (0..views.len())
            .filter(|&v| Some(v) != over)
            .max_by(|&a, &b| gain(a, over).total_cmp(&gain(b, over)))
            .unwrap_or(0)
    };
    let first = most(None);
    let second = most(Some(first));
    [views[first], views[second]]
}

/// Words that fit a width, with a dot for what is left out.
fn shortened(fonts: &Fonts, words: &str, lettering: Lettering, width: f32) -> String {
    let fits = |text: &str| fonts.width(text, lettering.size, lettering.weight) <= width - 8.0;
    if fits(words) {
        return words.to_owned();
    }
    let mut kept: String = words.to_owned();
    while !kept.is_empty() && !fits(&format!("{kept}\u{2026}")) {
        kept.pop();
    }
    format!("{kept}\u{2026}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::icosphere;
    use crate::mesh::{Point, Vector};
    use crate::outputs::fixtures::{compared, cut, empty_plan};
    use crate::outputs::whereabouts::Frame;
    use crate::plan::CutKind;

    const RADIUS: f64 = 30.0;

    /// A plan with one cut: an arc of 80 degrees on the ball about a direction, upright.
    fn plan(middle: Vector) -> Plan {
        let line = (-20..=20).map(|k| {
            let (sine, cosine) = (f64::from(k) * 2f64.to_radians()).sin_cos();
            Point::from((middle * cosine + Vector::z() * sine) * RADIUS)
        });
        let mut plan = empty_plan();
        plan.cuts = vec![cut(1, CutKind::Separate, line.collect())];
        plan
    }

    fn style() -> PictureStyle {
        PictureStyle {
            page_width: 1500,
            heading: Some("ball".to_owned()),
            ..PictureStyle::default()
        }
    }

    /// One cut in front and one behind: no side sees both, so one of either is shown.
    #[test]
    fn the_two_sides_see_all_cuts_between_them() {
        let model = icosphere(RADIUS, 4);
        let surface = Surface::new(&model).expect("a plain mesh");
        let plans = [plan(-Vector::y()), plan(Vector::y())];
        let scenes: Vec<Scene> = plans
            .iter()
            .map(|plan| Scene::new(plan, &surface, 60.0, 0.2, 2.0, &[]).expect("a scene"))
            .collect();
        let views = view::usual_views(&Frame::new(Vector::z()).expect("up is given"));
        let shaded = Shaded::new(&model);
        let sides = choose(&views, &shaded, &scenes, Point::origin(), [60.0, 60.0]);
        let sees = |toward: Vector| sides.iter().any(|side| side.toward.dot(&toward) > 0.7);
        assert!(sees(-Vector::y()) && sees(Vector::y()), "{sides:?}");
    }

    #[test]
    fn plans_are_drawn_beside_each_other() {
        let model = icosphere(RADIUS, 3);
        let plans = [plan(-Vector::y()), plan(Vector::x()), plan(Vector::y())];
        let plans: Vec<&Plan> = plans.iter().collect();
        let row = |name: &str, length| compared(name, length, 0.2, true);
        let rows =
            vec![row("one", 40.0), row("two", 41.0), row("a name too long for a column", 42.0)];
        let comparison = Comparison { rows };
        let draw = |plans: &[&Plan]| draw_comparison(&model, plans, &comparison, &style());
        let picture = draw(&plans).expect("draws");
        assert_eq!((picture.name.as_str(), picture.width), ("comparison", 1500));
        assert_eq!(picture.title, "Plans side by side: ball");
        assert!(super::super::tests::carries_cautions(&picture));
        assert_eq!(picture, draw(&plans).expect("draws"));
        let fault = draw(&plans[..2]).expect_err("refused");
        assert_eq!(fault, PictureError::Plans { plans: 2, rows: 3, most: 5 });
        assert!(matches!(draw(&[]), Err(PictureError::Plans { plans: 0, .. })));
    }

    #[test]
    fn long_names_are_shortened_to_fit() {
        let fonts = Fonts::new().expect("the built-in typeface reads");
        let lettering = Lettering::new(20.0, Weight::Bold);
        let short = shortened(&fonts, "a name too long for a column", lettering, 120.0);
        assert!(short.ends_with('\u{2026}') && short.starts_with("a na"));
        assert!(fonts.width(&short, 20.0, Weight::Bold) <= 112.0);
        assert_eq!(shortened(&fonts, "one", lettering, 120.0), "one");
    }
}
