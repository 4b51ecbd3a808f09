//! Labels at the ends of lines, moved apart where they would stand on one another.

/// Places for labels that would like to stand at `wanted`: at least `gap` apart, in the same
/// order, between `low` and `high` where they have room there.
pub(super) fn apart(wanted: &[f64], gap: f64, low: f64, high: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|&one, &other| wanted[one].total_cmp(&wanted[other]));
    let mut places = wanted.to_vec();
    let mut least = low;
    for &label in &order {
        places[label] = places[label].max(least);
        least = places[label] + gap;
    }
    let mut most = high;
    for &label in order.iter().rev() {
        places[label] = places[label].min(most);
        most = places[label] - gap;
    }
    places
}

#[cfg(test)]
mod tests {
    use super::apart;

    #[test]
    fn labels_keep_their_order_and_their_distance() {
        assert_eq!(
            apart(&[50.0, 10.0, 51.0], 10.0, 0.0, 100.0),
            [50.0, 10.0, 60.0]
        );
        assert_eq!(apart(&[99.0, 98.0], 10.0, 0.0, 100.0), [100.0, 90.0]);
        assert_eq!(apart(&[-5.0], 10.0, 0.0, 100.0), [0.0]);
    }
}
