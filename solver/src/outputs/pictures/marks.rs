//! Every mark that is drawn on the model. The legend draws its samples with the same functions, so
//! that it cannot tell of a mark that the pictures do not use.
//!
//! Kinds of cut differ by width, line and ends, not by tone alone.

use super::canvas::{Canvas, Lettering, Pen, Spot, Tone};
use super::sight::distance;
use super::text::Weight;
use crate::outputs::stretches::Weakness;
use crate::plan::CutKind;

/// Size of words on the pictures, px to the em. With it, capitals are 12 px high and a line of
/// words, from the top of its tall letters to the foot of its hanging ones, more than 16 px.
pub(super) const WORDS: f32 = 17.0;
/// Radius of the circle round a cut's number.
pub(super) const BADGE: f32 = 15.0;

/// Tones of the kinds: near black, and dark enough to stay so in greys.
const FROM_GATE: Tone = Tone(15, 15, 20);
const SEPARATE: Tone = Tone(20, 40, 105);
const BRIDGE: Tone = Tone(115, 15, 25);
const BEHIND_HINGE: Tone = Tone(10, 80, 70);
const PARTING: Tone = Tone(95, 45, 0);
/// The gate, hinges and what is hidden.
pub(super) const PLAIN: Tone = Tone(45, 45, 45);
const HIDDEN: Tone = Tone(60, 60, 60);

pub(super) fn tone_of(kind: CutKind) -> Tone {
    match kind {
        CutKind::FromGate => FROM_GATE,
        CutKind::Separate => SEPARATE,
        CutKind::Bridge => BRIDGE,
        CutKind::BehindHinge => BEHIND_HINGE,
    }
}

/// Width of a cut's line where it is seen and where it is hidden, px.
fn widths(kind: CutKind) -> [f32; 2] {
    match kind {
        CutKind::FromGate => [5.5, 2.6],
        CutKind::Separate => [3.6, 2.0],
        CutKind::Bridge => [7.5, 5.5],
        CutKind::BehindHinge => [4.6, 2.3],
    }
}

/// The white rim under a cut, drawn before any cut so that no rim breaks another cut's line.
pub(super) fn cut_rim(canvas: &mut Canvas, kind: CutKind, seen: bool, spots: &[Spot]) {
    let [seen_width, hidden_width] = widths(kind);
    if seen {
        canvas.line(spots, Pen::new(Tone::WHITE, seen_width + 3.0).round());
    } else {
        canvas.line(spots, Pen::new(Tone(215, 215, 215), hidden_width + 1.6));
    }
}

pub(super) fn cut_line(canvas: &mut Canvas, kind: CutKind, seen: bool, spots: &[Spot]) {
    let [seen_width, hidden_width] = widths(kind);
    let pen = match (seen, kind) {
        (true, CutKind::BehindHinge) => Pen::new(tone_of(kind), seen_width).dashed(4.0, 3.0),
        (true, _) => Pen::new(tone_of(kind), seen_width).round(),
        (false, _) => Pen::new(HIDDEN, hidden_width).dashed(9.0, 6.0),
    };
    canvas.line(spots, pen);
    if kind == CutKind::Bridge {
        // The line is double: its middle is left white.
        let core = if seen { 2.8 } else { 2.0 };
        canvas.line(spots, Pen::new(Tone::WHITE, core));
    }
}

/// The line between the parts of a blanket's shell: a pair of dashed strokes, with room for a cut's line in the middle.
pub(super) fn parting_line(canvas: &mut Canvas, seen: bool, spots: &[Spot]) {
    if seen {
        canvas.line(spots, Pen::new(Tone::WHITE, 13.0));
        canvas.line(spots, Pen::new(PARTING, 10.0).dashed(11.0, 6.0));
        canvas.line(spots, Pen::new(Tone::WHITE, 5.0));
    } else {
        canvas.line(spots, Pen::new(Tone(215, 215, 215), 4.6));
        canvas.line(spots, Pen::new(HIDDEN, 3.0).dashed(5.0, 4.0));
        canvas.line(spots, Pen::new(Tone(215, 215, 215), 1.2));
    }
}

/// Where the blade enters a blanket: thin enough to run within the line between a shell's parts.
pub(super) fn entry_line(canvas: &mut Canvas, kind: CutKind, spots: &[Spot]) {
    canvas.line(spots, Pen::new(Tone::WHITE, 5.0));
    let pen = Pen::new(tone_of(kind), 3.0);
    canvas.line(spots, if kind == CutKind::FromGate { pen.round() } else { pen.dashed(2.0, 2.0) });
}

/// The bar across a cut where it leaves the gate. `ahead` is a spot further along the cut.
pub(super) fn start_bar(canvas: &mut Canvas, spot: Spot, ahead: Spot, seen: bool) {
    let length = distance(spot, ahead);
    if length < 0.5 {
        return;
    }
    let across = [-(ahead[1] - spot[1]) / length, (ahead[0] - spot[0]) / length];
    let at = |reach: f32| [spot[0] + across[0] * reach, spot[1] + across[1] * reach];
    let bar = [at(-10.0), at(10.0)];
    if seen {
        canvas.line(&[at(-11.5), at(11.5)], Pen::new(Tone::WHITE, 7.5));
        canvas.line(&bar, Pen::new(FROM_GATE, 4.5));
    } else {
        canvas.line(&bar, Pen::new(HIDDEN, 2.2));
    }
}

/// The round end of a cut that stands alone.
pub(super) fn round_end(canvas: &mut Canvas, spot: Spot, seen: bool) {
    if seen {
        canvas.disc(spot, 8.0, Tone::WHITE);
        canvas.disc(spot, 6.5, SEPARATE);
    } else {
        canvas.disc(spot, 4.5, Tone(215, 215, 215));
        canvas.circle(spot, 4.5, Pen::new(HIDDEN, 1.6));
    }
}

/// A cut's number in the order of the knife: white on dark where the cut is seen, dark on white
/// within a dashed circle where all of it is hidden.
pub(super) fn number(canvas: &mut Canvas, spot: Spot, order: u32, seen: bool) {
    let words = order.to_string();
    let size = if words.len() > 2 { 14.0 } else { 18.0 };
    let lettering = Lettering::new(size, Weight::Bold);
    canvas.disc(spot, BADGE + 2.0, Tone::WHITE);
    if seen {
        canvas.disc(spot, BADGE, Tone::BLACK);
        canvas.text_centred(&words, spot, lettering.toned(Tone::WHITE));
    } else {
        canvas.circle(spot, BADGE - 1.0, Pen::new(HIDDEN, 1.8).dashed(4.0, 3.0));
        canvas.text_centred(&words, spot, lettering.toned(HIDDEN));
    }
}

/// Half the side of the square round a bridge's letter.
pub(super) const LETTER_BOX: f32 = 13.0;

/// A bridge's letter in a square.
pub(super) fn letter(canvas: &mut Canvas, spot: Spot, letter: &str, seen: bool) {
    let half = LETTER_BOX;
    let corner = |grow: f32| [spot[0] - half - grow, spot[1] - half - grow];
    let side = |grow: f32| [2.0 * (half + grow), 2.0 * (half + grow)];
    canvas.rectangle(corner(2.0), side(2.0), Tone::WHITE);
    let lettering = Lettering::new(if letter.len() > 1 { 14.0 } else { 18.0 }, Weight::Bold);
    if seen {
        canvas.frame(corner(0.0), side(0.0), Pen::new(Tone::BLACK, 2.4));
        canvas.text_centred(letter, spot, lettering);
    } else {
        canvas.frame(corner(0.0), side(0.0), Pen::new(HIDDEN, 1.6).dashed(4.0, 3.0));
        canvas.text_centred(letter, spot, lettering.toned(HIDDEN));
    }
}

/// The thin line from a badge to what it names.
pub(super) fn leader(canvas: &mut Canvas, from: Spot, to: Spot) {
    canvas.line(&[from, to], Pen::new(Tone::WHITE, 3.4));
    canvas.line(&[from, to], Pen::new(PLAIN, 1.3));
}

/// The dot in the middle of a bridge's neck, which may lie in the open with nothing to point at.
pub(super) fn dot(canvas: &mut Canvas, spot: Spot) {
    canvas.disc(spot, 4.5, Tone::WHITE);
    canvas.disc(spot, 3.0, PLAIN);
}

/// The rim of a bridge that no cut crosses: a row of dots.
pub(super) fn uncut_rim(canvas: &mut Canvas, seen: bool, spots: &[Spot]) {
    let tone = if seen { Tone::BLACK } else { HIDDEN };
    let width = if seen { 5.0 } else { 3.0 };
    canvas.line(spots, Pen { tone, width, dash: Some([0.1, 2.2 * width]), round: true });
}

/// The outline of the gate.
pub(super) fn gate_outline(canvas: &mut Canvas, seen: bool, spots: &[Spot]) {
    let pen = if seen { Pen::new(PLAIN, 2.2) } else { Pen::new(HIDDEN, 1.5).dashed(6.0, 4.0) };
    canvas.line(spots, pen);
}

/// One line of the gate's hatching.
pub(super) fn gate_hatch(canvas: &mut Canvas, spots: &[Spot]) {
    canvas.line(spots, Pen::new(Tone(70, 70, 70), 1.3));
}

/// The gate seen edge-on: a line with hatching on the side away from the model. `out` is the unit
/// direction on the picture that points away from the model.
pub(super) fn gate_edge(canvas: &mut Canvas, from: Spot, to: Spot, out: Spot) {
    canvas.line(&[from, to], Pen::new(PLAIN, 3.0));
    let length = distance(from, to);
    let along = [(to[0] - from[0]) / length.max(1.0), (to[1] - from[1]) / length.max(1.0)];
    let mut reach = 3.0;
    while reach < length {
        let foot = [from[0] + along[0] * reach, from[1] + along[1] * reach];
        let tip =
            [foot[0] + 9.0 * (out[0] - along[0] * 0.8), foot[1] + 9.0 * (out[1] - along[1] * 0.8)];
        canvas.line(&[foot, tip], Pen::new(PLAIN, 1.4));
        reach += 8.0;
    }
}

/// The line of a hinge's arrow.
pub(super) fn hinge_line(canvas: &mut Canvas, seen: bool, spots: &[Spot]) {
    if seen {
        canvas.line(spots, Pen::new(Tone::WHITE, 5.0));
        canvas.line(spots, Pen::new(PLAIN, 2.0));
    } else {
        canvas.line(spots, Pen::new(HIDDEN, 1.4).dashed(3.0, 3.0));
    }
}

/// An arrow's head with its tip at `tip`, coming from `tail`.
pub(super) fn arrow_head(canvas: &mut Canvas, tip: Spot, tail: Spot, size: f32) {
    let length = distance(tip, tail);
    if length < 0.5 {
        return;
    }
    let back = [(tail[0] - tip[0]) / length, (tail[1] - tip[1]) / length];
    let side = [-back[1] * 0.42 * size, back[0] * 0.42 * size];
    let base = [tip[0] + back[0] * size, tip[1] + back[1] * size];
    let head =
        [tip, [base[0] + side[0], base[1] + side[1]], [base[0] - side[0], base[1] - side[1]]];
    canvas.polygon(&head, PLAIN);
}

/// Teeth beside a cut along a weak stretch: a comb of short strokes for a thin lip, a filled saw for a
/// feather edge, crosses where the knife is stopped. `sides` holds for each spot the direction on the
/// picture, in px, towards the thin lip, shorter where that is seen from the edge.
pub(super) fn teeth(
    canvas: &mut Canvas,
    weakness: Weakness,
    kind: CutKind,
    seen: bool,
    spots: &[Spot],
    sides: &[Spot],
) {
    let step = match weakness {
        Weakness::Thin => 6.5,
        Weakness::Feather => 8.0,
        Weakness::Blocked => 15.0,
    };
    let [seen_width, hidden_width] = widths(kind);
    let base = 0.5 * if seen { seen_width } else { hidden_width } + 1.0;
    let tone = if seen { Tone::BLACK } else { HIDDEN };
    let length = if seen { 9.0 } else { 7.0 };
    let mut next = 0.5 * step;
    let mut along = 0.0;
    for (index, pair) in spots.windows(2).enumerate() {
        let piece = distance(pair[0], pair[1]);
        while next <= along + piece && piece > 0.0 {
            let t = (next - along) / piece;
            let at = [
                pair[0][0] + t * (pair[1][0] - pair[0][0]),
                pair[0][1] + t * (pair[1][1] - pair[0][1]),
            ];
            let ahead = [(pair[1][0] - pair[0][0]) / piece, (pair[1][1] - pair[0][1]) / piece];
            let side = sides[index];
            let off = |reach: f32, shift: f32| {
                [
                    at[0] + side[0] * reach + ahead[0] * shift,
                    at[1] + side[1] * reach + ahead[1] * shift,
                ]
            };
            match weakness {
                Weakness::Thin => {
                    let stroke = [off(base, 0.0), off(base + length, 0.0)];
                    canvas.line(&stroke, Pen::new(Tone::WHITE, 4.0));
                    canvas.line(&stroke, Pen::new(tone, if seen { 2.0 } else { 1.3 }));
                }
                Weakness::Feather => {
                    let half = 0.5 * step;
                    let tooth = [off(base, -half), off(base + 1.2 * length, 0.0), off(base, half)];
                    canvas.polygon(&tooth, tone);
                }
                Weakness::Blocked => {
                    for turn in [1.0, -1.0] {
                        let [from, to] =
                            [-1.0, 1.0].map(|end| [at[0] + 6.0 * end, at[1] + 6.0 * end * turn]);
                        canvas.line(&[from, to], Pen::new(Tone::WHITE, 5.5));
                        canvas.line(&[from, to], Pen::new(tone, 2.6));
                    }
                }
            }
            next += step;
        }
        along += piece;
    }
}

/// Half the height of a warning.
pub(super) const WARNING: f32 = 12.0;

/// A triangle with an exclamation mark: something is wrong at stations here.
pub(super) fn warning(canvas: &mut Canvas, spot: Spot) {
    let corners = |half: f32| {
        let (x, y) = (spot[0], spot[1]);
        [[x, y - half], [x + 1.1 * half, y + 0.9 * half], [x - 1.1 * half, y + 0.9 * half]]
    };
    canvas.polygon(&corners(WARNING + 4.0), Tone::WHITE);
    let [a, b, c] = corners(WARNING);
    canvas.line(&[a, b, c, a, b], Pen::new(Tone::BLACK, 2.4));
    canvas.text_centred("!", [spot[0], spot[1] + 3.0], Lettering::new(14.0, Weight::Bold));
}

/// Where a section is taken: a thin bar across the cut. `across` is a unit direction.
pub(super) fn section_bar(canvas: &mut Canvas, spot: Spot, across: Spot) {
    let at = |reach: f32| [spot[0] + across[0] * reach, spot[1] + across[1] * reach];
    let bar = [at(-14.0), at(14.0)];
    canvas.line(&bar, Pen::new(Tone::WHITE, 4.5));
    canvas.line(&bar, Pen::new(PLAIN, 1.8).dashed(7.0, 2.5));
}

/// A scale bar of `length` mm at `scale` px to the mm, upper left corner at `corner`.
pub(super) fn scale_bar(canvas: &mut Canvas, corner: Spot, length: f64, scale: f64) {
    let width = (length * scale) as f32;
    let height = 9.0;
    canvas.rectangle(corner, [width, height], Tone::BLACK);
    for piece in [1usize, 3] {
        let start = corner[0] + width * piece as f32 / 5.0;
        canvas.rectangle([start, corner[1] + 1.5], [width / 5.0, height - 3.0], Tone::WHITE);
    }
    let lettering = Lettering::new(WORDS, Weight::Regular);
    canvas.text(&format!("{length} mm"), corner[0], corner[1] + height + 18.0, lettering);
}

/// The longest round length whose bar is no wider than `widest` px.
pub(super) fn bar_length(scale: f64, widest: f64) -> f64 {
    let room = widest / scale;
    let power = 10f64.powf(room.log10().floor());
    [5.0, 2.0, 1.0].map(|step| step * power).into_iter().find(|&bar| bar <= room).unwrap_or(power)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scale_bars_are_round_and_fit() {
        assert_eq!(bar_length(5.0, 200.0), 20.0);
        assert_eq!(bar_length(4.0, 200.0), 50.0);
        assert_eq!(bar_length(2.0, 200.0), 100.0);
        assert_eq!(bar_length(300.0, 200.0), 0.5);
    }
}
