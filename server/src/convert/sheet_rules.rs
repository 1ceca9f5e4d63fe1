//! Rules for sheets and areas with a say about cuts, from the protocol's messages to the solver's
//! types and back.

use slitwright_proto::v1;
use slitwright_solver::mesh::Point;
use slitwright_solver::sheets::{Area, CostWeights, SeamAreas, SheetSettings};

use super::geometry::{place, point};
use super::violations::{Collector, join};

/// Factor of a preferred area when none is given. Common practice, no source.
const FACTOR: f64 = 0.5;
/// Lengths beyond this are a slip, mm.
const LONGEST: f64 = 10_000.0;
/// Most areas, and most corners of one and of all of them: a person draws some dozen, and each is asked
/// about at very many places.
const MOST_AREAS: usize = 100;
const MOST_CORNERS: (usize, usize) = (1000, 5000);
/// Beyond this length counts for nothing.
const GREATEST_WEIGHT: f64 = 1_000.0;

pub(super) fn sheet_rules(
    message: Option<&v1::SheetRules>,
    path: &str,
    faults: &mut Collector,
) -> SheetSettings {
    let message = message.copied().unwrap_or_default();
    let default = SheetSettings::default();
    let mut read = |field: &str, value: Option<f64>, default: f64, low, high, unit| {
        faults.number(&join(path, field), value.unwrap_or(default), low, high, unit)
    };
    let mut length =
        |field: &str, value, default, low| read(field, value, default, low, LONGEST, "mm");
    let settings = SheetSettings {
        station_spacing: length(
            "station_spacing_mm",
            message.station_spacing_mm,
            default.station_spacing,
            0.1,
        ),
        ruling_spacing: length(
            "ruling_spacing_mm",
            message.ruling_spacing_mm,
            default.ruling_spacing,
            0.1,
        ),
        wedge_reach: length("wedge_reach_mm", message.wedge_reach_mm, default.wedge_reach, 0.1),
        blade_length: length("blade_length_mm", message.blade_length_mm, default.blade_length, 1.0),
        bend_radius: length("bend_radius_mm", message.bend_radius_mm, default.bend_radius, 0.1),
        clearance: length("clearance_mm", message.clearance_mm, default.clearance, 0.0),
        turn_length: length("turn_length_mm", message.turn_length_mm, default.turn_length, 0.1),
        good_angle: message.good_angle_degrees.unwrap_or(default.good_angle),
        acceptable_angle: message.acceptable_angle_degrees.unwrap_or(default.acceptable_angle),
        refused_angle: message.refused_angle_degrees.unwrap_or(default.refused_angle),
    };
    angles(&settings, path, faults);
    settings
}

/// The angles bound each other: refused below acceptable below good.
fn angles(settings: &SheetSettings, path: &str, faults: &mut Collector) {
    let SheetSettings {
        good_angle: good,
        acceptable_angle: acceptable,
        refused_angle: refused,
        ..
    } = *settings;
    // Comparisons are false for what is not a number.
    if !(refused > 0.0 && refused < 90.0) {
        let words = format!("is {refused}: give a number above 0 and below 90 degrees");
        faults.add(join(path, "refused_angle_degrees"), words);
    }
    if !(acceptable > refused && acceptable < 90.0) {
        let words = format!(
            "is {acceptable}: give a number above refused_angle_degrees ({refused}) and below 90 degrees"
        );
        faults.add(join(path, "acceptable_angle_degrees"), words);
    }
    if !(good > acceptable && good <= 120.0) {
        let words = format!(
            "is {good}: give a number above acceptable_angle_degrees ({acceptable}) and at most 120 \
             degrees"
        );
        faults.add(join(path, "good_angle_degrees"), words);
    }
}

pub(super) fn sheet_rules_to_proto(settings: &SheetSettings) -> v1::SheetRules {
    v1::SheetRules {
        station_spacing_mm: Some(settings.station_spacing),
        ruling_spacing_mm: Some(settings.ruling_spacing),
        good_angle_degrees: Some(settings.good_angle),
        acceptable_angle_degrees: Some(settings.acceptable_angle),
        refused_angle_degrees: Some(settings.refused_angle),
        wedge_reach_mm: Some(settings.wedge_reach),
        blade_length_mm: Some(settings.blade_length),
        bend_radius_mm: Some(settings.bend_radius),
        clearance_mm: Some(settings.clearance),
        turn_length_mm: Some(settings.turn_length),
    }
}

pub(super) fn weights(
    message: Option<&v1::CutWeights>,
    path: &str,
    faults: &mut Collector,
) -> CostWeights {
    let message = message.copied().unwrap_or_default();
    let default = CostWeights::default();
    let mut read = |field: &str, value: Option<f64>, default: f64| {
        faults.number(&join(path, field), value.unwrap_or(default), 0.0, GREATEST_WEIGHT, "")
    };
    CostWeights {
        lip: read("weak_lip", message.weak_lip, default.lip),
        depth: read("depth", message.depth, default.depth),
        seam: read("seam", message.seam, default.seam),
    }
}

pub(super) fn weights_to_proto(weights: &CostWeights) -> v1::CutWeights {
    v1::CutWeights {
        weak_lip: Some(weights.lip),
        depth: Some(weights.depth),
        seam: Some(weights.seam),
    }
}

pub(super) fn seam_areas(
    message: Option<&v1::SeamAreas>,
    path: &str,
    faults: &mut Collector,
) -> SeamAreas {
    let Some(message) = message else { return SeamAreas::default() };
    let mut areas = SeamAreas::default();
    let preferred = message.preferred.iter().filter_map(|preferred| preferred.area.as_ref());
    let corners: usize = message.keep_off.iter().chain(preferred).map(corners_of).sum();
    let count = message.keep_off.len() + message.preferred.len();
    if count > MOST_AREAS || corners > MOST_CORNERS.1 && count > 1 {
        let words = format!(
            "has {count} areas with {corners} corners: give at most {MOST_AREAS} areas with at most {} \
             corners together",
            MOST_CORNERS.1
        );
        faults.add(path, words);
        return areas;
    }
    for (index, message) in message.keep_off.iter().enumerate() {
        areas.keep_off.extend(area(message, &join(path, &format!("keep_off[{index}]")), faults));
    }
    for (index, message) in message.preferred.iter().enumerate() {
        let path = join(path, &format!("preferred[{index}]"));
        let there = match &message.area {
            Some(message) => area(message, &join(&path, "area"), faults),
            None => {
                faults.add(join(&path, "area"), "is missing: give a ball or a polygon");
                None
            }
        };
        let factor = message.factor.unwrap_or(FACTOR);
        if !(factor > 0.0 && factor <= 1.0) {
            let words = format!("is {factor}: give a number above 0 and at most 1");
            faults.add(join(&path, "factor"), words);
        }
        areas.preferred.extend(there.map(|area| (area, factor)));
    }
    areas
}

fn corners_of(area: &v1::Area) -> usize {
    match &area.shape {
        Some(v1::area::Shape::Polygon(polygon)) => polygon.corners.len(),
        _ => 0,
    }
}

/// An area; `None` where its shape is missing or has too many corners.
fn area(message: &v1::Area, path: &str, faults: &mut Collector) -> Option<Area> {
    use v1::area::Shape;
    match &message.shape {
        None => {
            faults.add(path, "has no shape: give one of ball and polygon");
            None
        }
        Some(Shape::Ball(ball)) => Some(Area::Ball {
            centre: place(ball.centre.as_ref(), &join(path, "ball.centre"), faults),
            radius: faults.number(
                &join(path, "ball.radius_mm"),
                ball.radius_mm,
                0.1,
                LONGEST,
                "mm",
            ),
        }),
        Some(Shape::Polygon(polygon)) => {
            let path = join(path, "polygon.corners");
            if polygon.corners.len() < 3 {
                let count = polygon.corners.len();
                faults.add(&path, format!("has {count} corners: give three or more"));
            }
            if polygon.corners.len() > MOST_CORNERS.0 {
                let (count, most) = (polygon.corners.len(), MOST_CORNERS.0);
                faults.add(&path, format!("has {count} corners: give at most {most}"));
                return None;
            }
            let corners = polygon.corners.iter().enumerate();
            let corners: Vec<Point> = corners
                .map(|(index, corner)| place(Some(corner), &format!("{path}[{index}]"), faults))
                .collect();
            Some(Area::Polygon { corners })
        }
    }
}

/// `None` where there are no areas, so that a request without any stays short.
pub(super) fn seam_areas_to_proto(areas: &SeamAreas) -> Option<v1::SeamAreas> {
    if *areas == SeamAreas::default() {
        return None;
    }
    Some(v1::SeamAreas {
        keep_off: areas.keep_off.iter().map(area_to_proto).collect(),
        preferred: areas
            .preferred
            .iter()
            .map(|(area, factor)| v1::PreferredArea {
                area: Some(area_to_proto(area)),
                factor: Some(*factor),
            })
            .collect(),
    })
}

fn area_to_proto(area: &Area) -> v1::Area {
    use v1::area::Shape;
    v1::Area {
        shape: Some(match area {
            Area::Ball { centre, radius } => {
                Shape::Ball(v1::BallArea { centre: Some(point(centre)), radius_mm: *radius })
            }
            Area::Polygon { corners } => {
                Shape::Polygon(v1::PolygonArea { corners: corners.iter().map(point).collect() })
            }
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn p(x: f64, y: f64, z: f64) -> v1::Point {
        v1::Point { x, y, z }
    }

    fn ball(radius_mm: f64) -> v1::Area {
        let ball = v1::BallArea { centre: Some(p(1.0, 2.0, 3.0)), radius_mm };
        v1::Area { shape: Some(v1::area::Shape::Ball(ball)) }
    }

    fn polygon(corners: Vec<v1::Point>) -> v1::Area {
        v1::Area { shape: Some(v1::area::Shape::Polygon(v1::PolygonArea { corners })) }
    }

    #[test]
    fn nothing_given_is_the_solvers_default() {
        let mut faults = Collector::default();
        assert_eq!(sheet_rules(None, "sheets", &mut faults), SheetSettings::default());
        assert_eq!(seam_areas(None, "areas", &mut faults), SeamAreas::default());
        assert!(faults.finish(()).is_ok());
    }

    #[test]
    fn rules_and_areas_come_back_as_they_went() {
        let settings = SheetSettings {
            station_spacing: 7.5,
            ruling_spacing: 1.5,
            good_angle: 80.0,
            acceptable_angle: 50.0,
            refused_angle: 20.0,
            wedge_reach: 4.0,
            blade_length: 60.0,
            bend_radius: 15.0,
            clearance: 1.0,
            turn_length: 6.0,
        };
        let corners = [[0.0, 0.0, 5.0], [9.0, 0.0, 5.0], [0.0, 9.0, 5.0]].map(Point::from).to_vec();
        let areas = SeamAreas {
            keep_off: vec![Area::Polygon { corners }],
            preferred: vec![(Area::Ball { centre: Point::new(1.0, 2.0, 3.0), radius: 4.0 }, 0.25)],
        };
        let mut faults = Collector::default();
        let message = sheet_rules_to_proto(&settings);
        assert_eq!(sheet_rules(Some(&message), "sheets", &mut faults), settings);
        let message = seam_areas_to_proto(&areas).expect("areas");
        assert_eq!(seam_areas(Some(&message), "areas", &mut faults), areas);
        assert!(faults.finish(()).is_ok());
    }

    /// Whatever the solver refuses is refused here already, by the name of its field.
    #[test]
    fn angles_are_held_in_order() {
        let fields = |rules: v1::SheetRules| -> Vec<String> {
            let mut faults = Collector::default();
            let settings = sheet_rules(Some(&rules), "request.sheets", &mut faults);
            let found = faults.finish(()).err();
            assert_eq!(settings.check().is_err(), found.is_some(), "{settings:?}");
            let found = found.iter().flat_map(|f| f.violations()).map(|v| v.field.clone());
            found.collect()
        };
        assert_eq!(fields(v1::SheetRules::default()), [""; 0]);
        let rules = v1::SheetRules { refused_angle_degrees: Some(50.0), ..Default::default() };
        assert_eq!(fields(rules), ["request.sheets.acceptable_angle_degrees"]);
        let rules = v1::SheetRules { good_angle_degrees: Some(121.0), ..Default::default() };
        assert_eq!(fields(rules), ["request.sheets.good_angle_degrees"]);
        let rules = v1::SheetRules { refused_angle_degrees: Some(f64::NAN), ..Default::default() };
        assert_eq!(
            fields(rules),
            ["request.sheets.refused_angle_degrees", "request.sheets.acceptable_angle_degrees"]
        );
        let rules = v1::SheetRules {
            station_spacing_mm: Some(0.0),
            ruling_spacing_mm: Some(f64::INFINITY),
            wedge_reach_mm: Some(-1.0),
            blade_length_mm: Some(f64::NAN),
            bend_radius_mm: Some(0.0),
            clearance_mm: Some(-0.1),
            turn_length_mm: Some(0.0),
            ..Default::default()
        };
        let all = [
            "station_spacing_mm",
            "ruling_spacing_mm",
            "wedge_reach_mm",
            "blade_length_mm",
            "bend_radius_mm",
            "clearance_mm",
            "turn_length_mm",
        ];
        assert_eq!(fields(rules), all.map(|field| format!("request.sheets.{field}")));
    }

    #[test]
    fn faults_of_areas_are_named_one_by_one() {
        let message = v1::SeamAreas {
            keep_off: vec![
                ball(4.0),
                v1::Area { shape: None },
                polygon(vec![p(0.0, 0.0, 0.0), p(f64::NAN, 0.0, 0.0)]),
                ball(0.0),
            ],
            preferred: vec![
                v1::PreferredArea { area: None, factor: None },
                v1::PreferredArea { area: Some(ball(1.0)), factor: Some(0.0) },
                v1::PreferredArea { area: Some(ball(1.0)), factor: Some(1.5) },
            ],
        };
        let mut faults = Collector::default();
        seam_areas(Some(&message), "areas", &mut faults);
        let faults = faults.into_faults();
        let fields: Vec<_> = faults.violations().iter().map(|v| v.field.as_str()).collect();
        assert_eq!(
            fields,
            [
                "areas.keep_off[1]",
                "areas.keep_off[2].polygon.corners",
                "areas.keep_off[2].polygon.corners[1].x",
                "areas.keep_off[3].ball.radius_mm",
                "areas.preferred[0].area",
                "areas.preferred[1].factor",
                "areas.preferred[2].factor",
            ]
        );
    }

    #[test]
    fn a_preferred_area_halves_the_cost_unless_told() {
        let message = v1::SeamAreas {
            preferred: vec![v1::PreferredArea { area: Some(ball(2.0)), factor: None }],
            ..Default::default()
        };
        let mut faults = Collector::default();
        let areas = seam_areas(Some(&message), "areas", &mut faults);
        assert_eq!(areas.factor(&Point::new(1.0, 2.0, 3.0)), 0.5);
        assert!(faults.finish(()).is_ok());
    }
}
