//! What each kind of change looks like, and its words.

use super::super::PictureError;
use super::super::canvas::{Canvas, Pen, Spot, Tone};
use super::super::raster;
use super::super::text::Fonts;
use crate::mesh::{Mend, MendKind, Point};

/// A kind's colour, of the palette by Okabe and Ito, "Color Universal Design" (2008; from memory), which is told apart by
/// people who are colour-blind too; and its pattern.
pub(super) fn mark(kind: MendKind) -> ([u8; 3], Pattern) {
    match kind {
        MendKind::Rebuilt => ([0, 158, 115], Pattern::Dots),
        MendKind::CutOut => ([204, 121, 167], Pattern::Crossed),
        MendKind::Filled => ([230, 159, 0], Pattern::Slanted),
        MendKind::Capped => ([86, 180, 233], Pattern::Level),
        MendKind::Within => ([0, 114, 178], Pattern::Dashes),
        MendKind::Beside => ([213, 94, 0], Pattern::Dashes),
    }
}

/// What a kind looks like in a grey print.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pattern {
    /// Dots, on a surface that is left pale.
    Dots,
    Crossed,
    Slanted,
    Level,
    /// A dashed outline: what it marks is not there any more.
    Dashes,
}

impl Pattern {
    /// Whether a line or dot of it runs through a sample.
    pub fn is_dark(self, [x, y]: [usize; 2]) -> bool {
        match self {
            Self::Dots => x % 14 < 4 && (y + (x / 14 % 2) * 7) % 14 < 4,
            Self::Crossed => (x + y) % 12 < 3 || (x + 12 * 4096 - y) % 12 < 3,
            Self::Slanted => (x + y) % 12 < 4,
            Self::Level => y % 10 < 3,
            Self::Dashes => false,
        }
    }
}

/// The colour of a marked place.
pub(super) fn marked(kind: MendKind, light: f32, at: [usize; 2]) -> [f32; 3] {
    let (colour, pattern) = mark(kind);
    let lit = 0.8 + 0.2 * light;
    let dark = pattern.is_dark(at);
    // Dots stand on the plain surface, all other patterns on their own colour.
    if pattern == Pattern::Dots {
        let plain = 190.0 + 48.0 * light;
        return if dark { colour.map(|c| f32::from(c) * 0.9) } else { [plain; 3] };
    }
    let share = if dark { 0.45 } else { 1.0 };
    colour.map(|c| f32::from(c) * lit * share)
}

/// A kind in words, for one and for several.
pub(super) fn name(kind: MendKind, count: usize) -> String {
    let of = |one: &str, many: &str| match count {
        1 => one.to_owned(),
        n => format!("{n} {many}"),
    };
    match kind {
        MendKind::Rebuilt => "rebuilt surface; ring: largest deviation".to_owned(),
        MendKind::CutOut => of(
            "cut out where it passed through itself, and filled",
            "places cut out where it passed through itself, and filled",
        ),
        MendKind::Filled => of("hole filled", "holes filled"),
        MendKind::Capped => of("flat opening capped", "flat openings capped"),
        MendKind::Within => of("shell within, dropped", "shells within, dropped"),
        MendKind::Beside => of("body beside it, dropped", "bodies beside it, dropped"),
    }
}

/// A change in words.
pub(super) fn of_mend(mend: &Mend) -> String {
    let Point { coords } = mend.place;
    let place = format!("at ({:.1}, {:.1}, {:.1}) mm", coords.x, coords.y, coords.z);
    let size = mend.size;
    match mend.kind {
        MendKind::Rebuilt => format!("rebuilt surface: largest deviation, {size:.2} mm, {place}"),
        MendKind::CutOut => {
            format!("cut out and filled, surface moved by {size:.2} mm at most, {place}")
        }
        MendKind::Filled => format!("hole filled, {size:.1} mm across, {place}"),
        MendKind::Capped => format!("flat opening capped, {size:.1} mm across, {place}"),
        MendKind::Within => format!("shell within dropped, {size:.1} mm long, {place}"),
        MendKind::Beside => format!("body beside it dropped, {size:.1} mm long, {place}"),
    }
}

/// A dashed line along the outline of what is not there any more.
pub(super) fn dashed_outline(canvas: &mut Canvas, outline: &[[u32; 2]], kind: MendKind) {
    let [red, green, blue] = mark(kind).0;
    let dash = |[x, y]: &&[u32; 2]| (x + y) / 7 % 2 == 0 || (x + 7 * 4096 - y) / 7 % 2 == 0;
    for (grow, tone) in [(2.0, Tone::WHITE), (1.0, Tone(red, green, blue))] {
        for [x, y] in outline.iter().filter(dash) {
            let corner = [*x as f32 - grow, *y as f32 - grow];
            canvas.rectangle(corner, [1.0 + 2.0 * grow; 2], tone);
        }
    }
}

/// What a kind looks like, for the legend.
pub(super) fn swatch(
    canvas: &mut Canvas,
    kind: MendKind,
    [x, y]: Spot,
    fonts: &Fonts,
) -> Result<(), PictureError> {
    let (wide, high) = (52u32, 24u32);
    let mut own = Canvas::blank(wide, high, fonts)?;
    if mark(kind).1 == Pattern::Dashes {
        let edge = (4..wide - 4).flat_map(|x| [[x, 4], [x, high - 5]]);
        let sides = (4..high - 4).flat_map(|y| [[4, y], [wide - 5, y]]);
        dashed_outline(&mut own, &edge.chain(sides).collect::<Vec<_>>(), kind);
    } else {
        for py in 0..high {
            for px in 0..wide {
                let at = [px, py].map(|p| p as usize * raster::FINER);
                let [r, g, b] = marked(kind, 0.7, at).map(|c| c as u8);
                own.rectangle([px as f32, py as f32], [1.0; 2], Tone(r, g, b));
            }
        }
        own.frame([0.5, 0.5], [wide as f32 - 1.0, high as f32 - 1.0], Pen::new(Tone::MUTED, 1.0));
    }
    canvas.paste_canvas(x as i32, y as i32, &own);
    Ok(())
}
