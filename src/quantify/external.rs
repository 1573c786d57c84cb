//! External standard: areas against contents, the injected volume included.

use crate::error::{Error, ErrorKind, Result};

/// Relative standard uncertainty of a volume read by eye on a 1 µL syringe, √(0.02² + (0.03·V)²)/V with V in µL
/// (common practice): 20 % at 0.1 µL, 7 % at 0.3, 4.5 % at 0.6.
///
/// Without an internal standard it is part of every shot's scatter, in the standards as in the sample, and so of the
/// curve's residuals already: print it beside them, never add it. `None` where the volume is not positive.
///
/// ```
/// use vialbook::quantify::injection_volume_relative_u;
/// assert!(injection_volume_relative_u(0.3).is_some_and(|u| (u - 0.073).abs() < 5e-4));
/// ```
pub fn injection_volume_relative_u(volume_ul: f64) -> Option<f64> {
    (volume_ul > 0.0 && volume_ul.is_finite()).then(|| libm::hypot(0.02, 0.03 * volume_ul) / volume_ul)
}

/// Content by a single standard, x = A·x_s/A_s.
///
/// A single point proves neither a straight line nor that it goes through zero; it carries no uncertainty of its own
/// and serves for a first look.
///
/// # Errors
/// A standard that is not positive, or an area that is not finite.
///
/// ```
/// assert_eq!(vialbook::quantify::single_point(12.0, 2.0, 30.0)?, 5.0);
/// # Ok::<(), vialbook::Error>(())
/// ```
pub fn single_point(standard_area: f64, standard_content: f64, area: f64) -> Result<f64> {
    let positive = |x: f64| x > 0.0 && x.is_finite();
    if !positive(standard_area) || !positive(standard_content) || !area.is_finite() {
        return Err(Error::new(
            ErrorKind::Data,
            format!(
                "a standard of area {standard_area} and content {standard_content} with a sample of area {area}; \
                 a positive standard and a finite area are wanted"
            ),
        ));
    }
    Ok(area * standard_content / standard_area)
}
