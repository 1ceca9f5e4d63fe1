use slitwright_solver::{control::*, girth::*, mesh::*, optimise::{rows::*, search::*, separation::*}};
use std::collections::HashMap;
fn icosphere(r: f64, level: u32) -> TriangleMesh {
    let t = (1.0 + 5f64.sqrt()) / 2.0;
    let mut p: Vec<Point> = [(-1.,t,0.),(1.,t,0.),(-1.,-t,0.),(1.,-t,0.),(0.,-1.,t),(0.,1.,t),(0.,-1.,-t),(0.,1.,-t),(t,0.,-1.),(t,0.,1.),(-t,0.,-1.),(-t,0.,1.)].iter().map(|&(x,y,z)| Point::from(Vector::new(x,y,z).normalize())).collect();
    let mut f: Vec<[u32;3]> = vec![[0,11,5],[0,5,1],[0,1,7],[0,7,10],[0,10,11],[1,5,9],[5,11,4],[11,10,2],[10,7,6],[7,1,8],[3,9,4],[3,4,2],[3,2,6],[3,6,8],[3,8,9],[4,9,5],[2,4,11],[6,2,10],[8,6,7],[9,8,1]];
    for _ in 0..level {
        let mut m: HashMap<(u32,u32),u32> = HashMap::new(); let mut g = vec![];
        for t in &f { let mut e=[0;3]; for k in 0..3 { let (a,b)=(t[k],t[(k+1)%3]); let key=(a.min(b),a.max(b));
            e[k]=*m.entry(key).or_insert_with(||{ let q=Point::from((p[a as usize].coords+p[b as usize].coords).normalize()); p.push(q); p.len() as u32-1}); }
            g.push([t[0],e[0],e[2]]); g.push([t[1],e[1],e[0]]); g.push([t[2],e[2],e[1]]); g.push(e); }
        f=g;
    }
    TriangleMesh { positions: p.into_iter().map(|q| q*r).collect(), faces: f }
}
fn main() {
    let args: Vec<String> = std::env::args().collect();
    let level: u32 = args[1].parse().unwrap();
    let e: f64 = args[2].parse().unwrap();
    let (mesh, gate) = if args.len()>3 && args[3]=="rod" {
        // squash the sphere's lower half into a rod: revolve map
        let m = icosphere(1.0, level);
        (m, vec![])
    } else { let r=50.0; let m=icosphere(r, level); let g: Vec<bool> = m.positions.iter().map(|p| p.z < -r*0.97).collect(); (m,g) };
    let n = mesh.positions.len();
    let t=std::time::Instant::now();
    let graph = PlanningGraph::new(mesh, gate, vec![e; n], &vec![1.0; n]).unwrap();
    println!("graph {} v {} e edge {:.2} {:?}", n, graph.edges.len(), graph.mean_edge(), t.elapsed());
    let sep = Separator::new(&graph, 40, 8);
    println!("sep {} targets {:?}", sep.target_count(), t.elapsed());
    let pool = RowPool::new(graph.edges.len());
    let gatep: f64 = graph.outline(&graph.is_gate).iter().map(|&e| graph.edges[e as usize].reach).sum();
    println!("gate perimeter {:.2} true {:.2}", gatep/(1.0+e), 2.0*std::f64::consts::PI*50.0*(1.0f64-0.97*0.97).sqrt());
    let control = Control::new(Cancel::new(), |p| println!("{:6.2}s r{} rows {} bound {:?} best {:?} {}", p.elapsed_seconds, p.rounds, p.rows, p.lower_bound, p.best_cost, p.message));
    let out = search(&sep, pool, &SearchSettings { entry_price: 6.0, target_gap: 0.02, deadline: 30.0, seed: 1, fixed: vec![] }, &control).unwrap();
    let r=50.0; let p=gatep/(1.0+e);
    println!("best {:.2} bound {:.2} length {:.2} closed {:.2} {:?}", out.cost, out.bound, out.best.length(&graph), (2.0*std::f64::consts::PI*r/(1.0+e)-p)/2.0, out.stopped_by);
    println!("components {:?}", out.best.components(&graph).iter().map(|c| c.len()).collect::<Vec<_>>());
}
