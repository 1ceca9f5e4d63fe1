//! Plans side by side as a table of plain text.

use std::fmt::Write;

use super::cautions::CAUTIONS_IN_SHORT;
use crate::plan::{Compared, Comparison};
use crate::sheets::leans_behind;
use crate::trial::Outcome;

/// Plans in one table; more make a further table below.
const COLUMNS: usize = 4;
/// Width of the column with what is compared, and of a plan's.
const FIRST: usize = 26;
const COLUMN: usize = 13;

/// Characters in a line of the cautions, at most.
const WIDTH: usize = 78;

/// Which way is better.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Better {
    Less,
    More,
    Neither,
}

/// One line of a comparison.
pub(super) struct Figure {
    pub what: &'static str,
    pub better: Better,
    /// A number where there is one, and how it is written.
    pub of: fn(&Compared) -> (Option<f64>, String),
}

fn number(value: Option<f64>, decimals: usize) -> (Option<f64>, String) {
    (value, value.map_or("-".to_owned(), |x| format!("{x:.decimals$}")))
}

/// All that is compared, in the order in which it is told.
pub(super) const FIGURES: [Figure; 14] = [
    Figure {
        what: "works",
        better: Better::More,
        of: |r| (Some(f64::from(u8::from(r.works))), if r.works { "yes" } else { "no" }.to_owned()),
    },
    Figure {
        what: "limits missed",
        better: Better::Less,
        of: |r| (Some(r.missed.len() as f64), r.missed.len().to_string()),
    },
    Figure {
        what: "length of all cuts, mm",
        better: Better::Less,
        of: |r| number(Some(r.total_length), 0),
    },
    Figure {
        what: "cuts",
        better: Better::Less,
        of: |r| (Some(r.cuts as f64), r.cuts.to_string()),
    },
    Figure { what: "cost, mm", better: Better::Less, of: |r| number(Some(r.cost), 0) },
    Figure {
        what: "beside weak rubber, mm",
        better: Better::Less,
        of: |r| number(r.weak_length, 0),
    },
    Figure { what: "mean risk of weak rubber", better: Better::Less, of: |r| number(r.risk, 2) },
    Figure {
        what: "knife leans at most, deg",
        better: Better::Less,
        of: |r| match r.worst_angle {
            Some(lean) if leans_behind(lean) => (Some(lean), "behind".to_owned()),
            lean => number(lean, 0),
        },
    },
    Figure { what: "deepest, mm", better: Better::Less, of: |r| number(r.greatest_depth, 0) },
    Figure {
        what: "cut area, cm^2",
        better: Better::Less,
        of: |r| number(r.area.map(|a| a / 100.0), 1),
    },
    Figure {
        what: "bridges cut",
        better: Better::Neither,
        of: |r| (None, format!("{} of {}", r.bridges.0, r.bridges.1)),
    },
    Figure {
        what: "narrowest hinge, mm",
        better: Better::More,
        of: |r| number(r.narrowest_hinge, 0),
    },
    Figure {
        what: "rubber stretched by, %",
        better: Better::Less,
        of: |r| number(Some(100.0 * r.greatest_strain), 0),
    },
    Figure {
        what: "seam on show, mm",
        better: Better::Less,
        of: |r| number(Some(r.seam_on_show), 0),
    },
];

/// How a trial went, in two words or so.
pub(super) fn trial_in_short(row: &Compared) -> String {
    match row.trial {
        None => "not tried".to_owned(),
        Some((Outcome::Released, pull)) => format!("off, {pull:.0} N"),
        Some((Outcome::Stuck { .. }, _)) => "stuck".to_owned(),
        Some((Outcome::OutOfTime | Outcome::NoVerdict { .. }, _)) => "no verdict".to_owned(),
    }
}

/// Which rows have the best value of a figure, where they differ as written; among plans that work if
/// any does.
pub(super) fn best(figure: &Figure, rows: &[Compared]) -> Vec<bool> {
    let working = rows.iter().any(|row| row.works);
    let known = || {
        let counted = rows.iter().filter(|row| row.works || !working);
        counted.filter_map(|row| match (figure.of)(row) {
            (Some(value), words) => Some((value, words)),
            (None, _) => None,
        })
    };
    let least = known().min_by(|a, b| a.0.total_cmp(&b.0));
    let most = known().max_by(|a, b| a.0.total_cmp(&b.0));
    let (Some(least), Some(most)) = (least, most) else { return vec![false; rows.len()] };
    let goal = match figure.better {
        Better::Less => least.1.as_str(),
        Better::More => most.1.as_str(),
        Better::Neither => return vec![false; rows.len()],
    };
    let differ = least.1 != most.1;
    rows.iter().map(|row| differ && (row.works || !working) && (figure.of)(row).1 == goal).collect()
}

/// The comparison for a person: a table with the best of each line marked `*`, and what is on the front
/// of length against risk of weak rubber.
pub fn comparison_table(comparison: &Comparison) -> String {
    let mut text = String::new();
    let rows = &comparison.rows;
    for start in (0..rows.len()).step_by(COLUMNS) {
        let shown = &rows[start..(start + COLUMNS).min(rows.len())];
        let mut line = format!("{:FIRST$}", "");
        for row in shown {
            let _ = write!(line, "{:>COLUMN$}", clipped(&row.name));
        }
        text.push_str(line.trim_end());
        text.push('\n');
        for figure in &FIGURES {
            let best = best(figure, rows);
            let mut line = format!("{:FIRST$}", figure.what);
            for (row, best) in shown.iter().zip(&best[start..]) {
                let mark = if *best { "*" } else { " " };
                let _ = write!(line, "{:>width$}{mark}", (figure.of)(row).1, width = COLUMN - 1);
            }
            text.push_str(line.trim_end());
            text.push('\n');
        }
        let mut line = format!("{:FIRST$}", "release trial");
        for row in shown {
            let _ = write!(line, "{:>width$} ", trial_in_short(row), width = COLUMN - 1);
        }
        text.push_str(line.trim_end());
        text.push_str("\n\n");
    }
    text.push_str(&front_in_words(comparison));
    text.push('\n');
    for row in rows.iter().filter(|row| !row.missed.is_empty()) {
        let _ = writeln!(text, "{} misses: {}.", row.name, row.missed.join(", "));
    }
    text.push('\n');
    let mut width = 0;
    for word in CAUTIONS_IN_SHORT.split_whitespace() {
        let length = word.chars().count();
        if width > 0 && width + 1 + length > WIDTH {
            text.push('\n');
            width = 0;
        } else if width > 0 {
            text.push(' ');
            width += 1;
        }
        text.push_str(word);
        width += length;
    }
    text.push('\n');
    text
}

/// The front in a sentence.
pub(super) fn front_in_words(comparison: &Comparison) -> String {
    let names: Vec<&str> = comparison.front().iter().map(|row| row.name.as_str()).collect();
    if names.is_empty() {
        "None of them works.".to_owned()
    } else {
        format!(
            "Not beaten in both length and risk of weak rubber, shortest first: {}.",
            names.join(", ")
        )
    }
}

/// A name that fits its column.
fn clipped(name: &str) -> String {
    if name.chars().count() < COLUMN {
        return name.to_owned();
    }
    name.chars().take(COLUMN - 2).chain(['~']).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outputs::fixtures::compared;

    #[test]
    fn the_table_marks_the_best_that_works_and_names_the_front() {
        let rows = vec![compared("A", 100.0, 0.3, true), compared("B", 140.0, 0.1, true), {
            let mut row = compared("a very long name", 50.0, 0.0, false);
            row.missed = vec!["release".to_owned()];
            row
        }];
        let mut comparison = Comparison { rows };
        comparison.rows[0].on_front = true;
        comparison.rows[1].on_front = true;
        let table = comparison_table(&comparison);
        let line = |what: &str| table.lines().find(|l| l.starts_with(what)).expect("a line");
        let words = |what: &str| -> Vec<&str> { line(what)[FIRST..].split_whitespace().collect() };
        assert_eq!(words("length of all cuts"), ["100*", "140", "50"]);
        assert_eq!(words("mean risk"), ["0.30", "0.10*", "0.00"]);
        assert_eq!(words("works"), ["yes", "yes", "no"]);
        assert_eq!(words("release trial"), ["not", "tried", "not", "tried", "not", "tried"]);
        assert!(table.contains("shortest first: A, B."), "{table}");
        assert!(table.contains("a very long name misses: release."));
        let flat = table.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.ends_with(CAUTIONS_IN_SHORT), "{table}");
        assert!(table.lines().all(|line| line.chars().count() <= 80 || line.contains("shortest")));
    }

    /// What is written alike is not told apart.
    #[test]
    fn nothing_is_best_where_all_are_written_alike() {
        let rows = [compared("A", 100.2, 0.301, true), compared("B", 99.9, 0.304, true)];
        for what in ["length of all cuts, mm", "mean risk of weak rubber"] {
            let figure = FIGURES.iter().find(|f| f.what == what).expect("a figure");
            assert_eq!(best(figure, &rows), [false, false], "{what}");
        }
    }

    #[test]
    fn more_plans_than_columns_make_a_second_table() {
        let rows = (0..6).map(|k| compared(&format!("p{k}"), 10.0, 0.1, false)).collect();
        let table = comparison_table(&Comparison { rows });
        assert_eq!(table.lines().filter(|l| l.starts_with("works")).count(), 2);
        assert!(table.contains("None of them works."));
    }
}
