//! Words from outside: how much of them is told, and which characters they may hold. Messages as JSON.

/// The text, or its beginning where it is longer than `most` bytes.
pub fn shortened(text: &str, most: usize) -> String {
    if text.len() <= most {
        return text.to_owned();
    }
    let end = (0..=most).rev().find(|&end| text.is_char_boundary(end)).unwrap_or_default();
    format!("{}…", &text[..end])
}

/// Whether a name for people can be shown as it is: no control characters, which steer a terminal, and
/// none that turn the direction of what stands around them (Unicode Standard Annex 9, section 2).
pub fn is_plain(text: &str) -> bool {
    let turns = |c: char| {
        matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
            // Line and paragraph separators.
            || matches!(c, '\u{2028}' | '\u{2029}')
    };
    !text.chars().any(|c| c.is_control() || turns(c))
}

/// A message of the protocol as JSON, for people to read too.
pub fn to_json(message: &impl serde::Serialize) -> Result<String, serde_json::Error> {
    serde_json::to_string_pretty(message).map(|text| text + "\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_texts_end_between_two_characters() {
        assert_eq!(shortened("büste", 6), "büste");
        assert_eq!(shortened("büste", 3), "bü…");
        assert_eq!(shortened("büste", 2), "b…");
        assert_eq!(shortened("ü", 0), "…");
    }

    #[test]
    fn letters_of_any_script_are_plain_and_steering_is_not() {
        for good in ["", "büste", "胸像", "תבנית", "a-b_c (2)", "👩‍🎨"] {
            assert!(is_plain(good), "{good:?}");
        }
        for bad in ["\u{1b}[0m", "a\nb", "\u{7f}", "\u{85}", "\u{202e}x", "\u{2067}", "\u{200f}"] {
            assert!(!is_plain(bad), "{bad:?}");
        }
    }
}
