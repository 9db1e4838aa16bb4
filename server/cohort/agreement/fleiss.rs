//! Agreement of many readers (J. L. Fleiss, Psychological Bulletin 76, 1971, 378-382).

use super::number;
use crate::cohort::{CohortError, count};

/// Fleiss' kappa.
#[derive(Debug, Clone, PartialEq)]
pub struct Fleiss {
    /// Mean share of agreeing pairs of readers.
    pub observed: f64,
    /// Share expected by chance.
    pub expected: f64,
    /// Kappa; none where all readings are of one category.
    pub kappa: Option<f64>,
    /// Kappa of each category against all others; none where nobody or everybody chose it.
    pub categories: Vec<Option<f64>>,
}

/// Kappa of `counts[subject][category]`: how many readers put the subject into the category.
///
/// # Errors
/// No subjects, fewer than two readers, subjects with different numbers of readers or categories.
pub fn fleiss(counts: &[Vec<u64>]) -> Result<Fleiss, CohortError> {
    let readers = readers(counts)?;
    let (subjects, categories) = (counts.len(), counts[0].len());
    let column = |j: usize| counts.iter().map(move |row| u128::from(row[j]));
    let totals: Vec<u128> = (0..categories).map(|j| column(j).sum()).collect();
    let readings = count(subjects) * number(readers);
    let pairs = readings * (number(readers) - 1.0);
    let agreeing: u128 = counts
        .iter()
        .flatten()
        .map(|c| u128::from(*c) * u128::from(c.saturating_sub(1)))
        .sum();
    let observed = number(agreeing) / pairs;
    let expected: f64 = totals.iter().map(|t| (number(*t) / readings).powi(2)).sum();
    let varied = totals.iter().filter(|t| **t > 0).count() > 1;
    let of_category = |j: usize| {
        let share = number(totals[j]) / readings;
        let split: u128 = column(j).map(|c| c * (readers - c)).sum();
        (varied && totals[j] > 0).then(|| 1.0 - number(split) / (pairs * share * (1.0 - share)))
    };
    Ok(Fleiss {
        observed,
        expected,
        kappa: varied.then(|| (observed - expected) / (1.0 - expected)),
        categories: (0..categories).map(of_category).collect(),
    })
}

fn readers(counts: &[Vec<u64>]) -> Result<u128, CohortError> {
    let Some(first) = counts.first() else {
        return Err(CohortError::TooFew {
            what: "subjects",
            needed: 1,
            given: 0,
        });
    };
    let sum = |row: &[u64]| row.iter().map(|c| u128::from(*c)).sum::<u128>();
    let readers = sum(first);
    for (at, row) in counts.iter().enumerate() {
        if row.len() != first.len() || sum(row) != readers {
            return Err(CohortError::WrongLayout(format!(
                "subject {} has {} readings in {} categories, the first {readers} in {}: all must have the same number",
                at + 1,
                sum(row),
                row.len(),
                first.len()
            )));
        }
    }
    if !(2..=u128::from(u32::MAX)).contains(&readers) {
        return Err(CohortError::WrongLayout(format!(
            "{readers} readers for each subject; agreement needs two at least"
        )));
    }
    Ok(readers)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_readers_of_one_category_say_nothing() {
        let found = fleiss(&[vec![2, 0], vec![2, 0]]).unwrap();
        assert_eq!((found.kappa, found.categories), (None, vec![None, None]));
        let all = fleiss(&[vec![3, 0], vec![0, 3]]).unwrap();
        assert!((all.kappa.unwrap() - 1.0).abs() < 1e-15);
    }

    #[test]
    fn order_of_subjects_does_not_matter() {
        let mut counts = vec![vec![3, 1, 0], vec![0, 2, 2], vec![1, 1, 2], vec![4, 0, 0]];
        let plain = fleiss(&counts).unwrap();
        counts.rotate_left(1);
        assert!((fleiss(&counts).unwrap().kappa.unwrap() - plain.kappa.unwrap()).abs() < 1e-15);
    }

    #[test]
    fn what_is_no_table_is_refused() {
        for counts in [
            vec![],
            vec![vec![1, 0]],
            vec![vec![2, 0], vec![1, 0]],
            vec![vec![2, 0], vec![2]],
            vec![vec![]],
        ] {
            assert!(fleiss(&counts).is_err(), "{counts:?}");
        }
    }
}
