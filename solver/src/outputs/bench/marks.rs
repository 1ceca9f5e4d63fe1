//! What is drawn on paper, in millimetres from the upper left corner, y down: for PDF and SVG alike.

/// A mark on paper.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Mark {
    /// A line through points.
    Line {
        /// What it is, for who reads the file: `cut-1`, `check` ...
        name: String,
        /// Its points, mm.
        points: Vec<[f64; 2]>,
        /// Width, mm.
        width: f64,
        /// Length of dashes, mm; a full line without.
        dash: Option<f64>,
        /// Black, or grey.
        grey: bool,
    },
    /// A light grey rectangle.
    Fill {
        /// Left, top, width, height, mm.
        place: [f64; 4],
    },
    /// A line of text.
    Words {
        /// Where its baseline starts, mm.
        at: [f64; 2],
        /// Height of the em, mm.
        size: f64,
        /// Whether it is bold.
        bold: bool,
        /// Turned clockwise about its start, degrees.
        turn: f64,
        /// What it says.
        text: String,
    },
    /// A picture.
    Picture {
        /// Left, top, width, height, mm.
        place: [f64; 4],
        /// As a PNG file.
        png: Vec<u8>,
    },
    /// Marks of which only what lies within a window is seen.
    Within {
        /// Left, top, width, height, mm.
        window: [f64; 4],
        /// The marks.
        marks: Vec<Mark>,
    },
}

impl Mark {
    /// A full black line.
    pub fn line(name: impl Into<String>, points: Vec<[f64; 2]>, width: f64) -> Self {
        Self::Line { name: name.into(), points, width, dash: None, grey: false }
    }

    /// A line of upright text.
    pub fn words(at: [f64; 2], size: f64, text: impl Into<String>) -> Self {
        Self::Words { at, size, bold: false, turn: 0.0, text: text.into() }
    }

    /// The same in bold.
    pub fn bold(at: [f64; 2], size: f64, text: impl Into<String>) -> Self {
        Self::Words { at, size, bold: true, turn: 0.0, text: text.into() }
    }

    /// The same elsewhere.
    pub fn moved(&self, by: [f64; 2]) -> Self {
        let [dx, dy] = by;
        let place = |[x, y, w, h]: [f64; 4]| [x + dx, y + dy, w, h];
        match self.clone() {
            Self::Line { name, points, width, dash, grey } => {
                let points = points.into_iter().map(|[x, y]| [x + dx, y + dy]).collect();
                Self::Line { name, points, width, dash, grey }
            }
            Self::Fill { place: own } => Self::Fill { place: place(own) },
            Self::Words { at: [x, y], size, bold, turn, text } => {
                Self::Words { at: [x + dx, y + dy], size, bold, turn, text }
            }
            Self::Picture { place: own, png } => Self::Picture { place: place(own), png },
            Self::Within { window, marks } => Self::Within {
                window: place(window),
                marks: marks.iter().map(|mark| mark.moved(by)).collect(),
            },
        }
    }

    /// Corners of a box that holds it, generous about text: least x and y, greatest x and y, mm.
    pub fn bounds(&self) -> [f64; 4] {
        let of_place = |[x, y, w, h]: [f64; 4]| [x, y, x + w, y + h];
        match self {
            Self::Line { points, .. } => points.iter().fold(
                [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY],
                |[a, b, c, d], &[x, y]| [a.min(x), b.min(y), c.max(x), d.max(y)],
            ),
            Self::Fill { place } | Self::Picture { place, .. } => of_place(*place),
            Self::Within { window, .. } => of_place(*window),
            Self::Words { at: [x, y], size, text, turn, .. } => {
                let long = 0.75 * size * text.chars().count() as f64;
                let (sin, cos) = turn.to_radians().sin_cos();
                let (ex, ey) = (x + long * cos, y + long * sin);
                [x.min(ex) - size, y.min(ey) - size, x.max(ex) + size, y.max(ey) + size]
            }
        }
    }
}

/// One side of paper.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Leaf {
    /// Width and height, mm.
    pub size: [f64; 2],
    /// What is on it.
    pub marks: Vec<Mark>,
}

/// The line by which a print is checked: where it is not as long as it says, the printer has scaled the page.
pub(super) fn check_line(at: [f64; 2]) -> Vec<Mark> {
    let [x, y] = at;
    let end = |x: f64| Mark::line("check-end", vec![[x, y - 2.0], [x, y + 2.0]], 0.25);
    vec![
        Mark::line("check", vec![[x, y], [x + CHECK, y]], 0.25),
        end(x),
        end(x + CHECK),
        Mark::bold([x + CHECK + 3.0, y + 1.0], 2.8, "100 mm: measure this before you use it"),
    ]
}

/// Length of the line for checking, mm.
pub(super) const CHECK: f64 = 100.0;
