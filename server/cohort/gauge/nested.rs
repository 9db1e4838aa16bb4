//! Nested study in three levels: within a day, between days, between runs (NIST/SEMATECH e-Handbook of Statistical
//! Methods, 2.4.3 and 2.6.1).

use crate::cohort::double2::{Double2, Steps};
use crate::cohort::{CohortError, count, finite};

/// One day's measurements of one part in one run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NestedRow {
    /// Run.
    pub run: i64,
    /// Part.
    pub part: i64,
    /// Average of the day.
    pub average: f64,
    /// Standard deviation of the day.
    pub sd: f64,
}

/// Standard deviations of the levels; every day, part and run has the same weight.
#[derive(Debug, Clone, PartialEq)]
pub struct Nested {
    /// By run, in the order of their numbers: within days, and of daily averages about their run's (the latter none with
    /// one day).
    pub runs: Vec<(i64, f64, Option<f64>)>,
    /// Within days over all runs.
    pub within_days: f64,
    /// Of run averages about their part's; none with one run.
    pub between_runs: Option<f64>,
}

/// The three levels.
///
/// # Errors
/// No rows, negative standard deviations, numbers that are not finite, parts with different numbers of days or runs.
pub fn nested(rows: &[NestedRow]) -> Result<Nested, CohortError> {
    let averages: Vec<f64> = rows.iter().map(|r| r.average).collect();
    let sds: Vec<f64> = rows.iter().map(|r| r.sd).collect();
    finite("average", &averages)?;
    finite("standard deviation", &sds)?;
    if let Some(sd) = sds.iter().find(|sd| **sd < 0.0) {
        return Err(CohortError::OutOfRange {
            what: "a standard deviation",
            value: *sd,
            wanted: "zero or more",
        });
    }
    let steps = Steps::typed(&averages);
    let (runs, parts) = (distinct(rows, |r| r.run), distinct(rows, |r| r.part));
    let cells = cells(rows, &steps.steps, &runs, &parts)?;
    let in_units = |variance: Double2| steps.squared(variance).value().max(0.0);
    let pooled = |variances: &[f64]| (variances.iter().sum::<f64>() / count(variances.len())).sqrt();
    let of_runs = runs
        .iter()
        .zip(&cells)
        .map(|(run, cells)| {
            let own: Vec<f64> = rows.iter().filter(|r| r.run == *run).map(|r| r.sd * r.sd).collect();
            let between_days: Option<Vec<f64>> = cells.iter().map(|days| variance(days).map(in_units)).collect();
            (*run, pooled(&own), between_days.map(|v| pooled(&v)))
        })
        .collect();
    let of_parts: Option<Vec<f64>> = (0..parts.len())
        .map(|part| {
            let means: Vec<Double2> = cells.iter().map(|run| mean(&run[part])).collect();
            variance(&means).map(in_units)
        })
        .collect();
    let squares: Vec<f64> = sds.iter().map(|sd| sd * sd).collect();
    Ok(Nested {
        runs: of_runs,
        within_days: pooled(&squares),
        between_runs: of_parts.map(|v| pooled(&v)),
    })
}

fn distinct(rows: &[NestedRow], of: fn(&NestedRow) -> i64) -> Vec<i64> {
    let mut found: Vec<i64> = rows.iter().map(of).collect();
    found.sort_unstable();
    found.dedup();
    found
}

/// Daily averages by run and part.
type Cells = Vec<Vec<Vec<Double2>>>;

fn cells(rows: &[NestedRow], steps: &[Double2], runs: &[i64], parts: &[i64]) -> Result<Cells, CohortError> {
    let cell = |run: i64, part: i64| -> Vec<Double2> {
        let own = rows.iter().zip(steps).filter(|(r, _)| r.run == run && r.part == part);
        own.map(|(_, s)| *s).collect()
    };
    let cells: Cells = runs
        .iter()
        .map(|run| parts.iter().map(|part| cell(*run, *part)).collect())
        .collect();
    let days = cells.first().and_then(|run| run.first()).map_or(0, Vec::len);
    if days == 0 {
        return Err(CohortError::TooFew {
            what: "rows",
            needed: 1,
            given: rows.len(),
        });
    }
    for (run, of_run) in runs.iter().zip(&cells) {
        if let Some(at) = of_run.iter().position(|cell| cell.len() != days) {
            return Err(CohortError::WrongLayout(format!(
                "run {run}, part {}: {} days, the first has {days}: a nested study needs the same number everywhere",
                parts[at],
                of_run[at].len()
            )));
        }
    }
    Ok(cells)
}

fn mean(values: &[Double2]) -> Double2 {
    Double2::total(values.iter().copied()).over(Double2::count(values.len()))
}

/// Variance about their mean, n - 1; none with fewer than two.
fn variance(values: &[Double2]) -> Option<Double2> {
    let n = values.len();
    (n >= 2).then(|| {
        let sum = Double2::total(values.iter().copied());
        let squares = Double2::total(values.iter().map(|v| v.square()));
        let about_mean = Double2::count(n).times(squares).minus(sum.square());
        about_mean.over(Double2::count(n * (n - 1)))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(run: i64, part: i64, average: f64, sd: f64) -> NestedRow {
        NestedRow { run, part, average, sd }
    }

    #[test]
    fn by_hand() {
        // Two runs, one part, two days: run averages 2 and 5; daily averages 1, 3 and 4, 6, each pair with sd sqrt 2.
        let rows = [
            row(1, 7, 1.0, 0.3),
            row(1, 7, 3.0, 0.4),
            row(2, 7, 4.0, 0.0),
            row(2, 7, 6.0, 0.5),
        ];
        let found = nested(&rows).unwrap();
        let root_2 = std::f64::consts::SQRT_2;
        assert!((found.runs[0].1 - 0.125_f64.sqrt()).abs() < 1e-15);
        assert!((found.runs[1].2.unwrap() - root_2).abs() < 1e-15);
        assert!((found.between_runs.unwrap() - 4.5_f64.sqrt()).abs() < 1e-15);
        assert!((found.within_days - 0.125_f64.sqrt()).abs() < 1e-15);
        let one = nested(&rows[..1]).unwrap();
        assert_eq!((one.runs[0].2, one.between_runs), (None, None));
    }

    #[test]
    fn gaps_are_refused() {
        assert!(nested(&[]).is_err());
        assert!(nested(&[row(1, 1, 1.0, -0.1)]).is_err());
        let error = nested(&[row(1, 1, 1.0, 0.1), row(1, 2, 1.0, 0.1), row(2, 1, 1.0, 0.1)]).unwrap_err();
        assert_eq!(
            error.to_string(),
            "run 2, part 2: 0 days, the first has 1: a nested study needs the same number everywhere"
        );
    }
}
