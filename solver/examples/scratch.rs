use slitwright_solver::{body::*, control::*, mesh::*, outputs::*, plan::*};
fn main() {
    let args: Vec<String> = std::env::args().collect();
    let bytes = std::fs::read(&args[1]).unwrap();
    let mut request = PlanRequest::default();
    let mut up = Vector::z();
    let mut scale = None;
    for a in &args[2..] {
        let (k, v) = a.split_once('=').unwrap();
        let f = || v.parse::<f64>().unwrap();
        match k {
            "up" => {
                up = match v {
                    "y" => Vector::y(),
                    "-y" => -Vector::y(),
                    "x" => Vector::x(),
                    "-z" => -Vector::z(),
                    _ => Vector::z(),
                }
            }
            "t" => request.budget.seconds = f(),
            "gap" => request.budget.target_gap = f(),
            "scale" => scale = Some(f()),
            "blanket" => request.mould = MouldShape::Blanket { thickness: f() },
            "edge" => request.resolution.planning_edge = Some(f()),
            "shore" => request.rubber.shore_a = f(),
            _ => panic!(),
        }
    }
    request.gate = GateChoice::LowestFlat { up };
    let format = MeshFormat::from_file_name(&args[1]).unwrap();
    let t = std::time::Instant::now();
    let mut mesh = read(&bytes, format, Some(LengthUnit::Metre), &ReadLimits::default())
        .or_else(|_| read(&bytes, format, Some(LengthUnit::Millimetre), &ReadLimits::default()))
        .or_else(|_| read(&bytes, format, Some(LengthUnit::Inch), &ReadLimits::default()))
        .unwrap();
    if let Some(s) = scale {
        let k = s / mesh.longest_side();
        for p in &mut mesh.positions {
            *p *= k;
        }
    }
    let model =
        prepare_mesh(mesh, &PrepareOptions { accept_self_crossing: true, ..Default::default() })
            .unwrap();
    println!("prepared {:?} faces {}", t.elapsed(), model.original.faces.len());
    let control = Control::new(Cancel::new(), |p| {
        println!(
            "{:6.2}s {:?} r{} rows {} bound {:.2?} best {:.2?} {}",
            p.elapsed_seconds, p.stage, p.rounds, p.rows, p.lower_bound, p.best_cost, p.message
        )
    });
    let plan = make_plan(&model, &request, &control).unwrap();
    println!("{}", summary(&plan));
    println!("{:?}", plan.figures);
    for p in
        pictures::draw_plan(&model.original, &plan, &pictures::PictureStyle::default()).unwrap()
    {
        if p.name == "sheet" || p.name == "three-quarter" {
            std::fs::write(format!("/tmp/out-{}.png", p.name), p.png).unwrap();
        }
    }
}
