//! Inner products of near faults and of spoilt values in one world, and the solution of small sets of them.

use super::family::Pick;
use super::scene::{Scene, count};
use super::screen::{HALF_LN_2PI, largest};
use super::world::{BASIS, Slopes, World, basis, slopes, slopes_at_none};
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
    /// Columns with columns, row by row.
    gram: Vec<f64>,
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

/// The best of many sets, and how many there were.
struct Best {
    sets: Vec<Set>,
    keep: usize,
    /// What lies below is not among the best.
    floor: f64,
}

impl Best {
    fn new(keep: usize) -> Self {
        Self {
            sets: Vec::with_capacity(4 * keep),
            keep,
            floor: f64::NEG_INFINITY,
        }
    }

    fn offer(&mut self, set: Set) {
        if set.score < self.floor {
            return;
        }
        self.sets.push(set);
        if self.sets.len() >= 4 * self.keep {
            let falling = |a: &Set, b: &Set| b.score.total_cmp(&a.score);
            self.sets.select_nth_unstable_by(self.keep - 1, falling);
            self.sets.truncate(self.keep);
            self.floor = self.sets.iter().map(|s| s.score).fold(f64::INFINITY, f64::min);
        }
    }

    fn sorted(mut self) -> Vec<Set> {
        largest(&mut self.sets, self.keep, |s| s.score);
        self.sets
    }
}

impl Products {
    fn is_step(&self, c: usize) -> bool {
        matches!(self.columns[c], Column::Step(_))
    }

    fn row(&self, c: usize) -> &[f64] {
        let all = self.columns.len();
        &self.gram[c * all..(c + 1) * all]
    }

    /// Ranks all sets of up to `room` columns: all single ones and pairs, triples that extend the best pairs. Comes back
    /// with the best sets, and how many were ranked. `most` are the pairs that are extended and the sets that come back;
    /// `prior` is the logarithm of the prior by the number of columns. One column after the other is eliminated, so that
    /// a set costs one logarithm and a few products.
    pub(super) fn rank(&self, room: usize, most: (usize, usize), prior: [f64; 4]) -> (Vec<Set>, usize) {
        let all = self.columns.len();
        let none = Rest {
            score: self.constant - 0.5 * self.rest,
            with: self.with_rest.clone(),
            own: (0..all).map(|c| self.row(c)[c]).collect(),
        };
        let mut best = Best::new(most.1);
        best.offer(Set {
            columns: [0; 3],
            count: 0,
            score: none.score + prior[0],
        });
        let mut ranked = 1;
        if room >= 1 {
            for c in 0..all {
                best.offer(Set {
                    columns: [c, 0, 0],
                    count: 1,
                    score: none.score + self.gain(&none, c) + prior[1],
                });
            }
            ranked += all;
        }
        if room >= 2 {
            let pairs = self.pairs(&none, most.0, prior[2], &mut best);
            ranked += all * all.saturating_sub(1) / 2;
            if room >= 3 {
                ranked += self.triples(&none, &pairs, prior[3], &mut best);
            }
        }
        (best.sorted(), ranked)
    }

    /// Ranks all pairs; the best of them.
    fn pairs(&self, none: &Rest, most: usize, prior: f64, best: &mut Best) -> Vec<Set> {
        let all = self.columns.len();
        let mut pairs = Best::new(most);
        let mut beside = none.clone();
        for a in 0..all {
            self.eliminate(none, a, self.row(a), &mut beside, a + 1);
            for c in a + 1..all {
                let highest = beside.score + prior + self.bound(&beside, c);
                if highest < pairs.floor && highest < best.floor {
                    continue;
                }
                let pair = Set {
                    columns: [a, c, 0],
                    count: 2,
                    score: beside.score + self.gain(&beside, c) + prior,
                };
                pairs.offer(pair);
                best.offer(pair);
            }
        }
        pairs.sorted()
    }

    /// Ranks the triples that extend these pairs, each once; how many there are.
    fn triples(&self, none: &Rest, pairs: &[Set], prior: f64, best: &mut Best) -> usize {
        let all = self.columns.len();
        let mut done = vec![false; all * all];
        let (mut beside, mut both) = (none.clone(), none.clone());
        let mut left = vec![0.0; all];
        let mut ranked = 0;
        for pair in pairs {
            let [a, b, _] = pair.columns;
            self.eliminate(none, a, self.row(a), &mut beside, 0);
            // Products with b once a is eliminated.
            let taken = if self.is_step(a) {
                0.0
            } else {
                self.row(a)[b] / (none.own[a] + self.ridge[a]).max(f64::MIN_POSITIVE)
            };
            for ((left, with_a), with_b) in left.iter_mut().zip(self.row(a)).zip(self.row(b)) {
                *left = with_b - taken * with_a;
            }
            self.eliminate(&beside, b, &left, &mut both, 0);
            done[a * all + b] = true;
            done[b * all + a] = true;
            for c in (0..all).filter(|c| *c != a && *c != b) {
                if done[a * all + c] || done[b * all + c] {
                    continue;
                }
                ranked += 1;
                if both.score + prior + self.bound(&both, c) < best.floor {
                    continue;
                }
                let mut columns = [a, b, c];
                columns.sort_unstable();
                best.offer(Set {
                    columns,
                    count: 3,
                    score: both.score + self.gain(&both, c) + prior,
                });
            }
        }
        ranked
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

    /// As [`Self::gain`] or a little more, without a logarithm.
    fn bound(&self, rest: &Rest, c: usize) -> f64 {
        let (with, own) = (rest.with[c], rest.own[c]);
        if self.is_step(c) {
            self.penalty[c] - 0.5 * own + with
        } else {
            let own = (own + self.ridge[c]).max(f64::MIN_POSITIVE);
            self.penalty[c] + 0.5 * (with * with / own - low_ln(own)) + 1e-9
        }
    }

    /// What is left once a column is in the set, of columns from `from` on; `products` are its products in what was left
    /// before.
    fn eliminate(&self, rest: &Rest, a: usize, products: &[f64], left: &mut Rest, from: usize) {
        left.score = rest.score + self.gain(rest, a);
        let step = self.is_step(a);
        let inverse = 1.0 / (rest.own[a] + self.ridge[a]).max(f64::MIN_POSITIVE);
        let along = rest.with[a] * inverse;
        let before = rest.with[from..].iter().zip(&rest.own[from..]);
        let after = left.with[from..].iter_mut().zip(&mut left.own[from..]);
        for (((with, own), (w, o)), p) in after.zip(before).zip(&products[from..]) {
            if step {
                (*with, *own) = (w - p, *o);
            } else {
                (*with, *own) = (w - p * along, o - p * p * inverse);
            }
        }
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
            let steps = set.iter().filter(|d| self.is_step(**d)).map(|d| self.row(c)[*d]);
            let b = self.with_rest[c] - steps.sum::<f64>();
            for j in 0..=i {
                let ridge = if i == j { self.ridge[c] } else { 0.0 };
                let known: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
                let left = self.row(c)[unknown[j]] + ridge - known;
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
#[derive(Clone)]
struct Rest {
    score: f64,
    with: Vec<f64>,
    own: Vec<f64>,
}

/// The natural logarithm of a positive normal number or up to 0.06 less: the chord of the logarithm between powers of two.
fn low_ln(x: f64) -> f64 {
    const MANTISSA: u64 = (1 << 52) - 1;
    const ONE: u64 = 1023 << 52;
    let exponent = i32::try_from(x.to_bits() >> 52).map_or(0.0, |e| f64::from(e - 1023));
    let mantissa = f64::from_bits(x.to_bits() & MANTISSA | ONE);
    (exponent + mantissa - 1.0) * std::f64::consts::LN_2
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

fn near_columns(scene: &Scene<'_>, near: &[Pick], world: &World, lines: &[usize], slopes: &Slopes) -> Option<Near> {
    let mut all = Near::default();
    let mut free = 0;
    for (p, pick) in near.iter().enumerate() {
        all.penalty.push(pick.log_weight + pick.sd.map_or(0.0, |s| -s.ln()));
        all.ridge.push(pick.sd.map_or(0.0, |s| 1.0 / (s * s)));
        let column: Vec<f64> = if pick.sd.is_some() {
            all.columns.push(Column::Free(p));
            let k = free;
            free += 1;
            lines.iter().map(|i| slopes[*i][k]).collect()
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
    let basis = basis(near);
    let (at_predicted, slopes) = if at.iter().all(|a| a.abs() <= 0.0) {
        slopes_at_none(scene, &world.faults, &world.carriers, &basis)?
    } else {
        slopes(scene, &world.faults, &basis, at)?
    };
    let lines: Vec<usize> = (0..scene.len()).filter(|i| world.active[*i]).collect();
    let Near {
        mut columns,
        design,
        mut penalty,
        mut ridge,
    } = near_columns(scene, near, world, &lines, &slopes)?;
    // Around the linearisation: residuals at no near fault.
    let rest_of = |i: &usize| {
        let back: f64 = slopes[*i].iter().zip(at).map(|(s, a)| s * a).sum();
        scene.difference(*i, scene.y[*i], at_predicted[*i] - back)
    };
    let residuals: Vec<f64> = lines.iter().map(rest_of).collect();
    let aside = |i: usize| turned(scene, world, &at_predicted, i) || far_aside && far(scene, world, i);
    let precision = Precision::new(scene, world, &lines, &aside);
    for (j, line) in lines.iter().enumerate() {
        columns.push(Column::Item(*line));
        let usual_sd = 0.5 * precision.entry(j, j).max(f64::MIN_POSITIVE).ln();
        penalty.push(usual_sd + HALF_LN_2PI - (count(scene.len()) * SLIPS_OF_A_LINE).ln());
        ridge.push(0.0);
    }
    let (gram, of_rest) = gram(&precision, &design, &residuals);
    let with_rest = design.iter().map(|x| dot(x, &of_rest)).chain(of_rest.iter().copied());
    let copied = (scene.lines().count() - lines.len()).min(scene.len());
    let world_weight: f64 = world.picks.iter().map(|p| p.log_weight).sum();
    let normaliser =
        0.5 * precision.log_determinant + HALF_LN_2PI * count(lines.len()) + scene.step.ln() * count(copied);
    Some(Products {
        columns,
        with_rest: with_rest.collect(),
        gram,
        rest: dot(&residuals, &of_rest),
        constant: world_weight - normaliser,
        penalty,
        ridge,
    })
}

/// Products of all columns with each other, row by row, and of the residuals with the precision. A spoilt line's column is a
/// unit vector: its products are rows of the precision itself.
fn gram(precision: &Precision, design: &[Vec<f64>], residuals: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let known = design.len();
    let all = known + residuals.len();
    let weighted: Vec<Vec<f64>> = design.iter().map(|x| precision.times(x)).collect();
    let mut gram = vec![0.0; all * all];
    let mut put = |i: usize, j: usize, product: f64| {
        gram[i * all + j] = product;
        gram[j * all + i] = product;
    };
    for (i, own) in weighted.iter().enumerate() {
        for (j, other) in design.iter().enumerate().take(i + 1) {
            put(i, j, dot(other, own));
        }
        for (j, product) in own.iter().enumerate() {
            put(i, known + j, *product);
        }
    }
    for i in 0..residuals.len() {
        for j in 0..=i {
            put(known + i, known + j, precision.entry(i, j));
        }
    }
    (gram, precision.times(residuals))
}

/// Sum of products, four at a time.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let (fours_a, rest_a) = a.as_chunks::<4>();
    let (fours_b, rest_b) = b.as_chunks::<4>();
    let mut sums = [0.0; 4];
    for (x, y) in fours_a.iter().zip(fours_b) {
        for k in 0..4 {
            sums[k] += x[k] * y[k];
        }
    }
    let rest: f64 = rest_a.iter().zip(rest_b).map(|(x, y)| x * y).sum();
    sums[0] + sums[1] + (sums[2] + sums[3]) + rest
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

/// Inverse of the covariance of the written values: a diagonal less a product of loads with themselves (Woodbury).
struct Precision {
    weights: Vec<f64>,
    loads: Vec<[f64; FRAME_PARAMETERS]>,
    /// Of the covariance.
    log_determinant: f64,
}

impl Precision {
    fn new(scene: &Scene<'_>, world: &World, lines: &[usize], aside: &dyn Fn(usize) -> bool) -> Self {
        let mut inner = [[0.0; FRAME_PARAMETERS]; FRAME_PARAMETERS];
        for (k, row) in inner.iter_mut().enumerate() {
            row[k] = 1.0;
        }
        let mut weights = Vec::with_capacity(lines.len());
        let mut loads = Vec::with_capacity(lines.len());
        // Scores stay comparable: what is put aside keeps the normaliser that it has.
        let mut log_determinant = 0.0;
        for line in lines {
            let plain = 1.0 / world.variance[*line].max(f64::MIN_POSITIVE);
            log_determinant -= plain.ln();
            let weight = if aside(*line) { plain / ASIDE } else { plain };
            let carrier = world.carriers[*line];
            let own = scene.frame[carrier.line].map(|l| l * carrier.factor);
            let weighted = own.map(|l| l * weight);
            for (row, w) in inner.iter_mut().zip(weighted) {
                for (entry, l) in row.iter_mut().zip(own) {
                    *entry += w * l;
                }
            }
            weights.push(weight);
            loads.push(weighted);
        }
        let (factor, log) = lower(inner);
        for load in &mut loads {
            solve_lower(&factor, load);
        }
        Self {
            weights,
            loads,
            log_determinant: log_determinant + log,
        }
    }

    fn entry(&self, i: usize, j: usize) -> f64 {
        let own = if i == j { self.weights[i] } else { 0.0 };
        own - self.loads[i]
            .iter()
            .zip(&self.loads[j])
            .map(|(a, b)| a * b)
            .sum::<f64>()
    }

    fn times(&self, x: &[f64]) -> Vec<f64> {
        let mut through = [0.0; FRAME_PARAMETERS];
        for (load, x) in self.loads.iter().zip(x) {
            for (t, l) in through.iter_mut().zip(load) {
                *t += l * x;
            }
        }
        let of = |((w, load), x): ((&f64, &[f64; FRAME_PARAMETERS]), &f64)| {
            w * x - load.iter().zip(&through).map(|(l, t)| l * t).sum::<f64>()
        };
        self.weights.iter().zip(&self.loads).zip(x).map(of).collect()
    }
}

/// Cholesky's factor of a matrix that is the unit matrix and more, and the logarithm of its determinant.
fn lower(mut a: [[f64; FRAME_PARAMETERS]; FRAME_PARAMETERS]) -> ([[f64; FRAME_PARAMETERS]; FRAME_PARAMETERS], f64) {
    let mut log = 0.0;
    for i in 0..FRAME_PARAMETERS {
        for j in 0..=i {
            let known: f64 = (0..j).map(|k| a[i][k] * a[j][k]).sum();
            let left = a[i][j] - known;
            a[i][j] = if i == j {
                let root = left.max(f64::MIN_POSITIVE).sqrt();
                log += 2.0 * root.ln();
                root
            } else {
                left / a[j][j]
            };
        }
    }
    (a, log)
}

fn solve_lower(factor: &[[f64; FRAME_PARAMETERS]; FRAME_PARAMETERS], x: &mut [f64; FRAME_PARAMETERS]) {
    for i in 0..FRAME_PARAMETERS {
        let known: f64 = (0..i).map(|k| factor[i][k] * x[k]).sum();
        x[i] = (x[i] - known) / factor[i][i];
    }
}

#[cfg(test)]
mod tests {
    use super::low_ln;

    #[test]
    fn the_chord_lies_below_the_logarithm_by_no_more_than_is_said() {
        for x in [1e-300, 3.7e-12, 0.5, 0.999, 1.0, 1.44, 1.999_999, 2.0, 7.3e5, 1e18] {
            let below = f64::ln(x) - low_ln(x);
            assert!((-1e-12 * f64::ln(x).abs()..0.06).contains(&below), "{x}: {below}");
        }
    }
}
