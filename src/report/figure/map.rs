//! All safe regions of a layout about its linkage, so many times as large as they are.

use super::axis::round_step;
use super::cell::{outline, reach};
use super::scene::{Kind, Shape, Stage};
use super::side_view::{View, drawn, linkage_points, name_offsets};
use super::{Figure, px};
use crate::input::Layout;
use crate::report::margins::LayoutMargins;
use crate::report::table::fixed;
use crate::report::traced::Traced;
use maud::html;

/// A region is cut off so far from its point, px.
const LARGEST: f64 = 40.0;

/// Shapes of the linkage that stand behind the regions.
const BEHIND: [&str; 3] = ["link", "shaft", "shock"];

/// How many times larger than the linkage its regions are drawn: a round number, so that the
/// nearest edges of most can be told from their points.
fn magnification(scale: f64, margins: &LayoutMargins) -> f64 {
    let mut sizes: Vec<f64> = margins.regions.iter().map(reach).collect();
    sizes.sort_by(f64::total_cmp);
    let middle = sizes.get(sizes.len() / 2).copied().unwrap_or(1.0);
    round_step(0.8 * LARGEST / (middle * scale)).0.max(1.0)
}

/// What is shown of the linkage, the same of every layout.
pub(crate) fn view(layout: &Layout, stage: &Stage) -> View {
    let axle = layout.bicycle.rear_axle.index();
    // The axle where it is drawn too; where it goes matters here no more than elsewhere.
    let tops = stage.places.iter().filter_map(|moments| moments.first());
    let axles = tops.filter_map(move |places| places.get(axle).copied().flatten());
    View::of(linkage_points(layout, &stage.scene, &stage.places).chain(axles))
}

/// The map of a layout, which is number `index` on the stage.
#[must_use]
pub fn map(
    traced: &Traced,
    (index, stage, view): (usize, &Stage, &View),
    margins: &LayoutMargins,
) -> Figure {
    let times = magnification(view.scale, margins);
    let places = stage.places.get(index).map_or(&[][..], |places| places);
    let top = places.first().map_or(&[][..], |places| &places[..]);
    let names = name_offsets(&stage.scene, view, top);
    let shapes = stage.scene.shapes.iter();
    let behind = shapes.clone().filter(|shape| BEHIND.contains(&shape.class));
    let marked = |shape: &&Shape| match &shape.kind {
        Kind::Mark(place, _) | Kind::Name(place, _) => *place < stage.scene.points,
        _ => false,
    };
    let mechanism = &traced.subject.layout.mechanism;
    let most = LARGEST / (times * view.scale);
    let regions = margins.regions.iter().filter_map(|region| {
        let place = mechanism.point_named(&region.point)?;
        let middle = view.place(mechanism.position(place));
        Some(outline(region, middle, view.scale * times, most))
    });
    let drawing = html! {
        g class="still" { @for shape in behind { (drawn(shape, view, top, &[], &names)) } }
        @for region in regions { (region) }
        @for shape in shapes.filter(marked) { (drawn(shape, view, top, &[], &names)) }
    };
    Figure {
        name: "safe-regions".into(),
        title: format!("Safe regions, {} times as large as the linkage", px(times)),
        caption: format!(
            "The linkage at top, and about each point where it may go in the drawing with the others \
             held and every target met and limit kept: {} times as large, open where they \
             go on beyond {} mm.",
            px(times),
            fixed(most, 1)
        ),
        width: super::side_view::WIDTH,
        height: view.height,
        drawing,
        placed: None,
    }
}
