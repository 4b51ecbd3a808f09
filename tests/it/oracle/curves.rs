//! The curves by definition: drawn lines, and differences of the chain measured as a path.

use super::{Moment, Oracle};
use pivotwright::input::{Curve, ForkCompression, Layout, Wrap};
use pivotwright::number::{Point, Vector};

/// A point of the projective plane: (x, y, w), at infinity when w is 0. Lines are alike.
type Flat = [f64; 3];

fn flat(point: Point<f64>) -> Flat {
    [point.x, point.y, 1.0]
}

/// The line through two points, or the point on two lines.
fn join(a: Flat, b: Flat) -> Flat {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

fn turned(vector: Vector<f64>, angle: f64) -> Vector<f64> {
    let (sine, cosine) = angle.sin_cos();
    Vector::new(
        vector.x * cosine - vector.y * sine,
        vector.x * sine + vector.y * cosine,
    )
}

fn distance(a: Point<f64>, b: Point<f64>) -> f64 {
    (a.x - b.x).hypot(a.y - b.y)
}

/// Pitch radius from the chord between two neighbouring teeth, 12.7 mm.
fn pitch_radius(teeth: u32) -> f64 {
    let between = std::f64::consts::TAU / f64::from(teeth);
    // The chord of that angle in a circle of radius 1.
    let chord = (2.0 - 2.0 * between.cos()).sqrt();
    12.7 / chord
}

/// A sprocket that the chain passes above (`side` 1) or below (`side` -1).
#[derive(Clone, Copy, Debug)]
pub struct Sprocket {
    pub centre: Point<f64>,
    pub radius: f64,
    pub side: f64,
}

/// The straight piece of chain between two sprockets.
#[derive(Clone, Copy, Debug)]
pub struct Run {
    pub from: Point<f64>,
    pub to: Point<f64>,
    /// Direction in radians.
    pub angle: f64,
}

impl Run {
    pub fn between(a: Sprocket, b: Sprocket) -> Self {
        let line = b.centre - a.centre;
        let apart = line.x.hypot(line.y);
        let rise = a.side * a.radius - b.side * b.radius;
        let angle = line.y.atan2(line.x) - (rise / apart).asin();
        let touch = |sprocket: Sprocket| {
            let up = turned(Vector::new(0.0, 1.0), angle);
            sprocket.centre + up * (sprocket.side * sprocket.radius)
        };
        Self {
            from: touch(a),
            to: touch(b),
            angle,
        }
    }
}

/// Height over the ground at the front contact of the line from the rear contact through `to`.
fn height_at_front(rear: Point<f64>, front: Point<f64>, to: Flat) -> f64 {
    let ground = front - rear;
    let length = ground.x.hypot(ground.y);
    let up = Vector::new(-ground.y / length, ground.x / length);
    let upright = [up.x, up.y, 0.0];
    let meeting = join(join(flat(rear), to), join(flat(front), upright));
    let meeting = Point::new(meeting[0] / meeting[2], meeting[1] / meeting[2]);
    (meeting - front).dot(up)
}

/// Height of the anti-squat line: axle to instant centre meets the chain line.
pub fn drawn_anti_squat(
    [rear, front]: [Point<f64>; 2],
    axle: Point<f64>,
    centre: Flat,
    run: Run,
) -> f64 {
    let chain = join(flat(run.from), flat(run.to));
    let force_centre = join(join(flat(axle), centre), chain);
    height_at_front(rear, front, force_centre)
}

/// The oracle's curves over a followed linkage.
pub struct OracleCurves<'o, 'l> {
    oracle: &'o Oracle<'l>,
    layout: &'l Layout,
    total_travel: f64,
}

/// Ground line at one moment.
struct Ground {
    contacts: [Point<f64>; 2],
    fork: f64,
}

impl<'o, 'l> OracleCurves<'o, 'l> {
    pub fn new(oracle: &'o Oracle<'l>) -> Self {
        let mut curves = Self {
            oracle,
            layout: oracle.layout,
            total_travel: f64::NAN,
        };
        curves.total_travel = curves.travel(&oracle.at(oracle.stroke()));
        curves
    }

    fn axle_slot(&self) -> usize {
        self.layout.bicycle.rear_axle.index()
    }

    fn axle(&self, moment: &Moment) -> Point<f64> {
        self.oracle.point(moment, self.axle_slot())
    }

    fn travel(&self, moment: &Moment) -> f64 {
        self.axle(moment).y - self.layout.mechanism.points[self.axle_slot()].position.y
    }

    fn ground(&self, moment: &Moment) -> Ground {
        let bicycle = &self.layout.bicycle;
        let fork = match bicycle.fork_compression {
            ForkCompression::Proportional => {
                bicycle.fork_travel * self.travel(moment) / self.total_travel
            }
            ForkCompression::Fixed(compression) => compression,
        };
        let back_up = turned(
            Vector::new(1.0, 0.0),
            std::f64::consts::PI - bicycle.head_angle.to_radians(),
        );
        let (rear, front) = (self.axle(moment), bicycle.front_axle + back_up * fork);
        let line = front - rear;
        let larger = bicycle.front_wheel_radius - bicycle.rear_wheel_radius;
        let tilt = line.y.atan2(line.x) - (larger / line.x.hypot(line.y)).asin();
        let down = turned(Vector::new(0.0, -1.0), tilt);
        Ground {
            contacts: [
                rear + down * bicycle.rear_wheel_radius,
                front + down * bicycle.front_wheel_radius,
            ],
            fork,
        }
    }

    fn height(&self, moment: &Moment, point: Point<f64>) -> f64 {
        let [rear, front] = self.ground(moment).contacts;
        let line = front - rear;
        line.cross(point - rear) / line.x.hypot(line.y)
    }

    fn mass_height(&self, moment: &Moment) -> f64 {
        self.height(moment, self.layout.bicycle.centre_of_mass)
    }

    fn runs(&self, moment: &Moment, cog: usize) -> Vec<Run> {
        let bicycle = &self.layout.bicycle;
        let rear = Sprocket {
            centre: self.axle(moment),
            radius: pitch_radius(bicycle.cassette_teeth[cog]),
            side: 1.0,
        };
        let ring = Sprocket {
            centre: Point::new(0.0, 0.0),
            radius: pitch_radius(bicycle.chainring_teeth),
            side: 1.0,
        };
        let Some(idler) = bicycle.idler else {
            return vec![Run::between(rear, ring)];
        };
        let idler = Sprocket {
            centre: self.oracle.point(moment, idler.point.index()),
            radius: pitch_radius(idler.teeth),
            side: if idler.wrap == Wrap::Over { 1.0 } else { -1.0 },
        };
        vec![Run::between(rear, idler), Run::between(idler, ring)]
    }

    /// Chain from a mark on the cog to a mark at the chainring's front, mm.
    ///
    /// The mark on the cog is at its rear at `top` and turns with the cog by `turned`.
    fn chain_path(&self, moment: &Moment, cog: usize, turned: f64) -> f64 {
        let bicycle = &self.layout.bicycle;
        let quarter = std::f64::consts::FRAC_PI_2;
        let runs = self.runs(moment, cog);
        let straight: f64 = runs.iter().map(|run| distance(run.from, run.to)).sum();
        let (first, last) = (runs[0], runs[runs.len() - 1]);
        // Chain runs clockwise over the top, so arcs are measured from the rear angle on.
        let mark = 2.0 * quarter + turned;
        let on_cog = pitch_radius(bicycle.cassette_teeth[cog]) * (mark - (first.angle + quarter));
        let on_ring = pitch_radius(bicycle.chainring_teeth) * (last.angle + quarter);
        let on_idler = bicycle.idler.map_or(0.0, |idler| {
            let clockwise = first.angle - last.angle;
            let swept = if idler.wrap == Wrap::Over {
                clockwise
            } else {
                -clockwise
            };
            pitch_radius(idler.teeth) * swept
        });
        on_cog + straight + on_idler + on_ring
    }

    fn growth(&self, moment: &Moment, cog: usize, turned: f64) -> f64 {
        self.chain_path(moment, cog, turned) - self.chain_path(&self.oracle.at(0.0), cog, 0.0)
    }

    /// Rate of the chain path by the stroke: central differences, extrapolated to no step; the
    /// column of the table that changes least is taken.
    fn growth_rate(&self, stroke: f64, cog: usize) -> f64 {
        let at = |stroke: f64| {
            let moment = self.oracle.reach(stroke)?;
            Some(self.chain_path(&moment, cog, 0.0))
        };
        let mut row: Vec<f64> = Vec::new();
        let (mut best, mut error) = (f64::NAN, f64::INFINITY);
        let mut step = 1.6;
        for _ in 0..7 {
            step *= 0.5;
            // Near a dead point the first steps lead beyond it.
            let (Some(above), Some(below)) = (at(stroke + step), at(stroke - step)) else {
                continue;
            };
            let mut next = vec![(above - below) / (2.0 * step)];
            for (column, before) in row.iter().enumerate() {
                let factor = 4f64.powi(i32::try_from(column).unwrap() + 1);
                let refined = (factor * next[column] - before) / (factor - 1.0);
                let change = (refined - next[column]).abs().max((refined - before).abs());
                if change < error {
                    (best, error) = (refined, change);
                }
                next.push(refined);
            }
            row = next;
        }
        best
    }

    /// From virtual work: the force on the ground, and what it takes from the chain.
    fn anti_squat(&self, stroke: f64, cog: usize) -> f64 {
        let moment = self.oracle.at(stroke);
        let bicycle = &self.layout.bicycle;
        let [rear, front] = self.ground(&moment).contacts;
        let wheelbase = distance(rear, front);
        let forward = (front - rear) * (1.0 / wheelbase);
        let velocity = self.oracle.velocity(&moment, self.axle_slot());
        let gear = bicycle.rear_wheel_radius / pitch_radius(bicycle.cassette_teeth[cog]);
        let work = forward.dot(velocity) - gear * self.growth_rate(stroke, cog);
        let transfer = self.mass_height(&moment) / wheelbase;
        -100.0 * work / (transfer * forward.cross(velocity))
    }

    /// Anti-squat as drawn; `None` with an idler on a moving body, where it is not valid.
    pub fn drawn_anti_squat(&self, stroke: f64, cog: usize) -> Option<f64> {
        if let Some(idler) = self.layout.bicycle.idler {
            let frame = &self.layout.mechanism.bodies[self.layout.mechanism.frame.index()];
            if !frame.points.contains(&idler.point) {
                return None;
            }
        }
        let moment = self.oracle.at(stroke);
        let centre = self.instant_centre(&moment, self.layout.mechanism.axle_body.index());
        let contacts = self.ground(&moment).contacts;
        let run = self.runs(&moment, cog)[0];
        let height = drawn_anti_squat(contacts, self.axle(&moment), centre, run);
        Some(100.0 * height / self.mass_height(&moment))
    }

    /// Pole of a body that carries the axle, or of a wheel turning with `body`.
    fn instant_centre(&self, moment: &Moment, body: usize) -> Flat {
        let (axle, velocity) = (
            self.axle(moment),
            self.oracle.velocity(moment, self.axle_slot()),
        );
        let turning = self.oracle.angular_velocity(moment, body);
        [
            axle.x * turning - velocity.y,
            axle.y * turning + velocity.x,
            turning,
        ]
    }

    /// Instant centre of the axle's body, or at infinity.
    pub fn axle_body_centre(&self, stroke: f64) -> Option<Point<f64>> {
        let moment = self.oracle.at(stroke);
        let [x, y, w] = self.instant_centre(&moment, self.layout.mechanism.axle_body.index());
        (w != 0.0).then(|| Point::new(x / w, y / w))
    }

    fn anti_rise(&self, moment: &Moment) -> f64 {
        let [rear, front] = self.ground(moment).contacts;
        let pole = self.instant_centre(moment, self.layout.mechanism.brake_body.index());
        100.0 * height_at_front(rear, front, pole) / self.mass_height(moment)
    }

    fn head_angle(&self, moment: &Moment) -> f64 {
        let [rear, front] = self.ground(moment).contacts;
        let steering = self.layout.bicycle.head_angle.to_radians();
        let axis = Vector::new(-steering.cos(), steering.sin());
        let backward = rear - front;
        // Clockwise from the ground's backward direction up to the axis.
        let angle = -backward.cross(axis).atan2(backward.dot(axis));
        angle.to_degrees()
    }

    /// The value of a curve at `stroke` mm.
    pub fn value(&self, curve: Curve, stroke: f64, cog: usize) -> f64 {
        let moment = self.oracle.at(stroke);
        let top = self.oracle.at(0.0);
        let axle = self.axle(&moment);
        let centre = Point::new(0.0, 0.0);
        let ring = pitch_radius(self.layout.bicycle.chainring_teeth);
        match curve {
            Curve::Travel => self.travel(&moment),
            Curve::Stroke => stroke,
            Curve::LeverageRate => self.oracle.velocity(&moment, self.axle_slot()).y,
            Curve::AxleX => axle.x,
            Curve::AxleY => axle.y,
            Curve::RearCentre => distance(axle, centre),
            Curve::RearCentreGrowth => distance(axle, centre) - distance(self.axle(&top), centre),
            Curve::AntiSquat => self.anti_squat(stroke, cog),
            Curve::AntiRise => self.anti_rise(&moment),
            Curve::ChainGrowth => self.growth(&moment, cog, 0.0),
            Curve::PedalKickback => (self.growth(&moment, cog, 0.0) / ring).to_degrees(),
            Curve::PedalKickbackBraked => {
                let brake = self.layout.mechanism.brake_body.index();
                let turned = self.oracle.angle(&moment, brake);
                (self.growth(&moment, cog, turned) / ring).to_degrees()
            }
            Curve::HeadAngle => self.head_angle(&moment),
            Curve::HeadAngleChange => self.head_angle(&moment) - self.head_angle(&top),
            Curve::BbHeight => self.height(&moment, centre),
            Curve::Wheelbase => {
                let [rear, front] = self.ground(&moment).contacts;
                distance(rear, front)
            }
            Curve::ForkCompression => self.ground(&moment).fork,
        }
    }
}
