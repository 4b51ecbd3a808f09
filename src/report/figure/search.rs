//! How a search went: the best score over the starts.

use super::axis::Axis;
use super::plot::{HEIGHT, Plot, WIDTH};
use super::{Figure, px};
use crate::study::Milestone;
use maud::html;

/// The best score over the starts, of a search that took `starts`; none where nothing feasible
/// was found.
#[must_use]
pub fn course(milestones: &[Milestone], starts: u64) -> Option<Figure> {
    let steps: Vec<(f64, f64)> = milestones
        .iter()
        .map(|milestone| (milestone.starts as f64, milestone.best))
        .collect();
    let (first, last) = (*steps.first()?, *steps.last()?);
    // A share of a search has taken fewer starts than their numbers tell.
    let starts = (starts as f64).max(last.0);
    let plot = Plot {
        across: Axis::covering([0.0, starts], 1.0, 8.0),
        up: Axis::covering(steps.iter().map(|step| step.1).chain([0.0]), 0.1, 6.0),
    };
    let mut stairs = vec![first];
    for pair in steps.windows(2) {
        stairs.extend([(pair[1].0, pair[0].1), pair[1]]);
    }
    let end = (starts, last.1);
    stairs.push(end);
    let drawing = html! {
        (plot.axes("starts taken", "best score"))
        g class="layout shown" {
            path class="curve" d=(plot.path(&stairs)) {}
            @for step in &steps {
                circle class="step" cx=(px(plot.x(step.0))) cy=(px(plot.y(step.1))) r="3" {}
            }
            text class="end" x=(px(plot.x(end.0) + 6.0)) y=(px(plot.y(end.1) + 4.0)) {
                (format!("{:.3}", end.1))
            }
        }
    };
    Some(Figure {
        name: "course".into(),
        title: "Best score over the starts".into(),
        caption: "Where the stairs have long been level, more starts would hardly find better; \
                  where they still fell at the end, give the search more."
            .into(),
        width: WIDTH,
        height: HEIGHT,
        drawing,
        placed: None,
    })
}
