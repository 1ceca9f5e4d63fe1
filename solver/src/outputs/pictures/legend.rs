//! The legend: what each mark means, and the plan's cuts, bridges and hinges in words.

use super::canvas::{Canvas, Lettering, Pen, Spot, Tone};
use super::marks::{self, WORDS};
use super::sections::choose;
use super::text::{Fonts, Weight};
use crate::advice::Shell;
use crate::bridges::{BridgeKind, DiscState};
use crate::outputs::stretches::{Weakness, flagged, weak_stretches};
use crate::outputs::verdict::verdict;
use crate::outputs::words::{LINED, cut_in_short, cut_of_bridge, is_left_uncut, millimetres};
use crate::plan::{CutKind, Plan, bridge_letter};

/// A mark that the legend explains.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mark {
    FromGate,
    Separate,
    Bridge,
    BehindHinge,
    Hidden,
    Number,
    Letter,
    UncutRim,
    Gate,
    Hinge,
    ThinLip,
    FeatherEdge,
    Blocked,
    Warning,
    Section,
}

/// Width of a mark's sample, px.
const SAMPLE: f32 = 64.0;
const ROW: f32 = 34.0;

impl Mark {
    /// The marks that the pictures of `plan` use, in the order of the legend.
    pub fn used_by(plan: &Plan) -> Vec<Self> {
        let has = |kind| plan.cuts.iter().any(|cut| cut.kind == kind);
        let uncut = (0..plan.bridges.len()).any(|index| is_left_uncut(plan, index));
        let sheets = || plan.cuts.iter().flat_map(|cut| &cut.sheets);
        let weak = |weakness| {
            plan.sheets.as_ref().is_some_and(|report| {
                let mut all = sheets().flat_map(|sheet| weak_stretches(sheet, &report.settings));
                all.any(|stretch| stretch.weakness == weakness)
            })
        };
        let warned = plan.sheets.is_some() && sheets().any(|sheet| !flagged(sheet).is_empty());
        let marks = [
            (Self::FromGate, has(CutKind::FromGate)),
            (Self::Separate, has(CutKind::Separate)),
            (Self::Bridge, has(CutKind::Bridge)),
            (Self::BehindHinge, has(CutKind::BehindHinge)),
            (Self::Hidden, !plan.cuts.is_empty()),
            (Self::Number, !plan.cuts.is_empty()),
            (Self::Letter, !plan.bridges.is_empty()),
            (Self::UncutRim, uncut),
            (Self::Gate, !plan.gate_outline.is_empty()),
            (Self::Hinge, !plan.hinges.is_empty()),
            (Self::ThinLip, weak(Weakness::Thin)),
            (Self::FeatherEdge, weak(Weakness::Feather)),
            (Self::Blocked, weak(Weakness::Blocked)),
            (Self::Warning, warned),
            (Self::Section, plan.sheets.is_some() && !choose(plan).is_empty()),
        ];
        marks.into_iter().filter(|(_, used)| *used).map(|(mark, _)| mark).collect()
    }

    /// A few words, for the foot of a picture.
    fn short(self) -> &'static str {
        match self {
            Self::FromGate => "cut from the base opening",
            Self::Separate => "separate cut",
            Self::Bridge => "bridge cut",
            Self::BehindHinge => "cut behind a hinge",
            Self::Hidden => "hidden behind",
            Self::Number => "knife order",
            Self::Letter => "bridge",
            Self::UncutRim => "bridge left uncut",
            Self::Gate => "base opening",
            Self::Hinge => "hinge, width",
            Self::ThinLip => "thin lip",
            Self::FeatherEdge => "feather edge",
            Self::Blocked => "knife stopped",
            Self::Warning => "see the words",
            Self::Section => "section",
        }
    }

    /// A sentence, for the overview.
    fn long(self) -> &'static str {
        match self {
            Self::FromGate => "Cut that starts at the base opening: wide line, bar at its start",
            Self::Separate => "Separate cut: narrow line, round ends",
            Self::Bridge => "Bridge cut, across the rubber in a hole: double line",
            Self::BehindHinge => {
                "Cut behind a hinge, from within; the skin outside stays: short dashes"
            }
            Self::Hidden => "The same where the model hides it: dashed, thinner",
            Self::Number => {
                "Number of a cut in the order of the knife, at its start; in a dashed circle where \
                 this side sees none of it"
            }
            Self::Letter => {
                "Letter of a bridge, at the middle of its neck; in a dashed square where hidden"
            }
            Self::UncutRim => "Rim of a bridge that this plan does not cut: dots",
            Self::Gate => {
                "Base opening, open from the start: hatched; beside the line where seen edge-on"
            }
            Self::Hinge => "Hinge: rubber left uncut, with its width along the model",
            Self::ThinLip => "Thin lip: strokes on the side where the rubber is thin",
            Self::FeatherEdge => "Feather edge: teeth on the side where the rubber runs out thin",
            Self::Blocked => "The model stops the knife on its way in: crosses",
            Self::Warning => {
                "Blocked, deeper than the blade, bent too sharply or out through the face on the \
                 board: see the page of words"
            }
            Self::Section => "Where a section is taken: see the picture of sections",
        }
    }

    /// Draws the mark between `x` and `x + SAMPLE`, its middle at height `y`.
    fn draw(self, canvas: &mut Canvas, x: f32, y: f32) {
        let span = |from: f32, to: f32| [[x + from, y], [x + to, y]];
        match self {
            Self::FromGate => {
                marks::cut_line(canvas, CutKind::FromGate, true, &span(6.0, 60.0));
                marks::start_bar(canvas, [x + 6.0, y], [x + 60.0, y], true);
            }
            Self::Separate => {
                marks::cut_line(canvas, CutKind::Separate, true, &span(8.0, 56.0));
                marks::round_end(canvas, [x + 8.0, y], true);
                marks::round_end(canvas, [x + 56.0, y], true);
            }
            Self::Bridge => marks::cut_line(canvas, CutKind::Bridge, true, &span(6.0, 58.0)),
            Self::BehindHinge => {
                marks::cut_line(canvas, CutKind::BehindHinge, true, &span(6.0, 58.0));
            }
            Self::Hidden => {
                let lower = [[x + 4.0, y + 5.0], [x + 60.0, y + 5.0]];
                let upper = [[x + 4.0, y - 5.0], [x + 60.0, y - 5.0]];
                marks::cut_line(canvas, CutKind::FromGate, false, &upper);
                marks::cut_line(canvas, CutKind::Bridge, false, &lower);
            }
            Self::Number => {
                marks::number(canvas, [x + 16.0, y], 1, true);
                marks::number(canvas, [x + 49.0, y], 2, false);
            }
            Self::Letter => {
                marks::letter(canvas, [x + 16.0, y], "A", true);
                marks::letter(canvas, [x + 49.0, y], "B", false);
            }
            Self::UncutRim => marks::uncut_rim(canvas, true, &span(6.0, 58.0)),
            Self::Gate => {
                let corners =
                    [[6.0, -11.0], [58.0, -11.0], [58.0, 11.0], [6.0, 11.0], [6.0, -11.0]];
                let outline: Vec<Spot> = corners.iter().map(|c| [x + c[0], y + c[1]]).collect();
                for step in 0..5 {
                    let from = x + 6.0 + 10.0 * step as f32;
                    let to = (from + 22.0).min(x + 58.0);
                    marks::gate_hatch(canvas, &[[from, y + 11.0], [to, y + 11.0 - (to - from)]]);
                }
                marks::gate_outline(canvas, true, &outline);
            }
            Self::ThinLip | Self::FeatherEdge | Self::Blocked => {
                let line = span(6.0, 58.0);
                marks::cut_line(canvas, CutKind::FromGate, true, &line);
                let weakness = match self {
                    Self::ThinLip => Weakness::Thin,
                    Self::FeatherEdge => Weakness::Feather,
                    _ => Weakness::Blocked,
                };
                let up = [[0.0, -1.0]; 2];
                marks::teeth(canvas, weakness, CutKind::FromGate, true, &line, &up);
            }
            Self::Warning => marks::warning(canvas, [x + 32.0, y]),
            Self::Section => {
                marks::cut_line(canvas, CutKind::FromGate, true, &span(6.0, 58.0));
                marks::section_bar(canvas, [x + 24.0, y], [0.0, 1.0]);
                let words = Lettering::new(WORDS, Weight::Regular).haloed();
                canvas.text_centred("s1", [x + 42.0, y - 10.0], words);
            }
            Self::Hinge => {
                let [from, to] = span(8.0, 56.0);
                marks::hinge_line(canvas, true, &[from, to]);
                marks::arrow_head(canvas, from, to, 11.0);
                marks::arrow_head(canvas, to, from, 11.0);
            }
        }
    }
}

/// The key at the foot of one picture: marks with a few words each, in rows.
pub(super) struct Key {
    items: Vec<(Mark, [f32; 2])>,
    pub height: f32,
}

pub(super) const KEY: Lettering = Lettering::new(16.0, Weight::Regular);

impl Key {
    /// Lays the marks of `plan` out in rows between `left` and `right` px.
    pub fn new(plan: &Plan, fonts: &Fonts, left: f32, right: f32) -> Self {
        let mut items = Vec::new();
        let (mut x, mut row) = (left, 0);
        for mark in Mark::used_by(plan) {
            let width = SAMPLE + 8.0 + fonts.width(mark.short(), KEY.size, KEY.weight);
            if x + width > right && x > left {
                x = left;
                row += 1;
            }
            items.push((mark, [x, ROW * (row as f32 + 0.5)]));
            x += width + 22.0;
        }
        Self { items, height: ROW * (row + 1) as f32 }
    }

    pub fn draw(&self, canvas: &mut Canvas, top: f32) {
        for (mark, [x, y]) in &self.items {
            mark.draw(canvas, *x, top + y);
            canvas.text(mark.short(), x + SAMPLE + 8.0, top + y + 6.0, KEY);
        }
    }
}

/// One piece of the overview's words; a piece is never broken over two columns.
pub(super) enum Block<'f> {
    Heading(&'static str),
    Mark(Mark, Vec<String>),
    /// A cut or bridge: badge, first line, further lines.
    Item(Badge, Vec<String>, Vec<String>),
    Words(Vec<String>),
    ScaleBar(f64),
    Picture(Canvas<'f>),
}

pub(super) enum Badge {
    Number(u32),
    Letter(String),
}

const BODY: Lettering = Lettering::new(WORDS, Weight::Regular);
const STRONG: Lettering = Lettering::new(WORDS, Weight::Bold);
const HEADING: Lettering = Lettering::new(20.0, Weight::Bold);
const LINE: f32 = 23.0;
const INDENT: f32 = 44.0;

impl Block<'_> {
    pub fn height(&self) -> f32 {
        match self {
            Self::Heading(_) => 44.0,
            Self::Mark(_, lines) => (LINE * lines.len() as f32 + 10.0).max(ROW),
            Self::Item(_, head, body) => LINE * (head.len() + body.len()) as f32 + 14.0,
            Self::Words(lines) => LINE * lines.len() as f32 + 10.0,
            Self::ScaleBar(_) => 62.0,
            Self::Picture(picture) => picture.height() as f32 + 12.0,
        }
    }

    pub fn draw(&self, canvas: &mut Canvas, x: f32, y: f32, width: f32, scale: f64) {
        match self {
            Self::Heading(words) => {
                canvas.text(words, x, y + 24.0, HEADING);
                canvas.line(&[[x, y + 33.0], [x + width, y + 33.0]], Pen::new(Tone::RULE, 1.0));
            }
            Self::Mark(mark, lines) => {
                mark.draw(canvas, x, y + 16.0);
                write(canvas, lines, x + SAMPLE + 14.0, y, BODY);
            }
            Self::Item(badge, head, body) => {
                let middle = [x + 18.0, y + 18.0];
                match badge {
                    Badge::Number(order) => marks::number(canvas, middle, *order, true),
                    Badge::Letter(letter) => marks::letter(canvas, middle, letter, true),
                }
                let below = write(canvas, head, x + INDENT, y, STRONG);
                write(canvas, body, x + INDENT, below, BODY.toned(Tone::MUTED));
            }
            Self::Words(lines) => {
                write(canvas, lines, x, y, BODY);
            }
            Self::ScaleBar(length) => marks::scale_bar(canvas, [x, y + 12.0], *length, scale),
            Self::Picture(picture) => canvas.paste_canvas(x as i32, y as i32 + 4, picture),
        }
    }
}

/// Writes lines below `y`; returns where the next would start.
fn write(canvas: &mut Canvas, lines: &[String], x: f32, y: f32, lettering: Lettering) -> f32 {
    for (index, line) in lines.iter().enumerate() {
        canvas.text(line, x, y + LINE * index as f32 + 22.0, lettering);
    }
    y + LINE * lines.len() as f32
}

/// How the shell of a blanket is parted, for the overview: its picture, and what it shows.
pub(super) fn shell_blocks<'f>(
    picture: Canvas<'f>,
    shell: &Shell,
    fonts: &Fonts,
    width: f32,
) -> Vec<Block<'f>> {
    let words = if shell.comes_off {
        format!(
            "Double dashes: the line between the {} parts of the shell, on the blanket's outside, {} long. Drawn smaller than \
             the model. Places along the line: see the picture of the shell.",
            if shell.draws.len() == 2 { "two" } else { "three" },
            millimetres(shell.parting_line)
        )
    } else {
        "NO shell of two or three parts comes off; double dashes: where three parts are held least. See the page of words."
            .to_owned()
    };
    let words = fonts.wrap(&words, WORDS, Weight::Regular, width);
    vec![
        Block::Heading("Where the rigid shell is parted"),
        Block::Picture(picture),
        Block::Words(words),
    ]
}

/// What stands above the marks' meanings.
pub(super) const MEANINGS: &str = "What the marks mean";

/// What the marks of a plan's pictures mean, broken into lines for a column `width` px wide.
pub(super) fn marks<'f>(plan: &Plan, fonts: &Fonts, width: f32) -> Vec<Block<'f>> {
    let wrap = |text: &str| fonts.wrap(text, WORDS, Weight::Regular, width - SAMPLE - 14.0);
    let rows = Mark::used_by(plan).into_iter().map(|mark| Block::Mark(mark, wrap(mark.long())));
    [Block::Heading(MEANINGS)].into_iter().chain(rows).collect()
}

/// All words of the overview, broken into lines for a column `width` px wide.
pub(super) fn blocks<'f>(plan: &Plan, fonts: &'f Fonts, width: f32, bar: f64) -> Vec<Block<'f>> {
    let wrap = |text: &str, indent: f32| fonts.wrap(text, WORDS, Weight::Regular, width - indent);
    let strong = |text: &str| fonts.wrap(text, WORDS, Weight::Bold, width - INDENT);
    let mut blocks = marks(plan, fonts, width);
    blocks.push(Block::ScaleBar(bar));
    blocks.push(Block::Words(wrap(
        "All views of the model on this page are drawn to the same scale.",
        0.0,
    )));
    blocks.push(Block::Heading("Cuts in the order of the knife"));
    if plan.cuts.is_empty() {
        blocks.push(Block::Words(wrap(&format!("{}.", verdict(plan)), 0.0)));
    } else {
        for cut in &plan.cuts {
            let body = wrap(cut.reason.text(), INDENT);
            blocks.push(Block::Item(Badge::Number(cut.order), strong(&cut_in_short(cut)), body));
        }
        let all =
            format!("{}. Each cut leaves a seam on the casting along its line.", verdict(plan));
        blocks.push(Block::Words(wrap(&all, 0.0)));
    }
    if !plan.bridges.is_empty() {
        blocks.push(Block::Heading("Bridges"));
        for (index, bridge) in plan.bridges.iter().enumerate() {
            let hole = match bridge.kind {
                BridgeKind::Handle => "through a hole of the model",
                BridgeKind::Arch => "between the model and the board",
            };
            let head = format!("{hole}, neck {} wide", millimetres(bridge.neck_width));
            let fate = match (cut_of_bridge(plan, index), &bridge.disc) {
                (Some(cut), _) => format!(
                    "Cut {} crosses it. Opening beside it: {}, needed for the blade: {}.",
                    cut.order,
                    millimetres(bridge.opening),
                    millimetres(bridge.opening_needed)
                ),
                (None, DiscState::Knotted { explanation, .. }) => {
                    format!("No plain cut crosses it: {explanation}")
                }
                (None, DiscState::Plain) if bridge.lined => LINED.to_owned(),
                (None, DiscState::Plain) => "This plan does not cut it.".to_owned(),
            };
            let badge = Badge::Letter(bridge_letter(index));
            blocks.push(Block::Item(badge, strong(&head), wrap(&fate, INDENT)));
        }
    }
    let narrowest = plan.hinges.iter().map(|hinge| hinge.width).min_by(f64::total_cmp);
    if let Some(narrowest) = narrowest {
        blocks.push(Block::Heading("Hinges"));
        let narrowest = millimetres(narrowest);
        let words = match plan.hinges.len() {
            1 => format!("1 hinge of uncut rubber, {narrowest} wide. Stop the knife short of it."),
            more => format!(
                "{more} hinges of uncut rubber, the narrowest {narrowest} wide. Stop the knife \
                 short of them."
            ),
        };
        blocks.push(Block::Words(wrap(&words, 0.0)));
        if let Some(skin) = plan.hinges.iter().find_map(|hinge| hinge.skin) {
            let words = format!(
                "The rubber behind is cut from within: leave the outermost {} there.",
                millimetres(skin)
            );
            blocks.push(Block::Words(wrap(&words, 0.0)));
        }
    }
    let missed: Vec<_> = plan.limits.iter().filter(|limit| !limit.met).collect();
    if !missed.is_empty() {
        blocks.push(Block::Heading("Limits missed"));
        for limit in missed {
            blocks.push(Block::Words(wrap(&format!("{}: {}", limit.name, limit.text), 0.0)));
        }
    }
    blocks
}
