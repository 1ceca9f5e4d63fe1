//! Blocks laid out on leaves of paper, the cautions at the foot of each.

use super::blocks::Block;
use super::marks::{Leaf, Mark};
use super::{BenchError, Paper};
use crate::outputs::cautions::CAUTIONS_IN_SHORT;
use crate::outputs::pictures::text::{Fonts, Weight};
use crate::outputs::words::words_of;

/// Room left, right and above, mm.
const MARGIN: f64 = 13.0;
/// Height of the em of plain text, mm: 10 points, to be read at arm's length.
const BODY: f64 = 3.53;
/// The same in tables and at the foot.
const SMALL: f64 = 2.9;
/// Line to line, over the em.
const LEAD: f64 = 1.36;

/// Words in lines of a width, broken in the middle of a word only where it is longer than a line.
struct Setter {
    fonts: Fonts,
}

impl Setter {
    fn width(&self, text: &str, size: f64, bold: bool) -> f64 {
        let weight = if bold { Weight::Bold } else { Weight::Regular };
        f64::from(self.fonts.width(text, size as f32, weight))
    }

    fn lines(&self, text: &str, size: f64, bold: bool, room: f64) -> Vec<String> {
        let fits = |text: &str| self.width(text, size, bold) <= room;
        let mut lines: Vec<String> = Vec::new();
        for mut word in words_of(text) {
            if let Some(line) = lines.last_mut()
                && fits(&format!("{line} {word}"))
            {
                line.push(' ');
                line.push_str(&word);
                continue;
            }
            while !fits(&word) {
                let mut head = String::new();
                let mut rest = word.chars();
                while let Some(letter) = rest.clone().next() {
                    head.push(letter);
                    if !fits(&head) && head.chars().count() > 1 {
                        head.pop();
                        break;
                    }
                    rest.next();
                }
                let tail = rest.as_str().to_owned();
                lines.push(head);
                word = tail;
            }
            if !word.is_empty() {
                lines.push(word);
            }
        }
        lines
    }
}

/// The leaves of some blocks.
pub(super) fn laid_out(
    title: &str,
    paper: Paper,
    blocks: &[Block],
) -> Result<Vec<Leaf>, BenchError> {
    let mut flow = Flow::new(title, paper, Setter { fonts: Fonts::new()? });
    for (k, block) in blocks.iter().enumerate() {
        match block {
            Block::Mind(all) => {
                // What is in the way of the cautions goes after them.
                let cautions = match blocks.get(k + 1) {
                    Some(Block::Cautions(all)) => flow.cautions_height(all),
                    _ => 0.0,
                };
                flow.mind(all, cautions);
            }
            Block::Cautions(all) => flow.cautions(all),
            other => flow.block(other, blocks.get(k + 1)),
        }
    }
    Ok(flow.finished())
}

struct Flow<'a> {
    title: &'a str,
    paper: Paper,
    setter: Setter,
    leaves: Vec<Leaf>,
    /// Where the next line goes, mm from above.
    y: f64,
    /// Things to mind that had no room before the cautions.
    left: Vec<String>,
}

impl<'a> Flow<'a> {
    fn new(title: &'a str, paper: Paper, setter: Setter) -> Self {
        let mut flow = Self { title, paper, setter, leaves: Vec::new(), y: 0.0, left: Vec::new() };
        flow.leaf(false);
        flow
    }

    fn leaf(&mut self, across: bool) {
        let [w, h] = self.paper.size();
        let size = if across { [h, w] } else { [w, h] };
        self.leaves.push(Leaf { size, marks: Vec::new() });
        self.y = MARGIN;
    }

    fn size(&self) -> [f64; 2] {
        self.leaves.last().map_or(self.paper.size(), |leaf| leaf.size)
    }

    fn room(&self) -> f64 {
        self.size()[0] - 2.0 * MARGIN
    }

    /// Height up to which a leaf is filled, mm.
    fn floor(&self) -> f64 {
        let lines = self.setter.lines(CAUTIONS_IN_SHORT, SMALL, false, self.room()).len();
        self.size()[1] - 10.0 - 4.0 - SMALL * LEAD * (lines as f64 + 1.0)
    }

    fn push(&mut self, mark: Mark) {
        if let Some(leaf) = self.leaves.last_mut() {
            leaf.marks.push(mark);
        }
    }

    /// Goes to a new leaf where so much height is not left.
    fn need(&mut self, height: f64) {
        if self.y + height > self.floor() && self.y > MARGIN {
            self.leaf(false);
        }
    }

    /// A line of text at a distance from the left.
    fn line(&mut self, text: &str, size: f64, bold: bool, indent: f64) {
        self.need(size * LEAD);
        self.y += size * LEAD;
        let at = [MARGIN + indent, self.y - 0.3 * size];
        self.push(if bold { Mark::bold(at, size, text) } else { Mark::words(at, size, text) });
    }

    fn text(&mut self, text: &str, size: f64, bold: bool, indent: f64) {
        for line in self.setter.lines(text, size, bold, self.room() - indent) {
            self.line(&line, size, bold, indent);
        }
    }

    /// A sentence after a mark.
    fn item(&mut self, mark: &str, text: &str, bold: bool) {
        let lines = self.setter.lines(text, BODY, bold, self.room() - 7.0);
        self.need(BODY * LEAD * lines.len().min(3) as f64);
        for (k, line) in lines.iter().enumerate() {
            self.line(line, BODY, bold, 7.0);
            if k == 0 {
                let at = [MARGIN + 1.0, self.y - 0.3 * BODY];
                // Before its words: who reads the file aloud reads it in this order.
                if let Some(leaf) = self.leaves.last_mut() {
                    let last = leaf.marks.len().saturating_sub(1);
                    leaf.marks.insert(last, Mark::bold(at, BODY, mark));
                }
            }
        }
        self.y += 0.8;
    }

    fn heading(&mut self, words: &str, size: f64, after: f64) {
        // Never alone at the foot.
        self.need(after + 3.0 + size * LEAD);
        if self.y > MARGIN {
            self.y += 3.0;
        }
        self.text(words, size, true, 0.0);
        self.y += 1.0;
    }

    fn block(&mut self, block: &Block, next: Option<&Block>) {
        let after = match next {
            Some(Block::Picture { alone: false, .. }) => self.picture_height(),
            _ => 18.0,
        };
        match block {
            Block::Title(words) => self.heading(words, 4.6, 0.0),
            Block::Heading(words) => self.heading(words, 5.2, after),
            Block::Part(words) => self.heading(words, 4.2, after),
            Block::Loud(words) => {
                let size = if self.leaves.len() == 1 && self.y < 40.0 { 5.6 } else { BODY };
                self.text(words, size, true, 0.0);
                self.y += 1.5;
            }
            Block::Text(words) => {
                self.text(words, BODY, false, 0.0);
                self.y += 1.5;
            }
            Block::Items(all) => {
                for words in all {
                    self.item("\u{2022}", words, false);
                }
                self.y += 1.0;
            }
            Block::Steps(all) => {
                for (k, words) in all.iter().enumerate() {
                    self.item(&format!("{}.", k + 1), words, false);
                }
                self.y += 1.0;
            }
            Block::Mind(all) => self.mind(all, 0.0),
            Block::Cautions(all) => self.cautions(all),
            Block::Table { head, rows } => self.table(head, rows),
            Block::Picture { png, size, alone, .. } => self.picture(png, *size, *alone),
        }
    }

    fn mind(&mut self, all: &[String], keep: f64) {
        self.heading("Mind", 4.2, 10.0);
        let floor = self.floor() - keep - 8.0;
        for (k, words) in all.iter().enumerate() {
            let lines = self.setter.lines(words, BODY, true, self.room() - 7.0).len();
            if keep > 0.0 && self.y + BODY * LEAD * lines as f64 > floor {
                self.left = all[k..].to_vec();
                self.text("More to mind stands below the cautions.", BODY, true, 0.0);
                break;
            }
            self.item("!", words, true);
        }
        self.y += 1.0;
    }

    /// Lines of the cautions, and whether they say what a caution is about.
    fn caution_lines(&self, all: &[(String, String)]) -> Vec<(String, bool)> {
        let room = self.room() - 8.0;
        let mut lines = vec![("Before you start".to_owned(), true)];
        for (about, words) in all {
            lines.push((about.clone(), true));
            lines.extend(
                self.setter.lines(words, BODY, false, room).into_iter().map(|line| (line, false)),
            );
        }
        lines
    }

    fn cautions_height(&self, all: &[(String, String)]) -> f64 {
        self.caution_lines(all).len() as f64 * BODY * LEAD + 8.0
    }

    fn cautions(&mut self, all: &[(String, String)]) {
        let lines = self.caution_lines(all);
        let height = self.cautions_height(all);
        self.need(height);
        self.y += 2.0;
        let (top, left, right) = (self.y, MARGIN, MARGIN + self.room());
        for (line, bold) in lines {
            self.y += if bold { 0.8 } else { 0.0 };
            self.line(&line, BODY, bold, 4.0);
        }
        self.y += 2.5;
        let bottom = self.y;
        let frame = vec![[left, top], [right, top], [right, bottom], [left, bottom], [left, top]];
        self.push(Mark::line("cautions", frame, 0.7));
        self.y += 2.0;
        let left = std::mem::take(&mut self.left);
        if !left.is_empty() {
            self.mind(&left, 0.0);
        }
    }

    fn table(&mut self, head: &[(String, f64)], rows: &[Vec<String>]) {
        let room = self.room();
        let widths: Vec<f64> = head.iter().map(|(_, share)| share * room).collect();
        let names: Vec<String> = head.iter().map(|(words, _)| words.clone()).collect();
        self.y += 1.0;
        let mut leaf = 0;
        for row in rows {
            let height = self.row_height(row, &widths, false);
            if leaf != self.leaves.len() || self.y + height > self.floor() {
                let header = self.row_height(&names, &widths, true);
                self.need(header + height);
                leaf = self.leaves.len();
                self.row(&names, &widths, true);
            }
            self.row(row, &widths, false);
        }
        self.y += 2.5;
    }

    fn cells(&self, row: &[String], widths: &[f64], bold: bool) -> Vec<Vec<String>> {
        let cells = row.iter().zip(widths);
        cells.map(|(words, width)| self.setter.lines(words, SMALL, bold, width - 2.0)).collect()
    }

    fn row_height(&self, row: &[String], widths: &[f64], bold: bool) -> f64 {
        let lines = self.cells(row, widths, bold).iter().map(Vec::len).max().unwrap_or(0);
        SMALL * LEAD * lines.max(1) as f64 + 1.0
    }

    fn row(&mut self, row: &[String], widths: &[f64], bold: bool) {
        let height = self.row_height(row, widths, bold);
        let (top, mut x) = (self.y, MARGIN);
        if bold {
            self.push(Mark::Fill { place: [x, top, self.room(), height] });
        }
        for (lines, width) in self.cells(row, widths, bold).iter().zip(widths) {
            for (k, line) in lines.iter().enumerate() {
                let at = [x + 1.0, top + SMALL * LEAD * (k as f64 + 1.0) - 0.2 * SMALL];
                self.push(if bold {
                    Mark::bold(at, SMALL, line)
                } else {
                    Mark::words(at, SMALL, line)
                });
            }
            x += width;
        }
        self.y += height;
        let rule = vec![[MARGIN, self.y], [MARGIN + self.room(), self.y]];
        self.push(Mark::Line {
            name: "rule".to_owned(),
            points: rule,
            width: 0.15,
            dash: None,
            grey: true,
        });
    }

    /// Height of a view on an upright leaf: two of them fit below a heading, mm.
    fn picture_height(&self) -> f64 {
        let [_, height] = self.paper.size();
        0.5 * (height - 2.0 * MARGIN - 34.0)
    }

    fn picture(&mut self, png: &[u8], size: [u32; 2], alone: bool) {
        // A page laid across, where that shows it larger.
        let across = alone && 4 * size[0] > 5 * size[1];
        let [w, h] = size.map(f64::from);
        // As wide as the page, where what is left of this one is high enough for it.
        let wide = self.y + h * self.room() / w + 4.5 <= self.floor();
        if across || alone && !wide {
            self.leaf(across);
        }
        // Views are square; what is lower has their scale, and so letters of one size.
        let scale = if alone {
            (self.room() / w).min((self.floor() - self.y - 2.5) / h)
        } else {
            (self.room() / w).min(self.picture_height() / w.max(h))
        };
        let (w, h) = (w * scale, h * scale);
        self.need(h + 2.0);
        let place = [MARGIN + 0.5 * (self.room() - w), self.y, w, h];
        self.push(Mark::Picture { place, png: png.to_vec() });
        self.y += h + 2.0;
        if across {
            self.leaf(false);
        }
    }

    /// The leaves with their feet.
    fn finished(mut self) -> Vec<Leaf> {
        // A picture laid across may have been the last thing.
        if self.leaves.last().is_some_and(|leaf| leaf.marks.is_empty()) && self.leaves.len() > 1 {
            self.leaves.pop();
        }
        let count = self.leaves.len();
        for (k, leaf) in self.leaves.iter_mut().enumerate() {
            let room = leaf.size[0] - 2.0 * MARGIN;
            let page = format!("Page {} of {count}", k + 1);
            let width = self.setter.width(&page, SMALL, false);
            let mut lines = self.setter.lines(CAUTIONS_IN_SHORT, SMALL, false, room);
            let name = self.setter.lines(self.title, SMALL, false, room - width - 4.0);
            lines.extend(name.into_iter().take(1));
            let top = leaf.size[1] - 10.0 - SMALL * LEAD * lines.len() as f64;
            leaf.marks.push(Mark::line("foot", vec![[MARGIN, top], [MARGIN + room, top]], 0.3));
            let below = |k: usize| top + SMALL * LEAD * (k as f64 + 1.0);
            let last = below(lines.len() - 1);
            for (k, line) in lines.iter().enumerate() {
                leaf.marks.push(Mark::words([MARGIN, below(k)], SMALL, line));
            }
            leaf.marks.push(Mark::words([MARGIN + room - width, last], SMALL, page));
        }
        self.leaves
    }
}
