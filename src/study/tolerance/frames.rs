//! Frames as built: every hole, the shock and the centre of mass drawn from their scatter.

use super::lattice::Lattice;
use crate::input::{Distribution, Layout, Scatter};
use crate::mechanism::{Assembly, Fitting};
use crate::number::{LANES, Lanes, Scalar, Vector};

/// Rounds in which parts are put together: each leaves a few hundredths of the error at most.
const ROUNDS: usize = 8;

/// Everything that is off in frames, in one unit of scatter.
#[derive(Clone, Debug)]
pub(super) struct Frames<'a> {
    pub assembly: &'a Assembly,
    lattice: Lattice,
    /// Radius of every hole, mm.
    pub radii: Vec<f64>,
    pub eye_to_eye: f64,
    pub stroke: f64,
    full_stroke: f64,
    /// Middle and half width of the shift of the centre of mass.
    pub mass: Option<[(f64, f64); 2]>,
    normal: bool,
}

/// Eight frames.
#[derive(Clone, Debug)]
pub(super) struct Eight {
    /// Offset of every hole, mm.
    pub offsets: Vec<Vector<Lanes>>,
    /// What the shock is longer by than drawn, mm.
    pub longer: Lanes,
    /// Full stroke, mm.
    pub stroke: Lanes,
    pub mass_shift: Option<Vector<Lanes>>,
    pub fitting: Fitting<Lanes>,
}

impl<'a> Frames<'a> {
    pub fn new(layout: &Layout, assembly: &'a Assembly, scatter: &Scatter, seed: u64) -> Self {
        let mechanism = &layout.mechanism;
        let radius = |hole: &crate::mechanism::Hole| {
            let body = &mechanism.bodies[hole.body.index()].name;
            scatter.radius(body, &mechanism.points[hole.point.index()].name)
        };
        let radii: Vec<f64> = assembly.holes().iter().map(radius).collect();
        let drawn = layout.bicycle.centre_of_mass;
        let mass = scatter.centre_of_mass.map(|[x, y]| {
            [(x, drawn.x), (y, drawn.y)]
                .map(|((low, high), drawn)| (0.5 * (low + high) - drawn, 0.5 * (high - low)))
        });
        Self {
            lattice: Lattice::new(2 * radii.len() + 4, seed),
            assembly,
            radii,
            eye_to_eye: scatter.eye_to_eye,
            stroke: scatter.stroke,
            full_stroke: mechanism.shock.stroke,
            mass,
            normal: scatter.distribution == Distribution::Normal,
        }
    }

    pub fn room(&self) -> Eight {
        Eight {
            offsets: vec![Vector::zero(); self.radii.len()],
            longer: Lanes::from_f64(0.0),
            stroke: Lanes::from_f64(self.full_stroke),
            mass_shift: None,
            fitting: self.assembly.fitting(),
        }
    }

    /// Variance of a hole's coordinate of unit radius.
    pub fn hole_variance(&self) -> f64 {
        if self.normal { 1.0 / 9.0 } else { 0.25 }
    }

    /// Variance of a length with a scatter of one to both sides.
    pub fn length_variance(&self) -> f64 {
        if self.normal { 1.0 / 9.0 } else { 1.0 / 3.0 }
    }

    /// Draws the eight frames from number `first` on and puts them together; radii are those of
    /// `radii`, lengths times `factor`.
    pub fn build(&self, first: u32, radii: &[f64], factor: f64, eight: &mut Eight) {
        let read = |dimension: usize| -> [f64; LANES] {
            std::array::from_fn(|lane| {
                let index = first.wrapping_add(u32::try_from(lane).unwrap_or(0));
                self.lattice.coordinate(index, dimension)
            })
        };
        for (hole, offset) in eight.offsets.iter_mut().enumerate() {
            let (one, other) = (read(2 * hole), read(2 * hole + 1));
            let places: [(f64, f64); LANES] =
                std::array::from_fn(|lane| self.in_disc(one[lane], other[lane]));
            *offset = Vector::new(
                Lanes::from_lanes(|lane| places[lane].0 * radii[hole]),
                Lanes::from_lanes(|lane| places[lane].1 * radii[hole]),
            );
        }
        let next = 2 * self.radii.len();
        let (one, other) = (read(next), read(next + 1));
        let lengths: [(f64, f64); LANES] =
            std::array::from_fn(|lane| self.lengths(one[lane], other[lane]));
        eight.longer = Lanes::from_lanes(|lane| lengths[lane].0 * self.eye_to_eye * factor);
        eight.stroke =
            Lanes::from_lanes(|lane| self.full_stroke + lengths[lane].1 * self.stroke * factor);
        eight.mass_shift = self.mass.map(|[x, y]| {
            let (across, up) = (read(next + 2), read(next + 3));
            let shift = |(middle, half): (f64, f64), share: [f64; LANES]| {
                Lanes::from_lanes(|lane| middle + half * (2.0 * share[lane] - 1.0))
            };
            Vector::new(shift(x, across), shift(y, up))
        });
        self.assembly
            .fit(&eight.offsets, eight.longer, ROUNDS, &mut eight.fitting);
    }

    /// A place in a disc of radius one, from two numbers in (0, 1).
    fn in_disc(&self, one: f64, other: f64) -> (f64, f64) {
        let radius = if self.normal {
            // Box and Muller, the radius of one being three standard deviations.
            (-2.0 * libm::log(one)).sqrt() / 3.0
        } else {
            one.sqrt()
        };
        let (sine, cosine) = libm::sincos(std::f64::consts::TAU * other);
        (radius * cosine, radius * sine)
    }

    /// Two lengths off by one at most, or of three standard deviations of one.
    fn lengths(&self, one: f64, other: f64) -> (f64, f64) {
        if self.normal {
            self.in_disc(one, other)
        } else {
            (2.0 * one - 1.0, 2.0 * other - 1.0)
        }
    }
}
