//! The curve as a function of the content: value, slope, what each coefficient moves, and the way back.

/// A response curve with its coefficients.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Function {
    /// c₀ + c₁x + c₂x²; a line has c₂ = 0.
    Polynomial([f64; 3]),
    /// a·xⁿ, odd about zero so that signed responses keep a signed content.
    Power {
        /// a.
        factor: f64,
        /// n.
        exponent: f64,
    },
    /// Natural logarithm of the response, k + n·ln x.
    LogLog {
        /// k.
        log_factor: f64,
        /// n.
        exponent: f64,
    },
}

/// A symmetric 3 × 3 covariance of coefficients: 00, 01, 11, 02, 12, 22.
pub(crate) type Covariance = [f64; 6];

/// gᵀCg.
pub(crate) fn quadratic_form(c: &Covariance, g: [f64; 3]) -> f64 {
    g[0] * g[0] * c[0]
        + 2.0 * g[0] * g[1] * c[1]
        + g[1] * g[1] * c[2]
        + 2.0 * g[2] * (g[0] * c[3] + g[1] * c[4])
        + g[2] * g[2] * c[5]
}

impl Function {
    /// A straight line.
    pub(crate) fn line(intercept: f64, slope: f64) -> Function {
        Function::Polynomial([intercept, slope, 0.0])
    }

    /// Intercept and slope, where it is a straight line.
    pub(crate) fn as_line(&self) -> Option<(f64, f64)> {
        match *self {
            Function::Polynomial([a, b, 0.0]) => Some((a, b)),
            _ => None,
        }
    }

    /// f(x).
    pub(crate) fn at(&self, x: f64) -> f64 {
        match *self {
            Function::Polynomial([a, b, 0.0]) => a + b * x,
            Function::Polynomial([a, b, c]) => a + x * (b + c * x),
            Function::Power { factor, exponent } => factor * odd_power(x, exponent),
            Function::LogLog { log_factor, exponent } => log_factor + exponent * libm::log(x),
        }
    }

    /// f'(x).
    pub(crate) fn slope(&self, x: f64) -> f64 {
        match *self {
            Function::Polynomial([_, b, c]) => b + 2.0 * c * x,
            Function::Power { factor, exponent } => factor * exponent * libm::pow(x.abs(), exponent - 1.0),
            Function::LogLog { exponent, .. } => exponent / x,
        }
    }

    /// x·f'(x): what a relative change of the content moves.
    pub(crate) fn relative_slope(&self, x: f64) -> f64 {
        match *self {
            Function::Polynomial(_) => x * self.slope(x),
            Function::Power { exponent, .. } => exponent * self.at(x),
            Function::LogLog { exponent, .. } => exponent,
        }
    }

    /// ∂f/∂(coefficients) at x.
    pub(crate) fn gradient(&self, x: f64) -> [f64; 3] {
        match *self {
            Function::Polynomial(_) => [1.0, x, x * x],
            Function::Power { factor, exponent } => {
                let p = odd_power(x, exponent);
                [p, if x == 0.0 { 0.0 } else { factor * p * libm::log(x.abs()) }, 0.0]
            }
            Function::LogLog { .. } => [1.0, libm::log(x), 0.0],
        }
    }

    /// ∂f'/∂(coefficients) at x, over what f' itself is measured in.
    pub(crate) fn slope_gradient(&self, x: f64) -> [f64; 3] {
        match *self {
            Function::Polynomial(_) => [0.0, 1.0, 2.0 * x],
            Function::Power { factor, exponent } => {
                let p = libm::pow(x.abs(), exponent - 1.0);
                [exponent * p, factor * p * (1.0 + exponent * libm::log(x.abs())), 0.0]
            }
            Function::LogLog { .. } => [0.0, 1.0 / x, 0.0],
        }
    }

    /// The stretch about `[low, high]` on which it only rises or only falls.
    pub(crate) fn branch(&self, range: [f64; 2]) -> [f64; 2] {
        match *self {
            Function::Polynomial([_, b, c]) if c != 0.0 => {
                let vertex = -0.5 * b / c;
                // Where it turns inside the range, the larger part of it has the say.
                if vertex > 0.5 * (range[0] + range[1]) { [f64::NEG_INFINITY, vertex] } else { [vertex, f64::INFINITY] }
            }
            Function::LogLog { .. } => [0.0, f64::INFINITY],
            _ => [f64::NEG_INFINITY, f64::INFINITY],
        }
    }

    /// The content on `branch` whose response is `y`; `None` where the curve does not reach it.
    pub(crate) fn content_of(&self, y: f64, branch: [f64; 2]) -> Option<f64> {
        match *self {
            Function::Polynomial([a, b, 0.0]) => Some((y - a) / b),
            Function::Polynomial([a, b, c]) => {
                let square = b * b + 4.0 * c * (y - a);
                if square < 0.0 {
                    return None;
                }
                let falls = branch[0].is_finite() == (c < 0.0);
                let root = if falls { -libm::sqrt(square) } else { libm::sqrt(square) };
                // Both forms are the same root; the one without cancellation is taken.
                if (b > 0.0) == (root > 0.0) { Some(2.0 * (y - a) / (b + root)) } else { Some((root - b) / (2.0 * c)) }
            }
            Function::Power { factor, exponent } => Some(odd_power(y / factor, 1.0 / exponent)),
            Function::LogLog { log_factor, exponent } => Some(libm::exp((y - log_factor) / exponent)),
        }
    }
}

fn odd_power(x: f64, n: f64) -> f64 {
    libm::pow(x.abs(), n).copysign(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Central differences, and the way there and back.
    #[test]
    fn derivatives_and_inverse_agree_with_the_value() {
        let all = [
            Function::line(1.0, 2.0),
            Function::Polynomial([1.0, 2.0, -0.1]),
            Function::Polynomial([-1.0, -2.0, -0.3]),
            Function::Polynomial([0.5, 0.2, 0.3]),
            Function::Power { factor: 3.0, exponent: 0.6 },
            Function::LogLog { log_factor: 0.3, exponent: 1.1 },
        ];
        for f in all {
            let branch = f.branch([1.0, 6.0]);
            for x in [1.0, 2.5, 6.0] {
                let h = 1e-6 * x;
                let difference = (f.at(x + h) - f.at(x - h)) / (2.0 * h);
                assert!((f.slope(x) / difference - 1.0).abs() < 1e-8, "{f:?} at {x}");
                assert!((f.relative_slope(x) / (x * f.slope(x)) - 1.0).abs() < 1e-14);
                let back = f.content_of(f.at(x), branch).expect("reached");
                assert!((back / x - 1.0).abs() < 1e-13, "{f:?}: {back} for {x}");
                for (i, g) in f.gradient(x).into_iter().enumerate() {
                    let moved = |d: f64| match f {
                        Function::Polynomial(mut c) => {
                            c[i] += d;
                            Function::Polynomial(c)
                        }
                        Function::Power { factor, exponent } => Function::Power {
                            factor: factor + if i == 0 { d } else { 0.0 },
                            exponent: exponent + if i == 1 { d } else { 0.0 },
                        },
                        Function::LogLog { log_factor, exponent } => Function::LogLog {
                            log_factor: log_factor + if i == 0 { d } else { 0.0 },
                            exponent: exponent + if i == 1 { d } else { 0.0 },
                        },
                    };
                    let value = (moved(1e-6).at(x) - moved(-1e-6).at(x)) / 2e-6;
                    assert!((value - g).abs() < 1e-7 * (1.0 + g.abs()), "{f:?}: {value} instead of {g}");
                    let slope = (moved(1e-6).slope(x) - moved(-1e-6).slope(x)) / 2e-6;
                    assert!((slope - f.slope_gradient(x)[i]).abs() < 1e-7 * (1.0 + slope.abs()));
                }
            }
        }
    }
}
