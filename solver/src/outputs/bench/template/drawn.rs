//! What is drawn on a net.

use super::flat::{Border, Flat, ON};
use super::labels::{self, Named, Taken};
use super::net::Net;
use crate::mesh::{Point, Vector};
use crate::outputs::bench::BenchError;
use crate::outputs::bench::blade::View;
use crate::outputs::bench::marks::{Leaf, Mark, check_line};
use crate::outputs::cautions::CAUTIONS_IN_SHORT;
use crate::outputs::whereabouts::Frame;
use crate::outputs::words::millimetres;
use crate::plan::{Cut, Plan, SheetReport};
use crate::sheets::{Sheet, Station};

/// Room round the net, mm: the ruler's figures stand in it.
const MARGIN: f64 = 14.0;
/// Least width of the leaf, mm: the words above the net need it.
const LEAST_WIDTH: f64 = 200.0;
/// Height of letters' em, mm.
const WORDS: f64 = 2.9;
/// Line to line, mm.
const LEAD: f64 = 4.2;
/// A hinge's end belongs to a cut's station on the model within this, mm.
const AT_STATION: f64 = 2.0;

/// The whole template.
pub(super) fn sheet(plan: &Plan, report: &SheetReport, title: &str) -> Result<Leaf, BenchError> {
    let skin = &report.skin;
    let (view, frame) =
        View::new(skin).zip(Frame::of_mould(&skin.to_mould)).ok_or(BenchError::NoSheets)?;
    let to_mould = |v: &Vector| skin.to_mould.rotation * v;
    let front = to_mould(&-frame.back);
    let outside: Vec<&Cut> = plan.cuts.iter().filter(|cut| cut.kind.is_from_outside()).collect();
    let low = match skin.outside {
        crate::body::Outside::Box { low, .. } => low.z,
        crate::body::Outside::Cylinder { bottom, .. } => bottom,
        crate::body::Outside::Offset { .. } => return Err(BenchError::NoSheets),
    };
    let mut plain_net = Net::new(&skin.outside, &front, false).ok_or(BenchError::NoSheets)?;
    let entry = |station: &Station| skin.to_mould * station.on_outside;
    let open = outside.iter().flat_map(|cut| &cut.sheets).flat_map(|sheet| &sheet.stations);
    let below = open
        .filter(|station| !station.flags.blocked)
        .map(entry)
        .any(|p| plain_net.at(&p).is_none() && (p.z - low).abs() <= ON);
    if below {
        plain_net = Net::new(&skin.outside, &front, true).ok_or(BenchError::NoSheets)?;
    }
    let mut drawing =
        Drawing { net: plain_net, marks: Vec::new(), taken: Taken::default(), notes: Vec::new() };
    drawing.own_lines(&frame, skin.to_mould.rotation.inverse());
    for cut in &outside {
        for sheet in &cut.sheets {
            drawing.cut(cut, sheet, &entry);
        }
    }
    // What must not be cut has its words first.
    drawing.hinges(plan, &outside, &entry);
    for cut in &outside {
        for sheet in &cut.sheets {
            let Drawing { net, taken, marks, .. } = &mut drawing;
            marks.extend(labels::stations(net, taken, cut, sheet, &entry, &view));
        }
    }
    if outside.is_empty() {
        drawing.notes.push("This plan has no cut from outside.".to_owned());
    }
    if plan.cuts.len() > outside.len() {
        drawing.notes.push(
            "Cuts led from within, across bridges or behind hinges, are not on it: the blade gets to them through the \
             opened cuts."
                .to_owned(),
        );
    }
    Ok(drawing.leaf(title, view.reference()))
}

/// A drawing on the net's plane, y up, and what to say above it.
pub(super) struct Drawing {
    pub net: Net,
    /// In the net's plane: y still up.
    pub marks: Vec<Mark>,
    /// Where words stand.
    pub taken: Taken,
    notes: Vec<String>,
}

impl Drawing {
    /// Borders, folds, base line, ruler, names of the sides.
    fn own_lines(&mut self, frame: &Frame, to_model: crate::nalgebra::UnitQuaternion<f64>) {
        for Border { points, fold } in self.net.borders() {
            let (name, dash) = if fold { ("fold", Some(3.0)) } else { ("border", None) };
            self.marks.push(Mark::Line {
                name: name.to_owned(),
                points,
                width: 0.25,
                dash,
                grey: true,
            });
        }
        let [base, height] = self.net.walls();
        self.marks.push(Mark::line("base", vec![[0.0, 0.0], [base, 0.0]], 0.7));
        self.marks.push(Mark::bold([2.0, -4.0], WORDS, "Base line: foot of the mould"));
        self.marks.push(Mark::line("height", vec![[0.0, 0.0], [0.0, height]], 0.35));
        for mm in 0..=height.floor() as u32 {
            let length = match mm {
                mm if mm.is_multiple_of(10) => 4.0,
                mm if mm.is_multiple_of(5) => 2.5,
                _ => 1.2,
            };
            let y = f64::from(mm);
            let name = if mm.is_multiple_of(10) { "ruler-10" } else { "ruler" };
            self.marks.push(Mark::line(name, vec![[-length, y], [0.0, y]], 0.15));
            if mm.is_multiple_of(10) && mm > 0 {
                self.marks.push(Mark::words([-11.5, y - 1.0], 2.6, mm.to_string()));
            }
        }
        for (at, outward) in self.net.names() {
            let side = match outward.z {
                up if up > 0.5 => "top".to_owned(),
                up if up < -0.5 => "underside".to_owned(),
                _ => frame.side(&(to_model * outward)).to_owned(),
            };
            self.marks.push(Mark::bold([at[0] + 2.0, at[1] - 5.0], 3.6, side));
            if matches!(self.net, Net::Tube(_)) && outward.z.abs() < 0.5 {
                let tick = vec![[at[0], at[1] - 4.0], at];
                self.marks.push(Mark::line("direction", tick, 0.25));
            }
        }
    }

    /// The line where the blade enters, in unbroken parts.
    fn cut(&mut self, cut: &Cut, sheet: &Sheet, entry: &impl Fn(&Station) -> Point) {
        let mut parts: Vec<Vec<Flat>> = Vec::new();
        let mut lost = 0.0;
        for pair in sheet.stations.windows(2) {
            if pair.iter().any(|station| station.flags.blocked) {
                // Nothing is joined over a gap.
                parts.push(Vec::new());
                continue;
            }
            let (a, b) = (entry(&pair[0]), entry(&pair[1]));
            let Some(way) = self.net.way(&a, &b) else {
                lost += (b - a).norm();
                parts.push(Vec::new());
                continue;
            };
            for [from, to] in way {
                let near = |p: &Flat| (p[0] - from[0]).hypot(p[1] - from[1]) < 1e-6;
                match parts.last_mut().filter(|part| part.last().is_some_and(near)) {
                    Some(part) => part.push(to),
                    None => parts.push(vec![from, to]),
                }
            }
        }
        parts.retain(|part| part.len() > 1);
        for points in parts {
            self.marks.push(Mark::line(format!("cut-{}", cut.order), points, 0.6));
        }
        if lost > 0.0 {
            self.notes.push(format!(
                "Cut {}: {} of its line jump between faces that do not meet and are not drawn: go by the stations.",
                cut.order,
                millimetres(lost)
            ));
        }
    }

    /// Where rubber stays uncut: bars across the ends of lines, words beside others, and a dashed line between two
    /// ends.
    fn hinges(&mut self, plan: &Plan, outside: &[&Cut], entry: &impl Fn(&Station) -> Point) {
        // Places of entry near a hinge's end, and whether the knife's line ends there.
        let nearest = |p: &Point| {
            let sheets = outside.iter().flat_map(|cut| &cut.sheets);
            let all = sheets.flat_map(|sheet| {
                let last = sheet.stations.len().saturating_sub(1);
                let own = sheet.stations.iter().enumerate();
                own.map(move |(k, station)| (station, !sheet.closed && (k == 0 || k == last)))
            });
            let open = all.filter(|(station, _)| !station.flags.blocked);
            let apart = |station: &Station| (station.on_model - p).norm();
            let best = open.min_by(|a, b| apart(a.0).total_cmp(&apart(b.0)))?;
            (apart(best.0) <= AT_STATION).then(|| (entry(best.0), best.1))
        };
        for hinge in &plan.hinges {
            let ends = [&hinge.from, &hinge.to].map(nearest);
            let width = millimetres(hinge.width);
            if let [Some((a, true)), Some((b, true))] = ends
                && let Some(way) = self.net.way(&a, &b)
            {
                for [from, to] in way {
                    let (name, points) = ("hinge".to_owned(), vec![from, to]);
                    let dash = Some(2.0);
                    self.marks.push(Mark::Line { name, points, width: 0.35, dash, grey: false });
                }
            }
            let seen = ends.iter().flatten().filter_map(|(p, ends)| Some((self.net.at(p)?, *ends)));
            let seen: Vec<(Flat, bool)> = seen.collect();
            if seen.is_empty() {
                self.notes.push(format!(
                    "A hinge of {width} has no end on a line of this template: see the plan's pages."
                ));
            }
            for (at, ends) in seen {
                let [x, y] = at;
                let words = if ends {
                    self.marks.push(Mark::line("hinge-end", vec![[x - 5.0, y], [x + 5.0, y]], 1.0));
                    format!("STOP: hinge, {width} on the model")
                } else {
                    format!("hinge beside: {width} on the model")
                };
                let places = Taken::round(at, 6.0, 2.6, &words);
                match self.taken.place(&places, 2.6, true, &words) {
                    Some(mark) => self.marks.push(mark),
                    None => self.notes.push(format!("{words}: its words have no room on the net.")),
                }
            }
        }
    }

    /// Turned over to y down, with the words above.
    fn leaf(self, title: &str, reference: &str) -> Leaf {
        let bounds = self.marks.iter().map(Mark::bounds).fold(
            [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY],
            |[a, b, c, d], [e, f, g, h]| [a.min(e), b.min(f), c.max(g), d.max(h)],
        );
        let [left, low, right, high] = bounds;
        let width = (right - left + 2.0 * MARGIN).max(LEAST_WIDTH);
        let mut said = vec![
            Named::loud(title.to_owned()),
            Named::loud("1:1. Print without scaling, and measure the line below.".to_owned()),
            Named::said(
                "Heavy lines: where the blade enters, seen from outside; the arrow is the start. Heavy line at \
                 the foot: base."
                    .to_owned(),
            ),
            Named::said(format!(
                "Stations: number, depth in mm, how far the blade stands off square to the {reference}, to where \
                 its point goes."
            )),
        ];
        said.extend(self.notes.iter().map(|note| Named::loud(note.clone())));
        said.push(Named::loud(CAUTIONS_IN_SHORT.to_owned()));
        let mut marks = Vec::new();
        let mut y = 4.0;
        for Named { words, bold } in said {
            for line in labels::broken(&words, LEAST_WIDTH - 12.0, WORDS) {
                y += LEAD;
                let at = [6.0, y];
                marks.push(if bold {
                    Mark::bold(at, WORDS, line)
                } else {
                    Mark::words(at, WORDS, line)
                });
            }
        }
        y += 8.0;
        marks.extend(check_line([8.0, y]));
        y += 8.0;
        let turned = |[px, py]: Flat| [px - left + MARGIN, y + MARGIN * 0.5 + high - py];
        for mark in self.marks {
            marks.push(match mark {
                Mark::Line { name, points, width, dash, grey } => {
                    let points = points.into_iter().map(turned).collect();
                    Mark::Line { name, points, width, dash, grey }
                }
                Mark::Words { at, size, bold, turn, text } => {
                    Mark::Words { at: turned(at), size, bold, turn: -turn, text }
                }
                other => other,
            });
        }
        Leaf { size: [width, y + high - low + 1.5 * MARGIN], marks }
    }
}
