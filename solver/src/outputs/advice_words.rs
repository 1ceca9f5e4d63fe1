//! What to see to before anything is poured, in words.

use super::whereabouts::{Frame, Whereabouts};
use super::words::millimetres;
use crate::advice::{
    Advice, AirTraps, HIDDEN_ALLOWED, KEY_EVERY, LEAST_OPENING, Pour, SPRUE_TOP, Shell,
};
use crate::mesh::Point;
use crate::plan::Plan;

/// Width of a vent, mm. Common practice, no source.
const VENT: f64 = 3.0;
/// Hollows that hold less are no matter, cm^3. No source.
const LEAST_HOLLOW: f64 = 0.1;

/// The advice of a plan, a few sentences an entry; empty where it has none.
pub(super) fn of_plan(plan: &Plan, places: &Whereabouts) -> Vec<String> {
    let Some(advice) = &plan.advice else { return Vec::new() };
    let mut words = Vec::new();
    words.extend(rubber(advice, places));
    for own in &advice.overhangs {
        words.push(format!(
            "A part juts out broad and thin {}: {:.0} mm^2 beneath, on average {} thick. Pour slowly and from one side of \
             it, the rubber as well as the casting, so that air goes before what runs in.",
            places.place(&own.place),
            own.area,
            millimetres(own.thickness)
        ));
    }
    words.push(sprue(&advice.pour));
    words.extend(casting(&advice.casting, places));
    if let Some(shell) = &advice.shell {
        words.extend(Some(of_shell(shell, plan, places)).filter(|words| !words.is_empty()));
    }
    for lips in &advice.sliding_lips {
        words.push(format!(
            "Cut {} is {} long, its faces are flat and on average only {} deep: the lips can slide on each other. Key them: lead \
             the blade in a shallow wave there, or cut a notch across every {KEY_EVERY:.0} mm (common practice, no source).",
            lips.cut,
            millimetres(lips.length),
            millimetres(lips.depth)
        ));
    }
    words
}

fn rubber(advice: &Advice, places: &Whereabouts) -> Vec<String> {
    let mut words = Vec::new();
    if advice.shut_hollows >= LEAST_HOLLOW {
        words.push(format!(
            "The model is hollow beneath: the board shuts in {:.1} cm^3. Fix the rim close to the board, or rubber creeps in.",
            advice.shut_hollows
        ));
    }
    let AirTraps { told, others } = &advice.rubber;
    for trap in told {
        words.push(format!(
            "As the rubber rises round the model air stays beneath it {}: {} deep, {:.0} mm^3. Brush rubber in there \
             first and tilt the mould as you pour.",
            places.place(&trap.place),
            millimetres(trap.depth),
            trap.volume
        ));
    }
    words.extend(more(*others));
    if told.is_empty() {
        words.push("As the rubber rises round the model no air stays at it.".to_owned());
    }
    words
}

fn casting(traps: &AirTraps, places: &Whereabouts) -> Vec<String> {
    let AirTraps { told, others } = traps;
    let mut words: Vec<String> = told
        .iter()
        .map(|trap| {
            format!(
                "As the casting rises, the base opening up, air stays in the mould {}: {} deep, {:.0} mm^3. Begin a vent there, \
                 {VENT:.0} mm wide (common practice, no source), and lead it up past the opening.",
                places.place(&trap.place),
                millimetres(trap.depth),
                trap.volume
            )
        })
        .collect();
    words.extend(more(*others));
    if told.is_empty() {
        words.push(
            "As the casting rises, the base opening up, no air stays in the mould: it needs no vent."
                .to_owned(),
        );
    }
    words
}

fn more(others: u32) -> Option<String> {
    (others > 0).then(|| format!("There are {others} more such places, smaller ones."))
}

fn sprue(pour: &Pour) -> String {
    let size = format!("{:.0} mm^2, as wide as {} across", pour.area, millimetres(pour.width));
    let others = match pour.openings {
        0 | 1 => String::new(),
        2 => " The other opening lets air out.".to_owned(),
        more => format!(" The other {} openings let air out.", more - 1),
    };
    if pour.serves {
        let which = if pour.openings > 1 {
            "the largest of the mould's base openings"
        } else {
            "the mould's base opening"
        };
        format!("The casting needs no sprue: it is poured through {which}, {size}.{others}")
    } else {
        let which =
            if pour.openings > 1 { "Even the largest base opening" } else { "The base opening" };
        format!(
            "{which} is narrow, {size}: put a sprue on the model there, that widens to {SPRUE_TOP:.0} mm. An opening of less \
             than {LEAST_OPENING:.0} mm is slow to pour through (common practice, no source).{others}"
        )
    }
}

/// How a shell is parted, in a few sentences; empty where the plan has no up.
pub(super) fn of_shell(shell: &Shell, plan: &Plan, places: &Whereabouts) -> String {
    let Some(frame) = Frame::new(plan.up) else { return String::new() };
    let mut words = rigid_shell(shell, &frame);
    for part in [line(shell, places), follows(shell)] {
        if !part.is_empty() {
            words.push(' ');
            words.push_str(&part);
        }
    }
    words.push_str(&format!(" What is finer than {} was not looked at.", millimetres(shell.cell)));
    words
}

/// A share of the blanket's outside.
fn share(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

fn rigid_shell(shell: &Shell, frame: &Frame) -> String {
    let to: Vec<String> = shell
        .draws
        .iter()
        .enumerate()
        .map(|(k, d)| {
            if d.dot(&frame.up) > 0.9 {
                format!("part {} up", k + 1)
            } else {
                format!("part {} to the {}", k + 1, frame.side(d))
            }
        })
        .collect();
    let to = to.join(", ");
    let (two, limit) = (share(shell.hidden_in_two), share(HIDDEN_ALLOWED));
    match (shell.draws.len(), shell.comes_off) {
        (2, _) => {
            let why = if shell.is_along_plan { ", the way the plan's two sides lie" } else { "" };
            format!(
                "The rigid shell comes off in two parts, drawn straight off, {to}{why}: {} of the blanket's outside holds them.",
                if shell.hidden < 5e-4 { "nothing".to_owned() } else { share(shell.hidden) }
            )
        }
        (_, true) => format!(
            "The rigid shell comes off in three parts, drawn straight off, {to}: {} of the blanket's outside holds them. Two parts \
             would be held by {two}, more than {limit} (common practice, no source).",
            share(shell.hidden)
        ),
        (_, false) => format!(
            "NO rigid shell of two or three parts comes off: two would be held by {two} of the blanket's outside, three, drawn \
             straight off, {to}, by {}, both more than {limit} (common practice, no source). Part it further, or fill the \
             hollows of the blanket's outside before the shell is laid.",
            share(shell.hidden)
        ),
    }
}

/// Where the line between the parts runs.
fn line(shell: &Shell, places: &Whereabouts) -> String {
    let Some(longest) = shell.lines.first() else { return String::new() };
    let at = |p: Option<&Point>| p.map(|p| places.place(p)).unwrap_or_default();
    let end = |p: Option<&Point>| p.map(|p| places.end(p)).unwrap_or_default();
    let height = |p: &&Point| places.height(p).unwrap_or_default();
    let highest = longest.points.iter().max_by(|a, b| height(a).total_cmp(&height(b)));
    let mut words =
        format!("The line between the parts is {} long", millimetres(shell.parting_line));
    if shell.lines.len() > 1 {
        words.push_str(&format!(", in {} pieces. The longest", shell.lines.len()));
        words.push_str(if longest.closed { " goes" } else { " runs" });
    } else {
        words.push_str(if longest.closed { ". It goes" } else { ". It runs" });
    }
    if longest.closed {
        words.push_str(&format!(" round, its highest place {}.", at(highest)));
    } else {
        words.push_str(&format!(
            " from {}, over its highest place, {}, to {}.",
            end(longest.points.first()),
            at(highest),
            end(longest.points.last())
        ));
    }
    words
}

/// Whether the parts meet along the main cut.
fn follows(shell: &Shell) -> String {
    let Some(own) = &shell.follows else { return String::new() };
    let whole = |mm: f64| format!("{mm:.0} mm");
    let (cut, length, along) = (own.cut, whole(own.length), whole(own.along));
    if own.is_followed {
        format!("It follows cut {cut} where the blade enters, over {along} of its {length}.")
    } else if own.hidden > HIDDEN_ALLOWED {
        format!(
            "It does NOT follow cut {cut}: parts that met along it would be held by {} of the blanket's outside, more than {}.",
            share(own.hidden),
            share(HIDDEN_ALLOWED)
        )
    } else {
        format!(
            "It does NOT follow cut {cut}: of the {length} where its blade enters only {along} lie where the parts meet."
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::{AirTrap, FollowsCut, Overhang, PartingLine, SlidingLips};
    use crate::mesh::Vector;
    use crate::mesh::fixtures::{icosphere, moved};
    use crate::outputs::fixtures::empty_plan;
    use crate::outputs::whereabouts::whereabouts;

    fn advice() -> Advice {
        Advice {
            pour: Pour { openings: 1, area: 1256.0, width: 40.0, serves: true },
            casting: AirTraps::default(),
            rubber: AirTraps::default(),
            shut_hollows: 0.0,
            shell: None,
            sliding_lips: Vec::new(),
            overhangs: Vec::new(),
        }
    }

    fn told(advice: Advice) -> String {
        let mut plan = empty_plan();
        plan.advice = Some(advice);
        let model = moved(&icosphere(30.0, 3), [0.0, 0.0, 30.0]);
        of_plan(&plan, &whereabouts(&plan, &model)).join("\n")
    }

    fn holds(text: &str, words: &[&str]) {
        for word in words {
            assert!(text.contains(word), "{word} is not in:\n{text}");
        }
    }

    #[test]
    fn where_all_is_well_it_says_so() {
        let text = told(advice());
        holds(
            &text,
            &[
                "needs no sprue",
                "1256 mm^2, as wide as 40 mm across",
                "needs no vent",
                "no air stays at it",
            ],
        );
        let plan = empty_plan();
        let model = icosphere(30.0, 2);
        assert!(of_plan(&plan, &whereabouts(&plan, &model)).is_empty());
    }

    #[test]
    fn traps_are_told_with_place_depth_and_volume() {
        let trap = AirTrap { place: Point::new(30.0, 0.0, 30.0), depth: 12.4, volume: 356.0 };
        let traps = AirTraps { told: vec![trap], others: 2 };
        let text = told(Advice {
            casting: traps.clone(),
            rubber: traps,
            shut_hollows: 3.21,
            pour: Pour { openings: 3, area: 28.0, width: 6.0, serves: false },
            sliding_lips: vec![SlidingLips { cut: 2, length: 140.0, depth: 9.0 }],
            overhangs: vec![Overhang {
                place: Point::new(0.0, -30.0, 30.0),
                area: 612.0,
                thickness: 2.5,
            }],
            ..advice()
        });
        holds(
            &text,
            &[
                "air stays in the mould 30 mm above the board, right: 12 mm deep, 356 mm^3",
                "air stays beneath it 30 mm above the board, right",
                "There are 2 more",
                "juts out broad and thin 30 mm above the board, front: 612 mm^2 beneath, on average 2.5 mm",
                "shuts in 3.2 cm^3",
                "Even the largest base opening is narrow, 28 mm^2, as wide as 6.0 mm across",
                "The other 2 openings let air out",
                "Cut 2 is 140 mm long, its faces are flat and on average only 9.0 mm deep",
            ],
        );
    }

    #[test]
    fn shells_are_told_by_the_sides_of_the_pictures() {
        let line = PartingLine {
            points: [[38.0, 0.0, 0.0], [0.0, 0.0, 68.0], [-38.0, 0.0, 0.0]]
                .map(Point::from)
                .to_vec(),
            closed: false,
            parts: [0, 1],
        };
        let follows =
            FollowsCut { cut: 2, length: 170.0, along: 152.0, is_followed: true, hidden: 0.004 };
        let two = Shell {
            draws: vec![-Vector::y(), Vector::y()],
            hidden: 0.004,
            comes_off: true,
            hidden_in_two: 0.004,
            is_along_plan: true,
            parting_line: 180.0,
            cell: 1.5,
            lines: vec![line],
            held: vec![0.004, 0.0],
            follows: Some(follows),
        };
        let text = told(Advice { shell: Some(two.clone()), ..advice() });
        holds(
            &text,
            &[
                "in two parts, drawn straight off, part 1 to the front, part 2 to the back, the way the plan's two sides lie",
                "0.4 % of the blanket's outside holds them",
                "is 180 mm long. It runs from the board, right, over its highest place, 68 mm above the board, middle, to the \
                 board, left.",
                "It follows cut 2 where the blade enters, over 152 mm of its 170 mm.",
                "finer than 1.5 mm was not looked at",
            ],
        );
        let held = FollowsCut { is_followed: false, hidden: 0.032, ..follows };
        let text =
            told(Advice { shell: Some(Shell { follows: Some(held), ..two.clone() }), ..advice() });
        holds(
            &text,
            &[
                "It does NOT follow cut 2: parts that met along it would be held by 3.2 % of the blanket's outside, more than 1.0 %",
            ],
        );
        let aside = FollowsCut { is_followed: false, along: 20.0, ..follows };
        let text =
            told(Advice { shell: Some(Shell { follows: Some(aside), ..two.clone() }), ..advice() });
        holds(
            &text,
            &[
                "NOT follow cut 2: of the 170 mm where its blade enters only 20 mm lie where the parts meet",
            ],
        );
        let draws = vec![Vector::x(), -Vector::x(), Vector::z()];
        let three = Shell { draws, hidden_in_two: 0.07, ..two };
        let text = told(Advice { shell: Some(three.clone()), ..advice() });
        holds(
            &text,
            &[
                "in three parts, drawn straight off, part 1 to the right, part 2 to the left, part 3 up",
                "Two parts would be held by 7.0 %",
            ],
        );
        let none = Shell { comes_off: false, hidden: 0.03, ..three };
        holds(
            &told(Advice { shell: Some(none), ..advice() }),
            &["NO rigid shell of two or three parts"],
        );
    }
}
