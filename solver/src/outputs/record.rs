//! A plan in full as bytes, so that it can be drawn long after it was made: what pictures and GLB files
//! show, the moments of a release trial among it, is more than a plan's message over the wire holds.
//!
//! MessagePack with the names of all fields, not their places: a record that an earlier version of the
//! program wrote can be read as long as nothing that it lacks is needed. A new field of anything in a
//! [`Plan`] gets `#[serde(default)]`; what cannot have a default raises [`LAYOUT`].

use rmp_serde::{Deserializer, Serializer};
use serde::{Deserialize, Serialize};

use crate::plan::Plan;

/// Meaning of what is in a record: goes up when a field is taken away or means something else.
const LAYOUT: u16 = 1;
/// Most bytes of a record. A trial of 60,000 elements takes some 15 MiB.
pub const MOST_BYTES: usize = 64 << 20;

/// A record cannot be written or read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RecordError {
    /// It is larger than any may be.
    #[error("the plan in full has {bytes} bytes, more than {MOST_BYTES}: ask for fewer elements")]
    TooLarge {
        /// Its bytes.
        bytes: usize,
    },
    /// Another version of the program wrote it.
    #[error(
        "the plan in full has layout {found}, this program reads {LAYOUT}: make the plan again"
    )]
    Layout {
        /// The layout found.
        found: u16,
    },
    /// It cannot be written, or what was written is no plan.
    #[error("the plan in full cannot be written or read: {0}; make the plan again")]
    Unfit(String),
}

/// The plan in full.
pub fn write(plan: &Plan) -> Result<Vec<u8>, RecordError> {
    let mut bytes = LAYOUT.to_le_bytes().to_vec();
    let unfit = |error: rmp_serde::encode::Error| RecordError::Unfit(error.to_string());
    plan.serialize(&mut Serializer::new(&mut bytes).with_struct_map()).map_err(unfit)?;
    if bytes.len() > MOST_BYTES {
        return Err(RecordError::TooLarge { bytes: bytes.len() });
    }
    Ok(bytes)
}

/// The plan of a record.
pub fn read(bytes: &[u8]) -> Result<Plan, RecordError> {
    let (layout, plan) = bytes
        .split_first_chunk()
        .ok_or_else(|| RecordError::Unfit("it has no layout".to_owned()))?;
    let found = u16::from_le_bytes(*layout);
    if found != LAYOUT {
        return Err(RecordError::Layout { found });
    }
    let mut reader = Deserializer::from_read_ref(plan);
    Plan::deserialize(&mut reader).map_err(|error| RecordError::Unfit(error.to_string()))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::advice::{Advice, AirTrap, AirTraps, Overhang, Pour, SlidingLips};
    use crate::mesh::Point;
    use crate::outputs::fixtures::{cut, empty_plan, sheet, sheet_report, station, trial_of_block};
    use crate::plan::{CutKind, TrialVerdict};

    /// A plan with a cut, its sheet and a trial, infinite numbers and such that decimal digits would bend
    /// among them.
    fn plan() -> Plan {
        let mut plan = empty_plan();
        let line = (0..3).map(|k| Point::new(f64::from(k) / 3.0, 0.1, -0.0)).collect();
        let mut own = cut(1, CutKind::FromGate, line);
        own.sheets = vec![sheet([0.0, 0.1 + 0.2, 1e-300].map(station).to_vec())];
        plan.cuts = vec![own];
        let (low, high) = (Point::new(-20.0, -20.0, 0.0), Point::new(20.0, 20.0, 40.0));
        plan.sheets = Some(sheet_report(&plan.cuts, low, high));
        let mut trial = trial_of_block(1.5);
        // Arcs of cosines differ by machine in their last digit.
        trial.report.mesh.angles = (45.0, 90.0);
        plan.trial = TrialVerdict::Ran(Arc::new(trial));
        plan.shortfall = f64::INFINITY;
        plan
    }

    #[test]
    fn a_plan_comes_back_as_it_was() {
        let plan = plan();
        let record = write(&plan).expect("written");
        let back = read(&record).expect("read");
        assert_eq!(back, plan);
        // Equal is not the same for zeros of either sign: nothing of a number is lost.
        assert!(back.cuts[0].branches[0][0].z.is_sign_negative());
        assert_eq!(write(&back).expect("written"), record);
    }

    /// Written by the first version that keeps records. Where this fails, a field lacks its default, or
    /// what was taken away has not raised [`LAYOUT`].
    #[test]
    fn the_first_record_can_still_be_read() {
        assert_eq!(read(include_bytes!("record/first.bin")), Ok(plan()));
    }

    /// What the first version did not have yet comes back too.
    #[test]
    fn advice_comes_back() {
        let trap = AirTrap { place: Point::new(1.0, -0.0, 3.0), depth: 12.5, volume: 1.0 / 3.0 };
        let advice = Advice {
            pour: Pour { openings: 1, area: 28.0, width: 6.0, serves: false },
            casting: AirTraps { told: vec![trap], others: 2 },
            rubber: AirTraps::default(),
            shut_hollows: 0.1 + 0.2,
            shell: None,
            sliding_lips: vec![SlidingLips { cut: 1, length: 90.0, depth: 8.0 }],
            overhangs: vec![Overhang { place: trap.place, area: 500.0, thickness: 2.0 }],
        };
        let plan = Plan { advice: Some(advice), ..plan() };
        assert_eq!(read(&write(&plan).expect("written")), Ok(plan));
    }

    #[test]
    fn what_is_no_record_is_refused() {
        let record = write(&plan()).expect("written");
        for bytes in [&[][..], &[1], &record[..record.len() / 2], &[1, 0, 0xc1]] {
            assert!(matches!(read(bytes), Err(RecordError::Unfit(_))));
        }
        let other = [&[9, 0], &record[2..]].concat();
        assert_eq!(read(&other), Err(RecordError::Layout { found: 9 }));
    }
}
