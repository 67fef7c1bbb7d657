//! Numbers in as many digits as they need, and never in hundreds.

use std::fmt;

/// A number printed so that it reads back as the same: plainly, or with a power of ten where its size would take more
/// than fifteen places. A precision and a width are kept to.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shortest(pub(crate) f64);

impl fmt::Display for Shortest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let size = self.0.abs();
        if size == 0.0 || !size.is_finite() || (1e-15..1e15).contains(&size) {
            return fmt::Display::fmt(&self.0, f);
        }
        fmt::LowerExp::fmt(&self.0, f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_back_and_none_is_long() {
        for value in
            [0.0, 1.0, 0.1, 1752.5, 1e15, 123_456_789_012_345.0, 1e-15, -2.5e-300, f64::MAX, 5e-324, 1e22]
        {
            let text = Shortest(value).to_string();
            assert!(text.len() <= 34, "{text}");
            assert_eq!(text.parse::<f64>().unwrap().to_bits(), value.to_bits(), "{text}");
        }
        assert_eq!(format!("{:.1} {:>8.2}", Shortest(f64::MAX), Shortest(2.0)), "1.8e308     2.00");
        assert_eq!(Shortest(f64::INFINITY).to_string(), "inf");
    }
}
