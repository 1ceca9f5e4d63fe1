//! The pull over the way, as a small chart.

use super::super::canvas::{Canvas, Lettering, Pen, Spot, Tone};
use super::super::marks::{self, WORDS};
use super::super::text::Weight;
use super::moments::Moment;
use crate::trial::TrialReport;

/// The hands' limit is drawn unless it is this many times the greatest pull or more.
const LIMIT_IN_VIEW: f64 = 2.5;

/// The chart within left, top, width and height.
pub(super) fn draw(
    canvas: &mut Canvas,
    report: &TrialReport,
    moments: &[Moment],
    hand_force: f64,
    [left, top, width, height]: [f32; 4],
) {
    canvas.text("Pull over the way, N", left, top + 24.0, Lettering::new(19.0, Weight::Bold));
    let words = Lettering::new(WORDS, Weight::Regular);
    if report.pull.is_empty() {
        canvas.text("Nothing was drawn yet.", left, top + 60.0, words);
        return;
    }
    let most = report.pull.iter().map(|p| p.force).fold(1.0, f64::max);
    let far = report.pull.iter().map(|p| p.travel).fold(1e-6, f64::max);
    let with_limit = hand_force < LIMIT_IN_VIEW * most;
    let high = 1.15 * if with_limit { most.max(hand_force) } else { most };
    let frame = Frame {
        corner: [left + 64.0, top + 44.0],
        size: [width - 84.0, height - 44.0 - 72.0],
        full: [1.03 * far, high],
    };
    frame.axes(canvas);
    let limit = format!("hands pull {hand_force:.0} N");
    if with_limit {
        let line = [frame.spot([0.0, hand_force]), frame.spot([frame.full[0], hand_force])];
        canvas.line(&line, Pen::new(Tone::BLACK, 1.8).dashed(10.0, 6.0));
        canvas.text(&limit, line[0][0] + 8.0, line[0][1] - 7.0, words.haloed());
    } else {
        canvas.text(&format!("far below: {limit}"), left + 72.0, top + 62.0, words);
    }
    let mut spots = vec![frame.spot([0.0, 0.0])];
    spots.extend(report.pull.iter().map(|p| frame.spot([p.travel.max(0.0), p.force.max(0.0)])));
    canvas.line(&spots, Pen::new(Tone::BLACK, 2.6).round());
    for (point, &spot) in report.pull.iter().zip(&spots[1..]) {
        if point.settled {
            canvas.disc(spot, 4.0, Tone::BLACK);
        } else {
            canvas.disc(spot, 5.0, Tone::WHITE);
            canvas.circle(spot, 5.0, Pen::new(Tone::BLACK, 1.8));
        }
    }
    for (index, moment) in moments.iter().enumerate() {
        let Some(spot) = moment.step.and_then(|step| spots.get(step + 1)) else { continue };
        let up = if spot[1] > frame.corner[1] + 40.0 { -24.0 } else { 26.0 };
        marks::number(canvas, [spot[0], spot[1] + up], index as u32 + 1, true);
    }
}

/// The chart's area and what its upper right corner stands for.
struct Frame {
    corner: Spot,
    size: Spot,
    full: [f64; 2],
}

impl Frame {
    fn spot(&self, [x, y]: [f64; 2]) -> Spot {
        [
            self.corner[0] + self.size[0] * (x / self.full[0]) as f32,
            self.corner[1] + self.size[1] * (1.0 - y / self.full[1]) as f32,
        ]
    }

    fn axes(&self, canvas: &mut Canvas) {
        let words = Lettering::new(WORDS, Weight::Regular);
        let bottom = self.corner[1] + self.size[1];
        let step = ticks(self.full[1]);
        let mut force = 0.0;
        while force <= self.full[1] {
            let spot = self.spot([0.0, force]);
            let end = [self.corner[0] + self.size[0], spot[1]];
            canvas.line(&[spot, end], Pen::new(Tone::RULE, 1.0));
            let label = figure(force, step);
            let width = canvas.fonts().width(&label, WORDS, Weight::Regular);
            canvas.text(&label, spot[0] - width - 8.0, spot[1] + 6.0, words);
            force += step;
        }
        let step = ticks(self.full[0]);
        let mut travel = 0.0;
        while travel <= self.full[0] {
            let spot = self.spot([travel, 0.0]);
            canvas.line(&[spot, [spot[0], spot[1] + 6.0]], Pen::new(Tone::BLACK, 1.4));
            canvas.text_centred(&figure(travel, step), [spot[0], spot[1] + 20.0], words);
            travel += step;
        }
        let corner = [self.corner[0], bottom];
        canvas.line(&[self.corner, corner], Pen::new(Tone::BLACK, 1.4));
        canvas.line(&[corner, [self.corner[0] + self.size[0], bottom]], Pen::new(Tone::BLACK, 1.4));
        let label = "mm that the outside of the rubber has come, on average";
        canvas.text(label, self.corner[0], bottom + 54.0, words);
    }
}

/// A round step of which four to ten fit.
fn ticks(full: f64) -> f64 {
    let power = 10f64.powf((full / 4.0).log10().floor());
    [5.0, 2.0, 1.0].map(|k| k * power).into_iter().find(|&s| s <= full / 4.0).unwrap_or(power)
}

fn figure(value: f64, step: f64) -> String {
    let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
    format!("{value:.decimals$}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_few() {
        for full in [0.3, 1.0, 7.0, 42.0, 230.0, 999.0] {
            let count = (full / ticks(full)).floor();
            assert!((4.0..=10.0).contains(&count), "{full}: {count}");
        }
        assert_eq!(ticks(230.0), 50.0);
        assert_eq!(figure(0.3, 0.1), "0.3");
        assert_eq!(figure(100.0, 50.0), "100");
    }
}
