//! A plan as a page of plain words.

use std::fmt::Write;

use super::advice_words;
use super::cautions::CAUTIONS;
use super::sheet_words;
use super::trial_words;
use super::verdict::verdict;
use super::whereabouts::{Whereabouts, whereabouts};
use super::words::{LINED, cut_in_short, cut_of_bridge, millimetres, sentence, words_of};
use crate::bridges::{BridgeKind, DiscState};
use crate::mesh::TriangleMesh;
use crate::plan::{ADDED, Cut, CutKind, Plan, PlannedBridge, Reason, StopReason, bridge_letter};

/// Characters in a line, at most, where words can be broken.
const WIDTH: usize = 78;

/// The plan for a person: what to mind, limits missed, cuts in the order of the knife with lengths and
/// reasons, bridges, hinges, stretch, trial, limits met, what to see to before the pour, rubber, how far the plan is proved, and the
/// cautions. `model` is any mesh of the model in the plan's coordinates, for places in words.
///
/// Plain text of at most 78 characters a line, ending in a line break.
pub fn summary(plan: &Plan, model: &TriangleMesh) -> String {
    let places = whereabouts(plan, model);
    let mut page = Page::default();
    page.sentence(&verdict(plan));
    warnings(&mut page, plan);
    limits(&mut page, plan, false);
    cuts(&mut page, plan, &places);
    sheets(&mut page, plan, &places);
    bridges(&mut page, plan);
    near_bridges(&mut page, plan, &places);
    hinges(&mut page, plan, &places);
    stretches(&mut page, plan, &places);
    misses(&mut page, plan, &places);
    trial(&mut page, plan, &places);
    limits(&mut page, plan, true);
    before_the_pour(&mut page, plan, &places);
    page.heading("Rubber");
    page.item(
        "",
        &format!("{:.0} cm^3, {:.0} g, without waste.", plan.rubber_volume, plan.rubber_mass),
    );
    search(&mut page, plan);
    page.heading("Before you start");
    for caution in CAUTIONS {
        page.item("", &format!("{}: {}", caution.about, caution.text));
    }
    page.text
}

fn warnings(page: &mut Page, plan: &Plan) {
    if plan.warnings.is_empty() {
        return;
    }
    page.heading("Mind");
    for warning in &plan.warnings {
        page.item("!", &sentence(warning));
    }
}

/// A line whose ends are no farther apart than this is closed, mm.
const CLOSED: f64 = 0.5;

fn cuts(page: &mut Page, plan: &Plan, places: &Whereabouts) {
    if plan.cuts.is_empty() {
        return;
    }
    page.heading("Cuts, in the order of the knife");
    for cut in &plan.cuts {
        let branches = match cut.branches.len() {
            0 | 1 => String::new(),
            more => format!(", in {more} branches"),
        };
        page.item(&format!("{}.", cut.order), &format!("{}{branches}", cut_in_short(cut)));
        for (from, to) in ends(cut) {
            let words = if (to - from).norm() < CLOSED {
                format!("Round and back to {}.", places.end(from))
            } else {
                sentence(&places.between(from, to))
            };
            page.item("", &words);
        }
        page.item("", &sentence(cut.reason.text()));
        if let Reason::FreesRing { beyond, .. } = &cut.reason {
            page.item("", &format!("What has to pass lies {}.", places.place(beyond)));
        }
        if let Some(report) = &plan.sheets {
            for words in sheet_words::of_cut(cut, &report.settings, places) {
                page.item("", &words);
            }
        }
    }
    page.item("", "Each cut leaves a seam on the casting along its line.");
}

/// Where the branches of an exterior cut start and end; a bridge's cut is named by its bridge.
fn ends(cut: &Cut) -> impl Iterator<Item = (&crate::mesh::Point, &crate::mesh::Point)> {
    let outside = cut.kind != CutKind::Bridge;
    let branches = cut.branches.iter().filter(move |_| outside);
    branches.filter_map(|branch| Some((branch.first()?, branch.last()?)))
}

fn sheets(page: &mut Page, plan: &Plan, places: &Whereabouts) {
    let Some(report) = &plan.sheets else { return };
    let words = sheet_words::of_plan(plan, report, places);
    if words.is_empty() {
        return;
    }
    page.heading("Through the rubber");
    for words in words {
        page.item("", &words);
    }
}

fn misses(page: &mut Page, plan: &Plan, places: &Whereabouts) {
    if plan.misses.is_empty() {
        return;
    }
    page.heading("What is wrong with the cuts as they were drawn");
    for miss in &plan.misses {
        let near = miss.place().map_or_else(String::new, |p| format!(": {}", places.place(&p)));
        page.item("", &format!("{}{near}.", miss.text()));
    }
}

fn trial(page: &mut Page, plan: &Plan, places: &Whereabouts) {
    page.heading("Release trial");
    for words in trial_words::of_plan(&plan.trial, places) {
        page.item("", &words);
    }
}

fn before_the_pour(page: &mut Page, plan: &Plan, places: &Whereabouts) {
    let words = advice_words::of_plan(plan, places);
    if words.is_empty() {
        return;
    }
    page.heading("Before you pour");
    for words in words {
        page.item("", &words);
    }
}

fn bridges(page: &mut Page, plan: &Plan) {
    if plan.bridges.is_empty() {
        return;
    }
    page.heading("Bridges");
    for (index, bridge) in plan.bridges.iter().enumerate() {
        let hole = match bridge.kind {
            BridgeKind::Handle => "rubber through a hole of the model",
            BridgeKind::Arch => "rubber between the model and the board",
        };
        let size = format!(
            "{hole}: neck {} wide, {:.0} mm^2, {} long",
            millimetres(bridge.neck_width),
            bridge.neck_area,
            millimetres(bridge.depth)
        );
        page.item(&format!("{}.", bridge_letter(index)), &size);
        let fate = match (cut_of_bridge(plan, index), &bridge.disc) {
            (Some(cut), _) => format!(
                "Cut {} crosses it. Opening beside it: {}, needed for the blade: {}{}.",
                cut.order,
                millimetres(bridge.opening),
                millimetres(bridge.opening_needed),
                if !bridge.is_open_enough() { ", TOO SHORT" } else { "" }
            ),
            (None, DiscState::Knotted { crossings, explanation, .. }) => format!(
                "NO PLAIN CUT crosses it: {explanation} (the model passes through {crossings} \
                 times)"
            ),
            (None, DiscState::Plain) if bridge.lined => LINED.to_owned(),
            (None, DiscState::Plain) => "This plan does NOT cut it.".to_owned(),
        };
        page.item("", &fate);
        page.item("", &source(bridge));
    }
}

/// What the bridge's line rests on.
fn source(bridge: &PlannedBridge) -> String {
    match &bridge.confirmed {
        None => "Found by counting the holes of the surface; a second check, of the rubber, did NOT find this hole: look at \
                 it before the pour."
            .to_owned(),
        Some(saddle) => format!(
            "A second check, of the rubber, also found this hole{}; the line on the model, {}, {}.",
            saddle
                .rim_length
                .map_or_else(String::new, |l| format!(", {} round", millimetres(l))),
            millimetres(bridge.rim_length),
            if saddle.loop_taken { "follows what it found" } else { "is the shortest found" }
        ),
    }
}

fn near_bridges(page: &mut Page, plan: &Plan, places: &Whereabouts) {
    if plan.near_bridges.is_empty() {
        return;
    }
    page.heading("Nearly bridges, thin rubber to mind");
    let mut is_left = false;
    for (near, number) in plan.near_bridges.iter().zip(0u32..) {
        let against = if near.against_board { " between the model and the board" } else { "" };
        let words = format!(
            "The rubber is only {} thick{against}, {}. There a ring of the model all but closes; its middle is {}.",
            millimetres(near.gap),
            places.place(&near.place),
            places.place(&near.ring)
        );
        page.item("", &words);
        let cuts = |cut: &&Cut| matches!(cut.reason, Reason::CutsNearBridge { near, .. } if near == number);
        match plan.cuts.iter().find(cuts) {
            Some(cut) => page.item("", &format!("Cut {} parts the rubber in the ring.", cut.order)),
            None => is_left = true,
        }
    }
    if is_left {
        page.item(
            "",
            "A web that is not cut tears easily when the model comes out. Cut it on purpose, fill the gap on the \
             model before the pour, or draw the rubber out of the ring slowly.",
        );
    }
}

fn hinges(page: &mut Page, plan: &Plan, places: &Whereabouts) {
    if plan.hinges.is_empty() {
        return;
    }
    page.heading("Hinges, rubber to leave uncut");
    for hinge in &plan.hinges {
        let skin = hinge.skin.map_or_else(String::new, |skin| {
            format!("; only its outermost {} are left, so that it folds", millimetres(skin))
        });
        page.item(
            "",
            &format!(
                "{} wide, {}{skin}",
                millimetres(hinge.width),
                places.between(&hinge.from, &hinge.to)
            ),
        );
    }
}

fn stretches(page: &mut Page, plan: &Plan, places: &Whereabouts) {
    if plan.stretches.is_empty() {
        return;
    }
    page.heading("Stretch when the model comes out");
    for region in &plan.stretches {
        let words = format!(
            "Stretched {:.0} % (limit {:.0} %{}): a ring of rubber {} round must open to {}, {}.",
            100.0 * region.strain,
            100.0 * region.allowed,
            if region.strain > region.allowed { ", TOO MUCH" } else { "" },
            millimetres(region.ring_length),
            millimetres(region.girth),
            places.place(&region.place)
        );
        page.item("", &words);
    }
}

/// The limits that are met, or those that are missed.
fn limits(page: &mut Page, plan: &Plan, met: bool) {
    let mut own = plan.limits.iter().filter(|limit| limit.met == met).peekable();
    if own.peek().is_none() {
        return;
    }
    page.heading(if met { "Limits met" } else { "Limits MISSED" });
    for limit in own {
        page.item(if met { "" } else { "!" }, &format!("{}: {}.", limit.name, limit.text));
    }
}

fn search(page: &mut Page, plan: &Plan) {
    page.heading("How good the plan is");
    if plan.ending.stopped_by == StopReason::Judged {
        let words = format!(
            "The cuts count as {}, {ADDED}. Nothing was searched: whether less cut would do is not known.",
            millimetres(plan.cost)
        );
        page.item("", &words);
    } else if !plan.cuts.is_empty() && plan.ending.lower_bound <= 0.0 {
        let words = format!(
            "The cuts count as {}, {ADDED}. How much less would pass the simple check of girths that plans begin with is \
             not known.",
            millimetres(plan.cost)
        );
        page.item("", &words);
    } else if !plan.cuts.is_empty() {
        let words = format!(
            "The cuts count as {}, {ADDED}. None that count as less than {} pass the simple check of girths that plans \
             begin with: {:.1} % less. The trial may ask for more cut.",
            millimetres(plan.cost),
            millimetres(plan.ending.lower_bound),
            100.0 * plan.ending.gap
        );
        page.item("", &words);
    }
    let stopped = match plan.ending.stopped_by {
        StopReason::GapReached => "The search stopped at the gap that was asked for.",
        StopReason::Optimal => {
            "The search ended: none better passes the simple check of girths, as finely as it was looked at."
        }
        StopReason::NotYet => "The work goes on; this is the best plan until now.",
        StopReason::Corrected => {
            "The work ended: the plan was made again until it passed its trial."
        }
        StopReason::Fault => {
            "A fault of the program broke the work off; this is the best plan until then."
        }
        StopReason::Rounds => "The work ended after the rounds that were asked for.",
        StopReason::TimeBudget => "The work stopped because its time ran out.",
        StopReason::Stalled => "The search stopped because nothing moved any more.",
        StopReason::Cancelled => "The work was stopped; this is the best plan until then.",
        StopReason::Judged => "These cuts were drawn by hand and judged as they are.",
    };
    page.item("", stopped);
    let figures = &plan.figures;
    if figures.model_triangles > 0 {
        let words = format!(
            "Model of {} triangles, worked on with {} (within {:.3} mm).",
            figures.model_triangles, figures.working_triangles, figures.working_deviation
        );
        page.item("", &words);
    }
    for repair in &figures.repairs {
        page.item("", &format!("Repaired: {repair}"));
    }
}

/// A page that breaks its lines.
#[derive(Default)]
struct Page {
    text: String,
}

impl Page {
    fn line(&mut self, words: &str) {
        self.text.push_str(words);
        self.text.push('\n');
    }

    /// A sentence of its own, broken into lines.
    fn sentence(&mut self, words: &str) {
        self.broken(&sentence(words), ["", ""]);
    }

    fn heading(&mut self, words: &str) {
        self.text.push('\n');
        self.line(words);
    }

    /// Words under a heading, indented, after a mark of at most three characters.
    fn item(&mut self, mark: &str, words: &str) {
        self.broken(words, [&format!("  {mark:<3} "), "      "]);
    }

    /// Words in lines: the first after one lead, the others after the other.
    fn broken(&mut self, words: &str, [first, further]: [&str; 2]) {
        let mut width = 0;
        for word in words_of(words) {
            let length = word.chars().count();
            if width > 0 && width + 1 + length <= WIDTH {
                let _ = write!(self.text, " {word}");
                width += 1 + length;
            } else {
                let lead = if width > 0 { further } else { first };
                if width > 0 {
                    self.text.push('\n');
                }
                // Writing to a String cannot fail.
                let _ = write!(self.text, "{lead}{word}");
                width = lead.chars().count() + length;
            }
        }
        if width > 0 {
            self.text.push('\n');
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bridges::Confirmation;
    use crate::mesh::Point;
    use crate::mesh::fixtures::{icosphere, moved};
    use crate::outputs::fixtures::{cut, empty_plan, sheet, sheet_report, station};
    use crate::plan::{Hinge, Limit, NearBridge, RegionStretch};

    /// A ball of radius 40 that stands on z = 0.
    fn model() -> TriangleMesh {
        moved(&icosphere(40.0, 3), [0.0, 0.0, 40.0])
    }

    fn full_plan() -> Plan {
        let line = vec![Point::origin(), Point::new(0.0, 0.0, 83.4)];
        let mut plan = empty_plan();
        plan.cuts = vec![
            cut(1, CutKind::FromGate, line.clone()),
            Cut {
                reason: Reason::CutsBridge { bridge: 0, text: "parts the handle's rubber".into() },
                ..cut(2, CutKind::Bridge, line.clone())
            },
        ];
        plan.total_length = 166.8;
        plan.cost = 178.8;
        plan.ending.lower_bound = 170.0;
        plan.ending.gap = 8.8 / 178.8;
        let bridge = PlannedBridge {
            kind: BridgeKind::Handle,
            rim: line,
            closed: false,
            rim_length: 83.4,
            neck_area: 410.0,
            neck_width: 21.0,
            depth: 9.5,
            centre: Point::origin(),
            disc: DiscState::Plain,
            opening: 20.0,
            opening_needed: 26.0,
            confirmed: Some(Confirmation {
                place: Point::origin(),
                level: 0.42,
                rim_length: Some(85.2),
                loop_taken: false,
            }),
            lined: false,
        };
        let disc = DiscState::Knotted {
            crossings: 2,
            determinant: Some(3),
            explanation: "the rope runs through itself".into(),
        };
        plan.bridges = vec![bridge.clone(), PlannedBridge { disc, confirmed: None, ..bridge }];
        let near = NearBridge {
            place: Point::new(1.0, 1.0, 60.0),
            ends: [Point::new(0.0, 1.0, 60.0), Point::new(2.0, 1.0, 60.0)],
            gap: 2.0,
            against_board: false,
            ring: Point::new(9.0, 9.0, 70.0),
            level: 0.4,
            persistence: 0.3,
        };
        let low = NearBridge {
            ends: [Point::new(5.0, 5.0, 3.0), Point::new(5.0, 5.0, 0.0)],
            gap: 3.0,
            against_board: true,
            ..near.clone()
        };
        plan.near_bridges = vec![near, low];
        plan.hinges = vec![Hinge {
            from: Point::origin(),
            to: Point::new(0.0, 14.0, 0.0),
            width: 14.0,
            skin: None,
        }];
        plan.stretches = vec![RegionStretch {
            place: Point::new(1.0, 2.0, 3.0),
            ring_length: 100.0,
            girth: 148.0,
            strain: 0.48,
            allowed: 0.5,
        }];
        let limit =
            |name: &str, met, text: &str| Limit { name: name.into(), met, text: text.into() };
        plan.limits = vec![
            limit("stretch", true, "48 % of 50 %"),
            limit("bridges", false, "bridge B has no plain cut"),
        ];
        let stations = (0..4).map(|k| station(10.0 * f64::from(k))).collect();
        plan.cuts[0].sheets = vec![sheet(stations)];
        let low = Point::new(-5.0, -15.0, 0.0);
        plan.sheets = Some(sheet_report(&plan.cuts, low, Point::new(35.0, 15.0, 12.0)));
        plan.warnings = vec!["a second check shows 0 holes where 1 was counted".to_owned()];
        plan.rubber_volume = 812.0;
        plan.rubber_mass = 909.0;
        plan
    }

    #[test]
    fn the_page_tells_all_that_the_plan_holds() {
        let page = summary(&full_plan(), &model());
        for words in [
            "2 cuts, 167 mm in all; release not tried; 1 limit missed.",
            "Mind ! A second check shows 0 holes where 1 was counted.",
            "Limits MISSED ! bridges: bridge B has no plain cut.",
            "1.  from the base opening, 83 mm",
            "2.  bridge cut, 83 mm, across bridge A",
            "12 mm deep: a blade of 12 mm or more beyond the hand. Knife square to the model",
            "From the board, middle, to 83 mm above the board, middle.",
            "What has to pass lies on the board, middle.",
            "Parts the handle's rubber.",
            "Thinnest lip: a wedge of 90 degrees (good from 90 degrees, acceptable from 45), on cut 1, on the board, middle",
            "The cut rubber stays one piece",
            "A.  rubber through a hole of the model: neck 21 mm wide, 410 mm^2, 9.5 mm long",
            "20 mm, needed for the blade: 26 mm, TOO SHORT.",
            "NO PLAIN CUT crosses it: the rope runs through itself",
            "A second check, of the rubber, also found this hole, 85 mm round; the line on the model, 83 mm, is the shortest found.",
            "a second check, of the rubber, did NOT find this hole",
            "The rubber is only 2.0 mm thick, 60 mm above the board, middle. There a ring of the model all but closes; its middle is 70 mm above the board, back right.",
            "only 3.0 mm thick between the model and the board, 60 mm above the board, middle.",
            "14 mm wide, from the board, middle, to the board, back",
            "Stretched 48 % (limit 50 %): a ring of rubber 100 mm round must open to 148 mm, 3 mm above the board, middle",
            "Limits met stretch: 48 % of 50 %.",
            "812 cm^3, 909 g",
            "None that count as less than 170 mm pass the simple check of girths that plans begin with: 4.9 % less.",
            "Put the knife down before you pull",
        ] {
            let flat = page.split_whitespace().collect::<Vec<_>>().join(" ");
            let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(flat.contains(&words), "{words:?} is not in\n{page}");
        }
        let find = |words: &str| page.find(words).expect(words);
        assert!(find("Mind\n") < find("Limits MISSED"), "warnings come right under the verdict");
        assert!(find("Limits MISSED") < find("Cuts, in the order"), "then what is missed");
        assert!(page.lines().all(|line| line.chars().count() <= WIDTH), "{page}");
    }

    #[test]
    fn a_plan_without_cuts_is_short_and_keeps_the_cautions() {
        let page = summary(&empty_plan(), &model());
        assert!(page.starts_with("No cut needed; release not tried.\n"));
        assert!(!page.contains("order of the knife"));
        assert!(page.contains("safety data sheet"));
    }
}
