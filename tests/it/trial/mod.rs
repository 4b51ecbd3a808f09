//! Briefs put together by tests, what their searches find, and whether that is true.
//!
//! - `sampled`: targets and limits read off many positions, by their definitions.

pub mod sampled;

use pivotwright::curves::Suspension;
use pivotwright::design::Assessment;
use pivotwright::input::{
    Axis, Brief, BriefFile, Faults, FreePlace, Layout, ObjectiveSet, PointId, RankBy, Variant, Want,
};
use pivotwright::mechanism::Plan;
use pivotwright::number::Point;
use pivotwright::study::{Control, Ranked, Search, Study};
use serde_json::{Value, json};

/// Rounding allowed on residuals, mm and degrees.
pub const ROUNDING: f64 = 1e-9;

/// The parts of a brief, before they are read.
#[derive(Clone, Debug)]
pub struct Trial {
    pub layout: Value,
    pub targets: Vec<Value>,
    pub free: Value,
    pub shock_sizes: Vec<Value>,
    pub chainring_teeth: Vec<u32>,
    pub per_size: bool,
    pub parts: Value,
    pub limits: Vec<Value>,
    pub starts: u64,
    pub keep: u64,
    pub seed: u64,
}

impl Trial {
    pub fn new(layout: Value, targets: Vec<Value>, free: Value) -> Self {
        Self {
            layout,
            targets,
            free,
            shock_sizes: Vec::new(),
            chainring_teeth: Vec::new(),
            per_size: false,
            parts: json!({}),
            limits: Vec::new(),
            starts: 8,
            keep: 20,
            seed: 1,
        }
    }

    pub fn objectives(&self) -> Value {
        json!({"name": "planted", "targets": self.targets})
    }

    pub fn brief_file(&self) -> Value {
        let mut brief = json!({
            "name": "trial",
            "layout": "trial.layout.json",
            "objectives": ["trial.objectives.json"],
            "free": self.free,
            "limits": self.limits,
            "search": {"starts": self.starts, "keep": self.keep, "seed": self.seed}
        });
        if !self.shock_sizes.is_empty() {
            brief["shock_sizes"] = json!(self.shock_sizes);
        }
        if !self.chainring_teeth.is_empty() {
            brief["chainring_teeth"] = json!(self.chainring_teeth);
        }
        if self.per_size {
            brief["search"]["rank"] = json!("per_size");
        }
        brief["parts"] = self.parts.clone();
        brief
    }

    pub fn read(&self) -> Result<Brief, Faults> {
        let name = "trial.objectives.json";
        let file = BriefFile::from_json("trial.brief.json", &self.brief_file().to_string())?;
        let set = ObjectiveSet::from_json(name, &self.objectives().to_string())?;
        file.resolve(
            crate::linkages::read(&self.layout),
            vec![(name.to_owned(), set)],
        )
    }

    /// Searches and checks everything that was found.
    pub fn search(&self) -> Found {
        let brief = self.read().unwrap_or_else(|faults| panic!("{faults}"));
        search(brief, 2)
    }
}

/// What `read` makes of the moved layout.
pub fn moved<R>(layout: &Layout, read: impl FnOnce(&Suspension) -> R) -> R {
    let plan = Plan::compile("written", &layout.mechanism).unwrap();
    read(&Suspension::new(&plan, "written", layout).unwrap_or_else(|faults| panic!("{faults}")))
}

/// A search that has ended.
#[derive(Debug)]
pub struct Found {
    pub brief: Brief,
    pub study: Study,
}

/// Searches `brief` and checks everything that was found.
pub fn search(brief: Brief, threads: usize) -> Found {
    let search = Search::new(brief.clone(), "trial.layout.json", threads).unwrap();
    let study = search.run(|_| Control::GoOn).unwrap();
    let found = Found { brief, study };
    found.check();
    found
}

impl Found {
    pub fn feasible(&self) -> bool {
        self.study.feasible()
    }

    pub fn layouts(&self) -> impl Iterator<Item = &Layout> {
        self.study.layouts.iter().map(|ranked| &ranked.layout)
    }

    /// Position of a point in every layout.
    pub fn positions(&self, name: &str) -> Vec<Point<f64>> {
        let point = self.brief.layout.mechanism.point_named(name).unwrap();
        self.layouts()
            .map(|layout| layout.mechanism.position(point))
            .collect()
    }

    fn check(&self) {
        let study = &self.study;
        assert_eq!(study.starts, self.brief.search.starts);
        assert_eq!(study.endings.values().sum::<u64>(), study.starts);
        assert!(study.layouts.len() <= self.brief.search.keep);
        for ranked in &study.layouts {
            self.check_layout(ranked);
        }
        self.check_order();
        self.check_distinct();
    }

    /// The layout, read back from its text and moved on its own, is as good as was said.
    fn check_layout(&self, ranked: &Ranked) {
        let layout = Layout::from_json("written", &ranked.layout.to_json()).unwrap();
        assert_eq!(layout, ranked.layout);
        self.check_shock(ranked, &layout);
        let outside = self.check_places(&layout);
        let sets: Vec<&ObjectiveSet> = self.brief.objectives.iter().map(|(_, set)| set).collect();
        moved(&layout, |suspension| {
            let again = Assessment::new(suspension, &sets, &self.brief.limits);
            assert_eq!(again, ranked.assessment);
            assert_eq!(again.score().to_bits(), ranked.score.to_bits());
            assert_close("score", ranked.score, self.score(&again), 1e-12);
            let violation = violation(&again).max(outside / 5.0);
            assert_close("violation", ranked.violation, violation, 1e-9);
            let targets = sets.iter().flat_map(|set| &set.targets);
            for (target, said) in targets.zip(&again.targets) {
                sampled::check_target(suspension, target, said);
            }
            for (limit, said) in self.brief.limits.iter().zip(&again.limits) {
                sampled::check_limit(suspension, limit, said);
            }
            if !ranked.feasible {
                assert!(
                    ranked.violation > 0.0,
                    "a layout without fault that is not feasible"
                );
                assert!(ranked.edge.is_none());
                return;
            }
            assert!(again.feasible() && outside <= ROUNDING);
            assert_eq!(ranked.violation, 0.0);
            let distance = ranked.edge.as_ref().map(|edge| edge.distance);
            assert!(distance.is_none_or(|distance| distance >= 0.0));
        });
    }

    fn check_shock(&self, ranked: &Ranked, layout: &Layout) {
        let size = ranked.size;
        assert!(self.brief.sizes().contains(&size));
        let ring = layout.bicycle.chainring_teeth;
        assert!(self.brief.rings().contains(&ring));
        assert_eq!(layout.mechanism.shock.stroke, size.stroke);
        let [one, other] = layout
            .mechanism
            .shock
            .ends
            .map(|end| layout.mechanism.position(end));
        let length = (one.x - other.x).hypot(one.y - other.y);
        assert_close("shock length", length, size.eye_to_eye, 1e-9);
    }

    /// Every point is where the brief lets it be; gives by how far a constructed shock end
    /// is outside its box, mm.
    fn check_places(&self, layout: &Layout) -> f64 {
        let drawn = &self.brief.layout.mechanism;
        let mut outside = 0.0_f64;
        for index in 0..drawn.points.len() {
            let name = &drawn.points[index].name;
            let id = drawn.point_named(name).unwrap();
            let Some(free) = self.brief.free.iter().find(|free| free.point == id) else {
                assert_eq!(
                    layout.mechanism.position(id),
                    drawn.position(id),
                    "{name} is not free"
                );
                continue;
            };
            let offset = |of: &pivotwright::input::Mechanism| {
                let origin = free
                    .from
                    .map_or(Point::new(0.0, 0.0), |from| of.position(from));
                let place = of.position(id);
                [place.x - origin.x, place.y - origin.y]
            };
            let (now, before) = (offset(&layout.mechanism), offset(drawn));
            match free.place {
                FreePlace::Angle { low, high } => {
                    let angle = now[1].atan2(now[0]).to_degrees();
                    let turns = [-720.0, -360.0, 0.0, 360.0, 720.0];
                    let inside = |turn| (low - 1e-9..=high + 1e-9).contains(&(angle + turn));
                    assert!(turns.into_iter().any(inside), "{name} at {angle} degrees");
                }
                FreePlace::Cartesian { x, y } => {
                    let excess = excess(x, now[0], before[0]).max(excess(y, now[1], before[1]));
                    if self.is_constructed(id) {
                        outside = outside.max(excess);
                    } else {
                        assert!(excess <= ROUNDING, "{name} is {excess} mm outside its box");
                    }
                }
            }
        }
        outside
    }

    fn is_constructed(&self, point: PointId) -> bool {
        self.brief
            .constructed_end()
            .is_some_and(|(end, _)| end == point)
    }

    /// The score by its definition, from the residuals.
    fn score(&self, assessment: &Assessment) -> f64 {
        let targets = self
            .brief
            .objectives
            .iter()
            .flat_map(|(_, set)| &set.targets);
        let (mut sum, mut weights) = (0.0, 0.0);
        for (target, result) in targets.zip(&assessment.targets) {
            let met = result.residual.abs() <= 1.0 + ROUNDING;
            assert_eq!(result.met, met);
            let pass_or_fail = matches!(target.want, Want::Between { .. } | Want::Monotone(_));
            if !(met && pass_or_fail) {
                sum += target.weight * result.residual.powi(2);
            }
            weights += target.weight;
        }
        (sum / weights).sqrt()
    }

    fn check_order(&self) {
        let robustness = |ranked: &Ranked| ranked.edge.as_ref().map_or(0.0, |edge| edge.distance);
        for pair in self.study.layouts.windows(2) {
            let (one, next) = (&pair[0], &pair[1]);
            assert!(one.feasible >= next.feasible);
            if one.feasible != next.feasible {
                continue;
            }
            let key = |ranked: &Ranked| {
                if ranked.feasible {
                    let step = (ranked.score / 0.01).floor();
                    [step, -robustness(ranked), ranked.score]
                } else {
                    [ranked.violation, 0.0, 0.0]
                }
            };
            let sorted = key(one)
                .partial_cmp(&key(next))
                .is_some_and(std::cmp::Ordering::is_lt);
            assert!(sorted || (key(one) == key(next) && one.start < next.start));
        }
    }

    fn check_distinct(&self) {
        let places: Vec<Vec<Point<f64>>> = self
            .layouts()
            .map(|layout| {
                layout
                    .mechanism
                    .points
                    .iter()
                    .map(|point| point.position)
                    .collect()
            })
            .collect();
        let variants: Vec<Variant> = self.study.layouts.iter().map(variant).collect();
        for (index, one) in places.iter().enumerate() {
            for (next, other) in places.iter().enumerate().skip(index + 1) {
                let apart = variants[index] != variants[next];
                if apart && self.brief.search.rank == RankBy::PerSize {
                    continue;
                }
                let farthest = one
                    .iter()
                    .zip(other)
                    .map(|(a, b)| (a.x - b.x).hypot(a.y - b.y))
                    .fold(0.0, f64::max);
                assert!(
                    farthest > self.brief.search.distinct,
                    "{farthest} mm apart are not distinct"
                );
            }
        }
    }
}

/// The shock and chainring of a ranked layout.
pub fn variant(ranked: &Ranked) -> Variant {
    Variant {
        size: ranked.size,
        chainring_teeth: ranked.layout.bicycle.chainring_teeth,
    }
}

/// The violation by its definition; rounding is none.
fn violation(assessment: &Assessment) -> f64 {
    if assessment.feasible() {
        return 0.0;
    }
    let targets = assessment.targets.iter();
    let targets = targets.map(|target| target.residual.abs() - 1.0);
    let limits = assessment.limits.iter().map(|limit| -limit.slack / 5.0);
    targets.chain(limits).fold(0.0, f64::max)
}

fn excess(axis: Axis, now: f64, drawn: f64) -> f64 {
    match axis {
        Axis::Free { low, high } => (low - now).max(now - high).max(0.0),
        Axis::Drawn(_) => (now - drawn).abs(),
    }
}

pub fn assert_close(what: &str, ours: f64, expected: f64, bound: f64) {
    assert!(
        (ours - expected).abs() <= bound,
        "{what}: {ours} is not {expected}"
    );
}
