//! Small symmetric matrices on the stack: L D L^T for normal equations, Jacobi rotations for axes and rank.

/// A symmetric matrix; of the solvers here only the lower triangle need be filled.
pub(in crate::metrology) type Symmetric<const N: usize> = [[f64; N]; N];

/// L D L^T of a positive definite matrix. A pivot that has lost all its digits means it is not.
#[derive(Clone, Copy)]
pub(in crate::metrology) struct Factor<const N: usize> {
    lower: Symmetric<N>,
    inverse_pivots: [f64; N],
}

/// A pivot below this share of its diagonal is rounding.
const LOST: f64 = 1e-14;

impl<const N: usize> Factor<N> {
    /// `None` where the matrix is singular as far as its digits go, or not positive definite, or not finite.
    #[inline]
    pub(in crate::metrology) fn new(matrix: &Symmetric<N>) -> Option<Self> {
        let mut lower = *matrix;
        let mut inverse_pivots = [0.0; N];
        for j in 0..N {
            let mut pivot = lower[j][j];
            let mut scaled = [0.0; N];
            for k in 0..j {
                scaled[k] = lower[j][k];
                // Rows hold L already divided by the pivot; L D is got back by multiplying.
                pivot -= scaled[k] * scaled[k] / inverse_pivots[k];
                scaled[k] /= inverse_pivots[k];
            }
            if !(pivot > LOST * matrix[j][j] && pivot.is_finite()) {
                return None;
            }
            inverse_pivots[j] = 1.0 / pivot;
            for row in lower.iter_mut().skip(j + 1) {
                let mut value = row[j];
                for k in 0..j {
                    value -= row[k] * scaled[k];
                }
                row[j] = value * inverse_pivots[j];
            }
        }
        Some(Factor { lower, inverse_pivots })
    }

    /// Solves for one right-hand side.
    #[inline]
    pub(in crate::metrology) fn solve(&self, rhs: &[f64; N]) -> [f64; N] {
        let mut x = *rhs;
        for i in 0..N {
            for k in 0..i {
                x[i] -= self.lower[i][k] * x[k];
            }
        }
        for (value, inverse) in x.iter_mut().zip(&self.inverse_pivots) {
            *value *= inverse;
        }
        for i in (0..N).rev() {
            for k in i + 1..N {
                x[i] -= self.lower[k][i] * x[k];
            }
        }
        x
    }

    /// The inverse matrix, both triangles.
    #[inline]
    pub(in crate::metrology) fn inverse(&self) -> Symmetric<N> {
        let mut inverse = [[0.0; N]; N];
        for j in 0..N {
            let mut unit = [0.0; N];
            unit[j] = 1.0;
            inverse[j] = self.solve(&unit);
        }
        std::array::from_fn(|i| std::array::from_fn(|j| 0.5 * (inverse[i][j] + inverse[j][i])))
    }
}

/// Eigenvalues, ascending, and their unit vectors (`vectors[i]` belongs to `values[i]`).
#[derive(Debug, Clone, Copy)]
pub(in crate::metrology) struct Eigen<const N: usize> {
    pub(in crate::metrology) values: [f64; N],
    pub(in crate::metrology) vectors: [[f64; N]; N],
}

/// Cyclic Jacobi rotations (Golub and Van Loan, Matrix Computations, section 8.5; from memory, unconfirmed): small
/// eigenvalues keep their digits as well as this matrix has them.
pub(in crate::metrology) fn eigen<const N: usize>(matrix: &Symmetric<N>) -> Eigen<N> {
    let mut a: Symmetric<N> = std::array::from_fn(|i| std::array::from_fn(|j| matrix[i.max(j)][i.min(j)]));
    let mut vectors = [[0.0; N]; N];
    for (i, row) in vectors.iter_mut().enumerate() {
        row[i] = 1.0;
    }
    for _ in 0..30 {
        let mut rotated = false;
        for p in 0..N {
            for q in p + 1..N {
                rotated |= rotate(&mut a, &mut vectors, p, q);
            }
        }
        if !rotated {
            break;
        }
    }
    sorted(&a, &vectors)
}

/// Makes one off-diagonal pair zero; false where it already is, to rounding.
fn rotate<const N: usize>(a: &mut Symmetric<N>, vectors: &mut [[f64; N]; N], p: usize, q: usize) -> bool {
    let off = a[p][q];
    if off.abs() <= 1e-300 || off.abs() <= 1e-17 * (a[p][p].abs() * a[q][q].abs()).sqrt() || !off.is_finite() {
        a[p][q] = 0.0;
        a[q][p] = 0.0;
        return false;
    }
    let theta = (a[q][q] - a[p][p]) / (2.0 * off);
    let t = theta.signum() / (theta.abs() + theta.hypot(1.0));
    let c = 1.0 / t.hypot(1.0);
    let s = t * c;
    a[p][p] -= t * off;
    a[q][q] += t * off;
    a[p][q] = 0.0;
    a[q][p] = 0.0;
    for k in 0..N {
        if k != p && k != q {
            let (kp, kq) = (a[k][p], a[k][q]);
            a[k][p] = c * kp - s * kq;
            a[p][k] = a[k][p];
            a[k][q] = s * kp + c * kq;
            a[q][k] = a[k][q];
        }
        let (vp, vq) = (vectors[p][k], vectors[q][k]);
        vectors[p][k] = c * vp - s * vq;
        vectors[q][k] = s * vp + c * vq;
    }
    true
}

fn sorted<const N: usize>(a: &Symmetric<N>, vectors: &[[f64; N]; N]) -> Eigen<N> {
    let mut order: [usize; N] = std::array::from_fn(|i| i);
    order.sort_by(|&i, &j| a[i][i].total_cmp(&a[j][j]));
    Eigen {
        values: order.map(|i| a[i][i]),
        vectors: order.map(|i| vectors[i]),
    }
}

/// How many directions of a positive semidefinite matrix carry digits, after scaling its diagonal to one.
pub(in crate::metrology) fn rank<const N: usize>(matrix: &Symmetric<N>) -> usize {
    let size: [f64; N] = std::array::from_fn(|i| {
        if matrix[i][i] > 0.0 {
            1.0 / matrix[i][i].sqrt()
        } else {
            0.0
        }
    });
    let mut scaled = [[0.0; N]; N];
    for i in 0..N {
        for j in 0..=i {
            scaled[i][j] = matrix[i][j] * size[i] * size[j];
        }
    }
    eigen(&scaled).values.iter().filter(|&&value| value > 1e-13).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solves_and_inverts() {
        // By hand: [[4,2],[2,3]] x = [2,5] has x = [-1/2, 2]; the determinant is 8.
        let factor = Factor::new(&[[4.0, 2.0], [2.0, 3.0]]).unwrap();
        let x = factor.solve(&[2.0, 5.0]);
        assert!((x[0] + 0.5).abs() < 1e-15 && (x[1] - 2.0).abs() < 1e-15, "{x:?}");
        let inverse = factor.inverse();
        assert!(
            (inverse[0][0] - 0.375).abs() < 1e-16 && (inverse[0][1] + 0.25).abs() < 1e-16,
            "{inverse:?}"
        );
    }

    #[test]
    fn a_singular_or_foul_matrix_has_no_factor() {
        assert!(Factor::new(&[[1.0, 1.0], [1.0, 1.0]]).is_none());
        assert!(Factor::new(&[[1.0, f64::NAN], [f64::NAN, 1.0]]).is_none());
        assert!(Factor::new(&[[-1.0]]).is_none());
    }

    #[test]
    fn eigenvalues_by_hand() {
        // [[2,1,0],[1,2,0],[0,0,5]]: 1, 3, 5; vectors (1,-1,0)/sqrt 2, (1,1,0)/sqrt 2, (0,0,1).
        let found = eigen(&[[2.0, 1.0, 0.0], [1.0, 2.0, 0.0], [0.0, 0.0, 5.0]]);
        for (value, expected) in found.values.iter().zip([1.0, 3.0, 5.0]) {
            assert!((value - expected).abs() < 1e-15, "{found:?}");
        }
        assert!((found.vectors[0][0] + found.vectors[0][1]).abs() < 1e-15, "{found:?}");
        assert!((found.vectors[2][2].abs() - 1.0).abs() < 1e-15, "{found:?}");
    }

    #[test]
    fn counts_what_is_fixed() {
        assert_eq!(rank(&[[1.0, 0.0], [0.0, 1e-12]]), 2);
        assert_eq!(rank(&[[1.0, 1.0], [1.0, 1.0]]), 1);
        assert_eq!(rank(&[[0.0, 0.0], [0.0, 0.0]]), 0);
    }
}
