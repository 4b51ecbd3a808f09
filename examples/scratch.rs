use pivotwright::{input::*, study::*};
use std::time::Instant;
fn load(v: &str) -> Brief {
    let dir = std::path::Path::new(v).parent().unwrap();
    let b = BriefFile::from_json(v, &std::fs::read_to_string(v).unwrap())
        .unwrap_or_else(|f| panic!("{f}"));
    let layout = Layout::from_json(
        "layout",
        &std::fs::read_to_string(dir.join(&b.layout)).unwrap(),
    )
    .unwrap_or_else(|f| panic!("{f}"));
    let objectives = b
        .objectives
        .iter()
        .map(|o| {
            (
                o.clone(),
                ObjectiveSet::from_json(o, &std::fs::read_to_string(dir.join(o)).unwrap())
                    .unwrap_or_else(|f| panic!("{f}")),
            )
        })
        .collect();
    b.resolve(layout, objectives)
        .unwrap_or_else(|f| panic!("{f}"))
}
fn main() {
    let mut brief = load(&std::env::args().nth(1).unwrap());
    if let Some(n) = std::env::args().nth(2) {
        brief.search.starts = n.parse().unwrap();
    }
    let search = Search::new(brief, "layout", 2).unwrap();
    let t = Instant::now();
    let study = search.run(|_| Control::GoOn).unwrap();
    println!(
        "{:?} starts {} evals {} {:?}",
        t.elapsed(),
        study.starts,
        study.evaluations,
        study.endings
    );
    for (i, l) in study.layouts.iter().enumerate() {
        println!(
            "{:2} feasible {} score {:.5} viol {:.4} start {} size {:?} edge {:.3?} key {:.3?}",
            i + 1,
            l.feasible,
            l.score,
            l.violation,
            l.start,
            l.size.stroke,
            l.edge.as_ref().map(|e| (e.distance, e.breaks)),
            l.key
        );
    }
    println!("{:?}", study.blockers);
}
