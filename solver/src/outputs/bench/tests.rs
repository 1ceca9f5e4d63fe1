//! Pages and templates, read back by other libraries.

use std::f64::consts::{PI, TAU};
use std::sync::Arc;

use kurbo::{BezPath, Shape};
use lopdf::content::Content;
use lopdf::{Document, Object};
use proptest::prelude::*;

use super::blocks::{plain, raised};
use super::*;
use crate::body::Outside;
use crate::mesh::{Point, TriangleMesh};
use crate::outputs::cautions::{CAUTIONS, CAUTIONS_IN_SHORT};
use crate::outputs::every_plan::{self, any_plan, bare};
use crate::outputs::fixtures::{
    advice, ball_shell, cut, empty_plan, sheet, sheet_report, station, trial_of_block,
};
use crate::outputs::verdict::verdict;
use crate::outputs::whereabouts::whereabouts;
use crate::plan::{Cut, CutKind, Hinge, TrialVerdict};

fn pdf_text(bytes: &[u8]) -> Vec<String> {
    let document = Document::load_mem(bytes).expect("a PDF");
    let pages: Vec<u32> = document.get_pages().keys().copied().collect();
    pages.iter().map(|&page| bare(&document.extract_text(&[page]).expect("text"))).collect()
}

/// A helix-like cut round a cylinder of radius 30 and height 60, from the board two thirds of the way up; or the same
/// points' angles on a box of the same size.
fn plan_on(outside: Outside) -> Plan {
    let stations = (0..=40).map(|k| {
        let share = f64::from(k) / 40.0;
        let (sin, cos) = (-0.5 * PI + 2.0 * share).sin_cos();
        let z = 40.0 * share;
        let mut own = station(40.0 * share);
        own.on_model = Point::new(18.0 * cos, 18.0 * sin, z);
        let scale = match outside {
            Outside::Box { .. } => 30.0 / cos.abs().max(sin.abs()),
            _ => 30.0,
        };
        own.on_outside = Point::new(scale * cos, scale * sin, z);
        own.depth = (own.on_outside - own.on_model).norm();
        own
    });
    let mut plan = empty_plan();
    let mut own: Cut = cut(1, CutKind::FromGate, Vec::new());
    own.sheets = vec![sheet(stations.collect())];
    let line = own.sheets[0].stations.iter().map(|s| s.on_model).collect();
    own.branches = vec![line];
    own.length = own.sheets[0].length;
    plan.cuts = vec![own];
    let mut report =
        sheet_report(&plan.cuts, Point::new(-30.0, -30.0, 0.0), Point::new(30.0, 30.0, 60.0));
    report.skin.outside = outside;
    plan.sheets = Some(report);
    plan.hinges = vec![Hinge {
        from: plan.cuts[0].sheets[0].stations[40].on_model,
        to: Point::new(0.0, 18.0, 60.0),
        width: 31.0,
        skin: None,
    }];
    (plan.rubber_volume, plan.rubber_mass) = (200.0, 224.0);
    plan
}

fn tube() -> Outside {
    Outside::Cylinder { axis: (0.0, 0.0), radius: 30.0, bottom: 0.0, top: 60.0 }
}

fn block() -> Outside {
    Outside::Box { low: Point::new(-30.0, -30.0, 0.0), high: Point::new(30.0, 30.0, 60.0) }
}

/// A rod of 18 mm radius, 60 mm high, with 72 sides: nowhere more than 0.02 mm off a round one.
fn model() -> TriangleMesh {
    let sides = 72;
    let mut rod = TriangleMesh::default();
    for z in [0.0, 60.0] {
        rod.positions.extend((0..sides).map(|k| {
            let (sin, cos) = (TAU * f64::from(k) / f64::from(sides)).sin_cos();
            Point::new(18.0 * cos, 18.0 * sin, z)
        }));
    }
    rod.positions.extend([0.0, 60.0].map(|z| Point::new(0.0, 0.0, z)));
    for k in 0..sides {
        let (a, b) = (k, (k + 1) % sides);
        let (up, over) = (a + sides, b + sides);
        rod.faces.extend([[a, b, over], [a, over, up]]);
        rod.faces.extend([[2 * sides, b, a], [2 * sides + 1, up, over]]);
    }
    rod
}

fn template_of(outside: Outside, style: &BenchStyle) -> Template {
    template(&model(), &plan_on(outside), style).expect("a template")
}

/// Lengths in mm of the lines of an SVG file that have a class, as kurbo measures them.
fn lengths(svg: &str, class: &str) -> Vec<f64> {
    let document = roxmltree::Document::parse(svg).expect("XML");
    let root = document.root_element();
    // A user unit is a millimetre.
    let width = root.attribute("width").and_then(|w| w.strip_suffix("mm")).expect("mm");
    let height = root.attribute("height").and_then(|h| h.strip_suffix("mm")).expect("mm");
    assert_eq!(root.attribute("viewBox"), Some(format!("0 0 {width} {height}").as_str()));
    let own = document.descendants().filter(|node| node.attribute("class") == Some(class));
    own.map(|node| {
        BezPath::from_svg(node.attribute("d").expect("a path")).expect("a path").perimeter(1e-6)
    })
    .collect()
}

/// Lines of a PDF page in points, as its operators draw them: krilla may turn the page over, and never scales it.
fn pdf_lines(bytes: &[u8]) -> Vec<Vec<[f64; 2]>> {
    let document = Document::load_mem(bytes).expect("a PDF");
    let (_, &page) = document.get_pages().iter().next().map(|(n, id)| (*n, id)).expect("a page");
    let content = Content::decode(&document.get_page_content(page)).expect("operators");
    let number = |object: &Object| f64::from(object.as_float().expect("a number"));
    let mut lines: Vec<Vec<[f64; 2]>> = Vec::new();
    let (mut scale, mut kept) = ([1.0, 1.0], Vec::new());
    for operation in &content.operations {
        let at: Vec<f64> = match operation.operator.as_str() {
            "m" | "l" | "cm" => operation.operands.iter().map(number).collect(),
            "q" => {
                kept.push(scale);
                continue;
            }
            "Q" => {
                scale = kept.pop().expect("balanced");
                continue;
            }
            _ => continue,
        };
        match operation.operator.as_str() {
            "cm" => scale = [scale[0] * at[0].hypot(at[1]), scale[1] * at[2].hypot(at[3])],
            "m" => lines.push(vec![[at[0] * scale[0], at[1] * scale[1]]]),
            _ => lines.last_mut().expect("begun").push([at[0] * scale[0], at[1] * scale[1]]),
        }
    }
    lines
}

/// The helix unrolls to a straight line: sqrt((r phi)^2 + h^2) for r = 30, phi = 2, h = 40.
#[test]
fn a_helix_unrolls_to_its_length() {
    let svg = template_of(tube(), &BenchStyle::default()).svg();
    let sum: f64 = lengths(&svg, "cut-1").iter().sum();
    assert!((sum - 60f64.hypot(40.0)).abs() < 0.2, "{sum}");
    assert_eq!(lengths(&svg, "cut-1").len(), 1, "it does not pass the seam at the back");
    // Base and height: once round, and up.
    assert!((lengths(&svg, "base")[0] - TAU * 30.0).abs() < 0.2);
    assert!((lengths(&svg, "height")[0] - 60.0).abs() < 0.2);
    assert!((lengths(&svg, "check")[0] - 100.0).abs() < 0.2);
    assert_eq!(lengths(&svg, "station-1").len(), 41);
    assert_eq!(lengths(&svg, "ruler-10").len(), 7, "0 to 60 mm");
    assert!(!lengths(&svg, "hinge-end").is_empty());
}

/// On the box the points run over the faces' edges: the line has the length of the ways between them, each the
/// straight line of two faces turned into one plane.
#[test]
fn lines_run_over_a_boxs_edges() {
    let svg = template_of(block(), &BenchStyle::default()).svg();
    let sum: f64 = lengths(&svg, "cut-1").iter().sum();
    // On each face the way from one point to the next is straight: along the base the perimeter passed, and up 40
    // in even steps. Angles of -90 to 24.6 degrees pass half of the front and 30 + 30 tan of the right side.
    let around = 30.0 + 30.0 + 30.0 * (2.0 - 0.5 * PI).tan();
    let plan = plan_on(block());
    let points: Vec<Point> = plan.cuts[0].sheets[0].stations.iter().map(|s| s.on_outside).collect();
    let along = |p: &Point| if p.y <= -29.999 { p.x } else { 30.0 + 30.0 + p.y };
    let ways = points.windows(2).map(|w| (along(&w[1]) - along(&w[0])).hypot(w[1].z - w[0].z));
    let expected: f64 = ways.sum();
    assert!((sum - expected).abs() < 0.2, "{sum} is not {expected}");
    assert!((along(&points[40]) - along(&points[0]) - around).abs() < 1e-6);
    assert!((lengths(&svg, "base")[0] - 240.0).abs() < 0.2);
}

/// 100 mm are 283.46 points: 72 points to 25.4 mm.
#[test]
fn the_check_line_of_a_print_is_100_mm() {
    for paper in [Paper::A4, Paper::Letter] {
        let style = BenchStyle { paper, ..BenchStyle::default() };
        let pdf = template_of(tube(), &style).pdf().expect("a PDF");
        let level = pdf_lines(&pdf);
        let level =
            level.iter().filter(|line| line.len() == 2 && (line[0][1] - line[1][1]).abs() < 1e-3);
        let found =
            level.filter(|line| ((line[1][0] - line[0][0]).abs() - 283.465).abs() < 0.01).count();
        assert!(found >= 2, "one with the words above the net, one at the foot: {found}");
        let leaves = pdf_text(&pdf);
        for (k, leaf) in leaves.iter().enumerate() {
            assert!(leaf.contains(&bare("measure this before you use it")));
            assert!(leaf.contains(&bare(&format!("Leaf {} of {}", k + 1, leaves.len()))));
            assert!(leaf.contains(&bare(CAUTIONS_IN_SHORT)), "{leaf}");
        }
        let size = Document::load_mem(&pdf).expect("a PDF");
        let page = *size.get_pages().values().next().expect("a page");
        let page = size.get_dictionary(page).expect("a page");
        let media: Vec<f64> = page
            .get(b"MediaBox")
            .and_then(Object::as_array)
            .expect("a box")
            .iter()
            .map(|x| f64::from(x.as_float().expect("a number")))
            .collect();
        let [w, h] = paper.size().map(|mm| mm * 72.0 / 25.4);
        let upright = (media[2] - w).abs() < 0.01 && (media[3] - h).abs() < 0.01;
        assert!(upright || (media[2] - h).abs() < 0.01 && (media[3] - w).abs() < 0.01, "{media:?}");
    }
}

/// A blanket has heights and girths, and says why there is no net.
#[test]
fn a_blanket_has_a_table() {
    let template =
        template_of(Outside::Offset { thickness: 12.0, bottom: -18.0 }, &BenchStyle::default());
    let text = pdf_text(&template.pdf().expect("a PDF")).concat();
    for words in ["cannot be laid flat", "Girth, mm", "Height, mm", CAUTIONS_IN_SHORT] {
        assert!(text.contains(&bare(words)), "{words}");
    }
    assert!(roxmltree::Document::parse(&template.svg()).is_ok());
    // The template's own plan has no shell: nothing is said of one.
    assert!(!text.contains(&bare("Where the shell is parted")));
    // 12 mm of rubber on 18 mm of radius: 2 pi 30 = 188.5 mm round. The third station is 2 mm up.
    assert!(text.contains("32188"), "{text}");
    let mut plan = plan_on(tube());
    plan.sheets = None;
    assert_eq!(template_error(&plan), BenchError::NoSheets);
}

/// The line between the parts of a ball's shell, in print and in the drawing: places 20 mm apart, each with height, girth
/// and the turn from the front. The third is 40 / 38 radians beyond the board, on the right, 35.4 mm up, where a tape reads
/// 2 pi (38^2 - 5.4^2)^(1/2) = 236 mm.
#[test]
fn a_shells_line_can_be_drawn_from_the_table() {
    let ball =
        crate::mesh::fixtures::moved(&crate::mesh::fixtures::icosphere(30.0, 4), [0.0, 0.0, 30.0]);
    let mut plan = plan_on(Outside::Offset { thickness: 8.0, bottom: 0.0 });
    // Its own cut is on another model.
    (plan.cuts, plan.hinges) = (Vec::new(), Vec::new());
    plan.advice = Some(advice(Some(ball_shell())));
    let (style, cancel) = (BenchStyle::default(), Cancel::new());
    let all = [
        pdf_text(&pages(&ball, &plan, &style, &cancel).expect("pages").pdf().expect("a PDF"))
            .concat(),
        pdf_text(&template(&ball, &plan, &style).expect("a template").pdf().expect("a PDF"))
            .concat(),
    ];
    for text in &all {
        for words in ["Where the shell is parted", "Along the line, mm", "Round, degrees"] {
            assert!(text.contains(&bare(words)), "{words}: {text}");
        }
        for row in ["3 40 35 236 90 right", "270 left"] {
            assert!(text.contains(&bare(row)), "{row}: {text}");
        }
    }
    let svg = template(&ball, &plan, &style).expect("a template").svg();
    assert!(svg.contains("data:image/png;base64,") && roxmltree::Document::parse(&svg).is_ok());
    // The pages have the whole of the advice, in the order of the work.
    let places = whereabouts(&plan, &ball);
    for words in crate::outputs::advice_words::of_plan(&plan, &places) {
        assert!(all[0].contains(&bare(&raised(&words))), "{words}");
    }
    let at = |heading: &str| all[0].find(&bare(heading)).unwrap_or_else(|| panic!("no {heading}"));
    let order = [
        "Before you start",
        "Before you pour",
        "Where the shell is parted",
        "Rubber to mix",
        "From all sides",
        "Cuts, in the order of the knife",
        "Opening the mould and drawing it off",
    ];
    assert!(order.windows(2).all(|pair| at(pair[0]) < at(pair[1])), "{order:?}");
}

fn template_error(plan: &Plan) -> BenchError {
    template(&model(), plan, &BenchStyle::default()).expect_err("no template")
}

/// Text in a PDF is text: verdict, cautions, warnings, the cut's figures.
#[test]
fn what_matters_can_be_read_in_print() {
    let mut plan = plan_on(tube());
    plan.trial = TrialVerdict::Ran(Arc::new(trial_of_block(1.5)));
    plan.warnings = vec!["the rubber in the office is old".to_owned()];
    let made = pages(&model(), &plan, &BenchStyle::default(), &Cancel::new()).expect("pages");
    let leaves = pdf_text(&made.pdf().expect("a PDF"));
    let first = &leaves[0];
    assert!(first.contains(&bare(&verdict(&plan))), "{first}");
    assert!(first.contains(&bare("The rubber in the office is old.")));
    for caution in CAUTIONS {
        assert!(first.contains(&bare(caution.text)), "{first}");
    }
    assert!(leaves.iter().all(|leaf| leaf.contains(&bare(CAUTIONS_IN_SHORT))));
    let all = leaves.concat();
    // 200 cm^3 and a twentieth more; the trial's greatest pull is 20 N.
    for words in [
        "Mix 210 cm³, 235 g.",
        "Cut 1: from the base opening",
        "20 N (as much as 2.0 kg hanging)",
        "31 mm wide",
    ] {
        assert!(all.contains(&bare(words)), "{words}");
    }
    let html = made.html();
    assert!(!html.contains("http:") && !html.contains("https:"), "nothing comes from a network");
    assert_eq!(html.matches("data:image/png;base64,").count(), 9, "sides, key, way out");
    let bad = BenchStyle { waste: f64::NAN, ..BenchStyle::default() };
    assert!(matches!(pages(&model(), &plan, &bad, &Cancel::new()), Err(BenchError::Waste { .. })));
}

/// More to mind than a page holds does not push the cautions off it.
#[test]
fn cautions_stay_on_the_first_page() {
    let mut plan = empty_plan();
    plan.warnings = (0..60)
        .map(|k| format!("thing number {k} to mind, long enough to take room on a line"))
        .collect();
    let first = first::page(&plan, "Cut plan");
    let leaves = flow::laid_out("Cut plan", Paper::Letter, &first).expect("laid out");
    let pdf = pdf::write("Cut plan", &leaves).expect("a PDF");
    let text = pdf_text(&pdf);
    assert!(text.len() > 1);
    for caution in CAUTIONS {
        assert!(text[0].contains(&bare(caution.text)));
    }
    for warning in &plan.warnings {
        assert!(text.concat().contains(&bare(&warning[1..])));
    }
}

/// Nothing runs over the edge of the paper.
#[test]
fn words_stay_on_the_paper() {
    let mut plan = plan_on(tube());
    plan.warnings = vec!["x".repeat(700), "mm ".repeat(300)];
    let mut blocks = first::page(&plan, &"piece".repeat(60));
    blocks.extend(mixing::rubber(&plan, 0.05));
    let fonts = crate::outputs::pictures::text::Fonts::new().expect("reads");
    for leaf in flow::laid_out(&"piece".repeat(60), Paper::A4, &blocks).expect("laid out") {
        for mark in &leaf.marks {
            if let marks::Mark::Words { at: [x, y], size, bold, text, .. } = mark {
                let weight = if *bold {
                    crate::outputs::pictures::text::Weight::Bold
                } else {
                    crate::outputs::pictures::text::Weight::Regular
                };
                let end = x + f64::from(fonts.width(text, *size as f32, weight));
                assert!(*x >= 0.0 && end <= leaf.size[0] - 5.0, "{text}");
                assert!(*y <= leaf.size[1] - 5.0, "{text}");
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever a plan says, however its trial came out and its piece is called: pages carry every caution, right under the
    /// verdict every warning, and a name stays a name.
    #[test]
    fn pages_carry_all_cautions_and_warnings(name in "\\PC{0,40}", plan in any_plan()) {
        let hostile = format!("{name}</title><script>alert(1)</script>\u{202e}\u{0}\n<img src=x onerror='a'>&amp;");
        let title = format!("Cut plan: {}", plain(&hostile));
        let model = every_plan::ball();
        let places = whereabouts(&plan, &model);
        let mut blocks = first::page(&plan, &title);
        blocks.extend(mixing::before_the_pour(&model, &plan, &places, None));
        blocks.extend(mixing::rubber(&plan, 0.05));
        blocks.extend(cuts::cuts(&plan, &places));
        blocks.extend(opening::opening(&plan, &places));
        let html = html::page(&title, &blocks);
        // Text as a browser would have it, the five marks of HTML taken back.
        let smuggled = ["<script", "<img", "\u{202e}"].map(|part| html.contains(part));
        prop_assert_eq!(smuggled, [false; 3]);
        let seen = html.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&");
        let seen = bare(&seen);
        let pdf = pdf::write(&title, &flow::laid_out(&title, Paper::A4, &blocks).expect("laid out"));
        let text = pdf_text(&pdf.expect("a PDF"));
        let all = text.concat();
        for caution in CAUTIONS {
            prop_assert!(seen.contains(&bare(caution.text)));
            prop_assert!(text[0].contains(&bare(caution.text)));
        }
        prop_assert!(seen.contains(&bare(CAUTIONS_IN_SHORT)));
        prop_assert!(text.iter().all(|leaf| leaf.contains(&bare(CAUTIONS_IN_SHORT))));
        let first = bare(&verdict(&plan));
        prop_assert!(text[0].contains(&first), "{}", text[0]);
        let from = seen.find(&first).expect("the verdict");
        let to = seen.find(&bare(CAUTIONS[0].text)).expect("the cautions");
        prop_assert!(from < to);
        for words in plan.warnings.iter().chain(plan.limits.iter().map(|limit| &limit.text)) {
            let words = plain(words);
            // A sentence begins with a capital.
            let tail: String = bare(&words).chars().skip(1).collect();
            prop_assert!(seen[from..to].contains(&tail), "{words:?} is not between verdict and cautions");
            prop_assert!(all.contains(&tail), "{words:?} is not in print: {all}");
        }
    }
}
