//! Words of caution that go with every plan.

/// One sentence or two each, for the bench.
pub const CAUTIONS: [&str; 5] = [
    "This plan is advice computed from a shape; nobody has looked at your model or your rubber. \
     Local codes and licensed practice come before anything written here.",
    "Knife: clamp the mould, fit a new blade, cut away from your body and wear a cut-resistant \
     glove on the hand that holds the rubber.",
    "Rubber: work by the safety data sheet of the material, with ventilation and gloves. Systems \
     with isocyanates ask for trained users and fall under local rules.",
    "A cut cannot be undone. Mark the lines on the outside, compare them with the model, and try \
     on a cheap pour first when the piece matters.",
    "Lengths, stretches and forces come from a simplified model of the rubber and from typical \
     values unless you gave your own; stretch a test piece of the real batch before you rely on \
     them.",
];
