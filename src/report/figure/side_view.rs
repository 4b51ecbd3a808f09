//! The bicycle from the drive side at top, sag and end, and the linkage close up.

use super::scene::{Kind, Mark, Places, Scene, Shape, Stage, drawn_cog};
use super::{Figure, px};
use crate::input::Layout;
use crate::number::Point;
use crate::report::traced::Traced;
use maud::{Markup, html};
use std::fmt::Write;

/// Width of a view, px.
pub(super) const WIDTH: f64 = 760.0;
/// No view is higher, px.
const HIGHEST: f64 = 560.0;
/// Room around what must be seen, mm.
const AROUND: f64 = 45.0;
/// Half the size of a mark, px.
const MARK: f64 = 5.0;
/// Width of a letter and height of a line of names, px.
const LETTER: [f64; 2] = [7.2, 14.0];

/// What of the plane is shown, and how large.
#[derive(Clone, Copy, Debug)]
pub(crate) struct View {
    /// px a mm.
    pub scale: f64,
    /// The origin on the paper, px.
    left: f64,
    top: f64,
    pub height: f64,
}

impl View {
    /// The view that shows all `points`.
    pub fn of(points: impl Iterator<Item = Point<f64>>) -> Self {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for point in points {
            for (axis, value) in [point.x, point.y].into_iter().enumerate() {
                low[axis] = low[axis].min(value - AROUND);
                high[axis] = high[axis].max(value + AROUND);
            }
        }
        let (wide, tall) = (high[0] - low[0], high[1] - low[1]);
        let scale = (WIDTH / wide).min(HIGHEST / tall);
        let spare = WIDTH - wide * scale;
        Self {
            scale,
            left: spare / 2.0 - low[0] * scale,
            top: high[1] * scale,
            height: tall * scale,
        }
    }

    pub fn place(&self, point: Point<f64>) -> (f64, f64) {
        (
            self.left + point.x * self.scale,
            self.top - point.y * self.scale,
        )
    }
}

/// The whole bicycle and the linkage close up, of the first of `traced`.
#[must_use]
pub(crate) fn views(traced: &[Traced], stage: &Stage) -> Vec<Figure> {
    let Some(first) = traced.first() else {
        return Vec::new();
    };
    vec![
        side_view(first, stage, false),
        side_view(first, stage, true),
    ]
}

/// The side view of `shown`, the first layout, large enough for all on the stage; close up, of the
/// linkage alone.
fn side_view(shown: &Traced, stage: &Stage, close: bool) -> Figure {
    let layout = shown.subject.layout;
    let (scene, all) = (&stage.scene, &stage.places);
    let view = if close {
        View::of(linkage_points(layout, scene, all))
    } else {
        View::of(bicycle_points(layout, scene, all))
    };
    let places = all.first().map_or(&[][..], |places| &places[..]);
    let moment = |index: usize| places.get(index).map_or(&[][..], |places| &places[..]);
    let now = moment(shown.sag);
    let names = if close {
        name_offsets(scene, &view, now)
    } else {
        Vec::new()
    };
    let pose = |class: &str, number: Option<&str>, at: &[Option<Point<f64>>]| {
        html! {
            g class={ "pose " (class) } data-pose=[number] {
                @for shape in &scene.shapes {
                    (drawn(shape, &view, at, places, &names))
                }
            }
        }
    };
    let drawing = html! {
        (pose("top", Some("top"), moment(0)))
        (pose("end", Some("end"), moment(places.len().saturating_sub(1))))
        (pose("other", Some("other"), &[]))
        (pose("now", Some("now"), now))
    };
    let cog = drawn_cog(layout);
    Figure {
        name: if close { "linkage" } else { "side-view" }.into(),
        title: if close {
            "The linkage, close up".into()
        } else {
            "Side view".into()
        },
        caption: caption(close, cog, !layout.parts.is_empty()),
        width: WIDTH,
        height: view.height,
        drawing,
        placed: Some([view.scale, view.left, view.top]),
    }
}

fn caption(close: bool, cog: u32, parts: bool) -> String {
    let parts = if parts {
        " Grey shapes are what takes up room."
    } else {
        ""
    };
    if close {
        let text = "Strong at sag (or where the slider stands), dotted at top, dashed at end. Squares are \
                fixed to the frame, rings move; the thick bar is the shock.";
        return format!("{text}{parts}");
    }
    format!(
        "Seen from the drive side, the frame held still: strong at sag, dotted at top, dashed at \
         end. Chain on {cog} teeth. The cross is the centre of mass, the diamond the instant centre \
         of the part that carries the axle, on its way over the travel.{parts}"
    )
}

/// Where the linkage's points come at any moment.
pub(super) fn linkage_points<'p>(
    layout: &Layout,
    scene: &Scene,
    all: &'p [Vec<Places>],
) -> impl Iterator<Item = Point<f64>> + 'p {
    let axle = layout.bicycle.rear_axle.index();
    let points = scene.points;
    // Half of the axle's travel is enough to see where it goes.
    all.iter().flatten().flat_map(move |places| {
        let shown = places.iter().take(points + 1).enumerate();
        let shown = shown.filter(move |(index, _)| *index != axle);
        shown.filter_map(|(_, place)| *place).collect::<Vec<_>>()
    })
}

/// Where linkage, wheels and ground come.
fn bicycle_points<'p>(
    layout: &'p Layout,
    scene: &'p Scene,
    all: &'p [Vec<Places>],
) -> impl Iterator<Item = Point<f64>> + 'p {
    let bicycle = &layout.bicycle;
    let wheels = [
        (bicycle.rear_axle.index(), bicycle.rear_wheel_radius),
        (scene.points + 1, bicycle.front_wheel_radius),
    ];
    all.iter().flatten().flat_map(move |places| {
        let mut points: Vec<Point<f64>> = places
            .iter()
            .take(scene.points)
            .filter_map(|place| *place)
            .collect();
        for (wheel, radius) in wheels {
            if let Some(Some(axle)) = places.get(wheel) {
                points.push(Point::new(axle.x - radius, axle.y - radius));
                points.push(Point::new(axle.x + radius, axle.y + radius));
            }
        }
        points.push(bicycle.centre_of_mass);
        points
    })
}

/// Where the name of each place stands from it, px, so that names do not stand on one another
/// or on marks.
pub(super) fn name_offsets(
    scene: &Scene,
    view: &View,
    at: &[Option<Point<f64>>],
) -> Vec<(f64, f64)> {
    let place = |index: usize| {
        at.get(index)
            .copied()
            .flatten()
            .map(|point| view.place(point))
    };
    let marks: Vec<(f64, f64)> = (0..=scene.points).filter_map(place).collect();
    let mut taken: Vec<[f64; 4]> = marks
        .iter()
        .map(|(x, y)| [x - MARK, y - MARK, x + MARK, y + MARK])
        .collect();
    let mut offsets = vec![(9.0, -7.0); scene.points + 1];
    for shape in &scene.shapes {
        let Kind::Name(index, name) = &shape.kind else {
            continue;
        };
        let Some((x, y)) = place(*index) else {
            continue;
        };
        let width = name.chars().count() as f64 * LETTER[0];
        let choices = [
            (9.0, -7.0),
            (9.0, 16.0),
            (-9.0 - width, -7.0),
            (-9.0 - width, 16.0),
            (11.0, 4.0),
            (-11.0 - width, 4.0),
            (9.0, -21.0),
            (9.0, 30.0),
        ];
        let box_at = |(dx, dy): (f64, f64)| {
            [
                x + dx,
                y + dy - LETTER[1] + 2.0,
                x + dx + width,
                y + dy + 3.0,
            ]
        };
        let overlap = |one: &[f64; 4], other: &[f64; 4]| {
            let wide = one[2].min(other[2]) - one[0].max(other[0]);
            let tall = one[3].min(other[3]) - one[1].max(other[1]);
            wide.max(0.0) * tall.max(0.0)
        };
        let crowded = |choice: (f64, f64)| {
            let own = box_at(choice);
            let outside = (-own[0]).max(0.0) + (own[2] - WIDTH).max(0.0);
            taken.iter().map(|other| overlap(&own, other)).sum::<f64>() + outside * 20.0
        };
        let best = choices
            .into_iter()
            .min_by(|&one, &other| crowded(one).total_cmp(&crowded(other)));
        let best = best.unwrap_or(choices[0]);
        taken.push(box_at(best));
        if let Some(offset) = offsets.get_mut(*index) {
            *offset = best;
        }
    }
    offsets
}

/// One shape with its places at `at`; `all` are the moments that a trail leads through.
pub(super) fn drawn(
    shape: &Shape,
    view: &View,
    at: &[Option<Point<f64>>],
    all: &[Places],
    names: &[(f64, f64)],
) -> Markup {
    let place = |index: usize| {
        let point = at.get(index).copied().flatten();
        point.map(|point| view.place(point))
    };
    let class = shape.class;
    match &shape.kind {
        Kind::Line([one, other]) => {
            let ends = place(*one).zip(place(*other));
            let path = ends.map(|(a, b)| path_of(&[a, b]));
            html! { path class=(class) data-line={ (one) " " (other) } d=[path] {} }
        }
        Kind::Polygon(points) => {
            let corners: Option<Vec<_>> = points.iter().map(|&point| place(point)).collect();
            let path = corners.map(|corners| path_of(&corners) + "Z");
            let numbers: Vec<String> = points.iter().map(usize::to_string).collect();
            html! { path class=(class) data-area=(numbers.join(" ")) d=[path] {} }
        }
        Kind::Thick(points, radius) => {
            let corners: Option<Vec<_>> = points.iter().map(|&point| place(point)).collect();
            let path = corners.map(|corners| path_of(&corners) + "Z");
            let numbers: Vec<String> = points.iter().map(usize::to_string).collect();
            let thick = format!("stroke-width:{}", px(2.0 * radius * view.scale));
            html! {
                path class=(class) data-area=(numbers.join(" ")) d=[path] style=(thick) {}
            }
        }
        Kind::Round(index, radius) => {
            let at = transform(place(*index));
            html! {
                circle class=(class) data-at=(index) transform=(at) r=(px(radius * view.scale)) {}
            }
        }
        Kind::Mark(index, mark) => {
            let at = transform(place(*index));
            html! { path class=(class) data-at=(index) transform=(at) d=(mark_path(*mark)) {} }
        }
        Kind::Trail(index) => {
            let way = all
                .iter()
                .filter_map(|places| places.get(*index).copied().flatten());
            let path = path_of(&way.map(|point| view.place(point)).collect::<Vec<_>>());
            html! { path class=(class) data-trail=(index) d=(path) {} }
        }
        Kind::Name(index, name) => {
            let Some((x, y)) = names.get(*index) else {
                return html! {};
            };
            let at = transform(place(*index));
            html! {
                text class=(class) data-at=(index) transform=(at) x=(px(*x)) y=(px(*y)) { (name) }
            }
        }
    }
}

fn transform(place: Option<(f64, f64)>) -> String {
    // What is at infinity, or not shown yet, stands far outside.
    let (x, y) = place.unwrap_or((-9999.0, -9999.0));
    format!("translate({} {})", px(x), px(y))
}

fn path_of(places: &[(f64, f64)]) -> String {
    let mut path = String::new();
    for (index, (x, y)) in places.iter().enumerate() {
        let letter = if index == 0 { 'M' } else { 'L' };
        // Far away is as good as any place outside.
        let far = |value: &f64| px(value.clamp(-20_000.0, 20_000.0));
        let _ = write!(path, "{letter}{} {}", far(x), far(y));
    }
    path
}

const fn mark_path(mark: Mark) -> &'static str {
    match mark {
        Mark::Square => "M-4.5 -4.5H4.5V4.5H-4.5Z",
        Mark::Ring => "M-4.5 0A4.5 4.5 0 1 1 4.5 0A4.5 4.5 0 1 1 -4.5 0Z",
        Mark::Diamond => "M0 -6L5 0L0 6L-5 0Z",
        Mark::Cross => "M-7 0H7M0 -7V7",
    }
}
