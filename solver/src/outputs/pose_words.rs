//! How a model stands and rests, in words.

use std::fmt::Write;

use crate::body::{
    Advised, Foot, FootKind, LEAST_FOOT_SHARE, LEAST_TIPPING_DEGREES, Poses, RestingPose, Stance,
    WantsBase,
};
use crate::mesh::{Point, Vector};

/// Height above the lowest point of a plane that is proposed as a gate, as a share of the model's height, and at
/// least, mm. Common practice, no source.
const GATE_ABOVE: (f64, f64) = (0.02, 1.0);

/// How a model stands in its file, the poses in which it would come to rest, and what a plan takes where it is given no
/// gate. Plain text, a line each, every line ending in a line break.
pub fn pose_text(poses: &Poses) -> String {
    let mut text = String::new();
    let mut line =
        |words: &str| writeln!(text, "{words}").expect("writing to a string cannot fail");
    line("How it stands:");
    line(&format!("  as in the file, {}", of_stance(&poses.as_given)));
    for words in on_gate(poses) {
        line(&format!("  {words}"));
    }
    line("Poses in which it would come to rest if it were let down at random, likeliest first:");
    for (index, pose) in poses.candidates.iter().enumerate() {
        line(&format!("  {}. {}", index + 1, of_pose(poses, index, pose)));
    }
    if let Some(words) = others(poses) {
        line(&format!("  {words}"));
    }
    text
}

/// What a plan does that is given no gate, why, and what to do.
pub fn on_gate(poses: &Poses) -> Vec<String> {
    let mut words = match poses.advised {
        Advised::AsGiven => vec![format!(
            "a plan that is given no base opening takes it so, with {} on the board as the base opening",
            match poses.as_given.foot.kind {
                FootKind::SeveralFeet => "its feet",
                _ => "its flat face",
            }
        )],
        Advised::Pose(pose) => vec![
            "a plan that is given no base opening is refused: it has no flat face to stand on there"
                .to_owned(),
            format!(
                "proposed is pose {}, the likeliest with a flat face: give --up {}",
                pose + 1,
                axes(&poses.candidates[pose].stance.up)
            ),
        ],
        Advised::NoneFlat(pose) => {
            let stance = &poses.candidates[pose].stance;
            let above = (GATE_ABOVE.0 * stance.height).max(GATE_ABOVE.1);
            let at: Point = poses.centre_of_mass - stance.up * (stance.height - above);
            vec![
                "a plan that is given no base opening is refused: it has no flat face to stand on there, nor one that is large \
                 enough in any pose that was looked at"
                    .to_owned(),
                format!(
                    "put a sprue or a base under it; or let all that is within {above:.1} mm of the board be the base opening, \
                     in pose {} as: --gate-plane {:.2},{:.2},{:.2} --gate-normal {}",
                    pose + 1,
                    at.x,
                    at.y,
                    at.z,
                    axes(&-stance.up)
                ),
            ]
        }
    };
    if matches!(poses.advised, Advised::AsGiven) {
        if poses.as_given.tipping < 0.0 {
            words.push("it falls over there unless it is held: fix it to the board".to_owned());
        }
        if let Some(why) = poses.as_given.wants_base() {
            words.push(wants(why, &poses.as_given));
        }
    }
    words
}

/// A candidate in one line.
pub(super) fn of_pose(poses: &Poses, index: usize, pose: &RestingPose) -> String {
    let here = if poses.given_candidate == Some(index) { "; as in the file" } else { "" };
    let wants = pose
        .stance
        .wants_base()
        .map_or_else(String::new, |why| format!("; {}", wants(why, &pose.stance)));
    format!("{}: {}{here}{wants}", share(pose.likelihood), of_stance(&pose.stance))
}

/// The poses that are not told one by one.
pub(super) fn others(poses: &Poses) -> Option<String> {
    (poses.others > 0).then(|| {
        format!("and {} more, {} all together", poses.others, share(poses.others_likelihood))
    })
}

/// Up, foot and tipping angle.
pub(super) fn of_stance(stance: &Stance) -> String {
    let tips = if stance.tipping < 0.0 {
        "falls over".to_owned()
    } else {
        match stance.tipping.round() {
            0.0 => "tips at less than 1 degree".to_owned(),
            1.0 => "tips at 1 degree".to_owned(),
            degrees => format!("tips at {degrees:.0} degrees"),
        }
    };
    format!("up {}: {}, {tips}", axes(&stance.up), of_foot(&stance.foot))
}

/// A foot: what it is like, and its area.
pub(super) fn of_foot(foot: &Foot) -> String {
    let area = if foot.area < 9.95 {
        format!("{:.1} mm^2", foot.area)
    } else {
        format!("{:.0} mm^2", foot.area)
    };
    match foot.kind {
        FootKind::FlatFace => format!("one flat face, {area}"),
        FootKind::Ring => format!("a ring round a hollow, {area}"),
        FootKind::SeveralFeet => format!("{} flat feet, {area} together", foot.patches),
        FootKind::NotFlat => {
            let places = if foot.patches == 1 { "place" } else { "places" };
            format!("no flat face (touches in {} {places})", foot.patches)
        }
    }
}

fn wants(why: WantsBase, stance: &Stance) -> String {
    match why {
        // That it has no flat face stands before it.
        WantsBase::NotFlat => "wants a sprue or a base".to_owned(),
        WantsBase::Tips => format!(
            "wants a sprue or a base: less than {LEAST_TIPPING_DEGREES:.0} degrees before it tips (common practice, no \
             source)"
        ),
        WantsBase::SmallFoot => format!(
            "wants a sprue or a base: its foot is {:.1} % of what it covers, less than {:.0} % (common practice, no source)",
            100.0 * stance.foot.area / stance.covers,
            100.0 * LEAST_FOOT_SHARE
        ),
    }
}

/// A likelihood in per cent, with a decimal where there is little of it.
pub(super) fn share(likelihood: f64) -> String {
    let percent = 100.0 * likelihood;
    if percent >= 9.95 {
        format!("{percent:.0} %")
    } else if percent >= 0.05 {
        format!("{percent:.1} %")
    } else {
        "under 0.1 %".to_owned()
    }
}

/// A direction as the options take it.
pub(super) fn axes(v: &Vector) -> String {
    // A rounded -0.00001 is no -0.
    let [x, y, z] = [v.x, v.y, v.z].map(|x| (x * 1e4).round() / 1e4 + 0.0);
    format!("{x},{y},{z}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::poses;
    use crate::mesh::TriangleMesh;
    use crate::mesh::fixtures::{cuboid, cylinder, icosphere};

    fn text(mesh: &TriangleMesh) -> String {
        pose_text(&poses(mesh, &Vector::z()).expect("poses"))
    }

    fn holds(text: &str, words: &[&str]) {
        for word in words {
            assert!(text.contains(word), "{word} is not in:\n{text}");
        }
    }

    #[test]
    fn a_box_that_stands_is_taken_as_it_stands() {
        let text = text(&cuboid([40.0, 30.0, 20.0]));
        holds(
            &text,
            &[
                "as in the file, up 0,0,1: one flat face, 1200 mm^2, tips at 56 degrees",
                "takes it so, with its flat face on the board as the base opening",
                "1. 27 %: up 0,0,1: one flat face",
                "; as in the file",
                "up 0,-1,0",
            ],
        );
        assert!(!text.contains("wants") && !text.contains("and 0 more"), "{text}");
    }

    /// A fine cylinder of 20 x 200 that lies along y.
    #[test]
    fn what_lies_is_refused_and_told_how_it_stands() {
        let mut mesh = cylinder(10.0, 200.0, 120);
        for p in &mut mesh.positions {
            *p = Point::new(p.x, -p.z, p.y);
        }
        let text = text(&mesh);
        holds(
            &text,
            &[
                "as in the file, up 0,0,1: no flat face (touches in 1 place)",
                "is refused: it has no flat face",
                "give --up 0,",
                "wants a sprue or a base: less than 10 degrees before it tips (common practice, no source)",
                "more, ",
            ],
        );
    }

    #[test]
    fn a_ball_is_told_how_to_get_a_gate() {
        let text = text(&icosphere(30.0, 4));
        holds(
            &text,
            &[
                "nor one that is large enough",
                "--gate-plane ",
                "--gate-normal ",
                "put a sprue or a base under it",
            ],
        );
    }

    #[test]
    fn directions_and_shares_are_short() {
        assert_eq!(axes(&Vector::new(-1e-9, 0.086_824, 1.0)), "0,0.0868,1");
        assert_eq!([0.5, 0.0123, 1e-5].map(share), ["50 %", "1.2 %", "under 0.1 %"]);
    }
}
