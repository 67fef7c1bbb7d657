//! Symmetric positive matrices, stored whole, row by row; only what lies on and below the diagonal is read.

/// A vector of few entries, each with its place; where a place stands twice, they add up.
#[derive(Debug, Clone, Default)]
pub(super) struct Entries(Vec<(usize, f64)>);

impl Entries {
    pub(super) fn clear(&mut self) {
        self.0.clear();
    }

    pub(super) fn push(&mut self, place: usize, value: f64) {
        self.0.push((place, value));
    }

    /// Adds so many times the vector to a whole one.
    pub(super) fn add_to(&self, to: &mut [f64], by: f64) {
        for (place, value) in &self.0 {
            to[*place] += by * value;
        }
    }
}

/// A symmetric matrix.
#[derive(Debug, Clone, Default)]
pub(super) struct Matrix {
    size: usize,
    entries: Vec<f64>,
}

impl Matrix {
    pub(super) fn zero(size: usize) -> Self {
        Self { size, entries: vec![0.0; size * size] }
    }

    pub(super) fn clear(&mut self) {
        self.entries.fill(0.0);
    }

    /// An entry on or below the diagonal.
    pub(super) fn at(&self, row: usize, column: usize) -> f64 {
        self.entries[row * self.size + column]
    }

    pub(super) fn add(&mut self, row: usize, column: usize, value: f64) {
        self.entries[row * self.size + column] += value;
    }

    /// Adds `by` times the outer product of a vector, of which few entries need not be 0.
    pub(super) fn add_outer(&mut self, vector: &[f64], by: f64) {
        let there = || vector.iter().enumerate().filter(|(_, value)| **value != 0.0);
        for (row, left) in there() {
            let start = row * self.size;
            for (column, right) in there().take_while(|(column, _)| *column <= row) {
                self.entries[start + column] += by * left * right;
            }
        }
    }

    /// The same of a vector of few entries.
    pub(super) fn add_entries(&mut self, vector: &Entries, by: f64) {
        for (i, (row, left)) in vector.0.iter().enumerate() {
            let scaled = by * left;
            for (column, right) in &vector.0[..i] {
                let twice = if row == column { 2.0 } else { 1.0 };
                self.add(*row.max(column), *row.min(column), twice * scaled * right);
            }
            self.add(*row, *row, scaled * left);
        }
    }

    /// Its root over some of the rows, the diagonal raised by a part of itself; none where it is not positive there, to
    /// within rounding.
    pub(super) fn root(&self, rows: &[usize], raised: f64) -> Option<Root> {
        const ROUNDING: f64 = 1e-14;
        let n = rows.len();
        let mut lower = vec![0.0; n * n];
        for a in 0..n {
            for b in 0..=a {
                let (i, j) = (rows[a].max(rows[b]), rows[a].min(rows[b]));
                let own = if a == b { self.at(i, j) * (1.0 + raised) } else { self.at(i, j) };
                let known: f64 = (0..b).map(|k| lower[a * n + k] * lower[b * n + k]).sum();
                let left = own - known;
                lower[a * n + b] = if a == b {
                    if left.is_nan() || left <= ROUNDING * own.abs() {
                        return None;
                    }
                    left.sqrt()
                } else {
                    left / lower[b * n + b]
                };
            }
        }
        Some(Root { rows: rows.to_vec(), of: self.size, lower })
    }
}

/// The Cholesky root of a matrix over some of its rows.
#[derive(Debug)]
pub(super) struct Root {
    rows: Vec<usize>,
    of: usize,
    lower: Vec<f64>,
}

impl Root {
    /// What the matrix takes to this vector; 0 in all other rows.
    pub(super) fn solve(&self, right: &[f64]) -> Vec<f64> {
        let n = self.rows.len();
        let mut x = vec![0.0; n];
        for a in 0..n {
            let known: f64 = (0..a).map(|k| self.lower[a * n + k] * x[k]).sum();
            x[a] = (right[self.rows[a]] - known) / self.lower[a * n + a];
        }
        for a in (0..n).rev() {
            let known: f64 = (a + 1..n).map(|k| self.lower[k * n + a] * x[k]).sum();
            x[a] = (x[a] - known) / self.lower[a * n + a];
        }
        let mut whole = vec![0.0; self.of];
        for (row, value) in self.rows.iter().zip(x) {
            whole[*row] = value;
        }
        whole
    }

    /// The logarithm of the determinant.
    pub(super) fn ln_determinant(&self) -> f64 {
        let n = self.rows.len();
        2.0 * (0..n).map(|k| self.lower[k * n + k].ln()).sum::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_solution_solves() {
        let mut matrix = Matrix::zero(3);
        for (row, column, value) in
            [(0, 0, 4.0), (1, 0, 1.0), (1, 1, 3.0), (2, 0, 0.5), (2, 1, 1.0), (2, 2, 2.0)]
        {
            matrix.add(row, column, value);
        }
        let all = matrix.root(&[0, 1, 2], 0.0).unwrap();
        let x = all.solve(&[1.0, 2.0, 3.0]);
        let back = [4.0 * x[0] + x[1] + 0.5 * x[2], x[0] + 3.0 * x[1] + x[2], 0.5 * x[0] + x[1] + 2.0 * x[2]];
        assert!(back.iter().zip([1.0, 2.0, 3.0]).all(|(found, expected)| (found - expected).abs() < 1e-12));
        assert!((all.ln_determinant() - 18.25_f64.ln()).abs() < 1e-12);
        assert!((matrix.root(&[2, 0], 0.0).unwrap().solve(&[1.0, 9.0, 3.0])[1]).abs() < f64::EPSILON);
    }

    #[test]
    fn a_matrix_that_is_not_positive_has_no_root() {
        let mut matrix = Matrix::zero(2);
        matrix.add_outer(&[1.0, 2.0], 1.0);
        assert!(matrix.root(&[0, 1], 0.0).is_none());
        assert!(matrix.root(&[0, 1], 1e-3).is_some());
    }
}
