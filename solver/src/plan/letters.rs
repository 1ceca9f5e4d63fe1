//! Names of bridges.

/// The name of bridge number `index`: A to Z, then AA, AB and so on.
pub fn bridge_letter(index: usize) -> String {
    let mut rest = index + 1;
    let mut letters = Vec::new();
    while rest > 0 {
        rest -= 1;
        letters.push(char::from(b'A' + (rest % 26) as u8));
        rest /= 26;
    }
    letters.iter().rev().collect()
}
