//! A small dense matrix: designs, covariances, Jacobians.

use std::fmt;
use std::ops::{Index, IndexMut};

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};

/// A dense matrix of numbers, kept row by row; `m[(i, j)]` is row i, column j, both from 0.
///
/// Saved as a list of rows.
///
/// ```
/// use vialbook::numeric::Matrix;
/// let design = Matrix::from_rows(&[[1.0, 0.5], [1.0, 1.5]])?;
/// assert_eq!((design.rows(), design[(1, 1)]), (2, 1.5));
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, PartialEq, Serialize, Deserialize)]
#[serde(into = "Vec<Vec<f64>>", try_from = "Vec<Vec<f64>>")]
pub struct Matrix {
    rows: usize,
    columns: usize,
    values: Vec<f64>,
}

impl Matrix {
    /// A matrix of zeros.
    pub fn zeros(rows: usize, columns: usize) -> Self {
        Matrix { rows, columns, values: vec![0.0; rows * columns] }
    }

    /// Ones on the diagonal, zeros elsewhere.
    pub fn identity(size: usize) -> Self {
        Self::from_fn(size, size, |i, j| if i == j { 1.0 } else { 0.0 })
    }

    /// The matrix whose element in row i, column j is `element(i, j)`.
    pub fn from_fn(rows: usize, columns: usize, mut element: impl FnMut(usize, usize) -> f64) -> Self {
        let mut m = Self::zeros(rows, columns);
        for i in 0..rows {
            for j in 0..columns {
                m.values[i * columns + j] = element(i, j);
            }
        }
        m
    }

    /// A matrix from its rows.
    ///
    /// # Errors
    /// The rows differ in length.
    pub fn from_rows<R: AsRef<[f64]>>(rows: &[R]) -> Result<Self> {
        let columns = rows.first().map_or(0, |r| r.as_ref().len());
        let mut values = Vec::with_capacity(rows.len() * columns);
        for (i, row) in rows.iter().enumerate() {
            let row = row.as_ref();
            if row.len() != columns {
                return Err(Error::new(
                    ErrorKind::Option,
                    format!("row {} of the matrix has {} values, the first row has {columns}", i + 1, row.len()),
                ));
            }
            values.extend_from_slice(row);
        }
        Ok(Matrix { rows: rows.len(), columns, values })
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Number of columns.
    pub fn columns(&self) -> usize {
        self.columns
    }

    /// Row `i` as a slice.
    pub fn row(&self, i: usize) -> &[f64] {
        &self.values[i * self.columns..(i + 1) * self.columns]
    }

    /// Row `i`, to be written.
    pub fn row_mut(&mut self, i: usize) -> &mut [f64] {
        &mut self.values[i * self.columns..(i + 1) * self.columns]
    }

    /// Column `j`, copied.
    pub fn column(&self, j: usize) -> Vec<f64> {
        (0..self.rows).map(|i| self[(i, j)]).collect()
    }

    /// The elements on the diagonal.
    pub fn diagonal(&self) -> Vec<f64> {
        (0..self.rows.min(self.columns)).map(|i| self[(i, i)]).collect()
    }

    /// Rows and columns exchanged.
    pub fn transposed(&self) -> Self {
        Self::from_fn(self.columns, self.rows, |i, j| self[(j, i)])
    }

    /// Every element times `factor`.
    pub fn scaled(&self, factor: f64) -> Self {
        Matrix { values: self.values.iter().map(|v| v * factor).collect(), ..*self }
    }

    /// Matrix times vector.
    ///
    /// # Panics
    /// If the vector's length is not the number of columns.
    pub fn times(&self, vector: &[f64]) -> Vec<f64> {
        assert_eq!(vector.len(), self.columns, "a vector as long as the matrix is wide");
        (0..self.rows).map(|i| self.row(i).iter().zip(vector).map(|(a, b)| a * b).sum()).collect()
    }

    /// vᵀ M v: the variance of vᵀ·(parameters) when M is their covariance.
    ///
    /// # Panics
    /// If the matrix is not square of the vector's length.
    pub fn quadratic_form(&self, vector: &[f64]) -> f64 {
        assert_eq!(self.rows, vector.len(), "a vector as long as the matrix is high");
        self.times(vector).iter().zip(vector).map(|(a, b)| a * b).sum()
    }
}

impl Index<(usize, usize)> for Matrix {
    type Output = f64;
    fn index(&self, (i, j): (usize, usize)) -> &f64 {
        assert!(i < self.rows && j < self.columns, "element ({i}, {j}) of a {} × {} matrix", self.rows, self.columns);
        &self.values[i * self.columns + j]
    }
}

impl IndexMut<(usize, usize)> for Matrix {
    fn index_mut(&mut self, (i, j): (usize, usize)) -> &mut f64 {
        assert!(i < self.rows && j < self.columns, "element ({i}, {j}) of a {} × {} matrix", self.rows, self.columns);
        &mut self.values[i * self.columns + j]
    }
}

impl From<Matrix> for Vec<Vec<f64>> {
    fn from(m: Matrix) -> Self {
        (0..m.rows).map(|i| m.row(i).to_vec()).collect()
    }
}

impl TryFrom<Vec<Vec<f64>>> for Matrix {
    type Error = Error;
    fn try_from(rows: Vec<Vec<f64>>) -> Result<Self> {
        Matrix::from_rows(&rows)
    }
}

impl fmt::Debug for Matrix {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Matrix {} × {}", self.rows, self.columns)?;
        if self.values.len() <= 36 {
            let rows: Vec<&[f64]> = (0..self.rows).map(|i| self.row(i)).collect();
            write!(f, " {rows:?}")?;
        }
        Ok(())
    }
}
