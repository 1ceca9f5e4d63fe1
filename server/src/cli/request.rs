//! Requests from the shell: a file, and flags that replace single values of it.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use slitwright_proto::v1;
use slitwright_solver::plan::PlanRequest;

use super::{CliError, print_json};
use crate::convert::{named_class, request_from_proto, request_to_proto, scheme_of_plan};

/// Prints a request with every value at its default.
pub fn print_template() -> Result<(), CliError> {
    print_json(&request_to_proto(&PlanRequest::default(), v1::RubberClass::MediumSilicone))
}

/// What is wanted.
#[derive(Args, Default)]
pub struct RequestArgs {
    /// Request file, as printed by request-template; flags below replace single values of it
    #[arg(long, value_name = "FILE")]
    request: Option<PathBuf>,

    /// Shape of the rubber
    #[arg(long, value_enum, help_heading = "Mould")]
    mould: Option<MouldName>,
    /// Rubber between model and wall, mm (box, cylinder)
    #[arg(long, value_name = "MM", help_heading = "Mould")]
    side: Option<f64>,
    /// Rubber above the model, mm (box, cylinder)
    #[arg(long, value_name = "MM", help_heading = "Mould")]
    top: Option<f64>,
    /// Thickness of the blanket, mm
    #[arg(long, value_name = "MM", help_heading = "Mould")]
    thickness: Option<f64>,

    /// Class of rubber that the values not given come from
    #[arg(long, value_enum, help_heading = "Rubber")]
    rubber: Option<RubberName>,
    /// Hardness, Shore A
    #[arg(long, value_name = "A", help_heading = "Rubber")]
    shore: Option<f64>,
    /// Elongation at break as a fraction: 3.5 is 350 %
    #[arg(long, value_name = "FRACTION", help_heading = "Rubber")]
    elongation: Option<f64>,
    /// Stretch allowed in use as a fraction: 0.5 is 50 %
    #[arg(long, value_name = "FRACTION", help_heading = "Rubber")]
    working_stretch: Option<f64>,
    /// Density, g/cm3
    #[arg(long, value_name = "G/CM3", help_heading = "Rubber")]
    density: Option<f64>,

    /// The base opening is the flat lowest face, seen along this direction away from the board
    #[arg(long, value_name = "X,Y,Z", value_parser = triple, allow_hyphen_values = true, help_heading = "Base opening")]
    up: Option<[f64; 3]>,
    /// The base opening is what lies round this point, mm
    #[arg(long, value_name = "X,Y,Z", value_parser = triple, allow_hyphen_values = true, help_heading = "Base opening",
          requires = "gate_radius", conflicts_with_all = ["up", "gate_plane"])]
    gate_centre: Option<[f64; 3]>,
    /// How far from --gate-centre the base opening reaches, mm
    #[arg(long, value_name = "MM", help_heading = "Base opening", requires = "gate_centre")]
    gate_radius: Option<f64>,
    /// The base opening is what lies on or beyond the plane through this point, mm
    #[arg(long, value_name = "X,Y,Z", value_parser = triple, allow_hyphen_values = true, help_heading = "Base opening",
          requires = "gate_normal", conflicts_with = "up")]
    gate_plane: Option<[f64; 3]>,
    /// Normal of that plane, away from the model
    #[arg(long, value_name = "X,Y,Z", value_parser = triple, allow_hyphen_values = true, help_heading = "Base opening",
          requires = "gate_plane")]
    gate_normal: Option<[f64; 3]>,

    /// What two hands pull at an opening, N
    #[arg(long, value_name = "N", help_heading = "Knife and hand")]
    hand_force: Option<f64>,
    /// Width of rubber that must open at once round a ring, mm; else as wide as the model is there
    #[arg(long, value_name = "MM", help_heading = "Knife and hand")]
    opening_zone: Option<f64>,
    /// Least width of rubber left between cuts, mm
    #[arg(long, value_name = "MM", help_heading = "Knife and hand")]
    hinge_width: Option<f64>,
    /// What one more separate cut is worth, mm of cut
    #[arg(long, value_name = "MM", help_heading = "Knife and hand")]
    entry_price: Option<f64>,
    /// Shortest cut worth making, mm
    #[arg(long, value_name = "MM", help_heading = "Knife and hand")]
    least_cut: Option<f64>,

    /// Greatest distance between listed stations, mm
    #[arg(long, value_name = "MM", help_heading = "Blade and lips")]
    station_spacing: Option<f64>,
    /// Greatest distance between rulings worked out, mm
    #[arg(long, value_name = "MM", help_heading = "Blade and lips")]
    ruling_spacing: Option<f64>,
    /// Wedge of rubber beside a cut that is as strong as need be, degrees
    #[arg(long, value_name = "DEGREES", help_heading = "Blade and lips")]
    good_angle: Option<f64>,
    /// Least wedge that is acceptable; the blade may lean by what is left to 90, degrees
    #[arg(long, value_name = "DEGREES", help_heading = "Blade and lips")]
    acceptable_angle: Option<f64>,
    /// Wedge below which a lip is a feather edge, degrees
    #[arg(long, value_name = "DEGREES", help_heading = "Blade and lips")]
    refused_angle: Option<f64>,
    /// Length along the model over which a wedge is measured, mm
    #[arg(long, value_name = "MM", help_heading = "Blade and lips")]
    wedge_reach: Option<f64>,
    /// Length of the blade beyond the hand, mm
    #[arg(long, value_name = "MM", help_heading = "Blade and lips")]
    blade_length: Option<f64>,
    /// Least radius that the blade bends round as it is led along a cut, mm
    #[arg(long, value_name = "MM", help_heading = "Blade and lips")]
    bend_radius: Option<f64>,
    /// Least distance of the blade from the model once clear of the lip, mm
    #[arg(long, value_name = "MM", help_heading = "Blade and lips")]
    clearance: Option<f64>,
    /// Length of the first piece of a way in that turns, mm
    #[arg(long, value_name = "MM", help_heading = "Blade and lips")]
    turn_length: Option<f64>,

    /// No cut within radius R mm of a point; may be given again
    #[arg(long, value_name = "X,Y,Z,R", value_parser = ball, allow_hyphen_values = true, help_heading = "Seams")]
    keep_off: Vec<[f64; 4]>,
    /// Cuts cost half within radius R mm of a point; may be given again
    #[arg(long, value_name = "X,Y,Z,R", value_parser = ball, allow_hyphen_values = true, help_heading = "Seams")]
    prefer: Vec<[f64; 4]>,
    /// What a mm of cut costs more, in mm, where rubber would be a feather edge
    #[arg(long, value_name = "WEIGHT", help_heading = "Seams")]
    weak_lip_weight: Option<f64>,
    /// What a mm of cut costs more, in mm, where the knife goes in as deep as it is long
    #[arg(long, value_name = "WEIGHT", help_heading = "Seams")]
    depth_weight: Option<f64>,
    /// What a mm of cut costs more, in mm, where its seam is in full view
    #[arg(long, value_name = "WEIGHT", help_heading = "Seams")]
    seam_weight: Option<f64>,

    /// Judge the cuts of this file, a scheme as in a request file, in place of searching for some
    #[arg(long, value_name = "FILE", help_heading = "Cuts to judge", conflicts_with = "cuts_of")]
    scheme: Option<PathBuf>,
    /// Judge the cuts of an earlier plan.json in place of searching for some
    #[arg(long, value_name = "FILE", help_heading = "Cuts to judge")]
    cuts_of: Option<PathBuf>,

    /// What the release trial, a simulation of the rubber coming off, is for
    #[arg(long, value_enum, help_heading = "Release trial")]
    trial: Option<TrialName>,
    /// Coefficient of friction between rubber and model
    #[arg(long, value_name = "NUMBER", help_heading = "Release trial")]
    friction: Option<f64>,
    /// Tetrahedra at most; by default the time limit decides
    #[arg(long, value_name = "NUMBER", help_heading = "Release trial")]
    trial_elements: Option<u32>,

    /// Time limit, seconds
    #[arg(long, value_name = "S", help_heading = "Search")]
    seconds: Option<f64>,
    /// Stop at this gap, as a fraction, between what the plan's cuts count as and the least that passes the simple check
    /// of girths that plans begin with
    #[arg(long, value_name = "FRACTION", help_heading = "Search")]
    gap: Option<f64>,
    /// Seed of every random choice
    #[arg(long, help_heading = "Search")]
    seed: Option<u64>,
    /// Rounds of each search at most, for the same plan on any machine of a kind
    #[arg(long, help_heading = "Search")]
    rounds: Option<u32>,
    /// Greatest deviation of the working mesh, mm
    #[arg(long, value_name = "MM", help_heading = "Search")]
    deviation: Option<f64>,
    /// Edge length of the planning mesh, mm
    #[arg(long, value_name = "MM", help_heading = "Search")]
    planning_edge: Option<f64>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum MouldName {
    /// Rectangular block
    Box,
    /// Round block
    Cylinder,
    /// Blanket of even thickness in a rigid shell
    Blanket,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum RubberName {
    /// About 15 Shore A
    SoftSilicone,
    /// About 25 Shore A
    MediumSilicone,
    /// About 40 Shore A
    FirmSilicone,
    /// About 30 Shore A
    SoftPolyurethane,
    /// About 50 Shore A
    FirmPolyurethane,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum TrialName {
    /// None is made
    Off,
    /// The plan is tried, and whether it passes is reported
    Judge,
    /// A cut between two sides of the model is shortened as long as the rubber comes off
    Correct,
}

impl From<TrialName> for v1::TrialMode {
    fn from(name: TrialName) -> Self {
        match name {
            TrialName::Off => Self::Off,
            TrialName::Judge => Self::Judge,
            TrialName::Correct => Self::Correct,
        }
    }
}

impl From<RubberName> for v1::RubberClass {
    fn from(name: RubberName) -> Self {
        match name {
            RubberName::SoftSilicone => Self::SoftSilicone,
            RubberName::MediumSilicone => Self::MediumSilicone,
            RubberName::FirmSilicone => Self::FirmSilicone,
            RubberName::SoftPolyurethane => Self::SoftPolyurethane,
            RubberName::FirmPolyurethane => Self::FirmPolyurethane,
        }
    }
}

fn triple(text: &str) -> Result<[f64; 3], String> {
    numbers(text, "give three numbers, such as 0,0,1")
}

fn ball(text: &str) -> Result<[f64; 4], String> {
    numbers(text, "give a point and a radius, such as 10,0,45,8")
}

fn numbers<const N: usize>(text: &str, advice: &str) -> Result<[f64; N], String> {
    let parts: Vec<f64> = text
        .split(',')
        .map(|part| part.trim().parse().map_err(|_| format!("{part:?} is not a number")))
        .collect::<Result<_, _>>()?;
    parts.try_into().map_err(|_| advice.to_owned())
}

impl RequestArgs {
    /// A request file and nothing else.
    pub fn of_file(path: PathBuf) -> Self {
        Self { request: Some(path), ..Self::default() }
    }

    /// The request, checked, and with every value written out.
    pub fn read(&self) -> Result<(PlanRequest, v1::PlanRequest), CliError> {
        let mut message = match &self.request {
            None => v1::PlanRequest::default(),
            Some(path) => {
                from_file(path, "`slitwright request-template` prints a request with every field")?
            }
        };
        self.apply(&mut message)?;
        let request = request_from_proto(&message, "")
            .map_err(|faults| CliError::Input(format!("request: {faults}")))?;
        let full = request_to_proto(&request, named_class(&message));
        Ok((request, full))
    }

    fn apply(&self, message: &mut v1::PlanRequest) -> Result<(), CliError> {
        self.apply_mould(message)?;
        let rubber = message.rubber.get_or_insert_default();
        if let Some(class) = self.rubber {
            rubber.set_class(class.into());
        }
        replace(&mut rubber.shore_a, self.shore);
        replace(&mut rubber.elongation_at_break, self.elongation);
        replace(&mut rubber.working_stretch, self.working_stretch);
        replace(&mut rubber.density_g_cm3, self.density);
        self.apply_gate(message);
        let knife = message.knife.get_or_insert_default();
        replace(&mut knife.hand_force_n, self.hand_force);
        replace(&mut knife.opening_zone_mm, self.opening_zone);
        replace(&mut knife.hinge_width_mm, self.hinge_width);
        replace(&mut knife.entry_price_mm, self.entry_price);
        replace(&mut knife.least_cut_mm, self.least_cut);
        if let Some(path) = &self.scheme {
            let advice = "give {\"cuts\": [{\"line\": {\"points\": [{\"x\": 1, \"y\": 2, \"z\": 3}, ...]}}]}";
            message.scheme = Some(from_file(path, advice)?);
        }
        if let Some(path) = &self.cuts_of {
            let plan: v1::Plan = from_file(path, "give a plan.json that this program wrote")?;
            message.scheme = Some(scheme_of_plan(&plan));
        }
        self.apply_sheets(message);
        self.apply_areas(message);
        let trial = message.trial.get_or_insert_default();
        if let Some(mode) = self.trial {
            trial.set_mode(mode.into());
        }
        replace(&mut trial.friction, self.friction);
        replace(&mut trial.elements, self.trial_elements);
        let budget = message.budget.get_or_insert_default();
        replace(&mut budget.time_limit_seconds, self.seconds);
        replace(&mut budget.target_gap, self.gap);
        replace(&mut budget.seed, self.seed);
        replace(&mut budget.rounds, self.rounds);
        let resolution = message.resolution.get_or_insert_default();
        replace(&mut resolution.deviation_mm, self.deviation);
        replace(&mut resolution.planning_edge_mm, self.planning_edge);
        Ok(())
    }

    fn apply_mould(&self, message: &mut v1::PlanRequest) -> Result<(), CliError> {
        use v1::mould::Shape;
        let given = [self.side, self.top, self.thickness].iter().any(Option::is_some);
        if self.mould.is_none() && !given {
            return Ok(());
        }
        let there = message.mould.and_then(|mould| mould.shape);
        let mut shape = match (self.mould, there) {
            // The same shape again keeps the values of the request file.
            (Some(MouldName::Box), Some(Shape::Box(shape))) => Shape::Box(shape),
            (Some(MouldName::Cylinder), Some(Shape::Cylinder(shape))) => Shape::Cylinder(shape),
            (Some(MouldName::Blanket), Some(Shape::Blanket(shape))) => Shape::Blanket(shape),
            (Some(MouldName::Cylinder), _) => Shape::Cylinder(v1::CylinderMould::default()),
            (Some(MouldName::Blanket), _) => Shape::Blanket(v1::BlanketMould::default()),
            (None, Some(shape)) => shape,
            (Some(MouldName::Box), _) | (None, None) => Shape::Box(v1::BoxMould::default()),
        };
        let misplaced = |flag: &str, with: &str| {
            Err(CliError::Input(format!("{flag} goes with --mould {with}")))
        };
        match &mut shape {
            Shape::Box(v1::BoxMould { side_clearance_mm, top_clearance_mm })
            | Shape::Cylinder(v1::CylinderMould { side_clearance_mm, top_clearance_mm }) => {
                if self.thickness.is_some() {
                    return misplaced("--thickness", "blanket");
                }
                replace(side_clearance_mm, self.side);
                replace(top_clearance_mm, self.top);
            }
            Shape::Blanket(blanket) => {
                if self.side.is_some() || self.top.is_some() {
                    return misplaced("--side or --top", "box or --mould cylinder");
                }
                replace(&mut blanket.thickness_mm, self.thickness);
            }
        }
        message.mould = Some(v1::Mould { shape: Some(shape) });
        Ok(())
    }

    fn apply_sheets(&self, message: &mut v1::PlanRequest) {
        let sheets = message.sheets.get_or_insert_default();
        replace(&mut sheets.station_spacing_mm, self.station_spacing);
        replace(&mut sheets.ruling_spacing_mm, self.ruling_spacing);
        replace(&mut sheets.good_angle_degrees, self.good_angle);
        replace(&mut sheets.acceptable_angle_degrees, self.acceptable_angle);
        replace(&mut sheets.refused_angle_degrees, self.refused_angle);
        replace(&mut sheets.wedge_reach_mm, self.wedge_reach);
        replace(&mut sheets.blade_length_mm, self.blade_length);
        replace(&mut sheets.bend_radius_mm, self.bend_radius);
        replace(&mut sheets.clearance_mm, self.clearance);
        replace(&mut sheets.turn_length_mm, self.turn_length);
        let weights = message.weights.get_or_insert_default();
        replace(&mut weights.weak_lip, self.weak_lip_weight);
        replace(&mut weights.depth, self.depth_weight);
        replace(&mut weights.seam, self.seam_weight);
    }

    /// Areas from the shell come on top of those of the file.
    fn apply_areas(&self, message: &mut v1::PlanRequest) {
        let area = |&[x, y, z, radius_mm]: &[f64; 4]| {
            let ball = v1::BallArea { centre: Some(v1::Point { x, y, z }), radius_mm };
            v1::Area { shape: Some(v1::area::Shape::Ball(ball)) }
        };
        let areas = message.areas.get_or_insert_default();
        areas.keep_off.extend(self.keep_off.iter().map(area));
        let preferred = self.prefer.iter();
        areas.preferred.extend(
            preferred.map(|ball| v1::PreferredArea { area: Some(area(ball)), factor: None }),
        );
    }

    fn apply_gate(&self, message: &mut v1::PlanRequest) {
        use v1::gate::Place;
        let point = |[x, y, z]: [f64; 3]| Some(v1::Point { x, y, z });
        let direction = |[x, y, z]: [f64; 3]| Some(v1::Direction { x, y, z });
        let place = if let Some(up) = self.up {
            Place::LowestFlat(v1::LowestFlatGate { up: direction(up) })
        } else if let (Some(centre), Some(radius_mm)) = (self.gate_centre, self.gate_radius) {
            Place::Patch(v1::PatchGate { centre: point(centre), radius_mm })
        } else if let (Some(at), Some(normal)) = (self.gate_plane, self.gate_normal) {
            Place::Plane(v1::PlaneGate { point: point(at), normal: direction(normal) })
        } else {
            return;
        };
        message.gate = Some(v1::Gate { place: Some(place) });
    }
}

/// A message of the protocol from a file with its JSON.
fn from_file<T: serde::de::DeserializeOwned>(path: &Path, advice: &str) -> Result<T, CliError> {
    let text = std::fs::read_to_string(path)
        .map_err(|error| CliError::Input(format!("{}: {error}", path.display())))?;
    serde_json::from_str(&text)
        .map_err(|error| CliError::Input(format!("{}: {error}; {advice}", path.display())))
}

fn replace<T>(value: &mut Option<T>, new: Option<T>) {
    if new.is_some() {
        *value = new;
    }
}

#[cfg(test)]
mod tests {
    use slitwright_solver::body::MouldShape;

    use super::*;

    #[test]
    fn flags_replace_single_values_of_the_file() {
        let directory = tempfile::tempdir().expect("a directory");
        let file = directory.path().join("request.json");
        std::fs::write(
            &file,
            r#"{"mould": {"cylinder": {"sideClearanceMm": 22}}, "rubber": {"shoreA": 18}}"#,
        )
        .expect("written");
        let args = RequestArgs {
            request: Some(file),
            top: Some(9.0),
            density: Some(1.3),
            ..RequestArgs::default()
        };
        let (request, full) = args.read().expect("valid");
        assert_eq!(
            request.mould,
            MouldShape::Cylinder { side_clearance: 22.0, top_clearance: 9.0 }
        );
        assert_eq!((request.rubber.shore_a, request.rubber.density), (18.0, 1.3));
        assert_eq!(full.rubber.expect("written out").elongation_at_break, Some(3.5));
    }

    #[test]
    fn rules_for_sheets_and_areas_join_those_of_the_file() {
        let directory = tempfile::tempdir().expect("a directory");
        let file = directory.path().join("request.json");
        let text = r#"{"sheets": {"bladeLengthMm": 70, "clearanceMm": 1},
            "areas": {"keepOff": [{"ball": {"centre": {"x": 1}, "radiusMm": 2}}]}}"#;
        std::fs::write(&file, text).expect("written");
        let args = RequestArgs {
            request: Some(file),
            blade_length: Some(90.0),
            keep_off: vec![[0.0, 0.0, 9.0, 3.0]],
            prefer: vec![[5.0, 0.0, 0.0, 1.0]],
            seam_weight: Some(2.0),
            ..RequestArgs::default()
        };
        let (request, full) = args.read().expect("valid");
        assert_eq!((request.sheets.blade_length, request.sheets.clearance), (90.0, 1.0));
        assert_eq!(request.areas.keep_off.len(), 2);
        assert_eq!(request.areas.preferred.len(), 1);
        assert_eq!(full.sheets.expect("written out").turn_length_mm, Some(5.0));
        assert_eq!((request.weights.seam, request.weights.lip), (2.0, 3.0));
    }

    #[test]
    fn a_ball_is_a_point_and_a_radius() {
        assert_eq!(ball("1,-2, 3,4"), Ok([1.0, -2.0, 3.0, 4.0]));
        assert!(ball("1,2,3").is_err() && ball("1,2,3,4,5").is_err() && ball("1,2,3,r").is_err());
    }

    #[test]
    fn a_slip_in_the_file_is_named() {
        let directory = tempfile::tempdir().expect("a directory");
        let file = directory.path().join("request.json");
        std::fs::write(&file, r#"{"rubber": {"shoreB": 18}}"#).expect("written");
        let args = RequestArgs { request: Some(file), ..RequestArgs::default() };
        let text = args.read().expect_err("no such field").to_string();
        assert!(text.contains("shoreB") && text.contains("request-template"), "{text}");
    }

    #[test]
    fn flags_of_another_shape_are_refused() {
        let args = RequestArgs { thickness: Some(5.0), ..RequestArgs::default() };
        assert!(args.read().is_err());
        let args = RequestArgs {
            mould: Some(MouldName::Blanket),
            side: Some(5.0),
            ..RequestArgs::default()
        };
        assert!(args.read().is_err());
    }
}
