//! Progress and mesh reports in words.

use std::fmt::Write as _;

use slitwright_proto::v1;

/// One line about the progress.
pub fn progress_text(progress: &v1::Progress) -> String {
    let mut parts = Vec::new();
    if progress.rounds > 0 {
        parts.push(format!("round {}", progress.rounds));
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

/// A mesh report for a person.
pub fn report_text(report: &v1::MeshReport) -> String {
    let mut text = String::new();
    write_report(&mut text, report).expect("writing to a string cannot fail");
    text
}

fn write_report(out: &mut String, report: &v1::MeshReport) -> std::fmt::Result {
    writeln!(out, "The model can be planned on.")?;
    if let (Some(low), Some(high)) = (&report.lowest, &report.highest) {
        writeln!(
            out,
            "  size {:.1} x {:.1} x {:.1} mm, volume {:.1} cm^3, surface {:.1} cm^2",
            high.x - low.x,
            high.y - low.y,
            high.z - low.z,
            report.volume_cm3,
            report.area_cm2
        )?;
    }
    writeln!(
        out,
        "  {} triangles on {} corners; holes that go through: {}",
        report.triangles, report.vertices, report.genus
    )?;
    writeln!(
        out,
        "  working mesh {} triangles, {:.3} mm off at most (allowed {:.3} mm)",
        report.working_triangles, report.working_deviation_mm, report.allowed_deviation_mm
    )?;
    for repair in &report.repairs {
        writeln!(out, "  repaired: {repair}")?;
    }
    for warning in &report.warnings {
        writeln!(out, "  mind: {warning}")?;
    }
    Ok(())
}
