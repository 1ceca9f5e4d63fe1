//! What the two halves of a mould do when all of the border between two sides is cut, without any hinge: whatever holds these
//! holds them with any hinge too.

use crate::bridges::bridge_letter;

/// What was seen of loose halves, from all directions that were tried.
#[derive(Default)]
pub(super) struct Halves {
    /// The shortest border along which they come off, mm, and the pull that this takes, N.
    loose: Option<(f64, f64)>,
    /// Each time that they were held, by the bridge in whose hole; none where it was in no hole.
    held: Vec<Option<usize>>,
}

impl Halves {
    /// They come off with a pull of `force` N along a border of `length` mm.
    pub(super) fn come_off(&mut self, length: f64, force: f64) {
        if self.loose.is_none_or(|(least, _)| length < least) {
            self.loose = Some((length, force));
        }
    }

    /// They were held, in the hole of a bridge or elsewhere.
    pub(super) fn are_held(&mut self, bridge: Option<usize>) {
        self.held.push(bridge);
    }

    /// What that says to a person whose plan does not come off: a sentence; none where nothing was seen.
    pub(super) fn in_words(&self) -> Option<String> {
        match self.loose {
            Some((length, force)) => Some(format!(
                "no cut that leaves the mould in one piece comes off in the trial. In two loose halves, parted along {length:.0} mm \
                 all round, it comes off with {force:.0} N: where a mould of two pieces will do, think of that"
            )),
            None => (!self.held.is_empty()).then(|| held_in_words(&self.held)),
        }
    }
}

/// Where they were held, and what to do instead.
fn held_in_words(held: &[Option<usize>]) -> String {
    let views = match held.len() {
        1 => "one direction".to_owned(),
        more => format!("{more} directions"),
    };
    let mut holes: Vec<usize> = held.iter().flatten().copied().collect();
    let times = |hole: usize| held.iter().filter(|h| **h == Some(hole)).count();
    holes.sort_by_key(|&hole| (std::cmp::Reverse(times(hole)), hole));
    holes.dedup();
    let (place, joint) = match holes.first().map(|&hole| bridge_letter(hole)) {
        Some(letter) => (
            format!("in the hole of bridge {letter}"),
            "a joint through the limb that goes round that hole".to_owned(),
        ),
        None => ("where the release trial names the place".to_owned(), "a joint there".to_owned()),
    };
    format!(
        "no cut between two sides was found that lets the model out: parted all round, seen from {views}, even two loose halves are \
         held, {place}. More time may find a cut. Where it does not: make the model in parts, with {joint}, and mould each \
         by itself, or make the mould of more pieces than one"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_holds_is_named_by_the_hole_where_it_was_most_often() {
        let mut halves = Halves::default();
        assert_eq!(halves.in_words(), None);
        halves.are_held(None);
        let words = halves.in_words().expect("words");
        assert!(words.contains("from one direction") && !words.contains("bridge"), "{words}");
        for bridge in [1, 0, 1] {
            halves.are_held(Some(bridge));
        }
        let words = halves.in_words().expect("words");
        assert!(words.contains("from 4 directions") && words.contains("bridge B"), "{words}");
    }

    /// Halves that come off from one direction say more than any that are held; the shortest border counts.
    #[test]
    fn halves_that_come_off_are_what_counts() {
        let mut halves = Halves::default();
        halves.are_held(Some(0));
        for (length, force) in [(700.0, 9.0), (650.0, 12.0), (720.0, 2.0)] {
            halves.come_off(length, force);
        }
        let words = halves.in_words().expect("words");
        assert!(words.contains("along 650 mm") && words.contains("12 N"), "{words}");
    }
}
