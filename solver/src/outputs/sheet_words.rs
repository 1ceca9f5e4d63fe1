//! How the knife goes through the rubber, in sentences for the bench: cut by cut, and for the whole
//! plan.

use super::stretches::{Side, Stretch, Weakness, weak_stretches};
use super::whereabouts::Whereabouts;
use super::words::millimetres;
use crate::plan::{Cut, CutKind, Plan, SheetReport};
use crate::sheets::{BEHIND, Sheet, SheetSettings, Station, leans_behind, leaves_no_lip};

/// Most weak stretches told of one cut; the rest are summed.
const MOST_TOLD: usize = 4;
/// Shorter ones are left to the pictures unless they are a cut's worst, mm.
const SHORT: f64 = 2.0;

/// What the knife meets along one cut; nothing where the cut has no sheets.
pub(super) fn of_cut(cut: &Cut, settings: &SheetSettings, places: &Whereabouts) -> Vec<String> {
    let stations = || cut.sheets.iter().flat_map(|sheet| &sheet.stations);
    let open = || stations().filter(|station| !station.flags.blocked);
    let mut words = Vec::new();
    if open().next().is_some() {
        words.push(depth_and_angle(cut, &open().collect::<Vec<_>>(), places));
    }
    words.extend(weak(cut, settings, places));
    let turns = stations().filter(|station| station.turn.is_some()).count();
    if turns > 0 {
        let length = length_where(cut, |station| station.turn.is_some());
        words.push(format!(
            "Over {} the knife turns near the model: straight in first, the last piece square to it.",
            millimetres(length)
        ));
    }
    for (length, what) in [
        (length_where(cut, |s| s.flags.beyond_blade), "it is DEEPER THAN THE BLADE is long"),
        (length_where(cut, |s| s.flags.too_sharp), "the blade would have to BEND TOO SHARPLY"),
        (
            length_where(cut, |s| s.flags.through_board),
            "the sheet leaves through the face on the board",
        ),
    ] {
        if length > 0.0 {
            words.push(format!("Over {} {what}.", millimetres(length)));
        }
    }
    words
}

fn depth_and_angle(cut: &Cut, stations: &[&Station], places: &Whereabouts) -> String {
    let depths = stations.iter().map(|station| station.depth);
    let (least, most) =
        depths.fold((f64::INFINITY, 0.0f64), |(low, high), d| (low.min(d), high.max(d)));
    let lean = |station: &&&Station| station.angle_from_normal;
    let worst = stations.iter().max_by(|a, b| lean(a).total_cmp(&lean(b)));
    let angle = worst.as_ref().map_or(0.0, lean);
    let behind = worst.filter(|_| leans_behind(angle));
    let square = if let Some(station) = behind {
        format!("At worst, {}, the knife would run {BEHIND}.", places.place(&station.on_model))
    } else if angle < 0.5 {
        "Knife square to the model all along.".to_owned()
    } else {
        format!("Knife at most {angle:.0} degrees off square to the model.")
    };
    let (least, deepest) = (millimetres(least), millimetres(most));
    let deep = if least == deepest {
        deepest
    } else {
        format!("{} to {deepest}", least.trim_end_matches(" mm"))
    };
    match cut.kind {
        // Lengths of rulings into a hole tell nothing: the bridge's own width does.
        CutKind::Bridge => square,
        CutKind::FromGate | CutKind::Separate | CutKind::BehindHinge => format!(
            "{deep} deep: a blade of {:.0} mm or more beyond the hand. {square}",
            most.ceil()
        ),
    }
}

/// The weak stretches, worst first.
fn weak(cut: &Cut, settings: &SheetSettings, places: &Whereabouts) -> Vec<String> {
    let several = cut.sheets.len() > 1;
    let mut all: Vec<(usize, Stretch)> = Vec::new();
    for (branch, sheet) in cut.sheets.iter().enumerate() {
        all.extend(weak_stretches(sheet, settings).into_iter().map(|stretch| (branch, stretch)));
    }
    all.sort_by(|(_, a), (_, b)| {
        b.weakness.cmp(&a.weakness).then(a.least_wedge.total_cmp(&b.least_wedge))
    });
    let told = |index: usize, stretch: &Stretch| {
        index == 0 || (index < MOST_TOLD && stretch.length() >= SHORT)
    };
    let mut words = Vec::new();
    let (mut rest, mut rest_length) = (0, 0.0);
    for (index, (branch, stretch)) in all.iter().enumerate() {
        if told(index, stretch) {
            let branch = several.then_some(branch + 1);
            words.push(one_stretch(stretch, branch, places));
        } else {
            rest += 1;
            rest_length += stretch.length();
        }
    }
    if rest > 0 {
        let stretches = if rest == 1 { "stretch" } else { "stretches" };
        words.push(format!(
            "{rest} more weak {stretches}, {} together: teeth on the pictures.",
            millimetres(rest_length)
        ));
    }
    words
}

fn one_stretch(stretch: &Stretch, branch: Option<usize>, places: &Whereabouts) -> String {
    let side = match stretch.side {
        Side::Left => "left",
        Side::Right => "right",
    };
    let branch = branch.map_or(String::new(), |number| format!(" of branch {number}"));
    let where_to = format!(
        "{:.0} to {:.0} mm along{branch}, {}",
        stretch.from,
        stretch.to,
        places.place(&stretch.place)
    );
    let wedge = stretch.least_wedge;
    if stretch.weakness != Weakness::Blocked && leaves_no_lip(wedge) {
        return format!("NO LIP on the {side}, the knife would run {BEHIND}: {where_to}.");
    }
    match stretch.weakness {
        Weakness::Thin => format!("Thin lip on the {side}, {wedge:.0} degrees: {where_to}."),
        Weakness::Feather => format!("FEATHER EDGE on the {side}, {wedge:.0} degrees: {where_to}."),
        Weakness::Blocked => format!("The model STOPS THE KNIFE: {where_to}."),
    }
}

/// Length of cut whose stations have a property, mm.
fn length_where(cut: &Cut, holds: impl Fn(&Station) -> bool) -> f64 {
    let of_sheet = |sheet: &Sheet| -> f64 {
        let own = sheet.stations.iter().enumerate().filter(|(_, station)| holds(station));
        own.map(|(index, _)| sheet.share(index)).sum()
    };
    // A sum over nothing is -0.0.
    0.0 + cut.sheets.iter().map(of_sheet).sum::<f64>()
}

/// What the sheets of all cuts come to.
pub(super) fn of_plan(plan: &Plan, report: &SheetReport, places: &Whereabouts) -> Vec<String> {
    let mut words = Vec::new();
    let (figures, settings) = (&report.figures, &report.settings);
    if figures.length > 0.0 {
        words.push(format!(
            "{:.1} cm^2 of rubber to cut, without bridges; the deepest place {}.",
            report.area / 100.0,
            millimetres(figures.greatest_depth)
        ));
        words.push(format!(
            "Knife within {:.0} degrees of square to the model over {:.0} % of the cut.",
            settings.acceptable_lean(),
            100.0 * figures.share_acceptable
        ));
    }
    let thinnest = figures.least_wedge.min(report.bridge_figures.least_wedge);
    if thinnest.is_finite() {
        let verdict = if thinnest < settings.refused_angle {
            ", a FEATHER EDGE"
        } else if thinnest < settings.acceptable_angle {
            ", thin"
        } else {
            ""
        };
        let thinnest = if leaves_no_lip(thinnest) {
            format!("none, the knife would run {BEHIND}")
        } else {
            format!("a wedge of {thinnest:.0} degrees{verdict}")
        };
        words.push(format!(
            "Thinnest lip: {thinnest} (good from {:.0} degrees, acceptable from {:.0}){}.",
            settings.good_angle,
            settings.acceptable_angle,
            thinnest_place(plan, places)
        ));
    }
    if !plan.cuts.is_empty() {
        words.extend(whole(report, places));
    }
    words
}

/// On which cut the thinnest lip is, and where.
fn thinnest_place(plan: &Plan, places: &Whereabouts) -> String {
    let least = |a: &Station, b: &Station| a.least_wedge().total_cmp(&b.least_wedge());
    let thinnest = plan.open_stations().min_by(|(_, a), (_, b)| least(a, b));
    thinnest.map_or(String::new(), |(order, station)| {
        format!(", on cut {order}, {}", places.place(&station.on_model))
    })
}

/// Whether the rubber stays one piece, and its narrowest neck.
fn whole(report: &SheetReport, places: &Whereabouts) -> Vec<String> {
    let whole = &report.one_piece;
    let mut words = Vec::new();
    let loose = whole.pieces.len().saturating_sub(whole.pieces_uncut);
    words.push(if whole.holds() {
        format!("The cut rubber stays one piece, counted in cells of {:.1} mm.", whole.cell)
    } else {
        let pieces = if loose == 1 { "piece comes" } else { "pieces come" };
        format!("The cut rubber FALLS APART: {loose} loose {pieces} off.")
    });
    if let Some(neck) = whole.neck {
        words.push(format!(
            "Narrowest neck of rubber between cuts: about {}, {}.",
            millimetres(neck.width),
            places.place(&neck.place)
        ));
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Point;
    use crate::mesh::fixtures::icosphere;
    use crate::outputs::fixtures::{cut, empty_plan, sheet, sheet_report, station};
    use crate::outputs::whereabouts::whereabouts;
    use crate::sheets::Neck;

    fn sheeted(change: impl Fn(usize, &mut Station)) -> Cut {
        let stations: Vec<Station> = (0..=10)
            .map(|k| {
                let mut station = station(5.0 * k as f64);
                change(k, &mut station);
                station
            })
            .collect();
        let line = vec![Point::origin(), Point::new(50.0, 0.0, 0.0)];
        Cut { sheets: vec![sheet(stations)], ..cut(1, CutKind::FromGate, line) }
    }

    /// On a ball of radius 60 that stands on z = -60.
    fn places() -> Whereabouts {
        whereabouts(&empty_plan(), &icosphere(60.0, 3))
    }

    #[test]
    fn depths_angles_and_blade_are_told() {
        let cut = sheeted(|k, station| {
            station.depth = 12.0 + k as f64;
            station.angle_from_normal = if k == 4 { 17.6 } else { 2.0 };
        });
        let words = of_cut(&cut, &SheetSettings::default(), &places());
        let told = "12 to 22 mm deep: a blade of 22 mm or more beyond the hand. Knife at most 18 \
                    degrees off square to the model.";
        assert_eq!(words, [told]);
    }

    /// A wedge below nothing, or a lean beyond a right angle, is said in words, with its place.
    #[test]
    fn a_knife_behind_the_surface_is_no_angle() {
        let cut = sheeted(|k, station| {
            if k == 4 {
                station.angle_from_normal = 125.0;
                station.wedge = [-49.0, 229.0];
                station.flags.feather = true;
            }
        });
        let words = of_cut(&cut, &SheetSettings::default(), &places());
        let behind =
            "the knife would run along the model's surface or behind it, which cannot be cut so";
        assert_eq!(
            words,
            [
                format!(
                    "12 mm deep: a blade of 12 mm or more beyond the hand. At worst, 60 mm above the board, right, {behind}."
                ),
                format!(
                    "NO LIP on the left, {behind}: 18 to 22 mm along, 60 mm above the board, right."
                ),
            ]
        );
        let mut plan = empty_plan();
        plan.cuts = vec![cut];
        let report = sheet_report(&plan.cuts, Point::origin(), Point::new(60.0, 20.0, 12.0));
        let words = of_plan(&plan, &report, &places()).join("\n");
        assert!(words.contains(&format!("Thinnest lip: none, {behind} (good")), "{words}");
    }

    /// The width of a bridge is told with the bridge.
    #[test]
    fn no_depth_is_told_of_a_bridge() {
        let cut = Cut { kind: CutKind::Bridge, ..sheeted(|_, station| station.depth = 88.0) };
        assert_eq!(
            of_cut(&cut, &SheetSettings::default(), &places()),
            ["Knife square to the model all along."]
        );
    }

    #[test]
    fn weak_stretches_are_told_worst_first_with_their_place() {
        let cut = sheeted(|k, station| match k {
            2 | 3 => station.wedge = [140.0, 40.0],
            6 => {
                station.wedge = [22.0, 158.0];
                station.flags.feather = true;
            }
            9 => station.flags.blocked = true,
            _ => {}
        });
        let words = of_cut(&cut, &SheetSettings::default(), &places());
        assert_eq!(
            words[1..],
            [
                "The model STOPS THE KNIFE: 42 to 48 mm along, 60 mm above the board, right.",
                "FEATHER EDGE on the left, 22 degrees: 28 to 32 mm along, 60 mm above the board, right.",
                "Thin lip on the right, 40 degrees: 8 to 18 mm along, 60 mm above the board, right.",
            ]
        );
    }

    #[test]
    fn what_is_wrong_at_stations_is_told_with_its_length() {
        let cut = sheeted(|k, station| {
            station.flags.beyond_blade = k < 2;
            station.flags.through_board = k == 10;
        });
        let words = of_cut(&cut, &SheetSettings::default(), &places());
        assert_eq!(
            words[1..],
            [
                "Over 7.5 mm it is DEEPER THAN THE BLADE is long.",
                "Over 2.5 mm the sheet leaves through the face on the board.",
            ]
        );
    }

    #[test]
    fn the_plan_tells_its_thinnest_lip_and_its_neck() {
        let mut plan = empty_plan();
        plan.cuts = vec![sheeted(|k, station| {
            if k == 5 {
                station.wedge = [41.0, 139.0];
            }
        })];
        let corner = Point::new(60.0, 20.0, 12.0);
        let mut report = sheet_report(&plan.cuts, Point::new(-10.0, -20.0, 0.0), corner);
        report.area = 612.0;
        report.one_piece.neck = Some(Neck { width: 9.44, place: Point::new(1.0, 2.0, -0.2) });
        let words = of_plan(&plan, &report, &places()).join("\n");
        for part in [
            "6.1 cm^2 of rubber to cut",
            "within 45 degrees of square to the model over 100 % of the cut",
            "a wedge of 41 degrees, thin (good from 90 degrees, acceptable from 45), on cut 1, 60 mm above the board, right",
            "stays one piece",
            "about 9.4 mm, 60 mm above the board, middle",
        ] {
            assert!(words.contains(part), "{part:?} is not in\n{words}");
        }
        report.one_piece.pieces = vec![5e4, 4e4, 1e4];
        let words = of_plan(&plan, &report, &places()).join("\n");
        assert!(words.contains("FALLS APART: 2 loose pieces"), "{words}");
    }
}
