//! From the variables of a search to the points of a candidate.

use crate::input::{Axis, Brief, FreePlace, FreePoint, PointId, ShockSize};
use crate::number::{Point, Scalar, Vector};
use crate::optimise::Interval;

/// One free coordinate.
#[derive(Clone, Debug)]
pub struct Variable {
    /// Point and coordinate, such as `main_pivot.x` or `shock_frame.angle`.
    pub name: String,
    /// The point that it moves.
    pub point: PointId,
    /// Its bounds: mm, or degrees for an angle.
    pub bounds: Interval,
    /// Distance in mm that the point moves per unit.
    pub reach: f64,
}

/// Where a coordinate comes from.
#[derive(Clone, Copy, Debug)]
enum Source {
    Variable(usize),
    Constant(f64),
}

/// How one point is placed; earlier ones stand already.
#[derive(Clone, Copy, Debug)]
enum Placing {
    /// By coordinates, absolute or from another point.
    Coordinates {
        from: Option<usize>,
        x: Source,
        y: Source,
    },
    /// At the shock's length from `about`, in a direction that is a variable.
    Direction { about: usize, angle: usize },
    /// At the shock's length from `about`, at a given `x` (absolute or from another point),
    /// above it or below.
    AtX {
        about: usize,
        from: Option<usize>,
        x: f64,
        above: bool,
    },
    /// The same at a given `y`, ahead or behind.
    AtY {
        about: usize,
        from: Option<usize>,
        y: f64,
        ahead: bool,
    },
}

/// A box that a placed shock end has to lie in, since its length decides where it is.
#[derive(Clone, Copy, Debug)]
pub(super) struct EndBox {
    pub point: usize,
    pub from: Option<usize>,
    pub x: Interval,
    pub y: Interval,
}

/// Everything needed to turn variables into points, for one size of shock.
#[derive(Clone, Debug)]
pub struct Construction {
    drawn: Vec<Point<f64>>,
    placings: Vec<(usize, Placing)>,
    variables: Vec<Variable>,
    size: ShockSize,
    end_box: Option<EndBox>,
}

impl Construction {
    /// The construction that `brief` describes, with a shock of `size`.
    #[must_use]
    pub fn new(brief: &Brief, size: ShockSize) -> Self {
        let points = &brief.layout.mechanism.points;
        let mut construction = Self {
            drawn: points.iter().map(|point| point.position).collect(),
            placings: Vec::new(),
            variables: Vec::new(),
            size,
            end_box: None,
        };
        let constructed = brief.constructed_end();
        for index in brief.placing_order() {
            let free = &brief.free[index];
            let name = &points[free.point.index()].name;
            match constructed.filter(|(end, _)| *end == free.point) {
                Some((_, about)) => construction.place_end(name, free, about),
                None => construction.place_coordinates(name, free),
            }
        }
        construction
    }

    fn variable(&mut self, name: String, point: PointId, bounds: Interval, reach: f64) -> usize {
        self.variables.push(Variable {
            name,
            point,
            bounds,
            reach,
        });
        self.variables.len() - 1
    }

    fn source(&mut self, name: &str, axis: &str, point: PointId, value: Axis) -> Source {
        match value {
            Axis::Drawn(value) => Source::Constant(value),
            Axis::Free { low, high } => {
                let bounds = Interval::new(low, high);
                Source::Variable(self.variable(format!("{name}.{axis}"), point, bounds, 1.0))
            }
        }
    }

    fn place_coordinates(&mut self, name: &str, free: &FreePoint) {
        let FreePlace::Cartesian { x, y } = free.place else {
            return;
        };
        let x = self.source(name, "x", free.point, x);
        let y = self.source(name, "y", free.point, y);
        let from = free.from.map(PointId::index);
        self.placings
            .push((free.point.index(), Placing::Coordinates { from, x, y }));
    }

    /// Places a shock end by the shock's length about the other end.
    fn place_end(&mut self, name: &str, free: &FreePoint, about: PointId) {
        let from = free.from.map(PointId::index);
        let (point, about) = (free.point.index(), about.index());
        let placing = match free.place {
            FreePlace::Angle { low, high } => {
                self.direction(name, free.point, about, Interval::new(low, high))
            }
            FreePlace::Cartesian {
                x: Axis::Drawn(x),
                y,
            } => {
                let above = middle(y) + self.origin(from).y > self.drawn[about].y;
                self.end_box = Some(end_box(point, from, Axis::Drawn(x), y));
                Placing::AtX {
                    about,
                    from,
                    x,
                    above,
                }
            }
            FreePlace::Cartesian {
                x,
                y: Axis::Drawn(y),
            } => {
                let ahead = middle(x) + self.origin(from).x > self.drawn[about].x;
                self.end_box = Some(end_box(point, from, x, Axis::Drawn(y)));
                Placing::AtY {
                    about,
                    from,
                    y,
                    ahead,
                }
            }
            FreePlace::Cartesian { x, y } => {
                let end_box = end_box(point, from, x, y);
                let directions = self.directions(&end_box, about);
                self.end_box = Some(end_box);
                self.direction(name, free.point, about, directions)
            }
        };
        self.placings.push((point, placing));
    }

    fn direction(&mut self, name: &str, point: PointId, about: usize, bounds: Interval) -> Placing {
        let reach = self.size.eye_to_eye * 1f64.to_radians();
        let angle = self.variable(format!("{name}.angle"), point, bounds, reach);
        Placing::Direction { about, angle }
    }

    fn origin(&self, from: Option<usize>) -> Point<f64> {
        from.map_or(Point::new(0.0, 0.0), |from| self.drawn[from])
    }

    /// All directions in degrees from where `about` may be to where the box may be.
    fn directions(&self, end_box: &EndBox, about: usize) -> Interval {
        let [about_x, about_y] = self.extent(about);
        let [from_x, from_y] = match end_box.from {
            Some(from) => self.extent(from),
            None => [Interval::new(0.0, 0.0); 2],
        };
        let span = |own: Interval, from: Interval, about: Interval| {
            Interval::new(
                own.lower + from.lower - about.upper,
                own.upper + from.upper - about.lower,
            )
        };
        let x = span(end_box.x, from_x, about_x);
        let y = span(end_box.y, from_y, about_y);
        let centre = Vector::new(x.lower + x.upper, y.lower + y.upper);
        let middle = libm::atan2(centre.y, centre.x).to_degrees();
        if x.lower <= 0.0 && x.upper >= 0.0 && y.lower <= 0.0 && y.upper >= 0.0 {
            return Interval::new(middle - 180.0, middle + 180.0);
        }
        let corners = [x.lower, x.upper].into_iter().flat_map(|x| {
            [y.lower, y.upper].map(|y| {
                let corner = Vector::new(x, y);
                libm::atan2(centre.cross(corner), centre.dot(corner)).to_degrees()
            })
        });
        let (low, high) = corners.fold((0.0_f64, 0.0_f64), |(low, high), turn| {
            (low.min(turn), high.max(turn))
        });
        Interval::new(middle + low, middle + high)
    }

    /// The box in which a point may lie, by interval arithmetic along its placings.
    fn extent(&self, point: usize) -> [Interval; 2] {
        let fixed = |value: f64| Interval::new(value, value);
        let placing = self.placings.iter().find(|(placed, _)| *placed == point);
        let Some((_, placing)) = placing else {
            return [fixed(self.drawn[point].x), fixed(self.drawn[point].y)];
        };
        let length = self.size.eye_to_eye;
        let widen = |extent: Interval| Interval::new(extent.lower - length, extent.upper + length);
        match *placing {
            Placing::Coordinates { from, x, y } => {
                let [from_x, from_y] =
                    from.map_or([fixed(0.0), fixed(0.0)], |from| self.extent(from));
                [self.span(x, from_x), self.span(y, from_y)]
            }
            Placing::Direction { about, .. }
            | Placing::AtX { about, .. }
            | Placing::AtY { about, .. } => self.extent(about).map(widen),
        }
    }

    fn span(&self, source: Source, from: Interval) -> Interval {
        let own = match source {
            Source::Constant(value) => Interval::new(value, value),
            Source::Variable(index) => self.variables[index].bounds,
        };
        Interval::new(own.lower + from.lower, own.upper + from.upper)
    }

    /// The free coordinates, in the order of `x`.
    #[must_use]
    pub fn variables(&self) -> &[Variable] {
        &self.variables
    }

    /// The size of the shock.
    #[must_use]
    pub fn size(&self) -> ShockSize {
        self.size
    }

    /// How far a shock end that its length places lies outside its box, in units of 5 mm as a
    /// limit's shortfall counts; zero inside.
    #[must_use]
    pub fn outside_box(&self, points: &[Point<f64>]) -> f64 {
        let Some(end) = self.end_box else { return 0.0 };
        let origin = end.from.map_or(Point::new(0.0, 0.0), |from| points[from]);
        let offset = points[end.point] - origin;
        let excess = end
            .x
            .excess(offset.x)
            .abs()
            .max(end.y.excess(offset.y).abs());
        if excess > super::assessment::ROUNDING {
            excess / super::limit_rows::UNIT
        } else {
            0.0
        }
    }

    pub(super) fn end_box(&self) -> Option<EndBox> {
        self.end_box
    }

    /// The points of the candidate with variables `x`, one number each.
    ///
    /// The shock's length holds within rounding. Where a placed end cannot be at that
    /// length (its margin is then negative) it is as near as can be.
    #[must_use]
    pub fn points<T: Scalar>(&self, x: &[T]) -> Vec<Point<T>> {
        let mut points = Vec::new();
        self.place_points(x, &mut points);
        points
    }

    /// The same, into memory of the caller.
    pub(super) fn place_points<T: Scalar>(&self, x: &[T], points: &mut Vec<Point<T>>) {
        points.clear();
        points.extend(self.drawn.iter().map(|&point| Point::constant(point)));
        for &(point, placing) in &self.placings {
            points[point] = self.place(placing, x, points);
        }
    }

    fn place<T: Scalar>(&self, placing: Placing, x: &[T], points: &[Point<T>]) -> Point<T> {
        let read = |source| match source {
            Source::Variable(index) => x[index],
            Source::Constant(value) => T::from_f64(value),
        };
        let origin = |from: Option<usize>| match from {
            Some(from) => points[from],
            None => Point::constant(Point::new(0.0, 0.0)),
        };
        let length = self.size.eye_to_eye;
        match placing {
            Placing::Coordinates { from, x, y } => origin(from) + Vector::new(read(x), read(y)),
            Placing::Direction { about, angle } => {
                let (sine, cosine) = (x[angle] * 1f64.to_radians()).sin_cos();
                points[about] + Vector::new(cosine * length, sine * length)
            }
            Placing::AtX {
                about,
                from,
                x,
                above,
            } => {
                let x = origin(from).x + x;
                let across = x - points[about].x;
                let rise = (-across.squared() + length * length).sqrt();
                Point::new(x, points[about].y + if above { rise } else { -rise })
            }
            Placing::AtY {
                about,
                from,
                y,
                ahead,
            } => {
                let y = origin(from).y + y;
                let up = y - points[about].y;
                let run = (-up.squared() + length * length).sqrt();
                Point::new(points[about].x + if ahead { run } else { -run }, y)
            }
        }
    }

    /// The variables that give these points, as far as the construction can give them: the
    /// inverse of [`Construction::points`].
    #[must_use]
    pub fn variables_of(&self, points: &[Point<f64>]) -> Vec<f64> {
        let mut x = vec![0.0; self.variables.len()];
        for &(point, placing) in &self.placings {
            match placing {
                Placing::Coordinates {
                    from,
                    x: across,
                    y: up,
                } => {
                    let origin = from.map_or(Point::new(0.0, 0.0), |from| points[from]);
                    let offset = points[point] - origin;
                    for (source, value) in [(across, offset.x), (up, offset.y)] {
                        if let Source::Variable(index) = source {
                            x[index] = value;
                        }
                    }
                }
                Placing::Direction { about, angle } => {
                    let line = points[point] - points[about];
                    let degrees = libm::atan2(line.y, line.x).to_degrees();
                    let bounds = self.variables[angle].bounds;
                    // The turn that lies in the bounds, or else nearest to their middle.
                    let middle = 0.5 * (bounds.lower + bounds.upper);
                    x[angle] = degrees + 360.0 * ((middle - degrees) / 360.0).round();
                }
                Placing::AtX { .. } | Placing::AtY { .. } => {}
            }
        }
        x
    }

    /// Whether the shock has its length; it has not where an end that keeps one drawn coordinate
    /// is out of its reach.
    #[must_use]
    pub fn reaches(&self, points: &[Point<f64>]) -> bool {
        self.margin(points) > 0.0
    }

    /// How far a shock end that keeps one drawn coordinate is from being out of the shock's
    /// reach, as a share of its squared length; 1 where there is none.
    pub(super) fn margin<T: Scalar>(&self, points: &[Point<T>]) -> T {
        let length_squared = self.size.eye_to_eye * self.size.eye_to_eye;
        for &(point, placing) in &self.placings {
            let offset = match placing {
                Placing::AtX { about, .. } => points[point].x - points[about].x,
                Placing::AtY { about, .. } => points[point].y - points[about].y,
                Placing::Coordinates { .. } | Placing::Direction { .. } => continue,
            };
            return -(offset.squared() / length_squared) + 1.0;
        }
        T::from_f64(1.0)
    }
}

fn middle(axis: Axis) -> f64 {
    match axis {
        Axis::Drawn(value) => value,
        Axis::Free { low, high } => 0.5 * (low + high),
    }
}

fn end_box(point: usize, from: Option<usize>, x: Axis, y: Axis) -> EndBox {
    let interval = |axis| match axis {
        // Held by construction, so there is nothing to limit.
        Axis::Drawn(_) => Interval::FREE,
        Axis::Free { low, high } => Interval::new(low, high),
    };
    EndBox {
        point,
        from,
        x: interval(x),
        y: interval(y),
    }
}
