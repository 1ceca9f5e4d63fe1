//! What the service tells about itself, and the JSON face of the same messages.

mod service_support;

use service_support::*;
use slitwright_proto::v1;
use slitwright_server::{ServeConfig, SolverPlanner};
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;
use tonic_reflection::pb::v1::ServerReflectionRequest;
use tonic_reflection::pb::v1::server_reflection_client::ServerReflectionClient;
use tonic_reflection::pb::v1::server_reflection_request::MessageRequest;
use tonic_reflection::pb::v1::server_reflection_response::MessageResponse;

#[tokio::test]
async fn health_is_told_for_the_server_and_the_service() {
    let server = TestServer::start(ServeConfig::default(), SolverPlanner).await;
    let mut health = HealthClient::new(server.channel.clone());
    for service in ["", "slitwright.v1.CutPlanner"] {
        let answer = health
            .check(HealthCheckRequest { service: service.to_owned() })
            .await
            .expect("an answer")
            .into_inner();
        assert_eq!(answer.status(), ServingStatus::Serving, "{service:?}");
    }
    drop(health);
    server.stop().await;
}

#[tokio::test]
async fn reflection_lists_the_service_and_hands_out_its_files() {
    let server = TestServer::start(ServeConfig::default(), SolverPlanner).await;
    let ask =
        |message| ServerReflectionRequest { host: String::new(), message_request: Some(message) };
    let mut client = ServerReflectionClient::new(server.channel.clone());
    let mut answers = client
        .server_reflection_info(tokio_stream::iter([
            ask(MessageRequest::ListServices(String::new())),
            ask(MessageRequest::FileContainingSymbol("slitwright.v1.PlanRequest".to_owned())),
        ]))
        .await
        .expect("answers")
        .into_inner();
    let listed = answers.message().await.expect("an answer").and_then(|a| a.message_response);
    let Some(MessageResponse::ListServicesResponse(list)) = listed else {
        panic!("a list of services, not {listed:?}");
    };
    let names: Vec<_> = list.service.iter().map(|service| service.name.as_str()).collect();
    for name in ["slitwright.v1.CutPlanner", "grpc.health.v1.Health"] {
        assert!(names.contains(&name), "{names:?}");
    }
    let file = answers.message().await.expect("an answer").and_then(|a| a.message_response);
    let Some(MessageResponse::FileDescriptorResponse(file)) = file else {
        panic!("a file, not {file:?}");
    };
    assert!(!file.file_descriptor_proto.is_empty());
    drop((answers, client));
    server.stop().await;
}

#[test]
fn json_and_protobuf_say_the_same() {
    let plan = v1::Plan {
        cuts: vec![v1::Cut {
            order: 1,
            kind: v1::CutKind::FromGate.into(),
            branches: vec![v1::Polyline {
                points: vec![
                    v1::Point { x: 0.1 + 0.2, y: -0.0, z: 1e-300 },
                    v1::Point { x: f64::MAX, y: 5e-324, z: 3.0 },
                ],
            }],
            length_mm: 83.25,
            reason: "opens the ring at the neck: \u{2300} 31 mm".to_owned(),
            why: Some(v1::cut::Why::FreesRing(v1::FreesRing {
                ring_length_mm: 98.0,
                girth_mm: 151.0,
                beyond: Some(v1::Point { x: 0.0, y: 0.0, z: 40.0 }),
            })),
            sheets: vec![v1::Sheet {
                stations: vec![v1::Station {
                    depth_mm: 12.5,
                    flags: vec![v1::StationFlag::FeatherEdge.into()],
                    ..Default::default()
                }],
                ..Default::default()
            }],
        }],
        stopped_by: v1::StopReason::TimeLimit.into(),
        figures: Some(v1::Figures { model_triangles: u64::MAX, ..Default::default() }),
        cautions: vec!["Knife: clamp the mould".to_owned()],
        ..Default::default()
    };
    let text = serde_json::to_string(&plan).expect("JSON");
    let back: v1::Plan = serde_json::from_str(&text).expect("the same message");
    assert_eq!(back, plan);
    // Canonical proto3 JSON (protobuf.dev, "ProtoJSON Format"): lowerCamelCase names, enums by
    // name, 64-bit integers as strings.
    let value: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(value["stoppedBy"], "STOP_REASON_TIME_LIMIT");
    assert_eq!(value["figures"]["modelTriangles"], u64::MAX.to_string());
    assert_eq!(value["cuts"][0]["lengthMm"], 83.25);
    let station = &value["cuts"][0]["sheets"][0]["stations"][0];
    assert_eq!(station["flags"][0], "STATION_FLAG_FEATHER_EDGE");
    // The names of the .proto files are read too, as the format asks of a parser.
    let request: v1::PlanRequest =
        serde_json::from_str(r#"{"budget": {"time_limit_seconds": 5, "seed": "7"}}"#)
            .expect("read");
    let budget = request.budget.expect("a budget");
    assert_eq!((budget.time_limit_seconds, budget.seed), (Some(5.0), Some(7)));
}
