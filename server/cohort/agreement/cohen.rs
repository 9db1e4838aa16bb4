//! Agreement of two readers (J. Cohen, Educational and Psychological Measurement 20, 1960, 37-46; weighted: Psychological
//! Bulletin 70, 1968, 213-220).

use super::number;
use crate::cohort::CohortError;

/// Cohen's kappa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cohen {
    /// Number of things that both readers judged.
    pub n: u64,
    /// Share on which they agree.
    pub observed: f64,
    /// Share expected by chance.
    pub expected: f64,
    /// Kappa; none where chance alone must agree.
    pub kappa: Option<f64>,
    /// Standard error under the hypothesis of no agreement beyond chance.
    pub standard_error: Option<f64>,
    /// With disagreements weighted by their distance in categories.
    pub linear: Option<f64>,
    /// With disagreements weighted by the square of that.
    pub quadratic: Option<f64>,
}

/// Kappa of a square table of counts, first reader down, second across.
///
/// # Errors
/// A table that is not square, or empty.
pub fn cohen(table: &[Vec<u64>]) -> Result<Cohen, CohortError> {
    let k = table.len();
    if let Some(at) = table.iter().position(|row| row.len() != k) {
        return Err(CohortError::WrongLayout(format!(
            "row {} has {} counts of {k} categories: the table must be square",
            at + 1,
            table[at].len()
        )));
    }
    let rows: Vec<u128> = table
        .iter()
        .map(|row| row.iter().map(|c| u128::from(*c)).sum())
        .collect();
    let columns: Vec<u128> = (0..k)
        .map(|j| table.iter().map(|row| u128::from(row[j])).sum())
        .collect();
    let n: u128 = rows.iter().sum();
    let Some(n) = u64::try_from(n).ok().filter(|n| *n > 0) else {
        return Err(CohortError::TooFew {
            what: "judged things",
            needed: 1,
            given: 0,
        });
    };
    let same: u128 = (0..k).map(|i| u128::from(table[i][i])).sum();
    let all = u128::from(n);
    // In whole numbers: n^2 pe, and n^2 po. They are equal exactly when they are equal.
    let too_many = || CohortError::WrongLayout("the counts are too large".to_owned());
    let by_chance = rows
        .iter()
        .zip(&columns)
        .try_fold(0_u128, |sum, (r, c)| sum.checked_add(r.checked_mul(*c)?))
        .ok_or_else(too_many)?;
    let square = all * all;
    let share = |count: u128| number(count) / number(square);
    let expected = share(by_chance);
    let margins = |i: usize, j: usize| number(rows[i]) / number(all) * (number(columns[j]) / number(all));
    let kappa = (by_chance < square).then(|| {
        let (more, less) = (same * all, by_chance);
        let excess = if more >= less {
            number(more - less)
        } else {
            -number(less - more)
        };
        excess / number(square - by_chance)
    });
    let weighted = |weight: &dyn Fn(f64) -> f64| weighted(table, &margins, number(all), weight);
    Ok(Cohen {
        n,
        observed: share(same * all),
        expected,
        kappa,
        standard_error: kappa.map(|_| standard_error(&rows, &columns, number(all), expected)),
        linear: weighted(&|d| d),
        quadratic: weighted(&|d| d * d),
    })
}

/// J. L. Fleiss, J. Cohen and B. S. Everitt, Psychological Bulletin 72, 1969, 323-327:
/// sqrt(pe + pe^2 - sum p_i q_i (p_i + q_i)) / ((1 - pe) sqrt(n)).
fn standard_error(rows: &[u128], columns: &[u128], n: f64, expected: f64) -> f64 {
    let margins: f64 = rows
        .iter()
        .zip(columns)
        .map(|(r, c)| (number(*r) / n, number(*c) / n))
        .map(|(p, q)| p * q * (p + q))
        .sum();
    (expected + expected * expected - margins).max(0.0).sqrt() / ((1.0 - expected) * n.sqrt())
}

/// 1 - observed over expected disagreement.
fn weighted(
    table: &[Vec<u64>],
    margins: &dyn Fn(usize, usize) -> f64,
    n: f64,
    weight: &dyn Fn(f64) -> f64,
) -> Option<f64> {
    let (mut observed, mut expected) = (0.0, 0.0);
    for (i, row) in table.iter().enumerate() {
        for (j, cell) in row.iter().enumerate() {
            let w = weight(crate::cohort::count(i.abs_diff(j)));
            observed += w * number((*cell).into()) / n;
            expected += w * margins(i, j);
        }
    }
    (expected > 0.0).then(|| 1.0 - observed / expected)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chance_alone_leaves_kappa_undefined() {
        let found = cohen(&[vec![12, 0], vec![0, 0]]).unwrap();
        assert_eq!((found.kappa, found.standard_error, found.linear), (None, None, None));
        // Independent readers: kappa is 0 to the last digit.
        let found = cohen(&[vec![6, 14], vec![21, 49]]).unwrap();
        assert_eq!(found.kappa, Some(0.0));
    }

    #[test]
    fn exchanged_readers_agree_as_well() {
        let table = [vec![5_u64, 2, 1], vec![0, 7, 3], vec![4, 1, 9]];
        let turned: Vec<Vec<u64>> = (0..3).map(|j| table.iter().map(|row| row[j]).collect()).collect();
        let (a, b) = (cohen(&table).unwrap(), cohen(&turned).unwrap());
        for (a, b) in [
            (a.kappa, b.kappa),
            (a.linear, b.linear),
            (a.standard_error, b.standard_error),
        ] {
            assert!((a.unwrap() - b.unwrap()).abs() < 1e-15);
        }
    }

    #[test]
    fn what_is_no_table_is_refused() {
        assert!(cohen(&[]).is_err());
        assert!(cohen(&[vec![0, 0], vec![0, 0]]).is_err());
        assert!(cohen(&[vec![1, 2], vec![3]]).is_err());
        assert!(cohen(&[vec![u64::MAX, u64::MAX], vec![1, 1]]).is_err());
    }
}
