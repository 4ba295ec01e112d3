//! The standard normal distribution, as the models use it.

use statrs::distribution::{ContinuousCDF, Normal};

/// Share below `z`. Not a number in, not a number out.
pub fn share_below(z: f64) -> f64 {
    if z.is_nan() {
        return f64::NAN;
    }
    Normal::standard().cdf(z)
}

/// The value below which a share `p` lies; `None` unless `0 < p < 1`.
pub fn quantile(p: f64) -> Option<f64> {
    (p > 0.0 && p < 1.0).then(|| Normal::standard().inverse_cdf(p))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Any table of the normal distribution.
    #[test]
    fn table_values() {
        assert!((share_below(1.96) - 0.975_002_1).abs() < 1e-6);
        assert!((quantile(0.1).unwrap() + 1.281_551_6).abs() < 1e-6);
        assert_eq!(quantile(0.0), None);
        assert_eq!(quantile(f64::NAN), None);
        assert!(share_below(f64::NAN).is_nan());
        assert_eq!(share_below(f64::INFINITY), 1.0);
    }
}
