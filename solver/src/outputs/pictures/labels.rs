//! Where badges and words go: near what they name, off other words, off the cuts, on the picture.

use super::canvas::Spot;
use super::sight::distance;

/// Side of a cell of the map of what must not be covered, px.
const CELL: f32 = 6.0;

/// Finds room for one label after another on one picture.
pub(super) struct Placer {
    /// Left, top, right, bottom of the part of the picture that may be written on.
    area: [f32; 4],
    taken: Vec<[f32; 4]>,
    columns: usize,
    rows: usize,
    busy: Vec<bool>,
}

impl Placer {
    pub fn new(area: [f32; 4]) -> Self {
        let count = |from: f32, to: f32| ((to - from) / CELL).ceil().max(1.0) as usize;
        let (columns, rows) = (count(area[0], area[2]), count(area[1], area[3]));
        Self { area, taken: Vec::new(), columns, rows, busy: vec![false; columns * rows] }
    }

    /// Marks spots that labels had better leave free.
    pub fn keep_clear(&mut self, spots: &[Spot]) {
        for spot in spots {
            let (x, y) = ((spot[0] - self.area[0]) / CELL, (spot[1] - self.area[1]) / CELL);
            if x >= 0.0 && y >= 0.0 && (x as usize) < self.columns && (y as usize) < self.rows {
                self.busy[y as usize * self.columns + x as usize] = true;
            }
        }
    }

    /// Takes the room of a label that has its place already.
    pub fn take(&mut self, middle: Spot, half: Spot) {
        self.taken.push(grown(middle, half, 3.0));
    }

    /// Middle of a label of half size `half` that names `anchor`. The room is taken from then on.
    pub fn place(&mut self, anchor: Spot, half: Spot) -> Spot {
        const ANGLES: usize = 24;
        const RINGS: [f32; 7] = [8.0, 16.0, 28.0, 44.0, 64.0, 90.0, 130.0];
        let mut best = (f32::INFINITY, anchor);
        for ring in RINGS {
            for step in 0..ANGLES {
                // Start at the upper right and go round.
                let angle = (step as f32 / ANGLES as f32) * std::f32::consts::TAU
                    - std::f32::consts::FRAC_PI_4;
                let (sine, cosine) = angle.sin_cos();
                let middle =
                    [anchor[0] + cosine * (half[0] + ring), anchor[1] + sine * (half[1] + ring)];
                let cost = self.cost(middle, half) + 0.03 * distance(middle, anchor);
                if cost < best.0 {
                    best = (cost, middle);
                }
            }
        }
        let middle = best.1;
        self.taken.push(grown(middle, half, 3.0));
        middle
    }

    fn cost(&self, middle: Spot, half: Spot) -> f32 {
        let [left, top, right, bottom] = grown(middle, half, 3.0);
        let outside = (self.area[0] - left).max(0.0)
            + (self.area[1] - top).max(0.0)
            + (right - self.area[2]).max(0.0)
            + (bottom - self.area[3]).max(0.0);
        let overlap: f32 = self
            .taken
            .iter()
            .map(|other| {
                let wide = right.min(other[2]) - left.max(other[0]);
                let high = bottom.min(other[3]) - top.max(other[1]);
                if wide > 0.0 && high > 0.0 { wide * high } else { 0.0 }
            })
            .sum();
        // A few pixels over the edge, or on another label, are worse than any distance.
        100.0 * outside + 20.0 * overlap + 1.5 * self.busy_cells([left, top, right, bottom])
    }

    fn busy_cells(&self, [left, top, right, bottom]: [f32; 4]) -> f32 {
        let cell = |at: f32, from: f32, count: usize| {
            ((at - from) / CELL).floor().clamp(0.0, count as f32 - 1.0) as usize
        };
        let (x0, x1) =
            (cell(left, self.area[0], self.columns), cell(right, self.area[0], self.columns));
        let (y0, y1) = (cell(top, self.area[1], self.rows), cell(bottom, self.area[1], self.rows));
        let mut count = 0;
        for row in y0..=y1 {
            let row = &self.busy[row * self.columns..(row + 1) * self.columns];
            count += row[x0..=x1].iter().filter(|&&busy| busy).count();
        }
        count as f32
    }
}

fn grown(middle: Spot, half: Spot, by: f32) -> [f32; 4] {
    [
        middle[0] - half[0] - by,
        middle[1] - half[1] - by,
        middle[0] + half[0] + by,
        middle[1] + half[1] + by,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_of_one_anchor_do_not_overlap_and_stay_inside() {
        let mut placer = Placer::new([0.0, 0.0, 400.0, 400.0]);
        let half = [15.0, 15.0];
        let placed: Vec<Spot> = (0..12).map(|_| placer.place([5.0, 200.0], half)).collect();
        for (index, a) in placed.iter().enumerate() {
            assert!(a[0] >= 15.0 && a[1] >= 15.0 && a[0] <= 385.0 && a[1] <= 385.0);
            for b in &placed[..index] {
                assert!((a[0] - b[0]).abs() > 30.0 || (a[1] - b[1]).abs() > 30.0, "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn labels_leave_cuts_free() {
        let mut placer = Placer::new([0.0, 0.0, 400.0, 400.0]);
        let line: Vec<Spot> = (0..400).map(|x| [x as f32, 200.0]).collect();
        placer.keep_clear(&line);
        let middle = placer.place([200.0, 200.0], [15.0, 15.0]);
        assert!((middle[1] - 200.0).abs() > 15.0);
    }
}
