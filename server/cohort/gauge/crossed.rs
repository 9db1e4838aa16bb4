//! Crossed study by analysis of variance: balanced two-way random model (Automotive Industry Action Group, Measurement
//! Systems Analysis, 4th edition; R. K. Burdick, C. M. Borror, D. C. Montgomery, Journal of Quality Technology 35, 2003,
//! 342-354).

use super::components::{Components, Effect};
use crate::cohort::double2::{Double2, Steps};
use crate::cohort::tails::f_above;
use crate::cohort::{CohortError, finite};

/// Measurements of every part by every operator, with the same number of trials, two of each at least.
#[derive(Debug, Clone, PartialEq)]
pub struct CrossedStudy {
    /// By part, operator, trial, one after the other.
    pub(super) values: Vec<f64>,
    /// Number of parts.
    pub parts: usize,
    /// Number of operators.
    pub operators: usize,
    /// Number of trials.
    pub trials: usize,
}

/// Sums of squares, in the square of the unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SumsOfSquares {
    /// Parts.
    pub parts: f64,
    /// Operators.
    pub operators: f64,
    /// Interaction of both.
    pub interaction: f64,
    /// Repeated measurements.
    pub error: f64,
    /// All.
    pub total: f64,
}

/// Degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DegreesOfFreedom {
    /// Parts.
    pub parts: usize,
    /// Operators.
    pub operators: usize,
    /// Interaction of both.
    pub interaction: usize,
    /// Repeated measurements.
    pub error: usize,
    /// All.
    pub total: usize,
}

/// Sums of squares over degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanSquares {
    /// Parts.
    pub parts: f64,
    /// Operators.
    pub operators: f64,
    /// Interaction of both.
    pub interaction: f64,
    /// Repeated measurements.
    pub error: f64,
}

/// Components and tests under one of the two models.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interaction {
    /// Components of variance.
    pub components: Components,
    /// Test of the interaction; none where nothing varies to hold it against, and in the pooled model.
    pub interaction: Option<Effect>,
    /// Test of the parts.
    pub parts: Option<Effect>,
    /// Test of the operators.
    pub operators: Option<Effect>,
}

/// The whole analysis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CrossedAnalysis {
    /// Sums of squares.
    pub sums: SumsOfSquares,
    /// Degrees of freedom.
    pub degrees: DegreesOfFreedom,
    /// Mean squares.
    pub means: MeanSquares,
    /// Mean of all measurements.
    pub grand_mean: f64,
    /// The model with an interaction.
    pub with_interaction: Interaction,
    /// The model in which the interaction is error.
    pub pooled: Interaction,
}

impl CrossedAnalysis {
    /// Whether the pooled model is the one to use: the probability of the interaction's F is above `alpha`. None where
    /// the interaction cannot be tested.
    #[must_use]
    pub fn use_pooled(&self, alpha: f64) -> Option<bool> {
        self.with_interaction.interaction.map(|effect| effect.p > alpha)
    }
}

impl CrossedStudy {
    /// A study of measurements `data[part][operator][trial]`.
    ///
    /// # Errors
    /// Fewer than two parts, operators or trials; a cell that is missing measurements; a value that is no finite number.
    pub fn new(data: &[Vec<Vec<f64>>]) -> Result<Self, CohortError> {
        let (parts, operators) = (data.len(), data.first().map_or(0, Vec::len));
        let trials = data.first().and_then(|p| p.first()).map_or(0, Vec::len);
        for (at, part) in data.iter().enumerate() {
            even("part", at, part.len(), "operators", operators)?;
            for (operator, cell) in part.iter().enumerate() {
                if cell.len() != trials {
                    return Err(CohortError::WrongLayout(format!(
                        "part {}, operator {}: {} measurements, the first cell has {trials}: a crossed study needs the same number \
                         of every operator on every part",
                        at + 1,
                        operator + 1,
                        cell.len()
                    )));
                }
            }
        }
        enough("parts", parts)?;
        enough("operators", operators)?;
        enough("trials (with one alone nothing says how a measurement repeats)", trials)?;
        let values: Vec<f64> = data.iter().flatten().flatten().copied().collect();
        finite("measurement", &values)?;
        Ok(Self {
            values,
            parts,
            operators,
            trials,
        })
    }

    /// Components of variance with and without interaction.
    #[must_use]
    pub fn analysis(&self) -> CrossedAnalysis {
        let steps = Steps::typed(&self.values);
        let sums = Sums::of(self, &steps);
        let degrees = self.degrees();
        let mean = |sum: Double2, degrees: usize| sum.over(Double2::count(degrees));
        let means = Means {
            parts: mean(sums.parts, degrees.parts),
            operators: mean(sums.operators, degrees.operators),
            interaction: mean(sums.interaction, degrees.interaction),
            error: mean(sums.error, degrees.error),
        };
        let pooled_error = mean(sums.interaction.plus(sums.error), degrees.interaction + degrees.error);
        let n = Double2::count(self.values.len());
        CrossedAnalysis {
            sums: SumsOfSquares {
                parts: sums.parts.value(),
                operators: sums.operators.value(),
                interaction: sums.interaction.value(),
                error: sums.error.value(),
                total: sums.total.value(),
            },
            degrees,
            means: MeanSquares {
                parts: means.parts.value(),
                operators: means.operators.value(),
                interaction: means.interaction.value(),
                error: means.error.value(),
            },
            grand_mean: steps.place(Double2::total(steps.steps.iter().copied()).over(n)),
            with_interaction: self.with_interaction(&means, &degrees),
            pooled: self.pooled(&means, pooled_error, &degrees),
        }
    }

    fn degrees(&self) -> DegreesOfFreedom {
        let (p, o, r) = (self.parts, self.operators, self.trials);
        DegreesOfFreedom {
            parts: p - 1,
            operators: o - 1,
            interaction: (p - 1) * (o - 1),
            error: p * o * (r - 1),
            total: p * o * r - 1,
        }
    }

    /// Parts and operators are held against the interaction. Expected mean squares: error s^2; interaction s^2 + r s_po^2;
    /// operators the same + p r s_o^2; parts the same + o r s_p^2.
    fn with_interaction(&self, means: &Means, degrees: &DegreesOfFreedom) -> Interaction {
        let (p, o, r) = (self.parts, self.operators, self.trials);
        let raw = [
            component(means.interaction, means.error, r),
            component(means.operators, means.interaction, p * r),
            component(means.parts, means.interaction, o * r),
        ];
        Interaction {
            components: components(means.error, raw),
            interaction: effect(means.interaction, means.error, degrees.interaction, degrees.error),
            parts: effect(means.parts, means.interaction, degrees.parts, degrees.interaction),
            operators: effect(
                means.operators,
                means.interaction,
                degrees.operators,
                degrees.interaction,
            ),
        }
    }

    /// Interaction and error are one, and parts and operators are held against it.
    fn pooled(&self, means: &Means, error: Double2, degrees: &DegreesOfFreedom) -> Interaction {
        let (p, o, r) = (self.parts, self.operators, self.trials);
        let within = degrees.interaction + degrees.error;
        let raw = [
            0.0,
            component(means.operators, error, p * r),
            component(means.parts, error, o * r),
        ];
        Interaction {
            components: components(error, raw),
            interaction: None,
            parts: effect(means.parts, error, degrees.parts, within),
            operators: effect(means.operators, error, degrees.operators, within),
        }
    }
}

struct Means {
    parts: Double2,
    operators: Double2,
    interaction: Double2,
    error: Double2,
}

/// Sums of squares. With T the sums of measurements and N their number, each is a whole number of steps over N, so that
/// what is nothing comes out as nothing.
struct Sums {
    parts: Double2,
    operators: Double2,
    interaction: Double2,
    error: Double2,
    total: Double2,
}

impl Sums {
    fn of(study: &CrossedStudy, steps: &Steps) -> Self {
        let (p, o, r) = (study.parts, study.operators, study.trials);
        let cells: Vec<Double2> = steps
            .steps
            .chunks(r)
            .map(|cell| Double2::total(cell.iter().copied()))
            .collect();
        let squares = |sums: &[Double2]| Double2::total(sums.iter().map(|s| s.square()));
        let by_part: Vec<Double2> = cells
            .chunks(o)
            .map(|part| Double2::total(part.iter().copied()))
            .collect();
        let by_operator: Vec<Double2> = (0..o)
            .map(|at| Double2::total(cells.iter().skip(at).step_by(o).copied()))
            .collect();
        let all = Double2::total(by_part.iter().copied()).square();
        let (of_parts, of_operators, of_cells) = (
            Double2::count(p).times(squares(&by_part)),
            Double2::count(o).times(squares(&by_operator)),
            Double2::count(p * o).times(squares(&cells)),
        );
        let n = Double2::count(p * o * r);
        let of_values = n.times(squares(&steps.steps));
        let scaled = |sum: Double2| steps.squared(sum.over(n));
        Self {
            parts: scaled(of_parts.minus(all)),
            operators: scaled(of_operators.minus(all)),
            interaction: scaled(of_cells.minus(of_parts).minus(of_operators).plus(all)),
            error: scaled(of_values.minus(of_cells)),
            total: scaled(of_values.minus(all)),
        }
    }
}

fn component(larger: Double2, smaller: Double2, measurements: usize) -> f64 {
    larger.minus(smaller).over(Double2::count(measurements)).value()
}

fn components(error: Double2, raw: [f64; 3]) -> Components {
    let [interaction, operators, parts] = raw.map(|r| r.max(0.0));
    Components {
        repeat: error.value().max(0.0),
        interaction,
        operators,
        parts,
        interaction_raw: raw[0],
        operators_raw: raw[1],
        parts_raw: raw[2],
    }
}

fn effect(of: Double2, against: Double2, numerator: usize, denominator: usize) -> Option<Effect> {
    if against.is_zero() {
        return None;
    }
    let f = of.over(against).value().max(0.0);
    let p = f_above(f, numerator, denominator)?;
    Some(Effect { f, p })
}

fn enough(what: &'static str, given: usize) -> Result<(), CohortError> {
    if given >= 2 {
        return Ok(());
    }
    Err(CohortError::TooFew { what, needed: 2, given })
}

fn even(what: &'static str, at: usize, given: usize, of: &'static str, wanted: usize) -> Result<(), CohortError> {
    if given == wanted {
        return Ok(());
    }
    Err(CohortError::Uneven {
        what,
        at: at + 1,
        given,
        of,
        wanted,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn what_is_not_crossed_is_refused() {
        let check = |data: Vec<Vec<Vec<f64>>>, words: &str| {
            let error = CrossedStudy::new(&data).unwrap_err().to_string();
            assert!(error.contains(words), "{error}");
        };
        check(vec![], "parts: 0 given, at least 2 needed");
        check(vec![vec![vec![1.0], vec![1.2]], vec![vec![2.0], vec![2.1]]], "trials");
        check(
            vec![vec![vec![1.0, 2.0]; 2], vec![vec![1.0, 2.0]]],
            "part 2 has 1 operators",
        );
        check(
            vec![vec![vec![1.0, 2.0]; 2], vec![vec![1.0, 2.0], vec![1.0]]],
            "part 2, operator 2: 1 measurements",
        );
        check(vec![vec![vec![1.0, f64::INFINITY]; 2]; 2], "measurement 2 is inf");
    }

    #[test]
    fn an_interaction_of_nothing_is_nothing_in_decimals_too() {
        let cell = |part: f64, operator: f64| -> Vec<f64> {
            let typed = |v: f64| format!("{v:.1}").parse().unwrap();
            vec![typed(12.1 + part + operator), typed(12.3 + part + operator)]
        };
        let data: Vec<Vec<Vec<f64>>> = [0.0, 0.1, 0.3]
            .iter()
            .map(|p| [0.0, 0.2].iter().map(|o| cell(*p, *o)).collect())
            .collect();
        let found = CrossedStudy::new(&data).unwrap().analysis();
        assert_eq!(found.with_interaction.interaction, Some(Effect { f: 0.0, p: 1.0 }));
        assert_eq!(found.with_interaction.parts, None);
        assert_eq!(found.use_pooled(0.25), Some(true));
    }

    proptest! {
        /// Sums of squares add up; components scale with the square of the unit and do not see order or origin.
        #[test]
        fn components_keep_their_laws(
            values in prop::collection::vec(-300_i64..300, 24), shift in -100_000_i64..100_000, places in 0_u32..5, turn in 0_usize..4,
        ) {
            let typed = |v: i64, places: u32| rust_decimal::Decimal::new(v, places).to_string().parse::<f64>().unwrap();
            let data = |f: &dyn Fn(i64) -> f64| -> Vec<Vec<Vec<f64>>> {
                values.chunks(6).map(|part| part.chunks(2).map(|cell| cell.iter().map(|v| f(*v)).collect()).collect()).collect()
            };
            let plain = CrossedStudy::new(&data(&|v| typed(v, 0))).unwrap().analysis();
            let s = plain.sums;
            prop_assert!((s.parts + s.operators + s.interaction + s.error - s.total).abs() <= 1e-12 * s.total);
            let mut moved = data(&|v| typed(v + shift, places));
            moved.rotate_left(turn);
            let other = CrossedStudy::new(&moved).unwrap().analysis();
            let scale = 100.0_f64.powi(i32::try_from(places).unwrap());
            for (a, b) in [(s.parts, other.sums.parts), (s.interaction, other.sums.interaction), (s.error, other.sums.error)] {
                prop_assert!((a - b * scale).abs() <= 1e-12 * s.total, "{} {}", a, b);
            }
            prop_assert_eq!(plain.with_interaction.components.categories(), other.with_interaction.components.categories());
        }
    }
}
