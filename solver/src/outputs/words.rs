//! Words and figures that the pictures and the page of words share.

use crate::plan::{Cut, CutKind, Plan, Reason, bridge_letter};

/// A length in mm, with a decimal only where it tells something.
pub(super) fn millimetres(length: f64) -> String {
    if length < 9.95 { format!("{length:.1} mm") } else { format!("{length:.0} mm") }
}

/// The words of a text, a figure and its unit as one, so that no line breaks between them.
pub(super) fn words_of(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let bare = word.trim_end_matches(['.', ',', ';', ':', ')']);
        let is_unit = matches!(
            bare,
            "mm" | "mm^2"
                | "mm^3"
                | "cm^2"
                | "cm^3"
                | "mm²"
                | "mm³"
                | "cm²"
                | "cm³"
                | "degrees"
                | "g"
                | "N"
                | "MPa"
                | "%"
        );
        match words.last_mut() {
            Some(figure) if is_unit && figure.ends_with(|c: char| c.is_ascii_digit()) => {
                figure.push(' ');
                figure.push_str(word);
            }
            _ => words.push(word.to_owned()),
        }
    }
    words
}

/// What kind of cut it is.
pub(super) fn kind_of_cut(kind: CutKind) -> &'static str {
    match kind {
        CutKind::FromGate => "from the base opening",
        CutKind::Separate => "separate cut",
        CutKind::Bridge => "bridge cut",
        CutKind::BehindHinge => "cut behind a hinge",
    }
}

/// A cut in one line: kind, length, and the bridge or near-bridge that it crosses.
pub(super) fn cut_in_short(cut: &Cut) -> String {
    let mut words = format!("{}, {}", kind_of_cut(cut.kind), millimetres(cut.length));
    match cut.reason {
        Reason::CutsBridge { bridge, .. } => {
            // One from outside is there to let the blade get at it.
            let what = if cut.kind == CutKind::Bridge { "across" } else { "opens the way to" };
            words.push_str(&format!(", {what} bridge {}", bridge_letter(bridge as usize)));
        }
        Reason::CutsNearBridge { .. } => words.push_str(", across a near-bridge"),
        Reason::FreesRing { .. } | Reason::PartsSides { .. } | Reason::FoldsHinge { .. } => {}
    }
    words
}

/// The cut that crosses bridge number `index`, if there is one.
pub(super) fn cut_of_bridge(plan: &Plan, index: usize) -> Option<&Cut> {
    plan.cuts.iter().filter(|cut| cut.kind == CutKind::Bridge).find(
        |cut| matches!(cut.reason, Reason::CutsBridge { bridge, .. } if bridge as usize == index),
    )
}

/// What becomes of a bridge that only lines its hole.
pub(super) const LINED: &str = "The rubber only lines this hole, and the cut between the two sides runs round in it: nothing is left \
     to cut across.";

/// Whether bridge number `index` would have to be cut across, and is not.
pub(super) fn is_left_uncut(plan: &Plan, index: usize) -> bool {
    !plan.bridges[index].lined && cut_of_bridge(plan, index).is_none()
}

/// Words as a sentence: a capital first, a full stop last.
pub(super) fn sentence(words: &str) -> String {
    let mut letters = words.trim().chars();
    let Some(first) = letters.next() else { return String::new() };
    let mut text: String = first.to_uppercase().chain(letters).collect();
    if !text.ends_with(['.', '!', '?', ':']) {
        text.push('.');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bridges_are_lettered_like_columns() {
        let names = [0, 1, 25, 26, 27, 51, 52].map(bridge_letter);
        assert_eq!(names, ["A", "B", "Z", "AA", "AB", "AZ", "BA"]);
    }

    #[test]
    fn sentences_start_with_a_capital_and_end() {
        assert_eq!(sentence("the model stands off the board"), "The model stands off the board.");
        assert_eq!(sentence("Already one."), "Already one.");
        assert_eq!(sentence(" "), "");
    }

    #[test]
    fn figures_keep_their_units() {
        let words = words_of("a girth of 118 mm, at most 50 % of g");
        assert_eq!(words, ["a", "girth", "of", "118 mm,", "at", "most", "50 %", "of", "g"]);
    }

    #[test]
    fn short_lengths_keep_a_decimal() {
        assert_eq!(millimetres(8.04), "8.0 mm");
        assert_eq!(millimetres(9.97), "10 mm");
        assert_eq!(millimetres(123.4), "123 mm");
    }
}
