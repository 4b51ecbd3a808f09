//! Starts: point k of a seeded stream of points, without the points before it.

use super::problem::Interval;
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// The point of the unit cube that `seed` and `index` name, written to `point`.
///
/// A pure function: each index seeds its own xoshiro256++ stream (Blackman and Vigna
/// 2021), so any thread can draw any start in any order. Coordinates lie in [0, 1) on a
/// grid of 2^-53.
pub fn unit_cube_point(seed: u64, index: u64, point: &mut [f64]) {
    // Seeding runs splitmix64 over the number, which spreads neighbouring indices; the
    // seed goes through it once first, so that (seed, index) and (seed + 1, index - 1)
    // are unrelated.
    let base = Xoshiro256PlusPlus::seed_from_u64(seed).next_u64();
    let mut stream = Xoshiro256PlusPlus::seed_from_u64(base ^ index.wrapping_mul(ODD));
    for coordinate in point {
        *coordinate = (stream.next_u64() >> 11) as f64 * GRID;
    }
}

/// 2^64 over the golden ratio, odd: multiplication by it permutes the 64-bit numbers.
const ODD: u64 = 0x9e37_79b9_7f4a_7c15;

/// 2^-53.
const GRID: f64 = 1.0 / 9_007_199_254_740_992.0;

/// Places `point` of the unit cube in the box `bounds`, in place.
///
/// An infinite end counts as `reach` beyond the other end, or beyond zero.
pub fn place(point: &mut [f64], bounds: &[Interval], reach: f64) {
    for (coordinate, bound) in point.iter_mut().zip(bounds) {
        let (lower, upper) = match (bound.lower.is_finite(), bound.upper.is_finite()) {
            (true, true) => (bound.lower, bound.upper),
            (true, false) => (bound.lower, bound.lower + reach),
            (false, true) => (bound.upper - reach, bound.upper),
            (false, false) => (-reach, reach),
        };
        *coordinate = bound.clamp(lower + *coordinate * (upper - lower));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn generator_is_the_published_one() {
        // Blackman and Vigna; values recomputed twice (check data, sampling_hypervolume).
        let mut stream = Xoshiro256PlusPlus::seed_from_u64(42);
        assert_eq!(stream.next_u64(), 15_021_278_609_987_233_951);
        assert_eq!(stream.next_u64(), 5_881_210_131_331_364_753);
    }

    #[test]
    fn a_start_depends_on_seed_and_index_alone() {
        let draw = |seed, index| {
            let mut point = [0.0; 6];
            unit_cube_point(seed, index, &mut point);
            point.map(f64::to_bits)
        };
        assert_eq!(draw(7, 12), draw(7, 12));
        assert_ne!(draw(7, 12), draw(7, 13));
        assert_ne!(draw(7, 12), draw(8, 12));
        assert_ne!(draw(7, 12), draw(8, 11));
    }

    #[test]
    fn points_fill_the_cube_evenly() {
        let mut counts = [[0_u32; 10]; 4];
        let mut point = [0.0; 4];
        for index in 0..10_000 {
            unit_cube_point(1, index, &mut point);
            for (count, coordinate) in counts.iter_mut().zip(point) {
                let cell = (0..10).filter(|cell| coordinate >= f64::from(*cell) / 10.0);
                count[cell.count() - 1] += 1;
            }
        }
        // Six standard deviations of a binomial count of mean 1000.
        for count in counts.iter().flatten() {
            assert!(count.abs_diff(1000) < 180, "{counts:?}");
        }
    }
}
