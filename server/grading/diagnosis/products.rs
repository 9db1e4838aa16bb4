//! Inner products of near faults and of spoilt values in one world, and the solution of small sets of them.

use nalgebra::DMatrix;

use super::family::Pick;
use super::scene::{Scene, count};
use super::screen::HALF_LN_2PI;
use super::world::{BASIS, World, basis, slopes};
use crate::procedure::fault::Fault;
use crate::procedure::noise::FRAME_PARAMETERS;

/// What a spoilt value is expected to cost before it is known how: one slip of so many on as many lines as there are.
const SLIPS_OF_A_LINE: f64 = 60.0;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Column {
    /// Place among the near picks; free amount.
    Free(usize),
    /// Place among the near picks; known step.
    Step(usize),
    /// A line of the sheet.
    Item(usize),
}

/// Inner products of a world.
pub(super) struct Products {
    pub(super) columns: Vec<Column>,
    /// Columns with columns.
    gram: DMatrix<f64>,
    /// Columns with the residuals.
    with_rest: Vec<f64>,
    /// Residuals with themselves, and the logarithm of the normaliser.
    rest: f64,
    constant: f64,
    pub(super) penalty: Vec<f64>,
    /// Precision of the prior of a free column.
    ridge: Vec<f64>,
}

/// Up to three columns in rising order, with their rank.
#[derive(Debug, Clone, Copy)]
pub(super) struct Set {
    columns: [usize; 3],
    count: usize,
    pub(super) score: f64,
}

impl Set {
    pub(super) fn members(&self) -> &[usize] {
        &self.columns[..self.count]
    }
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Solved {
    /// Amounts and standard deviations, member by member; a known step has none.
    pub(super) amounts: [f64; 3],
    pub(super) sd: [f64; 3],
}

impl Products {
    fn is_step(&self, c: usize) -> bool {
        matches!(self.columns[c], Column::Step(_))
    }

    /// Ranks all sets of up to `room` columns: all single ones and pairs, triples that extend the best `most` pairs.
    /// `prior` is the logarithm of the prior by the number of columns. One column after the other is eliminated, so that
    /// a set costs one logarithm and a few products.
    pub(super) fn rank(&self, room: usize, most: usize, prior: [f64; 4]) -> Vec<Set> {
        let none = Rest {
            score: self.constant - 0.5 * self.rest,
            with: self.with_rest.clone(),
            own: self.gram.diagonal().iter().copied().collect(),
        };
        let all = self.columns.len();
        let mut ranked = vec![Set {
            columns: [0; 3],
            count: 0,
            score: none.score + prior[0],
        }];
        if room == 0 {
            return ranked;
        }
        let single = |c| Set {
            columns: [c, 0, 0],
            count: 1,
            score: none.score + self.gain(&none, c) + prior[1],
        };
        ranked.extend((0..all).map(single));
        if room == 1 {
            return ranked;
        }
        let mut pairs: Vec<Set> = Vec::with_capacity(all * all / 2);
        for a in 0..all {
            let beside = self.eliminate(&none, a, &|c| self.gram[(a, c)]);
            let pair = |c| Set {
                columns: [a, c, 0],
                count: 2,
                score: beside.score + self.gain(&beside, c) + prior[2],
            };
            pairs.extend((a + 1..all).map(pair));
        }
        if room >= 3 {
            let falling = |a: &Set, b: &Set| b.score.total_cmp(&a.score);
            if pairs.len() > most {
                pairs.select_nth_unstable_by(most, falling);
            }
            let mut triples: Vec<Set> = Vec::with_capacity(most * all);
            for pair in pairs.iter().take(most) {
                self.triples(&none, pair, prior[3], &mut triples);
            }
            triples.sort_by_key(|t| t.columns);
            triples.dedup_by_key(|t| t.columns);
            ranked.extend(triples);
        }
        ranked.extend(pairs);
        ranked
    }

    fn triples(&self, none: &Rest, pair: &Set, prior: f64, found: &mut Vec<Set>) {
        let [a, b, _] = pair.columns;
        let beside = self.eliminate(none, a, &|c| self.gram[(a, c)]);
        let (step, own) = (self.is_step(a), none.own[a] + self.ridge[a]);
        // Products with b once a is eliminated.
        let left = |c: usize| {
            let taken = if step {
                0.0
            } else {
                self.gram[(a, b)] * self.gram[(a, c)] / own
            };
            self.gram[(b, c)] - taken
        };
        let both = self.eliminate(&beside, b, &left);
        for c in (0..self.columns.len()).filter(|c| *c != a && *c != b) {
            let mut columns = [a, b, c];
            columns.sort_unstable();
            found.push(Set {
                columns,
                count: 3,
                score: both.score + self.gain(&both, c) + prior,
            });
        }
    }

    /// By how much a column raises the score beside what is left.
    fn gain(&self, rest: &Rest, c: usize) -> f64 {
        let (with, own) = (rest.with[c], rest.own[c]);
        if self.is_step(c) {
            self.penalty[c] - 0.5 * own + with
        } else {
            let own = (own + self.ridge[c]).max(f64::MIN_POSITIVE);
            self.penalty[c] + 0.5 * (with * with / own - own.ln())
        }
    }

    /// What is left once a column is in the set; `product` is its product with another one in what was left before.
    fn eliminate(&self, rest: &Rest, a: usize, product: &dyn Fn(usize) -> f64) -> Rest {
        let mut left = Rest {
            score: rest.score + self.gain(rest, a),
            with: rest.with.clone(),
            own: rest.own.clone(),
        };
        let step = self.is_step(a);
        let own = (rest.own[a] + self.ridge[a]).max(f64::MIN_POSITIVE);
        for (c, (with, diagonal)) in left.with.iter_mut().zip(&mut left.own).enumerate() {
            let p = product(c);
            if step {
                *with -= p;
            } else {
                *with -= p * rest.with[a] / own;
                *diagonal -= p * p / own;
            }
        }
        left
    }

    /// Amounts of a set: at most three equations, by Cholesky's factor.
    pub(super) fn solve(&self, set: &[usize]) -> Solved {
        let mut unknown = [0_usize; 3];
        let mut n = 0;
        for c in set.iter().filter(|c| !self.is_step(**c)) {
            unknown[n] = *c;
            n += 1;
        }
        let mut factor = [[0.0; 3]; 3];
        let (mut forward, mut x) = ([0.0; 3], [0.0; 3]);
        for i in 0..n {
            let c = unknown[i];
            let steps = set.iter().filter(|d| self.is_step(**d)).map(|d| self.gram[(c, *d)]);
            let b = self.with_rest[c] - steps.sum::<f64>();
            for j in 0..=i {
                let ridge = if i == j { self.ridge[c] } else { 0.0 };
                let known: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
                let left = self.gram[(c, unknown[j])] + ridge - known;
                factor[i][j] = if i == j {
                    left.max(f64::MIN_POSITIVE).sqrt()
                } else {
                    left / factor[j][j]
                };
            }
            let known: f64 = (0..i).map(|k| factor[i][k] * forward[k]).sum();
            forward[i] = (b - known) / factor[i][i];
        }
        for i in (0..n).rev() {
            let known: f64 = (i + 1..n).map(|k| factor[k][i] * x[k]).sum();
            x[i] = (forward[i] - known) / factor[i][i];
        }
        let mut solved = Solved {
            amounts: [0.0; 3],
            sd: [0.0; 3],
        };
        for (member, c) in set.iter().enumerate().take(3) {
            if let Some(i) = unknown[..n].iter().position(|u| u == c) {
                solved.amounts[member] = x[i];
                solved.sd[member] = deviation(&factor, i, n);
            }
        }
        solved
    }
}

/// What some columns of a set leave over: the score so far, products of all columns with the residuals, and with
/// themselves.
struct Rest {
    score: f64,
    with: Vec<f64>,
    own: Vec<f64>,
}

/// Standard deviation of one unknown from the factor of its normal equations.
fn deviation(factor: &[[f64; 3]; 3], i: usize, n: usize) -> f64 {
    let mut column = [0.0; 3];
    for j in i..n {
        let one = if i == j { 1.0 } else { 0.0 };
        let known: f64 = (i..j).map(|k| factor[j][k] * column[k]).sum();
        column[j] = (one - known) / factor[j][j];
    }
    column.iter().map(|c| c * c).sum::<f64>().sqrt()
}

/// The columns of near faults, before items are added.
#[derive(Default)]
struct Near {
    columns: Vec<Column>,
    design: Vec<Vec<f64>>,
    penalty: Vec<f64>,
    ridge: Vec<f64>,
}

fn near_columns(scene: &Scene<'_>, near: &[Pick], world: &World, lines: &[usize], slopes: &[Vec<f64>]) -> Option<Near> {
    let mut all = Near::default();
    let mut slopes = slopes.iter();
    for (p, pick) in near.iter().enumerate() {
        all.penalty.push(pick.log_weight + pick.sd.map_or(0.0, |s| -s.ln()));
        all.ridge.push(pick.sd.map_or(0.0, |s| 1.0 / (s * s)));
        let column: Vec<f64> = if pick.sd.is_some() {
            all.columns.push(Column::Free(p));
            let slope = slopes.next()?;
            lines.iter().map(|i| slope[*i]).collect()
        } else {
            all.columns.push(Column::Step(p));
            let faults: Vec<Fault> = world.faults.iter().chain([&pick.fault]).cloned().collect();
            let moved = scene.predict(&faults)?;
            let step = |i: &usize| scene.difference(*i, moved[*i], world.predicted[*i]);
            lines.iter().map(step).collect()
        };
        all.design.push(column);
    }
    Some(all)
}

/// All inner products of a world, linearised at its near amounts `at`. `far_aside` puts orientations and positions aside
/// that are far off.
pub(super) fn products(
    scene: &Scene<'_>,
    near: &[Pick],
    world: &World,
    at: &[f64; BASIS],
    far_aside: bool,
) -> Option<Products> {
    let (at_predicted, slopes) = slopes(scene, &world.faults, &basis(near), at)?;
    let lines: Vec<usize> = (0..scene.len()).filter(|i| world.active[*i]).collect();
    let Near {
        mut columns,
        design,
        mut penalty,
        mut ridge,
    } = near_columns(scene, near, world, &lines, &slopes)?;
    // Around the linearisation: residuals at no near fault.
    let rest_of = |i: &usize| {
        let back: f64 = slopes.iter().zip(at).map(|(s, a)| s[*i] * a).sum();
        scene.difference(*i, scene.y[*i], at_predicted[*i] - back)
    };
    let residuals: Vec<f64> = lines.iter().map(rest_of).collect();
    let aside = |i: usize| turned(scene, world, &at_predicted, i) || far_aside && far(scene, world, i);
    let (precision, log_determinant) = precision(scene, world, &lines, &aside);
    let known = design.len();
    for (j, line) in lines.iter().enumerate() {
        columns.push(Column::Item(*line));
        let usual_sd = 0.5 * precision[(j, j)].max(f64::MIN_POSITIVE).ln();
        penalty.push(usual_sd + HALF_LN_2PI - (count(scene.len()) * SLIPS_OF_A_LINE).ln());
        ridge.push(0.0);
    }
    // A spoilt line's column is a unit vector: its products are rows of the precision itself.
    let x = DMatrix::from_fn(lines.len(), known, |i, c| design[c][i]);
    let r = DMatrix::from_column_slice(lines.len(), 1, &residuals);
    let weighted = &precision * &x;
    let inner = x.transpose() * &weighted;
    let all = columns.len();
    let gram = DMatrix::from_fn(all, all, |i, j| match (i < known, j < known) {
        (true, true) => inner[(i, j)],
        (true, false) => weighted[(j - known, i)],
        (false, true) => weighted[(i - known, j)],
        (false, false) => precision[(i - known, j - known)],
    });
    let of_rest = &precision * &r;
    let with_rest = (x.transpose() * &of_rest)
        .iter()
        .chain(of_rest.iter())
        .copied()
        .collect();
    let copied = (scene.lines().count() - lines.len()).min(scene.len());
    let world_weight: f64 = world.picks.iter().map(|p| p.log_weight).sum();
    let normaliser = 0.5 * log_determinant + HALF_LN_2PI * count(lines.len()) + scene.step.ln() * count(copied);
    Some(Products {
        columns,
        with_rest,
        gram,
        rest: (r.transpose() * &of_rest)[(0, 0)],
        constant: world_weight - normaliser,
        penalty,
        ridge,
    })
}

/// Whether a value that turns at 0 (form, orientation, position) is so far from where it stands without near faults that
/// known steps do not add up there. The exact weighing looks at it again.
fn turned(scene: &Scene<'_>, world: &World, at_predicted: &[f64], line: usize) -> bool {
    let moved = scene.difference(line, at_predicted[line], world.predicted[line]);
    scene.exercise.characteristics[line].of.is_geometrical() && moved * moved > 9.0 * world.variance[line]
}

/// Whether an orientation or a position is far from what the world predicts.
pub(super) fn far(scene: &Scene<'_>, world: &World, line: usize) -> bool {
    let of = scene.exercise.characteristics[line].of;
    let off = scene.difference(line, scene.y[line], world.predicted[line]);
    of.is_geometrical() && !of.is_form() && off * off > 16.0 * world.variance[line]
}

/// Factor on the variance of values that are put aside.
const ASIDE: f64 = 1e8;

/// Inverse of the covariance of the written values (Woodbury) and the logarithm of the covariance's determinant.
fn precision(scene: &Scene<'_>, world: &World, lines: &[usize], aside: &dyn Fn(usize) -> bool) -> (DMatrix<f64>, f64) {
    let loads = DMatrix::from_fn(lines.len(), FRAME_PARAMETERS, |i, k| {
        let c = world.carriers[lines[i]];
        scene.frame[c.line][k] * c.factor
    });
    let plain: Vec<f64> = lines
        .iter()
        .map(|i| 1.0 / world.variance[*i].max(f64::MIN_POSITIVE))
        .collect();
    let weights: Vec<f64> = lines
        .iter()
        .zip(&plain)
        .map(|(i, w)| if aside(*i) { w / ASIDE } else { *w })
        .collect();
    let weighted = DMatrix::from_fn(lines.len(), FRAME_PARAMETERS, |i, k| loads[(i, k)] * weights[i]);
    let mut inner = DMatrix::identity(FRAME_PARAMETERS, FRAME_PARAMETERS);
    inner += loads.transpose() * &weighted;
    // Scores stay comparable: what is put aside keeps the normaliser that it has.
    let mut log_determinant: f64 = plain.iter().map(|w| -w.ln()).sum();
    let mut precision = DMatrix::from_fn(lines.len(), lines.len(), |i, j| if i == j { weights[i] } else { 0.0 });
    if let Some(factor) = inner.cholesky() {
        log_determinant += factor.l().diagonal().iter().map(|d| 2.0 * d.ln()).sum::<f64>();
        precision -= &weighted * factor.inverse() * weighted.transpose();
    }
    (precision, log_determinant)
}
