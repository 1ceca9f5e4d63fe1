//! Stations and words on a template.

use super::flat::Flat;
use super::net::Net;
use crate::mesh::Point;
use crate::outputs::bench::blade::View;
use crate::outputs::bench::marks::Mark;
use crate::outputs::words::words_of;
use crate::plan::Cut;
use crate::sheets::{Sheet, Station};

/// Half of a station's tick, mm.
const TICK: f64 = 2.0;
/// Height of the em of a station's words, mm.
const WORDS: f64 = 2.5;
/// Lines of words keep so far apart, middle to middle, mm.
const APART: f64 = 2.9;
/// Mean width of a letter of this typeface over its em.
const LETTER: f64 = 0.6;

/// Where words stand already: points along their middles.
#[derive(Default)]
pub(super) struct Taken {
    points: Vec<Flat>,
}

impl Taken {
    /// Points along words that start at a place and run in a direction, y up.
    fn along(at: Flat, turn: f64, size: f64, text: &str) -> Vec<Flat> {
        let long = LETTER * size * text.chars().count() as f64;
        let (sin, cos) = turn.to_radians().sin_cos();
        let up = 0.36 * size;
        let steps = (long / 1.2).ceil().max(1.0) as u32;
        let at_step = |k: u32| {
            let far = long * f64::from(k) / f64::from(steps);
            [at[0] + far * cos - up * sin, at[1] + far * sin + up * cos]
        };
        (0..=steps).map(at_step).collect()
    }

    fn is_free(&self, points: &[Flat]) -> bool {
        let near = |p: &Flat, q: &Flat| (p[0] - q[0]).hypot(p[1] - q[1]) < APART;
        !points.iter().any(|p| self.points.iter().any(|q| near(p, q)))
    }

    /// Words at the first of some places where nothing is in their way. A place is a start and a turn, degrees.
    pub fn place(
        &mut self,
        places: &[(Flat, f64)],
        size: f64,
        bold: bool,
        text: &str,
    ) -> Option<Mark> {
        let own = |&(at, turn): &(Flat, f64)| (Self::along(at, turn, size, text), at, turn);
        let (points, at, turn) =
            places.iter().map(own).find(|(points, ..)| self.is_free(points))?;
        self.points.extend(points);
        Some(Mark::Words { at, size, bold, turn, text: text.to_owned() })
    }

    /// Places to the right of a point, to its left, and slanted.
    pub fn round([x, y]: Flat, out: f64, size: f64, text: &str) -> Vec<(Flat, f64)> {
        let (long, down) = (LETTER * size * text.chars().count() as f64, 0.36 * size);
        let slanted = |turn: f64| {
            let (sin, cos) = turn.to_radians().sin_cos();
            ([x + out * cos + down * sin, y + out * sin - down * cos], turn)
        };
        let left = ([x - out - long, y - down], 0.0);
        vec![slanted(0.0), left, slanted(35.0), slanted(-35.0), slanted(65.0), slanted(-65.0)]
    }
}

/// A line of words above the net.
pub(super) struct Named {
    pub words: String,
    pub bold: bool,
}

impl Named {
    pub fn loud(words: String) -> Self {
        Self { words, bold: true }
    }

    pub fn said(words: String) -> Self {
        Self { words, bold: false }
    }
}

/// Words in lines of about a width, mm, by the mean width of letters of this typeface: 0.62 of the em in bold.
pub(super) fn broken(text: &str, width: f64, size: f64) -> Vec<String> {
    let most = (width / (0.66 * size)) as usize;
    let mut lines: Vec<String> = Vec::new();
    for word in words_of(text) {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= most => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}

/// Ticks and words at the listed stations, and the arrow at the start, where nothing that is taken is in their way.
pub(super) fn stations(
    net: &Net,
    taken: &mut Taken,
    cut: &Cut,
    sheet: &Sheet,
    entry: &impl Fn(&Station) -> Point,
    view: &View<'_>,
) -> Vec<Mark> {
    let flat = |k: usize| {
        let station = sheet.stations.get(k).filter(|station| !station.flags.blocked)?;
        net.at(&entry(station))
    };
    // Along the line on the net, from neighbours that lie on the same face.
    let ahead = |k: usize| {
        let way = |a: Option<Flat>, b: Option<Flat>| {
            let (a, b) = (a?, b?);
            let way = [b[0] - a[0], b[1] - a[1]];
            let length = way[0].hypot(way[1]);
            (0.05..40.0).contains(&length).then(|| way.map(|x| x / length))
        };
        let before = k.checked_sub(1).and_then(flat);
        way(before, flat(k + 1))
            .or_else(|| way(flat(k), flat(k + 1)))
            .or_else(|| way(before, flat(k)))
    };
    let mut marks = Vec::new();
    let mut lines: Vec<(Flat, usize, usize)> = Vec::new();
    for (number, &k) in sheet.listed.iter().enumerate() {
        let Some(at) = flat(k) else { continue };
        let [x, y] = at;
        let [ax, ay] = ahead(k).unwrap_or([0.0, 1.0]);
        let place =
            |along: f64, aside: f64| [x + ax * along - ay * aside, y + ay * along + ax * aside];
        if lines.is_empty() {
            let arrow = vec![place(0.0, 2.2), place(5.0, 0.0), place(0.0, -2.2), place(0.0, 2.2)];
            marks.push(Mark::line("start", arrow, 0.4));
            let text = format!("Cut {}", cut.order);
            let below = ([x - 11.0, y - 7.0], 0.0);
            let places = [vec![below], Taken::round(at, 7.0, 3.8, &text)].concat();
            marks.extend(taken.place(&places, 3.8, true, &text));
        }
        let tick = vec![place(0.0, TICK), place(0.0, -TICK)];
        marks.push(Mark::line(format!("station-{}", cut.order), tick, 0.3));
        lines.push((at, number + 1, k));
    }
    for (at, number, k) in lines {
        let text = words(number, &sheet.stations[k], view);
        let size = WORDS;
        let all = taken.place(&Taken::round(at, TICK + 0.8, size, &text), size, false, &text);
        // Where all of it has no room its number does: the table on the plan's pages has the rest.
        let short = number.to_string();
        marks.extend(all.or_else(|| {
            taken.place(&Taken::round(at, TICK + 0.8, size, &short), size, false, &short)
        }));
    }
    marks
}

fn words(number: usize, station: &Station, view: &View<'_>) -> String {
    let lean = match view.lean(station) {
        None => String::new(),
        Some((_, words)) if words == "square" => ", square".to_owned(),
        Some((angle, words)) => format!(", {angle:.0}\u{b0} {words}"),
    };
    format!("{number}: {:.0} deep{lean}", station.depth)
}
