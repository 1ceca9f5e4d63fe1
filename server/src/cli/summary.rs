//! Plans, reports and progress in words.

use std::fmt::Write as _;

use slitwright_proto::v1;

/// One line about the progress.
pub fn progress_text(progress: &v1::Progress) -> String {
    let mut parts = Vec::new();
    if progress.rows > 0 {
        parts.push(format!("round {}, {} rows", progress.rounds, progress.rows));
    }
    if let Some(length) = progress.best_length_mm {
        parts.push(format!("cuts {length:.0} mm"));
    }
    if let (Some(cost), Some(bound)) = (progress.best_cost_mm, progress.lower_bound_mm)
        && cost > 0.0
    {
        parts.push(format!("gap {:.0} %", 100.0 * (cost - bound).max(0.0) / cost));
    }
    parts.push(progress.message.clone());
    parts.join(" · ")
}

/// A plan for a person at the bench.
pub fn plan_text(plan: &v1::Plan) -> String {
    let mut text = String::new();
    write_plan(&mut text, plan).expect("writing to a string cannot fail");
    text
}

fn write_plan(out: &mut String, plan: &v1::Plan) -> std::fmt::Result {
    if plan.cuts.is_empty() {
        writeln!(out, "No cut is needed: the model leaves the rubber through the gate.")?;
    } else {
        writeln!(out, "CUTS, in knife order")?;
        for cut in &plan.cuts {
            writeln!(
                out,
                "  {}. {:.1} mm, {}{}",
                cut.order,
                cut.length_mm,
                cut_kind(cut.kind()),
                branches(cut.branches.len())
            )?;
            writeln!(out, "     {}", cut.reason)?;
        }
    }
    write_bridges(out, plan)?;
    if !plan.hinges.is_empty() {
        writeln!(out, "\nHINGES, rubber left uncut")?;
        for hinge in &plan.hinges {
            writeln!(
                out,
                "  {:.1} mm wide, from {} to {}",
                hinge.width_mm,
                place(hinge.from.as_ref()),
                place(hinge.to.as_ref())
            )?;
        }
    }
    if !plan.stretches.is_empty() {
        writeln!(out, "\nSTRETCH, the tightest ring of each region")?;
        for stretch in &plan.stretches {
            writeln!(
                out,
                "  {:.0} % of {:.0} % allowed, at {}: a ring of {:.0} mm passes a girth of {:.0} mm",
                100.0 * stretch.strain,
                100.0 * stretch.allowed_strain,
                place(stretch.place.as_ref()),
                stretch.ring_length_mm,
                stretch.girth_mm
            )?;
        }
    }
    writeln!(out, "\nLIMITS")?;
    for limit in &plan.limits {
        let verdict = if limit.met { "met   " } else { "MISSED" };
        writeln!(out, "  {verdict} {}: {}", limit.name, limit.text)?;
    }
    writeln!(out, "\nFIGURES")?;
    writeln!(out, "  rubber {:.0} cm3, {:.0} g", plan.rubber_volume_cm3, plan.rubber_mass_g)?;
    writeln!(
        out,
        "  knife length {:.1} mm; cost {:.1} mm with entries; no plan costs less than {:.1} mm; gap {:.1} %",
        plan.total_length_mm,
        plan.cost_mm,
        plan.lower_bound_mm,
        100.0 * plan.gap
    )?;
    writeln!(out, "  the search stopped because {}", stop_reason(plan.stopped_by()))?;
    if let Some(figures) = &plan.figures {
        write_figures(out, figures)?;
    }
    writeln!(out, "\nCAUTION")?;
    for caution in &plan.cautions {
        writeln!(out, "{}", wrapped(caution, "  - ", "    "))?;
    }
    Ok(())
}

fn write_bridges(out: &mut String, plan: &v1::Plan) -> std::fmt::Result {
    if plan.bridges.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nBRIDGES, rubber that runs through holes")?;
    for (index, bridge) in plan.bridges.iter().enumerate() {
        let kind = match bridge.kind() {
            v1::BridgeKind::Arch => "between model and board",
            v1::BridgeKind::Handle | v1::BridgeKind::Unspecified => "through a hole of the model",
        };
        writeln!(
            out,
            "  {}. {kind} at {}: neck {:.1} mm wide, {:.0} mm2, {:.1} mm long; rim {:.1} mm",
            index + 1,
            place(bridge.centre.as_ref()),
            bridge.neck_width_mm,
            bridge.neck_area_mm2,
            bridge.depth_mm,
            bridge.rim_length_mm
        )?;
        writeln!(
            out,
            "     opening beside it {:.1} mm of {:.1} mm needed",
            bridge.opening_mm, bridge.opening_needed_mm
        )?;
        if bridge.disc() == v1::DiscState::Knotted {
            writeln!(out, "     NO PLAIN CUT: {}", bridge.explanation)?;
        }
    }
    Ok(())
}

fn write_figures(out: &mut String, figures: &v1::Figures) -> std::fmt::Result {
    writeln!(
        out,
        "  model {} triangles, worked on {} (deviation {:.3} mm), planned on {} vertices (edge {:.2} mm)",
        figures.model_triangles,
        figures.working_triangles,
        figures.working_deviation_mm,
        figures.planning_vertices,
        figures.planning_edge_mm
    )?;
    writeln!(
        out,
        "  genus {}, holes with the board {}; {} rounds, {} rows",
        figures.genus, figures.holes, figures.rounds, figures.rows
    )?;
    let times: Vec<_> = figures
        .stage_times
        .iter()
        .map(|time| format!("{} {:.1} s", time.stage, time.seconds))
        .collect();
    if !times.is_empty() {
        writeln!(out, "  time: {}", times.join(", "))?;
    }
    for repair in &figures.repairs {
        writeln!(out, "  repaired: {repair}")?;
    }
    Ok(())
}

fn cut_kind(kind: v1::CutKind) -> &'static str {
    match kind {
        v1::CutKind::FromGate => "from the gate",
        v1::CutKind::Separate => "standing alone",
        v1::CutKind::Bridge => "across a bridge",
        v1::CutKind::Unspecified => "of unknown kind",
    }
}

fn branches(count: usize) -> String {
    if count > 1 { format!(", {count} branches") } else { String::new() }
}

fn stop_reason(reason: v1::StopReason) -> &'static str {
    match reason {
        v1::StopReason::GapReached => "the gap asked for was reached",
        v1::StopReason::Optimal => "the plan is the best there is on the planning mesh",
        v1::StopReason::TimeLimit => "the time ran out",
        v1::StopReason::Stalled => "nothing better turned up and the bound stopped moving",
        v1::StopReason::Cancelled => "you asked for it: this is the best plan until then",
        v1::StopReason::Unspecified => "of an unknown reason",
    }
}

fn place(point: Option<&v1::Point>) -> String {
    point.map_or_else(
        || "an unknown place".to_owned(),
        |p| format!("({:.0}, {:.0}, {:.0})", p.x, p.y, p.z),
    )
}

/// `text` in lines of at most 78 characters where words allow it.
fn wrapped(text: &str, first: &str, other: &str) -> String {
    const WIDTH: usize = 78;
    let mut lines = vec![first.to_owned()];
    let mut empty = true;
    for word in text.split_whitespace() {
        let line = lines.last().expect("there is a first line");
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            lines.push(other.to_owned());
            empty = true;
        }
        let line = lines.last_mut().expect("there is a first line");
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    lines.join("\n")
}

/// A mesh report for a person.
pub fn report_text(report: &v1::MeshReport) -> String {
    format!("{} triangles\n", report.triangles)
}
