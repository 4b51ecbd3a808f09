//! The safe region of one point by itself, enlarged, with a scale in mm.

use super::axis::round_step;
use super::path::Path;
use super::px;
use crate::number::{Point, Vector};
use crate::report::margins::SafeRegion;
use crate::report::table::fixed;
use crate::study::sensitivity::unit;
use maud::{Markup, html};

/// Width and height of what is shown, px.
const SIZE: f64 = 220.0;

/// Room below it for the scale, px.
const BELOW: f64 = 24.0;

/// Numbers stand so far inside the frame at least, px.
const INSIDE: f64 = 12.0;

/// Two numbers do not stand nearer to each other, px.
const APART: f64 = 17.0;

/// Half of what is shown across, mm: so much that the nearest edge can be told from the middle,
/// even where the region is long.
pub(super) fn reach(region: &SafeRegion) -> f64 {
    let mut distances: Vec<f64> = region.outline.iter().map(|exit| exit.0).collect();
    distances.sort_by(f64::total_cmp);
    let middle = distances.get(distances.len() / 2).copied().unwrap_or(1.0);
    let wanted = (8.0 * region.nearest.distance).clamp(middle / 4.0, 1.3 * middle);
    round_step(wanted.max(1e-3)).0
}

/// From the point to the corner number `index` of the outline, mm.
pub(super) fn corner(region: &SafeRegion, index: usize, most: f64) -> Vector<f64> {
    let direction = 360.0 * index as f64 / region.outline.len() as f64;
    let distance = region.outline.get(index).map_or(0.0, |exit| exit.0);
    unit(direction) * distance.min(most)
}

/// The region about `middle`, cut off at `most` mm: its area, and its edges where they are not cut
/// off.
pub(super) fn outline(region: &SafeRegion, middle: (f64, f64), scale: f64, most: f64) -> Markup {
    let place = |index: usize| {
        let by = corner(region, index, most);
        (middle.0 + by.x * scale, middle.1 - by.y * scale)
    };
    let count = region.outline.len();
    let cut = |index: usize| region.outline[index % count].0 >= most;
    let area = Path::through((0..count).map(place)) + "Z";
    let mut edges = Path::default();
    for index in 0..=count {
        let alone = index == count || (cut(index) && cut(index + 1));
        if index == 0 || !cut(index - 1) || !cut(index) {
            let (x, y) = place(index % count);
            edges.to(x, y);
        }
        if alone {
            edges.lift();
        }
    }
    html! {
        path class="safe" d=(area) {}
        path class="bounds" d=(edges.text()) {}
    }
}

/// The region with the numbers of its edges, the way to the nearest, and a scale.
#[must_use]
pub fn cell(region: &SafeRegion) -> Markup {
    let reach = reach(region);
    let middle = SIZE / 2.0;
    let scale = middle / reach;
    let place = |by: Vector<f64>| (middle + by.x * scale, middle - by.y * scale);
    let nearest = unit(region.nearest.direction) * region.nearest.distance;
    let (x, y) = place(nearest);
    // Half of what is shown from the middle to the side.
    let bar = reach / 2.0;
    let size = format!("0 0 {SIZE} {}", SIZE + BELOW);
    let floor = SIZE + BELOW / 2.0 + 2.0;
    let told = format!(
        "Where {} may go. Nearest edge {} mm away at {} degrees.",
        region.point.replace('_', " "),
        fixed(region.nearest.distance, 2),
        fixed(region.nearest.direction, 0)
    );
    html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(size) role="img" class="cell" aria-label=(told) {
            svg width=(SIZE) height=(SIZE) { (outline(region, (middle, middle), scale, 4.0 * reach)) }
            rect class="frame" x="0.5" y="0.5" width=(SIZE - 1.0) height=(SIZE - 1.0) {}
            path class="cross" d={ "M" (px(middle)) " 0V" (px(SIZE)) "M0 " (px(middle)) "H" (px(SIZE)) } {}
            path class="way" d={ "M" (px(middle)) " " (px(middle)) "L" (px(x)) " " (px(y)) } {}
            circle class="edge" cx=(px(x)) cy=(px(y)) r="3" {}
            @for (number, (x, y), beyond) in numbers(region, reach, scale) {
                text class=(if beyond { "number beyond" } else { "number" }) x=(px(x)) y=(px(y + 4.5)) { (number) }
            }
            path class="rule" d={ "M1 " (px(floor)) "v-4v8v-4h" (px(bar * scale)) "v-4v8" } {}
            text class="name" x=(px(9.0 + bar * scale)) y=(px(floor + 4.5)) { (length(bar)) " mm" }
        }
    }
}

/// A length on a scale, with the decimals that it needs.
fn length(value: f64) -> String {
    let text = fixed(value, 4);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Numbers of edges, from 1, where each stands, in the middle of what it holds, and whether that is
/// beyond the frame.
fn numbers(region: &SafeRegion, reach: f64, scale: f64) -> Vec<(usize, (f64, f64), bool)> {
    let count = region.outline.len();
    let edge = |index: usize| region.outline[index % count].1;
    let first = (0..count).find(|&index| edge(index) != edge(index + count - 1));
    let first = first.unwrap_or(0);
    let mut placed: Vec<(usize, (f64, f64), bool)> = Vec::new();
    let mut index = first;
    while index < first + count {
        let mut end = index + 1;
        while end < first + count && edge(end) == edge(index) {
            end += 1;
        }
        if let Some(number) = edge(index) {
            let ray = (index + end - 1) / 2 % count;
            let by = corner(region, ray, f64::INFINITY);
            let beyond = by.x.abs().max(by.y.abs()) > reach;
            let at = beside(region, ray, reach, scale);
            let free = |other: &(usize, (f64, f64), bool)| {
                (other.1.0 - at.0).hypot(other.1.1 - at.1) >= APART
            };
            if placed.iter().all(free) {
                placed.push((number + 1, at, beyond));
            }
        }
        index = end;
    }
    placed
}

/// A place just outside of a corner, or at the side of the frame where that is beyond it.
fn beside(region: &SafeRegion, index: usize, reach: f64, scale: f64) -> (f64, f64) {
    let along = corner(region, index, 2.0 * reach);
    let length = along.length();
    let direction = unit(360.0 * index as f64 / region.outline.len() as f64);
    let out = Point::new(0.0, 0.0) + direction * (length + 11.0 / scale);
    let inside = |value: f64| value.clamp(INSIDE, SIZE - INSIDE);
    (
        inside(SIZE / 2.0 + out.x * scale),
        inside(SIZE / 2.0 - out.y * scale),
    )
}
