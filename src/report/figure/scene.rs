//! What is drawn of a bicycle in side view, as shapes between places that move.
//!
//! The places are the linkage's points and then those that follow from them: wheels, ground,
//! chain, shock, instant centre. A shape only names places, so that whatever moves a shape has
//! nothing to know but where its places are.

use crate::curves::pitch_radius;
use crate::input::{BodyId, Layout, PointId, Shape as PartShape, Wrap};
use crate::number::{Point, Vector};
use crate::report::traced::{Moment, Traced};
use crate::room;
use rayon::prelude::*;

/// How far the shock's body reaches along its length at full extension (common practice, no
/// source): the rest is the shaft.
const SHOCK_BODY: f64 = 0.55;

/// How far the ground is drawn beyond a contact point, in radii of that wheel.
const GROUND_BEYOND: f64 = 0.8;

/// A shape between places.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Shape {
    pub kind: Kind,
    /// Its classes in the style sheet.
    pub class: &'static str,
}

/// The kinds of shape; numbers are those of places.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Kind {
    Line([usize; 2]),
    Polygon(Vec<usize>),
    /// A core made thicker all round by so many mm.
    Thick(Vec<usize>, f64),
    /// A circle whose radius is in mm.
    Round(usize, f64),
    /// A mark of fixed size on the paper.
    Mark(usize, Mark),
    /// The way of a place over the travel.
    Trail(usize),
    /// The name of a place.
    Name(usize, String),
}

/// Marks of fixed size on the paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Mark {
    /// A pivot on the frame.
    Square,
    /// A pivot or eye that moves.
    Ring,
    /// The instant centre.
    Diamond,
    /// The centre of mass.
    Cross,
}

/// Where every place is at one moment; none where it is at infinity.
pub(crate) type Places = Vec<Option<Point<f64>>>;

/// A bicycle in side view, ready to be moved.
#[derive(Clone, Debug)]
pub(crate) struct Scene {
    pub shapes: Vec<Shape>,
    /// The linkage's own points come first.
    pub points: usize,
    rings: Rings,
}

/// The chainrings of the layouts. Circles do not change their size, so where there are several
/// each has a place of its own after all others, which is nowhere in layouts with another.
#[derive(Clone, Debug)]
struct Rings {
    /// Teeth of each, that of the first layout first.
    teeth: Vec<u32>,
    /// Number of the place of the first, where there are several.
    first: usize,
}

impl Rings {
    fn new(traced: &[Traced], first: usize) -> Self {
        let mut teeth = Vec::new();
        for traced in traced {
            let own = traced.subject.layout.bicycle.chainring_teeth;
            if !teeth.contains(&own) {
                teeth.push(own);
            }
        }
        Self { teeth, first }
    }

    fn are_several(&self) -> bool {
        self.teeth.len() > 1
    }

    /// The circles of a class about the chainrings, `more` mm larger than their pitch circles;
    /// `centre` is where the chainring is.
    fn circles(&self, class: &'static str, centre: usize, more: f64) -> Vec<Shape> {
        let several = self.are_several();
        let of = |(index, &teeth): (usize, &u32)| {
            let place = if several { self.first + index } else { centre };
            shape(class, Kind::Round(place, pitch_radius(teeth) + more))
        };
        self.teeth.iter().enumerate().map(of).collect()
    }

    /// The places of their own.
    fn places(&self, layout: &Layout) -> Places {
        if !self.are_several() {
            return Places::new();
        }
        let own = layout.bicycle.chainring_teeth;
        let place = |&teeth: &u32| (teeth == own).then_some(Point::new(0.0, 0.0));
        self.teeth.iter().map(place).collect()
    }
}

/// A bicycle in side view with the places of every layout at every moment.
#[derive(Clone, Debug)]
pub(crate) struct Stage {
    pub scene: Scene,
    /// One a layout.
    pub places: Vec<Vec<Places>>,
}

impl Stage {
    /// The stage of layouts of one linkage; none where there is no layout.
    pub fn new(traced: &[Traced]) -> Option<Self> {
        let scene = Scene::new(traced)?;
        let places = traced.par_iter().map(|traced| scene.places(traced));
        let places = places.collect();
        Some(Self { scene, places })
    }
}

/// Numbers of the places after the linkage's own points.
struct Numbers {
    bracket: usize,
    front: usize,
    ground: [usize; 2],
    mass: usize,
    centre: usize,
    shaft: usize,
    chain: usize,
}

impl Numbers {
    const fn after(points: usize) -> Self {
        Self {
            bracket: points,
            front: points + 1,
            ground: [points + 2, points + 3],
            mass: points + 4,
            centre: points + 5,
            shaft: points + 6,
            chain: points + 7,
        }
    }
}

/// A chain wheel in the run that is drawn: its place, pitch radius, and +1 where the chain passes
/// above it, -1 below.
type Wheel = (usize, f64, f64);

impl Scene {
    /// The shapes of layouts of one linkage, which are the same for all; none where there is no
    /// layout.
    fn new(traced: &[Traced]) -> Option<Self> {
        let layout = traced.first()?.subject.layout;
        let points = layout.mechanism.points.len();
        let numbers = Numbers::after(points);
        let corners = layout.parts.iter();
        let corners = corners.filter_map(|part| room::corner_count(part));
        let chain = 2 * (chain_wheels(layout).len() - 1);
        let rings = Rings::new(traced, numbers.chain + chain + corners.sum::<usize>());
        let mut shapes = bicycle(layout, &numbers, &rings);
        shapes.extend(parts(layout, &numbers, &rings));
        shapes.extend(linkage(layout, &numbers));
        shapes.extend(points_of(layout));
        Some(Self {
            shapes,
            points,
            rings,
        })
    }

    /// Where all places are at each moment.
    pub fn places(&self, traced: &Traced) -> Vec<Places> {
        let suspension = traced.subject.suspension;
        let motion = suspension.motion_in();
        let layout = traced.subject.layout;
        let moments = traced.moments.iter();
        moments
            .map(|moment| {
                let mut places = self.places_at(layout, moment);
                let parts = layout.parts.iter();
                places.extend(parts.flat_map(|part| {
                    room::corners(part, suspension, &motion, &moment.pose)
                        .into_iter()
                        .map(Some)
                }));
                places.extend(self.rings.places(layout));
                places
            })
            .collect()
    }

    fn places_at(&self, layout: &Layout, moment: &Moment) -> Places {
        let (bicycle, mechanism) = (&layout.bicycle, &layout.mechanism);
        let state = &moment.state;
        let mut places = moment.pose.points.clone();
        places.truncate(self.points);
        let (sine, cosine) = libm::sincos(bicycle.head_angle.to_radians());
        let front = bicycle.front_axle + Vector::new(-cosine, sine) * state.fork_compression;
        let (forward, down) = (state.ground.forward, -state.ground.up);
        let [rear_radius, front_radius] = [bicycle.rear_wheel_radius, bicycle.front_wheel_radius];
        let back = forward * -(GROUND_BEYOND * rear_radius);
        let ahead = forward * (GROUND_BEYOND * front_radius);
        let [eye, other] = mechanism.shock.ends.map(|end| places[end.index()]);
        let along = other - eye;
        let body = SHOCK_BODY * mechanism.eye_to_eye() / along.length();
        places.extend([
            Point::new(0.0, 0.0),
            front,
            state.axle + down * rear_radius + back,
            front + down * front_radius + ahead,
            bicycle.centre_of_mass,
        ]);
        let mut places: Places = places.into_iter().map(Some).collect();
        places.push(state.instant_centre());
        places.push(Some(eye + along * body));
        for ends in chain_wheels(layout).windows(2) {
            let run = run_between(&places, ends[0], ends[1]);
            places.extend(run.map_or([None; 2], |run| run.map(Some)));
        }
        places
    }
}

/// The cog on which the chain is drawn: the middle one of the cassette.
pub(crate) fn drawn_cog(layout: &Layout) -> u32 {
    let mut teeth = layout.bicycle.cassette_teeth.clone();
    teeth.sort_unstable();
    teeth.get(teeth.len() / 2).copied().unwrap_or(1)
}

fn chain_wheels(layout: &Layout) -> Vec<Wheel> {
    let bicycle = &layout.bicycle;
    let bracket = Numbers::after(layout.mechanism.points.len()).bracket;
    let cog = (
        bicycle.rear_axle.index(),
        pitch_radius(drawn_cog(layout)),
        1.0,
    );
    let ring = (bracket, pitch_radius(bicycle.chainring_teeth), 1.0);
    let idler = bicycle.idler.map(|idler| {
        let side = match idler.wrap {
            Wrap::Over => 1.0,
            Wrap::Under => -1.0,
        };
        (idler.point.index(), pitch_radius(idler.teeth), side)
    });
    [Some(cog), idler, Some(ring)]
        .into_iter()
        .flatten()
        .collect()
}

/// Where the straight run between two chain wheels touches them: `D.m = sa ra - sb rb`.
fn run_between(places: &Places, first: Wheel, second: Wheel) -> Option<[Point<f64>; 2]> {
    let (a, b) = ((*places.get(first.0)?)?, (*places.get(second.0)?)?);
    let between = b - a;
    let squared = between.length_squared();
    let offset = first.1 * first.2 - second.1 * second.2;
    let length = (squared - offset * offset).sqrt();
    let across = (between.turned_left() * length + between * offset) * (1.0 / squared);
    Some([
        a + across * (first.1 * first.2),
        b + across * (second.1 * second.2),
    ])
}

fn shape(class: &'static str, kind: Kind) -> Shape {
    Shape { kind, class }
}

/// Wheels, ground, chain, centre of mass.
fn bicycle(layout: &Layout, numbers: &Numbers, rings: &Rings) -> Vec<Shape> {
    let bicycle = &layout.bicycle;
    let axle = bicycle.rear_axle.index();
    let mut shapes = vec![
        shape("ground", Kind::Line(numbers.ground)),
        shape("tyre", Kind::Round(axle, bicycle.rear_wheel_radius)),
        shape(
            "tyre",
            Kind::Round(numbers.front, bicycle.front_wheel_radius),
        ),
        shape("hub", Kind::Round(numbers.front, 8.0)),
    ];
    for (index, (place, radius, _)) in chain_wheels(layout).into_iter().enumerate() {
        if place == numbers.bracket {
            shapes.extend(rings.circles("sprocket", place, 0.0));
        } else {
            shapes.push(shape("sprocket", Kind::Round(place, radius)));
        }
        if index > 0 {
            let first = numbers.chain + 2 * (index - 1);
            shapes.push(shape("chain", Kind::Line([first, first + 1])));
        }
    }
    shapes.push(shape("mass", Kind::Mark(numbers.mass, Mark::Cross)));
    shapes
}

/// What takes up room around the linkage.
fn parts(layout: &Layout, numbers: &Numbers, rings: &Rings) -> Vec<Shape> {
    let mut next = numbers.chain + 2 * (chain_wheels(layout).len() - 1);
    let mut shapes = Vec::new();
    for part in &layout.parts {
        let Some(count) = room::corner_count(part) else {
            continue;
        };
        let corners: Vec<usize> = (next..next + count).collect();
        next += count;
        let radius = room::thickness(layout, part);
        match corners[..] {
            [centre] if part.shape == PartShape::Chainring => {
                shapes.extend(rings.circles("part", centre, part.radius));
            }
            [centre] => shapes.push(shape("part", Kind::Round(centre, radius))),
            _ => shapes.push(shape("part", Kind::Thick(corners, radius))),
        }
    }
    shapes
}

/// The moving bodies and the shock, axle path and instant centre.
fn linkage(layout: &Layout, numbers: &Numbers) -> Vec<Shape> {
    let mechanism = &layout.mechanism;
    let mut shapes = Vec::new();
    for (index, body) in mechanism.bodies.iter().enumerate() {
        if BodyId(index) == mechanism.frame {
            continue;
        }
        let points: Vec<usize> = body.points.iter().map(|point| point.index()).collect();
        shapes.push(match points[..] {
            [one, other] => shape("link", Kind::Line([one, other])),
            _ => shape("link", Kind::Polygon(around(layout, points))),
        });
    }
    let [eye, other] = mechanism.shock.ends.map(PointId::index);
    shapes.extend([
        shape("shaft", Kind::Line([numbers.shaft, other])),
        shape("shock", Kind::Line([eye, numbers.shaft])),
        shape("path", Kind::Trail(layout.bicycle.rear_axle.index())),
        shape("centres", Kind::Trail(numbers.centre)),
        shape("centre", Kind::Mark(numbers.centre, Mark::Diamond)),
    ]);
    shapes
}

/// The points of a body in turn about their middle, so that its outline does not cross itself.
fn around(layout: &Layout, mut points: Vec<usize>) -> Vec<usize> {
    let place = |point: usize| layout.mechanism.points[point].position;
    let count = points.len() as f64;
    let sum = |axis: fn(Point<f64>) -> f64| points.iter().map(|&p| axis(place(p))).sum::<f64>();
    let middle = Point::new(sum(|p| p.x) / count, sum(|p| p.y) / count);
    let angle = |point: usize| {
        let from = place(point) - middle;
        libm::atan2(from.y, from.x)
    };
    points.sort_by(|&one, &other| angle(one).total_cmp(&angle(other)));
    points
}

/// Marks and names of the linkage's points, the rear axle's too.
fn points_of(layout: &Layout) -> Vec<Shape> {
    let mechanism = &layout.mechanism;
    let marks = (0..mechanism.points.len()).map(|index| {
        let on_frame = mechanism
            .bodies_of(PointId(index))
            .any(|body| body == mechanism.frame);
        let mark = if on_frame { Mark::Square } else { Mark::Ring };
        shape("pivot", Kind::Mark(index, mark))
    });
    let names = mechanism.points.iter().enumerate().map(|(index, point)| {
        let name = point.name.replace('_', " ");
        shape("name", Kind::Name(index, name))
    });
    let bracket = mechanism.points.len();
    let own = [
        shape("bracket", Kind::Round(bracket, 12.0)),
        shape("name", Kind::Name(bracket, "BB".into())),
    ];
    marks.chain(own).chain(names).collect()
}
