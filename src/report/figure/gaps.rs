//! How near parts come to each other over the travel, one small chart a limit or close pair.

use super::axis::Axis;
use super::path::Path;
use super::{Figure, px};
use crate::input::{Bound, Brief, Clearance, Part, Place, Relation};
use crate::report::traced::Traced;
use crate::room::{Room, neighbours};
use maud::{Markup, html};
use rayon::prelude::*;
use std::sync::Arc;

/// Width and height of a chart, px.
const SIZE: [f64; 2] = [400.0, 210.0];
/// Room to the left, to the right, above and below the paper, px.
const AROUND: [f64; 4] = [44.0, 16.0, 10.0, 40.0];
/// A pair that no limit is about is close where it comes nearer than this, mm.
const CLOSE: f64 = 10.0;
/// Most charts of pairs that no limit is about.
const MOST: usize = 6;
/// Farther above the smallest value nothing is shown, mm.
const SHOWN: f64 = 40.0;
/// A limit with more to spare than this in every layout has no chart, mm.
const FAR: f64 = 40.0;

/// What a chart is about.
struct Subject {
    clearance: Clearance,
    bound: Option<Bound>,
    /// Where along the travel the bound holds, if not everywhere.
    over: Option<(Place, Place)>,
}

/// The charts of all layouts: limits on parts, then pairs that come close to each other.
#[must_use]
pub fn gaps(traced: &[Traced], brief: Option<&Brief>) -> Vec<Figure> {
    let Some(first) = traced.first() else {
        return Vec::new();
    };
    let limits = brief.map_or(&[][..], |brief| &brief.limits);
    let limited = limits.iter().filter_map(|limit| {
        Some(Subject {
            clearance: limit.clearance()?.clone(),
            bound: Some(limit.bound),
            over: limit.over,
        })
    });
    let mut subjects: Vec<Subject> = limited.collect();
    let told = |one: &Arc<Part>, other: &Arc<Part>| {
        subjects.iter().any(|subject| {
            let mut pairs = subject.clearance.pairs();
            pairs.any(|(a, b)| {
                [(a, b), (b, a)].contains(&(one, other))
                    && subject.clearance.relation == Relation::Apart
            })
        })
    };
    let mut others: Vec<Clearance> = neighbours(first.subject.layout);
    others.retain(|pair| pair.pairs().all(|(one, other)| !told(one, other)));
    let curves = |clearances: &[Clearance]| -> Vec<Vec<Vec<f64>>> {
        let all = traced.par_iter().map(|traced| values(traced, clearances));
        all.collect()
    };
    let near = curves(&others);
    let least = |number: usize| {
        let values = near
            .iter()
            .filter_map(|layout| layout.get(number))
            .flatten();
        values.copied().fold(f64::INFINITY, f64::min)
    };
    let mut close: Vec<(f64, usize)> = (0..others.len()).map(|n| (least(n), n)).collect();
    close.retain(|(least, _)| *least < CLOSE);
    close.sort_by(|one, other| one.0.total_cmp(&other.0));
    subjects.extend(close.into_iter().take(MOST).map(|(_, number)| Subject {
        clearance: others[number].clone(),
        bound: None,
        over: None,
    }));
    let clearances: Vec<Clearance> = subjects.iter().map(|s| s.clearance.clone()).collect();
    let all = curves(&clearances);
    let near = |(number, subject): &(usize, &Subject)| {
        let values = all.iter().filter_map(|layout| layout.get(*number));
        subject.is_near(values.flatten().copied())
    };
    let numbered = subjects.iter().enumerate().filter(near);
    numbered
        .map(|(number, subject)| chart(number, subject, traced, &all))
        .collect()
}

impl Subject {
    /// The travel of the first layout between which the bound holds; none for the whole.
    fn range(&self, traced: &[Traced]) -> Option<[f64; 2]> {
        let (from, to) = self.over.filter(|over| *over != (Place::Top, Place::End))?;
        let subject = traced.first()?.subject;
        Some([from, to].map(|place| subject.at(place).travel))
    }

    /// Whether some of its values leave little to spare.
    fn is_near(&self, mut values: impl Iterator<Item = f64>) -> bool {
        let [low, high] = [
            self.bound.and_then(Bound::low),
            self.bound.and_then(Bound::high),
        ];
        let spare = move |value: f64| {
            let below = low.map_or(f64::INFINITY, |low| value - low);
            let above = high.map_or(f64::INFINITY, |high| high - value);
            below.min(above)
        };
        self.bound.is_none() || values.any(|value| spare(value) < FAR)
    }
}

/// Of each clearance its value at every moment of a layout.
fn values(traced: &Traced, clearances: &[Clearance]) -> Vec<Vec<f64>> {
    let suspension = traced.subject.suspension;
    let room = Room::new(suspension.plan(), suspension.bicycle(), clearances);
    let motion = suspension.motion_in::<f64>();
    let mut corners: Vec<_> = room.blank().collect();
    let mut moving = Vec::new();
    let mut values = vec![Vec::with_capacity(traced.moments.len()); clearances.len()];
    for moment in &traced.moments {
        room.place(&motion, &moment.pose, &mut moving);
        room.values(&moving, |index, place| corners[index] = place);
        for (gap, values) in values.iter_mut().enumerate() {
            values.push(room.closest(gap, &corners).value);
        }
    }
    values
}

/// Where values stand on the paper.
struct Paper {
    across: Axis,
    up: Axis,
}

impl Paper {
    fn x(&self, travel: f64) -> f64 {
        self.across.share(travel) * (SIZE[0] - AROUND[0] - AROUND[1])
    }

    fn y(&self, gap: f64) -> f64 {
        (1.0 - self.up.share(gap)) * (SIZE[1] - AROUND[2] - AROUND[3])
    }

    fn path(&self, pairs: impl Iterator<Item = (f64, f64)>) -> String {
        // Beyond the paper is as good as any place there.
        let y = |gap: f64| self.y(gap).clamp(-99.0, 2.0 * SIZE[1]);
        Path::through(pairs.map(|(travel, gap)| (self.x(travel), y(gap))))
    }
}

fn chart(number: usize, subject: &Subject, traced: &[Traced], all: &[Vec<Vec<f64>>]) -> Figure {
    let lines: Vec<&[f64]> = all
        .iter()
        .map(|layout| layout.get(number).map_or(&[][..], |values| values))
        .collect();
    let bounds = [
        subject.bound.and_then(Bound::low),
        subject.bound.and_then(Bound::high),
    ];
    let values = lines.iter().flat_map(|line| line.iter().copied());
    let least = values.clone().fold(f64::INFINITY, f64::min);
    let up = values.map(|value| value.min(least + SHOWN));
    let up = up.chain(bounds.into_iter().flatten()).chain([0.0]);
    let travel = traced.iter().map(|t| t.subject.suspension.total_travel());
    let paper = Paper {
        across: Axis::covering(travel.chain([0.0]), 10.0, 8.0),
        up: Axis::covering(up, 2.0, 4.0),
    };
    Figure {
        name: format!("clearance-{}", number + 1),
        title: title(&subject.clearance),
        caption: caption(&subject.clearance, bounds),
        width: SIZE[0],
        height: SIZE[1],
        drawing: drawing(&paper, traced, &lines, (bounds, subject.range(traced))),
        placed: None,
    }
}

fn drawing(
    paper: &Paper,
    traced: &[Traced],
    lines: &[&[f64]],
    (bounds, range): ([Option<f64>; 2], Option<[f64; 2]>),
) -> Markup {
    let [left, right, top, bottom] = AROUND;
    let (wide, tall) = (SIZE[0] - left - right, SIZE[1] - top - bottom);
    let floor = top + tall;
    let allowed = bounds.iter().any(Option::is_some).then(|| {
        let y = |gap: Option<f64>, open: f64| gap.map_or(open, |gap| paper.y(gap));
        [y(bounds[1], -4.0), y(bounds[0], tall + 4.0)]
    });
    // The sides of the frame are beyond the paper where the limit is about the whole travel.
    let [from, to] = range.map_or([-4.0, wide + 4.0], |range| range.map(|at| paper.x(at)));
    let scale = format!("0 {:.4}", paper.x(1.0) - paper.x(0.0));
    html! {
        g class="grid" {
            @for tick in paper.up.ticks() {
                @let y = top + paper.y(tick);
                path d={ "M" (px(left)) " " (px(y)) "h" (px(wide)) } {}
                text class="tick upright" x=(px(left - 7.0)) y=(px(y + 4.0)) { (paper.up.label(tick)) }
            }
            @for tick in paper.across.ticks() {
                @let x = left + paper.x(tick);
                path class="mark" d={ "M" (px(x)) " " (px(floor)) "v5" } {}
                text class="tick" x=(px(x)) y=(px(floor + 18.0)) { (paper.across.label(tick)) }
            }
            path class="base" d={ "M" (px(left)) " " (px(floor)) "h" (px(wide)) } {}
            text class="axis" x=(px(left + wide / 2.0)) y=(px(SIZE[1] - 5.0)) { "travel, mm" }
        }
        svg x=(px(left)) y=(px(top)) width=(px(wide)) height=(px(tall)) {
            @if let Some([high, low]) = allowed {
                rect class="wanted" x=(px(from)) y=(px(high)) width=(px(to - from)) height=(px(low - high)) {}
            }
            @for (traced, line) in traced.iter().zip(lines).rev() {
                @let travel = traced.moments.iter().map(|moment| moment.state.travel);
                g class=(if traced.rank == 1 { "layout shown" } else { "layout" }) data-layout=(traced.rank) {
                    path class="curve" d=(paper.path(travel.zip(line.iter().copied()))) {}
                }
            }
            path class="cursor" data-along="x" data-scale=(scale) d={ "M0 0V" (px(tall)) } {}
        }
    }
}

fn names(parts: &[Arc<Part>]) -> String {
    let names: Vec<String> = parts
        .iter()
        .map(|part| part.name.replace('_', " "))
        .collect();
    names.join(" and ")
}

fn title(clearance: &Clearance) -> String {
    let between = match clearance.relation {
        Relation::Apart => "to",
        Relation::Inside => "inside",
    };
    format!(
        "{} {between} {}",
        names(&clearance.first),
        names(&clearance.second)
    )
}

fn caption(clearance: &Clearance, bounds: [Option<f64>; 2]) -> String {
    let what = match clearance.relation {
        Relation::Apart => "Smallest gap, mm",
        Relation::Inside => "Least way to its edge, mm",
    };
    match bounds {
        [Some(low), Some(high)] => format!("{what}; wanted {low} to {high}."),
        [Some(low), None] => format!("{what}; wanted at least {low}."),
        [None, Some(high)] => format!("{what}; wanted at most {high}."),
        [None, None] => format!("{what}; no limit is about it."),
    }
}
