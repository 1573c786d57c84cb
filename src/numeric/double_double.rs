//! Numbers of 31 decimal digits, carried as the unevaluated sum of two doubles.
//!
//! Sums and products of measured values are exact or nearly so in this form; it is used where cancellation would
//! otherwise decide how many digits of an answer are true.

use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

/// A number `high + low` with |low| ≤ ½ ulp of high: 106 bits.
///
/// Algorithms: T. J. Dekker, "A floating-point technique for extending the available precision", Numerische
/// Mathematik 18 (1971) 224-242; error bounds for the variants used here: M. Joldes, J.-M. Muller, V. Popescu,
/// "Tight and rigorous error bounds for basic building blocks of double-word arithmetic", ACM Transactions on
/// Mathematical Software 44 (2017) article 15 (algorithms 6, 12 and 17: relative error below 3, 5 and 10 × 2⁻¹⁰⁶).
///
/// ```
/// use vialbook::numeric::DoubleDouble;
/// let third = DoubleDouble::from(1.0) / DoubleDouble::from(3.0);
/// assert!((third * DoubleDouble::from(3.0) - DoubleDouble::from(1.0)).value().abs() < 1e-31);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DoubleDouble {
    high: f64,
    low: f64,
}

impl DoubleDouble {
    /// Zero.
    pub const ZERO: DoubleDouble = DoubleDouble { high: 0.0, low: 0.0 };
    /// One.
    pub const ONE: DoubleDouble = DoubleDouble { high: 1.0, low: 0.0 };

    /// The nearest double.
    #[inline]
    pub fn value(self) -> f64 {
        self.high
    }

    /// What [`value`](Self::value) leaves over.
    #[inline]
    pub fn remainder(self) -> f64 {
        self.low
    }

    /// The exact sum of two doubles.
    #[inline]
    pub fn sum(a: f64, b: f64) -> Self {
        let (high, low) = two_sum(a, b);
        DoubleDouble { high, low }
    }

    /// The exact product of two doubles (short of overflow and underflow).
    #[inline]
    pub fn product(a: f64, b: f64) -> Self {
        let high = a * b;
        DoubleDouble { high, low: a.mul_add(b, -high) }
    }

    /// The square root; zero for a negative number, which in sums of squares can only be rounding.
    pub fn sqrt(self) -> Self {
        if self.high <= 0.0 {
            return Self::ZERO;
        }
        // One Newton step from the double root (Karp and Markstein 1997).
        let root = libm::sqrt(self.high);
        let rest = (self - Self::product(root, root)).high;
        let (high, low) = fast_two_sum(root, rest / (2.0 * root));
        DoubleDouble { high, low }
    }

    /// The absolute value.
    pub fn abs(self) -> Self {
        if self.high < 0.0 { -self } else { self }
    }

    /// True where neither infinite nor NaN.
    pub fn is_finite(self) -> bool {
        self.high.is_finite() && self.low.is_finite()
    }

    /// Times a power of two, exactly.
    pub(crate) fn scaled(self, power_of_two: f64) -> Self {
        DoubleDouble { high: self.high * power_of_two, low: self.low * power_of_two }
    }
}

impl From<f64> for DoubleDouble {
    #[inline]
    fn from(value: f64) -> Self {
        DoubleDouble { high: value, low: 0.0 }
    }
}

impl Add for DoubleDouble {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        let (s, e) = two_sum(self.high, other.high);
        let (t, f) = two_sum(self.low, other.low);
        let (s, e) = fast_two_sum(s, e + t);
        let (high, low) = fast_two_sum(s, e + f);
        DoubleDouble { high, low }
    }
}

impl Sub for DoubleDouble {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Neg for DoubleDouble {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        DoubleDouble { high: -self.high, low: -self.low }
    }
}

impl Mul for DoubleDouble {
    type Output = Self;
    #[inline]
    fn mul(self, other: Self) -> Self {
        let p = Self::product(self.high, other.high);
        let cross = self.low.mul_add(other.high, self.high * other.low);
        let (high, low) = fast_two_sum(p.high, p.low + cross);
        DoubleDouble { high, low }
    }
}

impl Div for DoubleDouble {
    type Output = Self;
    #[inline]
    fn div(self, other: Self) -> Self {
        let q = self.high / other.high;
        let rest = self - other * Self::from(q);
        let (high, low) = fast_two_sum(q, rest.high / other.high);
        DoubleDouble { high, low }
    }
}

impl AddAssign for DoubleDouble {
    #[inline]
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl SubAssign for DoubleDouble {
    #[inline]
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}

impl std::iter::Sum for DoubleDouble {
    fn sum<I: Iterator<Item = Self>>(terms: I) -> Self {
        terms.fold(Self::ZERO, |sum, term| sum + term)
    }
}

/// a + b and its rounding error (Knuth).
#[inline]
fn two_sum(a: f64, b: f64) -> (f64, f64) {
    let s = a + b;
    let t = s - a;
    (s, (a - (s - t)) + (b - t))
}

/// The same for |a| ≥ |b| (Dekker).
#[inline]
fn fast_two_sum(a: f64, b: f64) -> (f64, f64) {
    let s = a + b;
    (s, b - (s - a))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_identities_hold() {
        let d = DoubleDouble::from;
        // 1e16 + 1 - 1e16, and (1 + 2⁻⁵⁰)² with its last bit.
        assert_eq!((DoubleDouble::sum(1e16, 1.0) - d(1e16)).value(), 1.0);
        let e = 2f64.powi(-50);
        let square = DoubleDouble::product(1.0 + e, 1.0 + e);
        assert_eq!((square - d(1.0) - d(2.0 * e)).value(), e * e);
        let root = d(2.0).sqrt();
        assert!((root * root - d(2.0)).value().abs() < 5e-32);
        // √2 to 32 digits: 1.4142135623730950488016887242097 = high + low.
        assert_eq!(root.value(), std::f64::consts::SQRT_2);
        assert!((root.remainder() - -9.667_293_313_452_913e-17).abs() < 1e-31);
        assert!(((d(10.0) / d(7.0)) * d(7.0) - d(10.0)).value().abs() < 1e-30);
        assert_eq!(DoubleDouble::ZERO.sqrt(), DoubleDouble::ZERO);
    }
}
