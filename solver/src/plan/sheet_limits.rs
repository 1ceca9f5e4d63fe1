//! What the sheets of a plan say about its limits.

use super::answer::{Limit, Plan, SheetReport};
use super::request::PlanRequest;
use crate::body::Whereabouts;
use crate::bridges::bridge_letter;
use crate::sheets::{
    BEHIND, CrossedBy, LipFigures, SheetSettings, Station, leans_behind, leaves_no_lip,
};

/// The limits that sheets have to meet.
pub(super) fn sheet_limits(
    report: &SheetReport,
    plan: &Plan,
    places: &Whereabouts,
    request: &PlanRequest,
) -> Vec<Limit> {
    let (figures, settings) = (&report.figures, &request.sheets);
    let mut list = vec![one_piece_limit(report, request)];
    if report.bridge_figures.length > 0.0 {
        let figures = &report.bridge_figures;
        list.push(Limit {
            name: "weak rubber at bridges".to_owned(),
            met: figures.weak_length <= 0.0,
            text: weak_text(figures, settings, plan, places),
        });
    }
    if figures.length == 0.0 {
        return list;
    }
    let mut push = |name: &str, met: bool, text: String| {
        list.push(Limit { name: name.to_owned(), met, text });
    };
    push(
        "knife angle",
        figures.worst_angle <= settings.acceptable_lean() + 0.05,
        format!(
            "{:.0} % of the cut has the knife within {:.0} degrees of square to the model; {}",
            100.0 * figures.share_acceptable,
            settings.acceptable_lean(),
            if leans_behind(figures.worst_angle) {
                let at = station_of(plan, places, figures.worst_angle, |s| s.angle_from_normal);
                format!("{at} it would run {BEHIND}")
            } else {
                format!("at worst it leans by {:.0} degrees", figures.worst_angle)
            }
        ),
    );
    push("weak rubber", figures.weak_length <= 0.0, weak_text(figures, settings, plan, places));
    push(
        "blade",
        figures.greatest_depth <= settings.blade_length,
        format!(
            "the deepest cut is {:.0} mm, the blade {:.0} mm long",
            figures.greatest_depth, settings.blade_length
        ),
    );
    push(
        "knife access",
        figures.blocked_length <= 0.0,
        if figures.blocked_length > 0.0 {
            format!(
                "the model hides {:.0} mm of cut from the knife in every direction tried",
                figures.blocked_length
            )
        } else {
            "the knife gets from outside to every part of the cuts".to_owned()
        },
    );
    push("sheets apart", report.crossings.is_empty(), crossings_text(report));
    list
}

/// On which cut and where the station is that a figure is of.
fn station_of(
    plan: &Plan,
    places: &Whereabouts,
    figure: f64,
    of: impl Fn(&Station) -> f64,
) -> String {
    let off = |station: &Station| (of(station) - figure).abs();
    let nearest = plan.open_stations().min_by(|(_, a), (_, b)| off(a).total_cmp(&off(b)));
    nearest.map_or_else(
        || "at worst".to_owned(),
        |(order, station)| {
            format!("at worst, on cut {order}, {},", places.place(&station.on_model))
        },
    )
}

fn weak_text(
    figures: &LipFigures,
    settings: &SheetSettings,
    plan: &Plan,
    places: &Whereabouts,
) -> String {
    let thinnest = if leaves_no_lip(figures.least_wedge) {
        let at = station_of(plan, places, figures.least_wedge, Station::least_wedge);
        format!("{at} the knife would run {BEHIND}")
    } else {
        format!("the thinnest lip is a wedge of {:.0} degrees", figures.least_wedge)
    };
    let feather = if figures.feather_length < 0.5 {
        String::new()
    } else {
        format!(
            ", over {:.0} mm less than {:.0}: a feather edge",
            figures.feather_length, settings.refused_angle
        )
    };
    format!(
        "{thinnest}; over {:.0} mm of the cut a lip has less than the {:.0} degrees asked{feather}",
        figures.weak_length, settings.acceptable_angle
    )
}

fn one_piece_limit(report: &SheetReport, request: &PlanRequest) -> Limit {
    let whole = &report.one_piece;
    let asked = request.knife.hinge_width;
    let (met, text) = if !whole.holds() {
        let loose: Vec<String> = whole
            .pieces
            .iter()
            .skip(whole.pieces_uncut)
            .map(|v| format!("{:.1} cm^3", v / 1000.0))
            .collect();
        let text = format!("the cut rubber falls apart: loose pieces of {}", loose.join(", "));
        (false, text)
    } else if let Some(neck) = whole.neck.filter(|n| n.width + whole.cell < asked) {
        let text = format!(
            "the cut rubber hangs by a neck of about {:.0} mm where {asked:.0} mm is asked",
            neck.width
        );
        (false, text)
    } else {
        let text = "the cut rubber is one piece, by counting cells of".to_owned();
        (true, format!("{text} {:.1} mm", whole.cell))
    };
    Limit { name: "one piece of rubber".to_owned(), met, text }
}

fn crossings_text(report: &SheetReport) -> String {
    if report.crossings.is_empty() {
        return "no cut runs into another one or into the model on its way out".to_owned();
    }
    let mut each: Vec<String> = report
        .crossings
        .iter()
        .map(|c| match c.with {
            CrossedBy::Model => format!("cut {} meets the model", c.cut),
            CrossedBy::Sheet(other) if other as u32 == c.cut => {
                format!("two branches of cut {} meet", c.cut)
            }
            CrossedBy::Sheet(other) => format!("cut {} meets cut {other}", c.cut),
            CrossedBy::Disc(bridge) => {
                format!("cut {} meets the cut of bridge {}", c.cut, bridge_letter(bridge))
            }
        })
        .collect();
    each.sort();
    each.dedup();
    format!("on the way out {}", each.join(", "))
}
