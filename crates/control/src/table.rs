//! A value along a fixed list of points.

/// The value at `x`, linear between points of rising first entry and held at both ends. NaN gives the first value.
pub(crate) fn along(points: &[(f32, f32)], x: f32) -> f32 {
    let mut before: Option<(f32, f32)> = None;
    for &(point, value) in points {
        let Some((low, low_value)) = before else {
            if x.is_nan() || x <= point {
                return value;
            }
            before = Some((point, value));
            continue;
        };
        if x < point {
            return low_value + (x - low) / (point - low) * (value - low_value);
        }
        before = Some((point, value));
    }
    before.map_or(0.0, |(_, value)| value)
}

#[cfg(test)]
mod tests {
    use super::along;

    #[test]
    fn it_passes_through_its_points_and_holds_its_ends() {
        let points = [(1.0, 10.0), (2.0, 20.0), (4.0, 0.0)];
        assert_eq!(
            [0.0, 1.0, 1.5, 2.0, 3.0, 4.0, 9.0].map(|x| along(&points, x)),
            [10.0, 10.0, 15.0, 20.0, 10.0, 0.0, 0.0]
        );
        assert_eq!(along(&points, f32::NAN), 10.0);
    }
}
