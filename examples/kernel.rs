use pivotwright::{cli::files::load_brief, design::*, mechanism::Plan, optimise::*};
fn main() {
    let brief = load_brief(std::path::Path::new("tests/it/data/reference/a.brief.json")).unwrap();
    let plan = Plan::compile("l", &brief.layout.mechanism).unwrap();
    let mut meet = DesignProblem::new(&plan, &brief, brief.sizes()[0]);
    let mut x = vec![0.0; meet.variables().len()];
    for i in 0.. { unit_cube_point(1, i, &mut x); place(&mut x, meet.bounds(), 1.0); if meet.margin(&x) > 1e-2 { break; } }
    let mut e = Evaluation::default(); e.resize(&meet); let mut d = Derivatives::default(); d.resize(&meet);
    let n: usize = std::env::args().nth(2).unwrap().parse().unwrap();
    let what = std::env::args().nth(1).unwrap();
    for _ in 0..n { if what == "v" { e.fill(&mut meet, &x).unwrap(); } else { d.fill(&mut meet, &x).unwrap(); } }
}
