//! Models over gRPC: sent in chunks, checked, listed; and every kind of bad upload.

mod service_support;

use std::time::Duration;

use service_support::*;
use slitwright_proto::v1;
use slitwright_proto::v1::upload_model_request::Part;
use slitwright_server::{ServeConfig, SolverPlanner, StoreLimits, UploadRules};
use slitwright_tests::box_mesh;
use tonic::Code;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;

async fn server() -> TestServer {
    TestServer::start(ServeConfig::default(), SolverPlanner).await
}

async fn server_with(uploads: UploadRules) -> TestServer {
    TestServer::start(ServeConfig { uploads, ..ServeConfig::default() }, SolverPlanner).await
}

/// After whatever was sent before, the server is healthy and still has its model.
async fn assert_unharmed(server: &mut TestServer, model: &v1::Model) {
    let health = HealthClient::new(server.channel.clone())
        .check(HealthCheckRequest { service: "slitwright.v1.CutPlanner".to_owned() })
        .await
        .expect("an answer")
        .into_inner();
    assert_eq!(health.status(), ServingStatus::Serving);
    let models = server
        .client
        .list_models(v1::ListModelsRequest::default())
        .await
        .expect("a list")
        .into_inner()
        .models;
    assert_eq!(models, std::slice::from_ref(model));
}

#[tokio::test]
async fn a_model_is_the_same_whatever_the_chunks() {
    let mut server = server().await;
    let bytes = plinth();
    let mut reports = Vec::new();
    for chunk in [1, 7, 1000, 1 << 20] {
        let model =
            upload(&mut server.client, header(), &bytes, chunk).await.expect("a sound model");
        assert_eq!(model.size_bytes, bytes.len() as u64);
        assert_eq!(model.display_name, "plinth");
        let got = server
            .client
            .get_model(v1::GetModelRequest { name: model.name.clone() })
            .await
            .expect("found")
            .into_inner();
        assert_eq!(got, model);
        reports.push((model.sha256, model.report.expect("a report")));
    }
    let (_, report) = &reports[0];
    // A box of 40 x 30 x 20 mm: 24 cm3, 52 cm2, closed form.
    assert!((report.volume_cm3 - 24.0).abs() < 1e-9);
    assert!((report.area_cm2 - 52.0).abs() < 1e-9);
    assert_eq!(report.genus, 0);
    assert!(reports.windows(2).all(|pair| pair[0] == pair[1]));
    server.stop().await;
}

/// A box of 40 x 30 x 20 mm stands as it comes; one turned about x by 30 degrees is told how it would.
#[tokio::test]
async fn a_model_comes_back_with_its_poses() {
    let mut server = server().await;
    let bytes = plinth();
    let model = upload(&mut server.client, header(), &bytes, 1000).await.expect("a sound model");
    let poses = model.report.and_then(|report| report.poses).expect("poses");
    assert_eq!(poses.advice(), v1::PoseAdvice::AsGiven);
    assert_eq!((poses.candidates.len(), poses.others, poses.given_candidate), (6, 0, Some(0)));
    assert_eq!(poses.proposed_candidate, None);
    let stance = poses.as_given.expect("how it stands");
    assert_eq!(
        (stance.foot(), stance.wants_base()),
        (v1::FootKind::FlatFace, v1::BaseReason::Unspecified)
    );
    assert!(
        (stance.foot_area_mm2 - 1200.0).abs() < 1e-6 && (stance.covers_mm2 - 1200.0).abs() < 1e-6
    );
    // Half of 30 mm beside, half of 20 mm up, closed form.
    assert!((stance.tipping_degrees - 1.5f64.atan().to_degrees()).abs() < 1e-6);
    let mut turned = box_mesh([40.0, 30.0, 20.0], [1, 1, 1]);
    let (sine, cosine) = 30f64.to_radians().sin_cos();
    for p in &mut turned.positions {
        (p.y, p.z) = (cosine * p.y - sine * p.z, sine * p.y + cosine * p.z);
    }
    let model = upload(&mut server.client, header(), &off(&turned), 1000).await.expect("sound");
    let poses = model.report.and_then(|report| report.poses).expect("poses");
    assert_eq!((poses.advice(), poses.given_candidate), (v1::PoseAdvice::AnotherUp, None));
    let proposed = &poses.candidates[poses.proposed_candidate.expect("one") as usize];
    let up = proposed.stance.as_ref().and_then(|stance| stance.up).expect("up");
    // Of the two large faces the one that is nearer to the board.
    assert!((up.y + sine).abs() < 1e-6 && (up.z - cosine).abs() < 1e-6, "{up:?}");
    assert!(
        poses.words.iter().any(|words| words.contains("give --up 0,-0.5,0.866")),
        "{:?}",
        poses.words
    );
    server.stop().await;
}

#[tokio::test]
async fn the_unit_that_is_given_counts() {
    let mut server = server().await;
    let bytes = off(&box_mesh([4.0, 3.0, 2.0], [1, 1, 1]));
    for (unit, volume) in [
        (v1::LengthUnit::Centimetre, 24.0),
        // 1 inch is 25.4 mm (international yard and pound agreement of 1959).
        (v1::LengthUnit::Inch, 24.0 * 2.54 * 2.54 * 2.54),
    ] {
        let header = v1::UploadHeader { unit: unit.into(), ..header() };
        let model = upload(&mut server.client, header, &bytes, 64).await.expect("a sound model");
        let found = model.report.expect("a report").volume_cm3;
        assert!((found - volume).abs() < 1e-9 * volume, "{found} cm3");
    }
    server.stop().await;
}

#[tokio::test]
async fn every_bad_header_names_its_fields() {
    let mut server = server().await;
    let model = uploaded(&mut server.client).await;
    let cases: Vec<(v1::UploadHeader, &[&str])> = vec![
        (v1::UploadHeader { unit: 0, ..header() }, &["header.unit"]),
        (v1::UploadHeader { format: 0, ..header() }, &["header.format"]),
        (v1::UploadHeader { unit: 99, format: -1, ..header() }, &["header.format", "header.unit"]),
        (v1::UploadHeader { size_bytes: Some(u64::MAX), ..header() }, &["header.size_bytes"]),
        (v1::UploadHeader { size_bytes: Some(3), ..header() }, &["header.size_bytes"]),
        (v1::UploadHeader { size_bytes: Some(1 << 20), ..header() }, &["header.size_bytes"]),
        (v1::UploadHeader { sha256: "12ab".to_owned(), ..header() }, &["header.sha256"]),
        (v1::UploadHeader { sha256: "0".repeat(64), ..header() }, &["header.sha256"]),
        (v1::UploadHeader { display_name: "ä".repeat(121), ..header() }, &["header.display_name"]),
        (
            v1::UploadHeader {
                options: Some(v1::PrepareOptions {
                    deviation_mm: Some(f64::NAN),
                    working_resolution_mm: Some(-1.0),
                    largest_hole_mm: Some(f64::INFINITY),
                    rebuild_deviation_mm: Some(0.0),
                    ..Default::default()
                }),
                ..header()
            },
            &[
                "header.options.deviation_mm",
                "header.options.working_resolution_mm",
                "header.options.largest_hole_mm",
                "header.options.rebuild_deviation_mm",
            ],
        ),
        // A plinth 20 m long: a slip in the unit.
        (v1::UploadHeader { unit: v1::LengthUnit::Metre.into(), ..header() }, &["header.unit"]),
        (v1::UploadHeader { format: v1::MeshFormat::Ply.into(), ..header() }, &["header.format"]),
    ];
    for (header, fields) in cases {
        let shown = format!("{header:?}");
        println!("{shown}");
        assert_invalid(upload(&mut server.client, header, &plinth(), 100).await, fields);
    }
    assert_unharmed(&mut server, &model).await;
    server.stop().await;
}

#[tokio::test]
async fn messages_out_of_order_are_refused() {
    let mut server = server().await;
    let model = uploaded(&mut server.client).await;
    let chunk = || part(Part::Chunk(plinth()));
    let head = || part(Part::Header(header()));
    let cases: Vec<(Vec<v1::UploadModelRequest>, &str)> = vec![
        (vec![], "header"),
        (vec![chunk()], "header"),
        (vec![chunk(), head()], "header"),
        (vec![head(), chunk(), head()], "header"),
        (vec![head()], "chunk"),
        (vec![v1::UploadModelRequest { part: None }], "part"),
        (vec![head(), v1::UploadModelRequest { part: None }], "part"),
        (vec![head(), part(Part::Chunk(vec![0; (1 << 20) + 1]))], "chunk"),
    ];
    for (messages, field) in cases {
        assert_invalid(send(&mut server.client, messages).await, &[field]);
    }
    assert_unharmed(&mut server, &model).await;
    server.stop().await;
}

#[tokio::test]
async fn bad_meshes_are_refused_with_their_faults() {
    let mut server = server().await;
    let model = uploaded(&mut server.client).await;
    let sound = box_mesh([40.0, 30.0, 20.0], [1, 1, 1]);
    let mut two = sound.clone();
    let count = sound.positions.len() as u32;
    two.positions
        .extend(sound.positions.iter().map(|p| p + slitwright_solver::mesh::Vector::x() * 100.0));
    two.faces.extend(sound.faces.iter().map(|face| face.map(|v| v + count)));
    let mut crossing = sound.clone();
    crossing
        .positions
        .extend(sound.positions.iter().map(|p| p + slitwright_solver::mesh::Vector::x() * 20.0));
    crossing.faces = two.faces.clone();
    let mut far = sound.clone();
    far.positions[0].x = f64::NAN;
    let mut missing = sound.clone();
    missing.faces[3][1] = 4_000_000;
    let cases: Vec<(&str, Vec<u8>)> = vec![
        ("garbage", (0..4096u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8).collect()),
        ("no faces", b"OFF\n0 0 0\n".to_vec()),
        ("a count that cannot be", b"OFF\n4000000000 4000000000 0\n0 0 0\n".to_vec()),
        ("cut short", plinth()[..plinth().len() / 2].to_vec()),
        ("two bodies", off(&two)),
        ("crosses itself", off(&crossing)),
        ("not a number", off(&far)),
        ("a vertex that is not there", off(&missing)),
    ];
    let as_is = v1::PrepareOptions { as_is: true, ..Default::default() };
    for (case, bytes) in cases {
        let header = v1::UploadHeader { options: Some(as_is.clone()), ..header() };
        let status = upload(&mut server.client, header, &bytes, 1000).await.expect_err(case);
        let (code, fields) = fields(&status);
        assert_eq!(code, Code::InvalidArgument, "{case}: {status:?}");
        assert!(
            !fields.is_empty() && fields.iter().all(|field| field == "chunk"),
            "{case}: {status:?}"
        );
    }
    // The same garbage under every other format's name.
    let garbage: Vec<u8> =
        (0..100_000u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
    for format in [
        v1::MeshFormat::Stl,
        v1::MeshFormat::Obj,
        v1::MeshFormat::Ply,
        v1::MeshFormat::Off,
        v1::MeshFormat::ThreeMf,
        v1::MeshFormat::Gltf,
    ] {
        let header = v1::UploadHeader { format: format.into(), ..header() };
        let status =
            upload(&mut server.client, header, &garbage, 1 << 16).await.expect_err("garbage");
        assert_eq!(status.code(), Code::InvalidArgument, "{format:?}: {status:?}");
    }
    assert_unharmed(&mut server, &model).await;
    // What crosses itself is mended unless it is to stay as it is: together the two are 60 x 30 x 20 mm.
    let mended = upload(&mut server.client, header(), &off(&crossing), 1000).await;
    let report = mended.expect("mended").report.expect("a report");
    assert!((report.volume_cm3 / 36.0 - 1.0).abs() < 5e-3, "{} cm3", report.volume_cm3);
    assert!(report.repairs[0].starts_with("rebuilt: "), "{:?}", report.repairs);
    server.stop().await;
}

#[tokio::test]
async fn over_the_limits_is_resource_exhausted() {
    let rules =
        UploadRules { most_bytes: 4000, most_triangles: 110, at_once: 1, ..UploadRules::default() };
    let mut server = server_with(rules).await;
    let model = uploaded(&mut server.client).await;
    let many_bytes = vec![b' '; 4001];
    let status =
        upload(&mut server.client, header(), &many_bytes, 500).await.expect_err("too long");
    assert_eq!(status.code(), Code::ResourceExhausted, "{status:?}");
    // 192 triangles in under 4,000 bytes.
    let fine = off(&box_mesh([8.0, 8.0, 8.0], [4, 4, 4]));
    assert!(fine.len() <= 4000, "{} bytes", fine.len());
    let status = upload(&mut server.client, header(), &fine, 500).await.expect_err("too fine");
    assert_eq!(status.code(), Code::ResourceExhausted, "{status:?}");
    assert_unharmed(&mut server, &model).await;
    server.stop().await;
}

#[tokio::test]
async fn one_upload_too_many_is_refused_until_a_place_is_free() {
    let rules = UploadRules { at_once: 1, ..UploadRules::default() };
    let mut server = server_with(rules).await;
    // Two uploads that stay open: whichever comes second is refused.
    let open = || {
        let (messages, received) = tokio::sync::mpsc::channel(4);
        let mut client = server.client.clone();
        let upload = async move {
            client.upload_model(tokio_stream::wrappers::ReceiverStream::new(received)).await
        };
        (messages, Box::pin(upload))
    };
    let (one_messages, mut one) = open();
    let (other_messages, mut other) = open();
    for messages in [&one_messages, &other_messages] {
        messages.send(part(Part::Header(header()))).await.expect("there is room for a message");
    }
    let (refused, messages, left) = tokio::select! {
        refused = &mut one => (refused, other_messages, other),
        refused = &mut other => (refused, one_messages, one),
    };
    let refused = refused.expect_err("there is one place");
    assert_eq!(refused.code(), Code::ResourceExhausted, "{refused:?}");
    messages.send(part(Part::Chunk(plinth()))).await.expect("the other is still open");
    drop(messages);
    left.await.expect("the other has its place to the end");
    uploaded(&mut server.client).await;
    server.stop().await;
}

#[tokio::test]
async fn a_silent_upload_is_dropped() {
    let rules =
        UploadRules { at_once: 1, idle: Duration::from_millis(1), ..UploadRules::default() };
    let server = server_with(rules).await;
    let mut client = server.client.clone();
    let silent = client.upload_model(tokio_stream::pending()).await.expect_err("dropped");
    assert_eq!(silent.code(), Code::DeadlineExceeded);
    server.stop().await;
}

#[tokio::test]
async fn a_full_store_takes_no_more_until_a_model_goes() {
    let store = StoreLimits { models: 1, ..StoreLimits::default() };
    let mut server =
        TestServer::start(ServeConfig { store, ..ServeConfig::default() }, SolverPlanner).await;
    let model = uploaded(&mut server.client).await;
    let status = upload(&mut server.client, header(), &plinth(), 100).await.expect_err("full");
    assert_eq!(status.code(), Code::ResourceExhausted);
    assert_unharmed(&mut server, &model).await;
    server
        .client
        .delete_model(v1::DeleteModelRequest { name: model.name })
        .await
        .expect("forgotten");
    uploaded(&mut server.client).await;
    server.stop().await;
}

#[tokio::test]
async fn models_are_listed_in_pages() {
    let mut server = server().await;
    let mut names = Vec::new();
    for _ in 0..3 {
        names.push(uploaded(&mut server.client).await.name);
    }
    let mut listed = Vec::new();
    let mut page_token = String::new();
    loop {
        let page = server
            .client
            .list_models(v1::ListModelsRequest { page_size: 2, page_token })
            .await
            .expect("a page")
            .into_inner();
        listed.extend(page.models.into_iter().map(|model| model.name));
        page_token = page.next_page_token;
        if page_token.is_empty() {
            break;
        }
    }
    assert_eq!(listed, names);
    server.stop().await;
}

#[tokio::test]
async fn a_message_beyond_four_mebibytes_is_refused_by_the_transport() {
    let mut server = server().await;
    let model = uploaded(&mut server.client).await;
    let huge = v1::GetModelRequest { name: "x".repeat(5 << 20) };
    let status = server.client.get_model(huge).await.expect_err("too long");
    assert_eq!(status.code(), Code::OutOfRange, "tonic's code for a message beyond its limit");
    assert_unharmed(&mut server, &model).await;
    server.stop().await;
}
