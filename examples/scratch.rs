use pivotwright::{design::*, input::*, mechanism::Plan, optimise::*};
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
    let brief = load(&std::env::args().nth(1).unwrap());
    let plan = Plan::compile("l", &brief.layout.mechanism).unwrap_or_else(|f| panic!("{f}"));
    let base = DesignProblem::new(&plan, &brief, brief.sizes()[0]);
    let mut meet = base.with_purpose(Purpose::Meet, 0.0);
    let n = meet.bounds().len();
    // derivative check
    let mut feas = 0;
    let mut total = 0;
    let mut evs = 0;
    let mut diffs = 0;
    let mut scores = vec![];
    let mut ends = std::collections::BTreeMap::new();
    let t = Instant::now();
    let mut t_feas = 0.0;
    let mut t_score = 0.0;
    let mut draws = 0;
    let mut k = 0u64;
    while total < 200 {
        // find assembling sample
        let mut u = vec![0.0; n];
        let x = loop {
            draws += 1;
            unit_cube_point(1, k, &mut u);
            k += 1;
            let x: Vec<f64> = meet
                .bounds()
                .iter()
                .zip(&u)
                .map(|(b, u)| b.lower + u * (b.upper - b.lower))
                .collect();
            if meet.margin(&x) > 1e-3 {
                break x;
            }
        };
        total += 1;
        if total == 1 {
            let mut e = Evaluation::default();
            e.resize(&meet);
            let mut d = Derivatives::default();
            d.resize(&meet);
            e.fill(&mut meet, &x).unwrap();
            d.fill(&mut meet, &x).unwrap();
            let mut worst = 0.0f64;
            for i in 0..n {
                let h = 1e-4;
                let mut xp = x.clone();
                xp[i] += h;
                let mut ep = e.clone();
                ep.fill(&mut meet, &xp).unwrap();
                xp[i] -= 2.0 * h;
                let mut em = e.clone();
                em.fill(&mut meet, &xp).unwrap();
                for r in 0..e.rows.len() {
                    let fd = (ep.rows[r] - em.rows[r]) / (2.0 * h);
                    let ad = d.rows[r * n + i];
                    let err = (fd - ad).abs() / (1.0 + ad.abs());
                    if err > worst {
                        worst = err;
                        println!("row {r} var {i} fd {fd} ad {ad}");
                    }
                }
            }
            let reps = 2000;
            let t0 = Instant::now();
            for _ in 0..reps {
                e.fill(&mut meet, &x).unwrap();
            }
            let te = t0.elapsed().as_secs_f64() / reps as f64 * 1e6;
            let t0 = Instant::now();
            for _ in 0..reps {
                d.fill(&mut meet, &x).unwrap();
            }
            let td = t0.elapsed().as_secs_f64() / reps as f64 * 1e6;
            println!(
                "worst derivative error {worst:e}, evaluate {te:.2} us, differentiate {td:.2} us, rows {}",
                e.rows.len()
            );
        }
        let t0 = Instant::now();
        let o = Feasible::new(FeasibleSettings::default()).solve(&mut meet, &x);
        t_feas += t0.elapsed().as_secs_f64();
        evs += o.evaluations;
        diffs += o.differentiations;
        *ends.entry(format!("{:?}", o.stop)).or_insert(0) += 1;
        if o.stop == Stop::Feasible {
            feas += 1;
            let mut sp = base.with_purpose(Purpose::Score, 1e-3);
            let s = sp.with_slacks(&o.x).unwrap();
            let t0 = Instant::now();
            let q = Minimiser::new(MinimiserSettings::default()).solve(&mut sp, &s);
            t_score += t0.elapsed().as_secs_f64();
            scores.push((
                q.objective.sqrt(),
                q.violation,
                q.stop,
                q.evaluations,
                q.differentiations,
            ));
        }
    }
    println!(
        "{feas} of {total} ({draws} draws) evals {evs} diffs {diffs} {ends:?} {:?} feas {t_feas:.3} score {t_score:.3}",
        t.elapsed()
    );
    scores.sort_by(|a, b| a.0.total_cmp(&b.0));
    for s in scores.iter().take(5).chain(scores.iter().rev().take(8)) {
        println!("{s:?}");
    }
    let e: usize = scores.iter().map(|s| s.3).sum();
    println!("mean score evals {}", e as f64 / scores.len().max(1) as f64);
    println!(
        "within 1%: {}",
        scores.iter().filter(|s| s.0 < scores[0].0 * 1.01).count()
    );
}
