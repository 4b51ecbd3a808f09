//! Evenly spread points of a cube of many dimensions.
//!
//! An extensible rank-1 lattice in base 2: point `i` has the coordinates `frac(phi(i) z_d + s_d)`
//! with `phi` the radical inverse (the bits of `i` mirrored) and `s` a random shift, so that
//! every first `2^m` points are a shifted lattice (Cools, Kuo and Nuyens, *Constructing embedded
//! lattice rules for multivariate integration*, SIAM J. Sci. Comput. 28, 2006). The generating
//! vector is theirs for up to 2^20 points, from memory; a test holds the evenness of its pairs of
//! coordinates against random points, since no number looked at depends on many holes at once. Whole numbers of 32 bits make it the same bits everywhere.

use crate::optimise::unit_cube_point;

/// Most points that are all different.
pub const MOST: u64 = 1 << 20;

const GENERATOR: [u32; 64] = [
    1, 182_667, 469_891, 498_753, 110_745, 446_247, 250_185, 118_627, 245_333, 283_199, 408_519,
    391_023, 246_327, 126_539, 399_185, 461_527, 300_343, 69_681, 516_695, 436_179, 106_383,
    238_523, 413_283, 70_841, 47_719, 300_129, 113_029, 123_925, 410_745, 211_325, 17_489, 511_893,
    40_767, 186_077, 519_471, 255_369, 101_819, 243_573, 66_189, 152_143, 503_455, 113_217,
    132_603, 463_967, 297_717, 157_383, 224_015, 502_917, 36_237, 94_049, 170_665, 79_397, 123_963,
    223_451, 323_871, 303_633, 98_567, 318_855, 494_245, 477_137, 177_975, 64_483, 26_695, 88_779,
];

/// 2^-32.
const GRID: f64 = 1.0 / 4_294_967_296.0;

/// A shifted lattice in some number of dimensions.
#[derive(Clone, Debug)]
pub struct Lattice {
    generator: Vec<u32>,
    shift: Vec<u32>,
}

impl Lattice {
    /// The lattice in `dimensions` dimensions with the random shift of `seed`.
    #[must_use]
    pub fn new(dimensions: usize, seed: u64) -> Self {
        let mut shift = vec![0.0; dimensions];
        unit_cube_point(seed, 0, &mut shift);
        // Beyond the table any odd number serves: such dimensions are spread evenly by
        // themselves, and in pairs as well as random points.
        let odd = |dimension: usize| {
            let turned = (dimension as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
            (turned >> 33) as u32 | 1
        };
        Self {
            generator: (0..dimensions)
                .map(|d| GENERATOR.get(d).copied().unwrap_or_else(|| odd(d)))
                .collect(),
            shift: shift.into_iter().map(to_grid).collect(),
        }
    }

    /// Coordinate number `dimension` of point number `index`, in (0, 1).
    #[must_use]
    #[inline]
    pub fn coordinate(&self, index: u32, dimension: usize) -> f64 {
        let turned = index
            .reverse_bits()
            .wrapping_mul(self.generator[dimension])
            .wrapping_add(self.shift[dimension]);
        (f64::from(turned) + 0.5) * GRID
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn to_grid(coordinate: f64) -> u32 {
    (coordinate / GRID) as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Squared worst error of a mean over smooth periodic functions of two coordinates, over that
    /// of as many random points: `mean B2(x) B2(y)` over `B2(0)^2 / n`, the second Bernoulli
    /// polynomials of the coordinates.
    fn unevenness(lattice: &Lattice, points: u32, one: usize, other: usize) -> f64 {
        let bernoulli = |x: f64| x * x - x + 1.0 / 6.0;
        let read = |index: u32, dimension: usize| {
            let off = lattice.coordinate(index, dimension) - lattice.coordinate(0, dimension);
            bernoulli(off.rem_euclid(1.0))
        };
        let sum: f64 = (0..points).map(|i| read(i, one) * read(i, other)).sum();
        36.0 * sum
    }

    #[test]
    fn pairs_of_coordinates_are_far_more_even_than_random() {
        let lattice = Lattice::new(24, 3);
        for (power, most) in [(12, 0.1), (14, 0.05), (16, 0.01)] {
            let (mut sum, mut pairs) = (0.0, 0.0);
            for one in 0..24 {
                for other in 0..one {
                    sum += unevenness(&lattice, 1 << power, one, other);
                    pairs += 1.0;
                }
            }
            assert!(sum / pairs < most, "{power}: {}", sum / pairs);
        }
    }

    #[test]
    fn each_coordinate_alone_is_spread_evenly() {
        let lattice = Lattice::new(80, 7);
        for dimension in 0..80 {
            let mut seen = [0; 64];
            for index in 0..64 {
                let x = lattice.coordinate(index, dimension);
                let cell = (0..64).filter(|cell| x >= f64::from(*cell) / 64.0).count() - 1;
                seen[cell] += 1;
            }
            assert!(seen.iter().all(|&count| count == 1), "{dimension}");
        }
    }
}
