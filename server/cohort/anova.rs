//! One-way analysis of variance (NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.3.4).

use super::double2::{Double2, Steps};
use super::{CohortError, count, finite};

/// Table of a one-way analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWay {
    /// Degrees of freedom between groups.
    pub df_between: usize,
    /// Degrees of freedom within groups.
    pub df_within: usize,
    /// Sum of squares between groups, in the square of the unit.
    pub ss_between: f64,
    /// Sum of squares within groups.
    pub ss_within: f64,
    /// Mean square between groups.
    pub ms_between: f64,
    /// Mean square within groups.
    pub ms_within: f64,
    /// Ratio of the mean squares; none where nothing varies within the groups.
    pub f: Option<f64>,
    /// Share of the sum of squares that lies between groups; none where nothing varies.
    pub r_squared: Option<f64>,
    /// Standard deviation within groups.
    pub residual_sd: f64,
}

/// The analysis of values as typed: 1000000000000.4 counts as that decimal, which is not a double.
///
/// # Errors
/// Fewer than two groups, an empty group, no group with two values, a value that is no finite number.
pub fn one_way(groups: &[Vec<f64>]) -> Result<OneWay, CohortError> {
    analysed(groups, Steps::typed)
}

/// The analysis of the doubles that the values are stored as, exactly.
///
/// # Errors
/// As [`one_way`].
pub fn one_way_of_doubles(groups: &[Vec<f64>]) -> Result<OneWay, CohortError> {
    analysed(groups, Steps::doubles)
}

fn analysed(groups: &[Vec<f64>], reading: fn(&[f64]) -> Steps) -> Result<OneWay, CohortError> {
    let all: Vec<f64> = groups.concat();
    finite("value", &all)?;
    if groups.len() < 2 {
        return Err(CohortError::TooFew {
            what: "groups",
            needed: 2,
            given: groups.len(),
        });
    }
    if let Some(at) = groups.iter().position(Vec::is_empty) {
        return Err(CohortError::WrongLayout(format!("group {} has no value", at + 1)));
    }
    let df_within = all.len() - groups.len();
    if df_within == 0 {
        return Err(CohortError::WrongLayout(
            "every group has one value only, so that nothing says how values vary within a group".to_owned(),
        ));
    }
    let steps = reading(&all);
    let sums = group_sums(groups, &steps.steps);
    let (between, within) = (between(&sums, all.len()), within(&sums));
    Ok(table(
        groups.len() - 1,
        df_within,
        steps.squared(between),
        steps.squared(within),
    ))
}

/// Number of values, their sum, and the number times the sum of squares about their mean.
type GroupSums = (Double2, Double2, Double2);

fn group_sums(groups: &[Vec<f64>], steps: &[Double2]) -> Vec<GroupSums> {
    let mut rest = steps;
    groups
        .iter()
        .map(|group| {
            let (own, others) = rest.split_at(group.len());
            rest = others;
            let n = Double2::count(group.len());
            let sum = Double2::total(own.iter().copied());
            let squares = Double2::total(own.iter().map(|v| v.square()));
            (n, sum, n.times(squares).minus(sum.square()))
        })
        .collect()
}

/// Sum over pairs of groups of n m (mean difference)^2 / N: the same as the sum of n (mean - grand mean)^2, but without
/// a difference of large sums, and exactly zero where the means are equal.
fn between(sums: &[GroupSums], all: usize) -> Double2 {
    let mut total = Double2::ZERO;
    for (i, (n, a, _)) in sums.iter().enumerate() {
        for (m, b, _) in &sums[i + 1..] {
            let difference = m.times(*a).minus(n.times(*b));
            if !difference.is_zero() {
                total = total.plus(difference.square().over(n.times(*m)));
            }
        }
    }
    total.over(Double2::count(all))
}

fn within(sums: &[GroupSums]) -> Double2 {
    Double2::total(sums.iter().map(|(n, _, squares)| squares.over(*n)))
}

fn table(df_between: usize, df_within: usize, between: Double2, within: Double2) -> OneWay {
    let (ms_between, ms_within) = (
        between.over(Double2::count(df_between)),
        within.over(Double2::count(df_within)),
    );
    let total = between.plus(within);
    let ratio = |a: Double2, b: Double2| (!b.is_zero()).then(|| a.over(b).value()).filter(|r| r.is_finite());
    OneWay {
        df_between,
        df_within,
        ss_between: between.value(),
        ss_within: within.value(),
        ms_between: ms_between.value(),
        ms_within: ms_within.value(),
        f: ratio(ms_between, ms_within),
        r_squared: ratio(between, total),
        residual_sd: (within.value() / count(df_within)).max(0.0).sqrt(),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn nothing_varies_means_no_ratio() {
        let table = one_way(&[vec![12.503, 12.503], vec![12.503, 12.503]]).unwrap();
        assert_eq!((table.f, table.r_squared), (None, None));
        // Group means are equal in decimal: F is 0, not a rest of rounding.
        let table = one_way(&[vec![0.1, 0.3], vec![0.2, 0.2], vec![0.15, 0.25]]).unwrap();
        assert_eq!(table.f, Some(0.0));
    }

    #[test]
    fn what_is_no_layout_is_refused() {
        for groups in [
            vec![vec![1.0, 2.0]],
            vec![vec![1.0], vec![2.0]],
            vec![vec![1.0, 2.0], vec![]],
            vec![],
        ] {
            assert!(one_way(&groups).is_err(), "{groups:?}");
        }
        assert_eq!(
            one_way(&[vec![1.0, f64::NAN], vec![1.0]]).unwrap_err().to_string(),
            "value 2 is NaN; it must be a finite number"
        );
    }

    proptest! {
        /// F does not see order, unit or origin, even one of 10^9.
        #[test]
        fn the_ratio_does_not_change(values in prop::collection::vec(prop::collection::vec(-500_i32..500, 2..6), 2..6), turn in 0_usize..6) {
            let groups = |f: &dyn Fn(i32) -> f64| values.iter().map(|g| g.iter().map(|v| f(*v)).collect()).collect::<Vec<Vec<f64>>>();
            let plain = one_way(&groups(&|v| f64::from(v))).unwrap();
            let mut moved = groups(&|v| (1_000_000_000_000_i64 + i64::from(v)).to_string().parse::<f64>().unwrap() / 1000.0);
            moved.rotate_left(turn % values.len());
            let other = one_way(&moved).unwrap();
            prop_assert_eq!(plain.f.is_some(), other.f.is_some());
            if let (Some(a), Some(b)) = (plain.f, other.f) {
                prop_assert!((a - b).abs() <= 1e-13 * a, "{} {}", a, b);
            }
        }
    }
}
