//! Numbers drawn at random, the same each time.

/// A small generator of evenly spread numbers: splitmix64 (S. Vigna, public domain).
pub struct Draws(pub u64);

impl Draws {
    /// A number from 0 to 1.
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / 9_007_199_254_740_992.0
    }

    /// A standard normal variable.
    pub fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.uniform()).ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// A Gamma(k + 1/2) variable: exponentials and half a squared normal.
    pub fn gamma_half(&mut self, k: u32) -> f64 {
        let whole: f64 = (0..k).map(|_| -(1.0 - self.uniform()).ln()).sum();
        whole + self.normal().powi(2) / 2.0
    }

    /// A Poisson count, by arrivals in unit time.
    pub fn poisson(&mut self, mean: f64) -> u64 {
        let (mut count, mut time) = (0, -(1.0 - self.uniform()).ln());
        while time < mean {
            count += 1;
            time -= (1.0 - self.uniform()).ln();
        }
        count
    }
}
