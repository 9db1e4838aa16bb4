//! Deviations of form at the touches of a figure.
//!
//! Each pattern goes from -1/2 to +1/2, has no part that a least-squares figure could take up, and alternates as the
//! best figure of a minimum zone must, so that the form given is found exactly by either criterion and neither place
//! nor size is changed by it.

/// Signs that alternate from both ends to the middle: + - + or + - - +.
fn mirrored(count: usize) -> Vec<f64> {
    (0..count)
        .map(|i| {
            if i.min(count - 1 - i).is_multiple_of(2) {
                1.0
            } else {
                -1.0
            }
        })
        .collect()
}

fn centred(mut values: Vec<f64>) -> Vec<f64> {
    let count = values.iter().map(|_| 1.0).sum::<f64>();
    let mean = values.iter().sum::<f64>() / count.max(1.0);
    for v in &mut values {
        *v = (*v - mean) / 2.0;
    }
    values
}

/// Along a line: nothing where the points fix the line exactly.
pub(super) fn line(count: usize) -> Vec<f64> {
    if count < 3 {
        vec![0.0; count]
    } else {
        centred(mirrored(count))
    }
}

/// Around a circle of evenly spaced points: nothing where an odd number, or fewer than four, fixes no alternation.
pub(super) fn ring(count: usize) -> Vec<f64> {
    if count < 4 || !count.is_multiple_of(2) {
        return vec![0.0; count];
    }
    (0..count)
        .map(|i| if i.is_multiple_of(2) { 0.5 } else { -0.5 })
        .collect()
}

/// On a face, row by row: a saddle on four points, mirrored signs in the directions that have three and more.
pub(super) fn grid(rows: usize, columns: usize) -> Vec<f64> {
    if rows * columns < 4 {
        return vec![0.0; rows * columns];
    }
    if rows == 2 && columns == 2 {
        return vec![0.5, -0.5, -0.5, 0.5];
    }
    let along = |count: usize| if count < 3 { vec![1.0; count] } else { mirrored(count) };
    let (down, across) = (along(rows), along(columns));
    centred(down.iter().flat_map(|d| across.iter().map(move |a| d * a)).collect())
}

/// On two rings of a cylinder, one after the other.
pub(super) fn two_rings(count: usize) -> Vec<f64> {
    if count < 3 {
        return vec![0.0; 2 * count];
    }
    if count < 4 || !count.is_multiple_of(2) {
        // Rings of odd numbers: one ring large, one small, which no cylinder can follow.
        return [vec![0.5; count], vec![-0.5; count]].concat();
    }
    [ring(count), ring(count)].concat()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spread(values: &[f64]) -> f64 {
        let (low, high) = values
            .iter()
            .fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
        high - low
    }

    #[test]
    fn patterns_have_their_full_width_and_no_mean() {
        for pattern in [
            line(3),
            line(4),
            line(7),
            ring(4),
            ring(8),
            grid(2, 2),
            grid(2, 3),
            grid(3, 3),
            grid(3, 1),
            grid(2, 4),
        ] {
            if pattern.len() > 3 || pattern == line(3) {
                assert!((spread(&pattern) - 1.0).abs() < 1e-12, "{pattern:?}");
            }
            assert!(pattern.iter().sum::<f64>().abs() < 1e-12, "{pattern:?}");
        }
        assert_eq!(ring(3), vec![0.0; 3]);
        assert_eq!(line(2), vec![0.0; 2]);
        assert!((spread(&two_rings(3)) - 1.0).abs() < 1e-12);
    }

    /// No change of the figure, to first order, makes the zone of the pattern smaller, and least squares see none.
    #[track_caller]
    fn check_best(pattern: &[f64], columns: &[Vec<f64>]) {
        let mut sampler = crate::procedure::sampler::Sampler::new(9, "directions");
        for column in columns {
            let taken: f64 = column.iter().zip(pattern).map(|(c, w)| c * w).sum();
            assert!(taken.abs() < 1e-12, "{pattern:?}");
        }
        for _ in 0..2_000 {
            let change: Vec<f64> = columns.iter().map(|_| 0.2 * sampler.normal()).collect();
            let moved = pattern
                .iter()
                .enumerate()
                .map(|(i, w)| w - columns.iter().zip(&change).map(|(c, by)| c[i] * by).sum::<f64>());
            // The range is convex in the change: what no small change betters is the best.
            assert!(spread(&moved.collect::<Vec<_>>()) >= 1.0 - 1e-12, "{pattern:?}");
        }
    }

    #[test]
    fn patterns_are_those_of_the_best_figure() {
        let even = |n: usize| (0_u32..).map(f64::from).take(n);
        for n in 3..=9 {
            let middle = even(n).sum::<f64>() / even(n).map(|_| 1.0).sum::<f64>();
            check_best(&line(n), &[vec![1.0; n], even(n).map(|i| i - middle).collect()]);
        }
        for n in [4, 6, 8, 12] {
            let step = std::f64::consts::TAU / even(n).map(|_| 1.0).sum::<f64>();
            let round = |f: fn(f64) -> f64| even(n).map(|i| f(i * step)).collect::<Vec<f64>>();
            check_best(&ring(n), &[vec![1.0; n], round(f64::cos), round(f64::sin)]);
        }
        for (rows, columns) in [(2, 2), (2, 3), (2, 4), (3, 3), (3, 4), (2, 5), (4, 4), (1, 5)] {
            let n = rows * columns;
            let centred = |count: usize, i: usize| {
                let middle = even(count).sum::<f64>() / even(count).map(|_| 1.0).sum::<f64>();
                even(count).nth(i).unwrap() - middle
            };
            let u = (0..n).map(|i| centred(columns, i % columns)).collect();
            let v = (0..n).map(|i| centred(rows, i / columns)).collect();
            check_best(&grid(rows, columns), &[vec![1.0; n], u, v]);
        }
    }
}
