//! The same curves of one four-bar in plain numbers, position by position: what one would
//! write for this linkage alone.

use super::kernel::{POSITIONS, Subject};
use pivotwright::curves::Bicycle;
use pivotwright::input::Layout;

#[derive(Clone, Copy)]
struct V {
    x: f64,
    y: f64,
}

fn v(x: f64, y: f64) -> V {
    V { x, y }
}
fn add(a: V, b: V) -> V {
    v(a.x + b.x, a.y + b.y)
}
fn sub(a: V, b: V) -> V {
    v(a.x - b.x, a.y - b.y)
}
fn times(a: V, k: f64) -> V {
    v(a.x * k, a.y * k)
}
fn dot(a: V, b: V) -> f64 {
    a.x * b.x + a.y * b.y
}
fn cross(a: V, b: V) -> f64 {
    a.x * b.y - a.y * b.x
}
fn left(a: V) -> V {
    v(-a.y, a.x)
}

/// The reference four-bar with its bicycle.
pub struct FourBar {
    points: [V; 7],
    stroke: f64,
    rear_radius: f64,
    front_axle: V,
    front_radius: f64,
    steering: V,
    fork_travel: f64,
    mass: V,
    ring: f64,
    cogs: Vec<f64>,
}

/// Order of the points.
const NAMES: [&str; 7] = [
    "main_pivot",
    "rocker_pivot",
    "shock_frame",
    "stay_pivot",
    "axle",
    "rocker_stay",
    "shock_rocker",
];

impl FourBar {
    pub fn new(subject: &Subject) -> Self {
        let Layout {
            bicycle, mechanism, ..
        } = &subject.layout;
        let place = |name: &str| {
            let point = mechanism.points.iter().find(|point| point.name == name);
            let point = point.expect("the reference four-bar has this point");
            v(point.position.x, point.position.y)
        };
        let (sine, cosine) = bicycle.head_angle.to_radians().sin_cos();
        Self {
            points: NAMES.map(place),
            stroke: mechanism.shock.stroke,
            rear_radius: bicycle.rear_wheel_radius,
            front_axle: v(bicycle.front_axle.x, bicycle.front_axle.y),
            front_radius: bicycle.front_wheel_radius,
            steering: v(-cosine, sine),
            fork_travel: bicycle.fork_travel,
            mass: v(bicycle.centre_of_mass.x, bicycle.centre_of_mass.y),
            ring: pivotwright::curves::pitch_radius(bicycle.chainring_teeth),
            cogs: Bicycle::new(&subject.layout)
                .cogs()
                .iter()
                .map(|cog| cog.radius)
                .collect(),
        }
    }

    /// Fills travel, leverage rate, anti-rise and all anti-squats, position by position.
    pub fn fill(&self, total_travel: f64, curves: &mut [f64]) {
        let [
            main,
            rocker_pivot,
            shock_frame,
            stay,
            axle,
            rocker_stay,
            shock_rocker,
        ] = self.points;
        let eye_to_eye = dot(
            sub(shock_rocker, shock_frame),
            sub(shock_rocker, shock_frame),
        )
        .sqrt();
        let on_rocker = on_body(rocker_pivot, shock_rocker, rocker_stay);
        let on_stay = on_body(rocker_stay, stay, axle);
        let lengths = (
            dot(
                sub(shock_rocker, rocker_pivot),
                sub(shock_rocker, rocker_pivot),
            ),
            dot(sub(stay, main), sub(stay, main)),
            dot(sub(stay, rocker_stay), sub(stay, rocker_stay)),
        );
        let sides = (
            side(shock_frame, rocker_pivot, shock_rocker),
            side(main, rocker_stay, stay),
        );
        let lines = curves.chunks_exact_mut(3 + self.cogs.len());
        for (index, line) in lines.take(POSITIONS).enumerate() {
            let shortened = self.stroke * index as f64 / (POSITIONS - 1) as f64;
            let length = eye_to_eye - shortened;
            let zero = v(0.0, 0.0);
            let (eye, eye_rate) = meet(
                [(shock_frame, zero), (rocker_pivot, zero)],
                [length * length, lengths.0],
                -length * self.stroke,
                sides.0,
            );
            let pin = place(on_rocker, rocker_pivot, eye);
            let pin_rate = place(on_rocker, zero, eye_rate);
            let (low, low_rate) = meet(
                [(main, zero), (pin, pin_rate)],
                [lengths.1, lengths.2],
                0.0,
                sides.1,
            );
            let wheel = place(on_stay, pin, low);
            let wheel_rate = place(on_stay, pin_rate, low_rate);
            let stay_line = sub(low, pin);
            let turning = cross(stay_line, sub(low_rate, pin_rate)) / dot(stay_line, stay_line);
            self.curves_at(total_travel, (wheel, wheel_rate), turning, line);
        }
    }

    fn curves_at(
        &self,
        total_travel: f64,
        (wheel, rate): (V, V),
        turning: f64,
        curves: &mut [f64],
    ) {
        let travel = wheel.y - self.points[4].y;
        let fork = self.fork_travel * travel / total_travel;
        let front = add(self.front_axle, times(self.steering, fork));
        let between = sub(front, wheel);
        let offset = self.front_radius - self.rear_radius;
        let square = dot(between, between);
        let wheelbase = (square - offset * offset).sqrt();
        let forward = times(
            sub(times(between, wheelbase), times(left(between), offset)),
            1.0 / square,
        );
        let up = left(forward);
        let height = dot(sub(self.mass, wheel), up) + self.rear_radius;
        let transfer = -100.0 * wheelbase / (height * dot(up, rate));
        let along = dot(forward, rate);
        curves[0] = travel;
        curves[1] = rate.y / self.stroke;
        curves[2] = transfer * (along + turning * self.rear_radius);
        let chain = v(-wheel.x, -wheel.y);
        let square = dot(chain, chain);
        let (reach, across) = (dot(chain, rate) / square, cross(chain, rate) / square);
        for (slot, &cog) in curves[3..].iter_mut().zip(&self.cogs) {
            let offset = cog - self.ring;
            let run = (square - offset * offset).sqrt();
            let shortening = run * reach - offset * across;
            *slot = transfer * (along + self.rear_radius / cog * shortening);
        }
    }
}

fn side(a: V, b: V, pivot: V) -> f64 {
    cross(sub(pivot, a), sub(pivot, b)).signum()
}

fn on_body(a: V, b: V, point: V) -> [f64; 2] {
    let (line, offset) = (sub(b, a), sub(point, a));
    let square = dot(line, line);
    [dot(line, offset) / square, cross(line, offset) / square]
}

fn place([along, across]: [f64; 2], a: V, b: V) -> V {
    let line = sub(b, a);
    add(a, add(times(line, along), times(left(line), across)))
}

/// Where two links meet, and how fast that place moves; the first grows by `growth`.
fn meet(ends: [(V, V); 2], squares: [f64; 2], growth: f64, side: f64) -> (V, V) {
    let [(a, a_rate), (b, b_rate)] = ends;
    let line = sub(b, a);
    let square = dot(line, line);
    let along = 0.5 * (square + squares[0] - squares[1]);
    let area = (squares[0] * square - along * along).sqrt();
    let offset = add(times(line, along), times(left(line), side * area));
    let pivot = add(a, times(offset, 1.0 / square));
    let (first, second) = (sub(pivot, a), sub(pivot, b));
    let (right_first, right_second) = (dot(first, a_rate) + growth, dot(second, b_rate));
    let scale = 1.0 / cross(first, second);
    let rate = v(
        right_first * second.y - right_second * first.y,
        right_second * first.x - right_first * second.x,
    );
    (pivot, times(rate, scale))
}
