//! What must stand beside every plan that goes to the bench.

/// A caution: what it is about, and what to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Caution {
    /// What it is about, in a word or two.
    pub about: &'static str,
    /// What to do.
    pub text: &'static str,
}

/// The cautions, in the order in which the work meets them.
pub const CAUTIONS: [Caution; 3] = [
    Caution {
        about: "Rubber",
        text: "Read the safety data sheet that comes with the rubber and follow it. Air the room, \
               wear gloves. Rubbers that contain isocyanates may be handled only by people who are \
               trained for it, under the rules of the place.",
    },
    Caution {
        about: "Knife",
        text: "Clamp the mould. Put a new blade in. Wear a cut-resistant glove on the hand that holds, \
               and eye protection where a blade bends. Cut in shallow, controlled passes, away from \
               the body, with nobody's hand in the way of the blade. Put the knife down before you \
               pull at the rubber.",
    },
    Caution {
        about: "This plan",
        text: "It is advice worked out from a shape, not an instruction. It knows nothing of flaws \
               in the rubber or of the room. Local codes and licensed practice come first.",
    },
];

/// The cautions in one line, for every picture.
pub const CAUTIONS_IN_SHORT: &str = "Clamp the mould; new blade; cut-resistant glove, eye protection where a \
    blade bends; shallow controlled passes, no hand in the way of the blade; knife down before pulling. \
    Follow the rubber's safety data sheet. Advice only: local codes and licensed practice come first.";
