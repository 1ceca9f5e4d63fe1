//! The binary as a person at the shell meets it: what it prints, what it leaves, how it ends.

use std::path::Path;
use std::process::{Command, Output};

use slitwright_proto::v1;

/// A closed box of 40 x 30 x 20 mm.
const PLINTH: &str = "OFF\n8 12 0\n0 0 0\n40 0 0\n40 30 0\n0 30 0\n0 0 20\n40 0 20\n40 30 20\n0 30 20\n\
3 0 2 1\n3 0 3 2\n3 4 5 6\n3 4 6 7\n3 0 1 5\n3 0 5 4\n3 1 2 6\n3 1 6 5\n3 2 3 7\n3 2 7 6\n3 3 0 4\n3 3 4 7\n";

fn slitwright(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_slitwright"))
        .current_dir(folder)
        .args(args)
        .output()
        .expect("the binary runs")
}

fn folder_with_plinth() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("plinth.off"), PLINTH).expect("written");
    folder
}

#[test]
fn plan_leaves_a_summary_a_plan_and_pictures() {
    let folder = folder_with_plinth();
    let ran = slitwright(
        folder.path(),
        &["plan", "plinth.off", "--unit", "mm", "--out", "out", "--seconds", "20"],
    );
    let (stdout, stderr) =
        (String::from_utf8_lossy(&ran.stdout), String::from_utf8_lossy(&ran.stderr));
    assert_eq!(ran.status.code(), Some(0), "{stderr}");
    // A box on its widest section needs no cut: it leaves through the gate.
    assert!(stdout.starts_with("No cut needed"), "{stdout}");
    assert!(stdout.contains("licensed practice"), "the cautions end the summary");
    let out = folder.path().join("out");
    let read = |name: &str| std::fs::read_to_string(out.join(name)).expect(name);
    assert_eq!(
        read("plan.txt"),
        stdout,
        "the page of words, cautions and all, goes with the pictures"
    );
    let plan: v1::Plan = serde_json::from_str(&read("plan.json")).expect("a plan");
    assert!(plan.cuts.is_empty() && plan.rubber_volume_cm3 > 0.0);
    let request: v1::PlanRequest = serde_json::from_str(&read("request.json")).expect("a request");
    assert_eq!(request.budget.and_then(|budget| budget.time_limit_seconds), Some(20.0));
    assert_eq!(plan.trial.expect("tried").outcome(), v1::TrialOutcome::Released);
    for name in ["front.png", "top.png", "overview.png", "way-out.png"] {
        let picture = std::fs::read(out.join(name)).expect(name);
        assert!(picture.starts_with(b"\x89PNG"), "{name}");
    }
    for name in ["plan.glb", "way-out.glb"] {
        assert!(std::fs::read(out.join(name)).expect(name).starts_with(b"glTF"), "{name}");
    }
    for name in ["plan.pdf", "template.pdf"] {
        assert!(std::fs::read(out.join(name)).expect(name).starts_with(b"%PDF-"), "{name}");
    }
    assert!(read("plan.html").contains("Put the knife down before you pull at the rubber."));
    assert!(read("template.svg").contains("no cut from outside"));
    assert!(!out.join("sections.png").exists(), "nothing is cut");
    let pour = plan.advice.and_then(|advice| advice.pour).expect("advice on the pour");
    // It stands on 40 x 30 mm, closed form.
    assert!(pour.serves && (pour.area_mm2 - 1200.0).abs() < 1e-6, "{pour:?}");
    for page in ["plan.txt", "plan.html"] {
        assert!(read(page).contains("Before you pour"), "{page}");
    }
    assert!(request.sheets.is_some_and(|sheets| sheets.blade_length_mm == Some(120.0)));
}

#[test]
fn the_template_is_a_request_and_the_plan_can_go_down_a_pipe() {
    let folder = folder_with_plinth();
    let template = slitwright(folder.path(), &["request-template"]);
    assert_eq!(template.status.code(), Some(0));
    std::fs::write(folder.path().join("request.json"), &template.stdout).expect("written");
    let args = ["plan", "plinth.off", "--unit", "mm", "--request", "request.json", "--json"];
    let ran = slitwright(folder.path(), &args);
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
    let plan: v1::Plan = serde_json::from_slice(&ran.stdout).expect("stdout is a plan");
    assert!(!plan.cautions.is_empty());
}

/// The same piece in two moulds, and the cuts of an earlier plan judged.
#[test]
fn plans_are_compared_and_earlier_cuts_judged() {
    let folder = folder_with_plinth();
    let write = |name: &str, text: &str| {
        std::fs::write(folder.path().join(name), text).expect("written");
    };
    write("block.json", r#"{"trial": {"mode": "TRIAL_MODE_OFF"}}"#);
    write(
        "skin.json",
        r#"{"mould": {"blanket": {"thicknessMm": 6}}, "trial": {"mode": "TRIAL_MODE_OFF"}}"#,
    );
    let args = "compare plinth.off --unit mm --requests block.json skin.json --out side";
    let ran = slitwright(folder.path(), &args.split(' ').collect::<Vec<_>>());
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
    let table = String::from_utf8_lossy(&ran.stdout);
    assert!(table.contains("block") && table.contains("skin"), "{table}");
    let side = folder.path().join("side");
    assert!(std::fs::read(side.join("comparison.png")).expect("drawn").starts_with(b"\x89PNG"));
    assert!(side.join("skin").join("plan.json").exists());
    assert!(side.join("skin").join("plan.txt").exists());

    let args = "plan plinth.off --unit mm --cuts-of side/block/plan.json --trial off --json";
    let ran = slitwright(folder.path(), &args.split(' ').collect::<Vec<_>>());
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
    let plan: v1::Plan = serde_json::from_slice(&ran.stdout).expect("stdout is a plan");
    assert_eq!(plan.stopped_by(), v1::StopReason::Judged);
    assert!(plan.misses.is_empty(), "{:?}", plan.misses);
}

#[test]
fn check_tells_sizes_in_words_and_in_json() {
    let folder = folder_with_plinth();
    let ran = slitwright(folder.path(), &["check", "plinth.off", "--unit", "mm"]);
    assert_eq!(ran.status.code(), Some(0));
    assert!(String::from_utf8_lossy(&ran.stdout).contains("40.0 x 30.0 x 20.0 mm"));
    let ran = slitwright(folder.path(), &["check", "plinth.off", "--unit", "cm", "--json"]);
    let report: v1::MeshReport = serde_json::from_slice(&ran.stdout).expect("a report");
    assert!((report.volume_cm3 - 24_000.0).abs() < 1e-6, "{} cm3", report.volume_cm3);
}

/// The plinth stands as it comes. Turned by 30 degrees it has no flat face to stand on, and is told how it would.
#[test]
fn check_tells_how_a_model_stands_and_draws_it() {
    let folder = folder_with_plinth();
    let ran = slitwright(folder.path(), &["check", "plinth.off", "--unit", "mm", "--out", "seen"]);
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
    let text = String::from_utf8_lossy(&ran.stdout);
    for words in [
        "as in the file, up 0,0,1: one flat face, 1200 mm^2, tips at 56 degrees",
        "a plan that is given no base opening takes it so",
        "1. 27 %: up 0,0,1",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    let picture = std::fs::read(folder.path().join("seen").join("poses.png")).expect("drawn");
    assert!(picture.starts_with(b"\x89PNG"));
    let (sine, cosine) = 30f64.to_radians().sin_cos();
    // Its eight corners are lines 3 to 10.
    let turned = PLINTH.lines().enumerate().map(|(number, line)| {
        let parts: Vec<f64> = line.split_whitespace().filter_map(|x| x.parse().ok()).collect();
        match parts[..] {
            [x, y, z] if (2..10).contains(&number) => {
                format!("{x} {} {}", cosine * y - sine * z, sine * y + cosine * z)
            }
            _ => line.to_owned(),
        }
    });
    let turned: Vec<String> = turned.collect();
    std::fs::write(folder.path().join("turned.off"), turned.join("\n")).expect("written");
    let ran = slitwright(folder.path(), &["check", "turned.off", "--unit", "mm"]);
    let text = String::from_utf8_lossy(&ran.stdout);
    assert!(text.contains("give --up 0,-0.5,0.866"), "{text}");
    // A plan without a gate says the same; with that up it goes on.
    let ran = slitwright(folder.path(), &["plan", "turned.off", "--unit", "mm", "--trial", "off"]);
    let told = String::from_utf8_lossy(&ran.stderr);
    assert_eq!(ran.status.code(), Some(2), "{told}");
    assert!(told.contains("it stands on a flat face with up 0,-0.5,0.866"), "{told}");
    let args = "plan turned.off --unit mm --trial off --up 0,-0.5,0.866";
    let ran = slitwright(folder.path(), &args.split(' ').collect::<Vec<_>>());
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
}

/// Two plinths that overlap by a quarter of their length: 24 + 24 - 6 cm^3 together.
#[test]
fn check_rebuilds_what_overlaps_and_tells_it_unless_it_is_to_stay() {
    let folder = folder_with_plinth();
    let lines: Vec<&str> = PLINTH.lines().collect();
    let (corners, faces) = (&lines[2..10], &lines[10..]);
    let mut text = "OFF\n16 24 0\n".to_owned();
    for shift in [0.0, 30.0] {
        for corner in corners {
            let numbers: Vec<f64> =
                corner.split_whitespace().map(|w| w.parse().expect("a number")).collect();
            text += &format!("{} {} {}\n", numbers[0] + shift, numbers[1], numbers[2]);
        }
    }
    for first in [0, 8] {
        for face in faces {
            let numbers: Vec<u32> =
                face.split_whitespace().map(|w| w.parse().expect("a number")).collect();
            text += &format!(
                "3 {} {} {}\n",
                numbers[1] + first,
                numbers[2] + first,
                numbers[3] + first
            );
        }
    }
    std::fs::write(folder.path().join("two.off"), text).expect("written");
    let ran = slitwright(folder.path(), &["check", "two.off", "--unit", "mm", "--json"]);
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
    let report: v1::MeshReport = serde_json::from_slice(&ran.stdout).expect("a report");
    assert!((report.volume_cm3 / 42.0 - 1.0).abs() < 5e-3, "{} cm3", report.volume_cm3);
    assert!(report.repairs[0].starts_with("rebuilt: "), "{:?}", report.repairs);
    let ran = slitwright(folder.path(), &["check", "two.off", "--unit", "mm", "--as-is"]);
    assert_eq!(ran.status.code(), Some(2));
    let stderr = String::from_utf8_lossy(&ran.stderr);
    assert!(stderr.contains("2 separate bodies"), "{stderr}");
    let ran = slitwright(folder.path(), &["check", "two.off", "--unit", "mm", "--fill-holes", "0"]);
    assert_eq!(ran.status.code(), Some(2));
    let stderr = String::from_utf8_lossy(&ran.stderr);
    assert!(stderr.contains("largest hole"), "{stderr}");
}

#[test]
fn bad_input_ends_with_2_and_says_what_and_where() {
    let folder = folder_with_plinth();
    let write = |name: &str, text: &str| {
        std::fs::write(folder.path().join(name), text).expect("written");
    };
    write("open.off", &PLINTH.replace("8 12 0", "8 11 0").replace("3 3 4 7\n", ""));
    write("plinth.xyz", PLINTH);
    write("bad.json", r#"{"mould": {"box": {"sideClearanceMm": -4}}}"#);
    write("typo.json", r#"{"mold": {}}"#);
    let plan = |more: &[&'static str]| {
        let mut args = vec!["plan", "plinth.off", "--unit", "mm"];
        args.extend(more);
        args
    };
    let cases: Vec<(Vec<&str>, &str)> = vec![
        (vec!["plan", "missing.off", "--unit", "mm"], "missing.off"),
        (vec!["plan", "plinth.off"], "unit"),
        (vec!["plan", "plinth.off", "--unit", "m"], "wrong units"),
        (vec!["plan", "plinth.xyz", "--unit", "mm"], "plinth.xyz"),
        (vec!["check", "plinth.off", "--unit", "mm", "--format", "stl"], "OFF"),
        (vec!["plan", "plinth.off", "--unit", "furlong"], "furlong"),
        (plan(&["--request", "bad.json"]), "mould.box.side_clearance_mm"),
        (plan(&["--request", "typo.json"]), "mold"),
        (plan(&["--shore", "500"]), "rubber.shore_a"),
        (plan(&["--thickness", "5"]), "--thickness"),
        (plan(&["--up", "0,0"]), "three numbers"),
    ];
    for (args, words) in cases {
        let ran = slitwright(folder.path(), &args);
        let stderr = String::from_utf8_lossy(&ran.stderr);
        assert_eq!(ran.status.code(), Some(2), "{args:?}: {stderr}");
        assert!(stderr.contains(words), "{args:?}: {stderr}");
        assert!(ran.stdout.is_empty(), "{args:?}: nothing on stdout");
    }
}

#[test]
fn a_token_that_nobody_could_use_is_not_made() {
    let folder = tempfile::tempdir().expect("a folder");
    let add = ["token", "add", "--tokens", "tokens.toml", "--name", "old", "--expires"];
    for past in ["2020-01-31", "2020-01-31T18:00:00Z"] {
        let ran = slitwright(folder.path(), &[&add[..], &[past]].concat());
        assert_eq!(ran.status.code(), Some(2));
        let stderr = String::from_utf8_lossy(&ran.stderr);
        assert!(stderr.contains("--expires") && stderr.contains("past"), "{stderr}");
        assert!(!folder.path().join("tokens.toml").exists());
    }
    let ran = slitwright(folder.path(), &[&add[..], &["2999-01-31"]].concat());
    assert_eq!(ran.status.code(), Some(0));
}

/// A box in two colours by a material file beside it, with a lid that is missing: its colours are on the pictures, and the
/// lid on one of repairs. Without the material file that is told.
#[test]
fn materials_beside_a_model_and_repairs_are_drawn() {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| {
        std::fs::write(folder.path().join(name), text).expect("written");
    };
    // The plinth's eight corners; all sides but one.
    write(
        "box.obj",
        "mtllib box.mtl\nv 0 0 0\nv 40 0 0\nv 0 30 0\nv 40 30 0\nv 0 0 20\nv 40 0 20\nv 0 30 20\nv 40 30 20\nusemtl wine\nf 1 3 4 2\nf 1 2 6 5\nf 3 7 8 4\nusemtl ink\nf 1 5 7 3\nf 2 4 8 6\n",
    );
    let check = || slitwright(folder.path(), &["check", "box.obj", "--unit", "mm", "--out", "out"]);
    let ran = check();
    let told = String::from_utf8_lossy(&ran.stdout).into_owned();
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
    assert!(told.contains("\"box.mtl\"") && told.contains("not beside the model"), "{told}");
    assert!(told.contains("capped a flat opening"), "{told}");
    let out = folder.path().join("out");
    let read = |name: &str| std::fs::read(out.join(name)).expect(name);
    let (poses, repairs) = (read("poses.png"), read("repairs.png"));
    assert!(repairs.starts_with(b"\x89PNG"));
    write("box.mtl", "newmtl wine\nKd 0.8 0 0\nnewmtl ink\nKd 0 0 0.8\n");
    let told = String::from_utf8_lossy(&check().stdout).into_owned();
    assert!(!told.contains("box.mtl"), "{told}");
    assert!(read("poses.png") != poses && read("repairs.png") != repairs, "in colours");
}

/// Nothing was mended: no picture of it.
#[test]
fn a_sound_model_has_no_picture_of_repairs() {
    let folder = folder_with_plinth();
    let args = ["check", "plinth.off", "--unit", "mm", "--out", "out"];
    assert_eq!(slitwright(folder.path(), &args).status.code(), Some(0));
    let out = folder.path().join("out");
    assert!(out.join("poses.png").exists() && !out.join("repairs.png").exists());
}
